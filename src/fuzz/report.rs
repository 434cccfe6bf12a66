//! What came of a work of fuzzing.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::found::Finding;
use crate::run::BranchKind;
use crate::suite::Case;
use crate::units;

/// How far a work has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Status {
    /// Trials, those of earlier sittings included.
    pub trials: u64,
    /// Trials of this sitting.
    pub trials_now: u64,
    /// Trials of this sitting that were not run, as runs that read the same were known.
    pub known: u64,
    /// Milliseconds of this sitting.
    pub milliseconds: u64,
    /// Branches that were reached.
    pub branches: usize,
    /// Branches that the harness declares.
    pub of_branches: usize,
    /// Decisions that went both ways.
    pub both_ways: usize,
    /// Decisions that were met.
    pub decisions: usize,
    /// Promises found broken, each way once.
    pub findings: usize,
    /// Trials that are kept, as they went a new way.
    pub entries: usize,
    /// Trials since something new was met.
    pub quiet: u64,
    /// Milliseconds of this sitting since something new was met.
    pub quiet_milliseconds: u64,
}

/// Why a work is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    /// All trials have been made.
    Trials,
    /// The time is over.
    Time,
    /// Nothing new has come for long enough.
    Quiet,
    /// It was stopped from outside.
    Stopped,
}

/// A declared branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct BranchReached {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: BranchKind,
    /// Whether any trial came there.
    pub reached: bool,
    /// Trials of this sitting that came there.
    pub trials: u64,
}

/// What came of a work of fuzzing.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Report {
    /// The seed.
    pub seed: u64,
    /// The part of the work.
    pub part: String,
    /// Why it is over.
    pub ended: Ended,
    /// How far it has come.
    pub status: Status,
    /// Each declared branch.
    pub branches: Vec<BranchReached>,
    /// Trials of this sitting that came to no branch.
    pub elsewhere: u64,
    /// Trials of this sitting of which the acceptance table does not say the branch: all of them if there is no table.
    pub unjudged: u64,
    /// Promises that were broken.
    pub findings: Vec<Finding>,
    /// Breaches that were not looked at, as there were so many of their kind.
    pub not_looked_at: u64,
    /// Cases to start from that are not varied, as they have parts such as an image file.
    pub not_varied: usize,
    /// What is kept, as cases that expect what the acceptance table says: for whoever wants to know what they cover.
    #[serde(skip)]
    pub cases: Vec<Case>,
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let status = &self.status;
        writeln!(
            f,
            "{} trials with seed {}, {} of {} branches reached",
            units::thousands(status.trials),
            self.seed,
            status.branches,
            status.of_branches
        )?;
        for finding in &self.findings {
            writeln!(f, "{}: {}", finding.promise.name(), finding.name)?;
            finding.reasons.iter().try_for_each(|reason| writeln!(f, "  {reason}"))?;
        }
        Ok(())
    }
}
