//! What fuzzing and proofs have in common: a [`Trial`] is the inputs of one run as a recipe that a case file can say, a
//! [`Promise`] is something that the routine has to keep, and a [`Shelf`] is where findings are put as ordinary cases.

pub mod case_text;
pub mod ordinary;
pub mod promise;
mod recipe;
mod shelf;

pub use promise::{Promise, Promises};
pub use recipe::{Held, MOST_RAW, Plug, Trial};
pub use shelf::{Shelf, Shelved, file_stem};
