//! Terms over unknowns, and questions about them. [`Terms`] is a pool of bit-vector terms that are simplified as they are
//! made; it is the executor's [`Domain`](super::Domain) in a proof. A [`Solver`] says whether one-bit terms can all be set
//! together. A "yes" comes with a [`Model`] that was evaluated again, a "no" with a [`Refutation`] that a [`Checker`] of
//! our own has gone through; what neither holds for is [`Answer::Open`].

mod blast;
mod certify;
mod circuits;
mod domain;
mod engine;
mod evaluate;
mod gates;
mod hash;
mod meaning;
mod model;
mod path;
mod ranges;
mod row;
mod simplify;
mod smtlib;
mod solver;
mod tape;
mod term;
mod view;

pub use certify::{Checker, NotImplied, Refutation};
pub use model::{Model, Unknown};
pub use ranges::{Range, Ranges};
pub use solver::{Answer, Solver};
pub use tape::Tape;
pub use term::{Term, Terms};
pub use view::View;
