//! Breaches: promises that trials have broken, before anybody has had a closer look.

use super::deed::Tried;
use super::promise::Promise;
use super::trial::Trial;
use super::written::Met;
use crate::verdict::Decision;

/// In what way a promise was broken, as far as can be told without a closer look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Breach {
    /// The promise.
    pub promise: Promise,
    /// How the run ended.
    pub end: u64,
    /// The branch that the acceptance table says.
    pub wanted: Option<usize>,
    /// A hash of the ways it took.
    pub ways: u64,
}

impl Breach {
    /// The breach of one promise.
    pub fn new(promise: Promise, tried: &Tried) -> Self {
        let wanted = match tried.decision {
            Decision::Branch { branch, .. } => Some(branch),
            Decision::Unclear(_) | Decision::Silent => None,
        };
        Self { promise, end: tried.deed.end_way().key(), wanted, ways: tried.deed.ways }
    }

    /// The same, whatever the way was.
    pub fn anyhow(self) -> Self {
        Self { ways: 0, ..self }
    }
}

/// A breach that is to be looked at, and the first trial that showed it.
#[derive(Clone, Debug)]
pub struct Broken {
    /// What was broken.
    pub breach: Breach,
    /// The trial.
    pub trial: Trial,
    /// When it was met.
    pub met: Met,
}
