//! Proofs, from the outside: terms and the solver.

mod logic;
mod smt;
mod support;
