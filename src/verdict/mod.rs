//! Outcome against expectation and acceptance table: held, or failed with reasons, or undecided.
//!
//! [`judge()`] compares one [`Outcome`](crate::run::Outcome) with one [`Expectation`] and lists every way in which they
//! differ; the sentences that people read are made here. [`Acceptance`] is the harness's specification.

mod acceptance;
mod ending;
mod expectation;
mod judge;
mod names;
mod ports;
mod reason;

pub use acceptance::{Acceptance, Conditions, Decision, FieldMatch, PortMatch, Rule, Table};
pub use ending::{ending, short_ending};
pub use expectation::{Expectation, PortWrites, Shows, Wanted, Within, Writes};
pub use judge::{Forbid, early_read, judge, told_by_chance};
pub use names::{Names, Spot};
pub use reason::{Reason, Why};

use schemars::JsonSchema;
use serde::Serialize;

/// What came of a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum Verdict {
    /// Everything that must happen did.
    Held,
    /// Something did not, and why it is so.
    Failed {
        /// Every reason found.
        reasons: Vec<Reason>,
    },
    /// The run was given up before it could be told.
    Undecided {
        /// Where and why.
        reasons: Vec<Reason>,
    },
    /// The case failed, as its `known-bug` says it must.
    KnownBug {
        /// What the case says.
        why: String,
        /// How it failed.
        reasons: Vec<Reason>,
    },
    /// The case held although its `known-bug` says that it fails: the mark is out of date.
    BugGone {
        /// What the case says.
        why: String,
    },
}

impl Verdict {
    /// The verdict of a case from what was found.
    pub fn new(reasons: Vec<Reason>, known_bug: Option<&str>) -> Self {
        let undecided = !reasons.is_empty() && reasons.iter().all(|reason| reason.why == Why::Limit);
        match known_bug.map(str::to_owned) {
            // A run that was given up says nothing about a bug either.
            _ if undecided => Verdict::Undecided { reasons },
            Some(why) if reasons.is_empty() => Verdict::BugGone { why },
            Some(why) => Verdict::KnownBug { why, reasons },
            None if reasons.is_empty() => Verdict::Held,
            None => Verdict::Failed { reasons },
        }
    }

    /// One word for tables.
    pub fn word(&self) -> &'static str {
        match self {
            Verdict::Held => "held",
            Verdict::Failed { .. } => "FAILED",
            Verdict::Undecided { .. } => "undecided",
            Verdict::KnownBug { .. } => "known bug",
            Verdict::BugGone { .. } => "BUG GONE",
        }
    }

    /// Whether the case counts as failed: an unexpected failure, or a known bug that is gone.
    pub fn failed(&self) -> bool {
        matches!(self, Verdict::Failed { .. } | Verdict::BugGone { .. })
    }

    /// The reasons.
    pub fn reasons(&self) -> &[Reason] {
        match self {
            Verdict::Failed { reasons } | Verdict::Undecided { reasons } | Verdict::KnownBug { reasons, .. } => reasons,
            Verdict::Held | Verdict::BugGone { .. } => &[],
        }
    }
}
