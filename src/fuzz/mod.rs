//! Fuzzing: structured variations of what is attached, thrown at the routine until a promise is broken.
//!
//! [`Fuzz`] says what to vary and what must hold; [`Fuzz::run`] does it, and the [`Report`] holds the [`Finding`]s, each as
//! an ordinary case. A [`Trial`] is one set of inputs, as a recipe; trials are made from others by moves that a person
//! could have made. The room stands on `run` for its millions of runs and on `check` for what it found: a finding is one
//! because `keyway check` fails its case.
//!
//! ```
//! use std::sync::Arc;
//!
//! use keyway::Harness;
//! use keyway::fuzz::Fuzz;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let harness = Arc::new(Harness::load("harness/aria.yaml")?);
//! let report = Fuzz::new(&harness).trials(20_000).run()?;
//! assert!(report.findings.is_empty(), "{report}");
//! assert!(report.branches.iter().all(|branch| branch.reached), "{report}");
//! # Ok(())
//! # }
//! ```

mod breach;
mod corpus;
mod deed;
mod dice;
mod engine;
mod feedback;
mod found;
mod ground;
mod known;
mod memo;
mod moves;
mod plan;
mod reduce;
mod report;
mod share;
#[cfg(test)]
mod tests;
mod texts;
mod tidy;
mod told;
mod wishes;
mod work;
mod written;

use crate::trial::{self, case_text, ordinary, promise};
pub use crate::trial::{Held, Plug, Promise, Promises, Trial};
pub use corpus::corpus_trials;
pub use deed::{Deed, Prober, Tried};
pub use feedback::{Feature, Feedback, Way, WayKey};
pub use found::Finding;
pub use ground::Part;
pub use plan::Fuzz;
pub use report::{BranchReached, Ended, Report, Status};
pub use share::Share;
pub use tidy::Tidied;
pub use work::Event;
