//! One run of the routine: prepare, step, stop at a branch, a limit or a crash; then say what happened.
//!
//! A [`Rig`] is the checked plan (map, routine, branches); a [`Machine`] runs it again and again without allocating, and
//! each run ends in an [`Outcome`]. What ought to have happened is not known here.

mod cell;
mod exits;
mod hang;
mod interrupts;
mod machine;
mod outcome;
mod routine;

pub use cell::{Cell, Probe, Register, Width};
pub use interrupts::{Interrupt, Timing};
pub use machine::{Machine, Setup};
pub use outcome::{Crash, End, Limit, Outcome, Wrong};
pub use routine::{Branch, BranchKind, Condition, Entry, Exit, Limits, Rig, Routine};
