//! Fuzzing: the broken demos are found out and the whole one is not, and the same work comes to the same end.

mod defects;
mod lines;
mod promises;
mod refused;
mod same;
mod starts;

use std::sync::Arc;

use keyway::Harness;
use keyway::fuzz::{Finding, Fuzz, Promise, Report};

use crate::support::root;

/// A harness of the repository.
fn harness(name: &str) -> Arc<Harness> {
    Arc::new(Harness::load(root().join("harness").join(name)).unwrap_or_else(|complaint| panic!("{complaint:?}")))
}

/// What came of a work.
#[track_caller]
fn run(fuzz: &Fuzz) -> Report {
    fuzz.run().unwrap_or_else(|complaint| panic!("{complaint:?}"))
}

/// The finding of a promise; there is one at most, or `nth` says which.
#[track_caller]
fn finding(report: &Report, promise: Promise) -> &Finding {
    let mut found = report.findings.iter().filter(|finding| finding.promise == promise);
    found.next().unwrap_or_else(|| panic!("nothing breaks {}:\n{report}", promise.name()))
}
