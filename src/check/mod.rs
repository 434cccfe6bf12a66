//! Checking: cases run under every RAM fill, judged, and delivered in order whatever the number of threads.
//!
//! [`Checker`] turns one [`Case`](crate::suite::Case) into one [`CaseResult`]; [`check_all`] does it for many in
//! parallel. The results are one model that every reporter renders; nothing here prints.

mod changes;
mod checker;
mod covering;
mod many;
mod paths;
mod reads;
mod result;

pub use changes::{Changes, Pair};
pub use checker::{Checker, Explain, Watch};
pub use many::{Job, Source, check_all};
pub use result::{CaseResult, Reached, Summary};
