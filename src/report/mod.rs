//! Reporters: each renders the same results, and none computes.

mod changes;
mod comparison;
mod coverage;
mod explanation;
mod fuzz;
mod github;
mod html;
mod instructions;
mod json;
mod junit;
mod lcov;
mod listing;
mod many;
mod markdown;
mod proof;
mod records;
mod terminal;
mod words;

pub use changes::{write_changes, write_first};
pub use comparison::{ComparisonRecord, write_comparison, write_comparison_line};
pub use explanation::write as write_explanation;
pub use fuzz::{FuzzLines, FuzzRecord, FuzzReporter, FuzzStart, FuzzTerminal};
pub use github::Github;
pub use html::{Html, write_proof_page};
pub use instructions::write as write_instructions;
pub use json::JsonLines;
pub use junit::Junit;
pub use lcov::Lcov;
pub use listing::Listing;
pub use many::Many;
pub use markdown::Markdown;
pub use proof::{ProofRecord, write_proof, write_proof_line};
pub use records::{
    FORMAT, HarnessRecord, LinesStart, Listed, ListedBranch, ListedCase, ListedHarness, Record, StartRecord, Told,
    ToldCase, Unlisted,
};
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

/// A case that was selected but not run, because an earlier one failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotRun {
    /// The file of its harness, whose group may not have begun.
    pub harness: String,
    /// Its name.
    pub name: String,
    /// The file in which it stands.
    pub file: String,
    /// The line in that file.
    pub line: usize,
}

/// What gets to see the results, in order.
pub trait Reporter {
    /// The run begins.
    fn started(&mut self, start: &Start) -> io::Result<()> {
        let _ = start;
        Ok(())
    }
    /// The cases of one harness begin.
    fn group(&mut self, group: &Group) -> io::Result<()> {
        let _ = group;
        Ok(())
    }
    /// A case is done.
    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        let _ = result;
        Ok(())
    }
    /// The run has stopped before this case; all cases that were run have been seen.
    fn not_run(&mut self, case: &NotRun) -> io::Result<()> {
        let _ = case;
        Ok(())
    }
    /// The cases of one harness are done, and coverage was asked for.
    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        let _ = coverage;
        Ok(())
    }
    /// The run is over.
    fn finished(&mut self, summary: &Summary) -> io::Result<()>;
}
