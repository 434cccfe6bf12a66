//! Reporters: each renders the same results, and none computes.

mod explanation;
mod instructions;
mod json;
mod terminal;

pub use explanation::write as write_explanation;
pub use instructions::write as write_instructions;
pub use json::{FORMAT, JsonLines};
pub use terminal::Terminal;

use std::io;

use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;
use crate::suite::Harness;

/// What a run of many cases is about to do.
#[derive(Clone, Copy, Debug)]
pub struct Start {
    /// Cases selected.
    pub cases: usize,
    /// Of these, derived from acceptance tables.
    pub derived: usize,
    /// Derived cartridges that the tables cannot decide; they are no cases.
    pub open: usize,
    /// The seed of all noise.
    pub seed: u64,
}

/// One harness of the run.
#[derive(Clone, Copy, Debug)]
pub struct Group<'a> {
    /// The harness.
    pub harness: &'a Harness,
    /// Its cases in this run.
    pub cases: usize,
    /// The width of the widest label among them, in columns.
    pub widest_label: usize,
}

/// What gets to see the results, in order.
pub trait Reporter {
    /// The run begins.
    fn started(&mut self, start: &Start) -> io::Result<()>;
    /// The cases of one harness begin.
    fn group(&mut self, group: &Group) -> io::Result<()>;
    /// A case is done.
    fn case(&mut self, result: &CaseResult) -> io::Result<()>;
    /// The cases of one harness are done, and coverage was asked for.
    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        let _ = coverage;
        Ok(())
    }
    /// The run is over.
    fn finished(&mut self, summary: &Summary) -> io::Result<()>;
}
