//! Comparing two builds: does every cartridge take the same branch with the same visible effects, and if not, which do not?
//!
//! [`Compare`] stands on proofs: both builds are explored over the same unknowns, and what differs is asked of the solver.
//! Where that stays inconclusive, cases are run on both ([`Tried`]), and it is said.

mod answer;
mod differences;
mod tried;
mod work;

pub use answer::{Change, Comparison, Effect, Side};
pub use tried::{Differs, Tried, try_cases};
pub use work::Compare;
