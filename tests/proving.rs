//! Proofs, from the outside: terms and the solver, routines with known answers, builds compared.

mod command;
mod compared;
mod concrete;
mod defects;
mod executor;
mod logic;
mod routines;
mod smt;
mod support;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use keyway::Harness;
use keyway::prove::{Answer, Prove, Sealed};

use crate::support::root;

/// The harness of a routine.
fn path(name: &str) -> PathBuf {
    root().join("tests/proving/routines/harness").join(format!("{name}.yaml"))
}

/// What is expected of the routines.
fn expected() -> PathBuf {
    root().join("tests/proving/routines/expected.md")
}

fn with(file: &Path, change: impl Fn(Prove) -> Prove) -> Sealed<Answer> {
    let harness = Arc::new(Harness::load(file).unwrap_or_else(|complaint| panic!("{complaint}")));
    change(Prove::new(&harness)).run().unwrap_or_else(|complaint| panic!("{complaint}"))
}

fn prove(file: &Path) -> Sealed<Answer> {
    with(file, |prove| prove)
}
