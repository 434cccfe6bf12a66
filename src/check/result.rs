//! The result model: what a reporter gets to know, and all it needs.

use serde::Serialize;

use crate::explain::{Evidence, Explanation};
use crate::run::BranchKind;
use crate::verdict::Verdict;

/// The result of one case.
#[derive(Clone, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct CaseResult {
    /// Name of the case.
    pub name: String,
    /// File in which it stands.
    pub file: String,
    /// Line in that file.
    pub line: usize,
    /// What is attached and which inputs are out of the ordinary.
    pub attached: String,
    /// The branch or branches wanted, as a person says it.
    pub expected: String,
    /// Their kind, if they have one kind.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_kind: Option<BranchKind>,
    /// How the run ended.
    pub reached: Reached,
    /// Instructions of the run.
    pub instructions: u64,
    /// Clock cycles of the run.
    pub cycles: u64,
    /// The cycles as time, if the harness gives a clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub milliseconds: Option<f64>,
    /// The RAM fill of the run that the other numbers are from.
    pub fill: String,
    /// How many RAM fills there are; all of them hold for the verdict.
    pub fills: usize,
    /// How many of them had to be run: one is enough if no RAM was looked at before it was written.
    pub fills_run: usize,
    /// What came of it.
    pub verdict: Verdict,
    /// Why, for a case that did not hold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
    /// The run told as decisions, where that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explanation: Option<Box<Explanation>>,
    /// The command that reruns just this case; empty for a case that was made in code.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub rerun: String,
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "end")]
pub enum Reached {
    /// In a declared branch.
    Branch {
        /// Its name.
        branch: String,
        /// Its kind.
        kind: BranchKind,
    },
    /// In any other way.
    Other {
        /// One or two words: "crash", "hang", "limit".
        short: String,
        /// The whole sentence.
        text: String,
    },
}

impl Reached {
    /// One or two words.
    pub fn short(&self) -> &str {
        match self {
            Reached::Branch { branch, .. } => branch,
            Reached::Other { short, .. } => short,
        }
    }
}

/// The counts at the end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Summary {
    /// Cases that ran.
    pub cases: usize,
    /// Cases that held.
    pub held: usize,
    /// Cases that failed, known bugs that are gone among them.
    pub failed: usize,
    /// Cases that could not be decided.
    pub undecided: usize,
    /// Known bugs that are still there.
    pub known_bugs: usize,
    /// Cases derived from acceptance tables, of those that ran.
    pub derived: usize,
    /// Cases selected but not run, because an earlier one failed.
    pub not_run: usize,
}

impl Summary {
    /// Counts one result.
    pub fn count(&mut self, verdict: &Verdict) {
        self.cases += 1;
        match verdict {
            Verdict::Held => self.held += 1,
            Verdict::Failed { .. } | Verdict::BugGone { .. } => self.failed += 1,
            Verdict::Undecided { .. } => self.undecided += 1,
            Verdict::KnownBug { .. } => self.known_bugs += 1,
        }
    }
}
