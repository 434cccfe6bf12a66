//! Many cases in parallel, delivered in order.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::checker::{Checker, Watch};
use super::paths;
use super::result::CaseResult;
use crate::coverage::Gathered;
use crate::suite::{Boundary, Case, Complaint, Harness, Suite};

/// Cases dealt out at once; results wait for each other only within such a batch.
const BATCH: usize = 2048;

/// Cases that one thread takes at a time.
const CHUNK: usize = 32;

/// Where cases come from.
#[derive(Clone, Debug)]
pub enum Source {
    /// A case file.
    Suite(Arc<Suite>),
    /// An acceptance table.
    Boundary(Arc<Boundary>),
}

impl Source {
    /// The harness of its cases.
    pub fn harness(&self) -> &Arc<Harness> {
        match self {
            Source::Suite(suite) => &suite.harness,
            Source::Boundary(boundary) => boundary.harness(),
        }
    }

    /// How many cases it has.
    pub fn len(&self) -> usize {
        match self {
            Source::Suite(suite) => suite.len(),
            Source::Boundary(boundary) => boundary.len(),
        }
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The file in which its cases stand.
    pub fn path(&self) -> &Path {
        match self {
            Source::Suite(suite) => suite.path(),
            Source::Boundary(boundary) => boundary.rules(),
        }
    }

    /// The name of a case.
    pub fn name(&self, index: usize) -> String {
        match self {
            Source::Suite(suite) => suite.name(index),
            Source::Boundary(boundary) => boundary.name(index),
        }
    }

    /// The line of a case.
    pub fn line(&self, index: usize) -> usize {
        match self {
            Source::Suite(suite) => suite.line(index),
            Source::Boundary(boundary) => boundary.line(index),
        }
    }

    /// The width of the widest label, in columns.
    pub fn widest_label(&self) -> usize {
        match self {
            Source::Suite(suite) => suite.widest_label(),
            Source::Boundary(boundary) => boundary.widest_label(),
        }
    }

    /// Makes a case.
    ///
    /// # Errors
    /// If files of the suite have changed since it was loaded.
    pub fn case(&self, index: usize) -> Result<Case, Complaint> {
        match self {
            Source::Suite(suite) => suite.case(index),
            Source::Boundary(boundary) => Ok(boundary.case(index)),
        }
    }

    /// The command that reruns one case.
    fn rerun(&self, case: &Case) -> String {
        let (option, file) = match self {
            Source::Suite(suite) => ("", suite.path().display().to_string()),
            Source::Boundary(boundary) => (" --boundary", boundary.harness().path.display().to_string()),
        };
        let seed = match case.setup.inputs.seed {
            crate::suite::DEFAULT_SEED => String::new(),
            seed => format!(" --seed {seed}"),
        };
        format!("keyway check{option}{seed} {}", quote(&format!("{file}:{}", case.name)))
    }
}

/// A word for a POSIX shell.
fn quote(word: &str) -> String {
    format!("'{}'", word.replace('\'', "'\\''"))
}

/// Selected cases of one source.
#[derive(Clone, Debug)]
pub struct Job {
    /// The source.
    pub source: Source,
    /// Indices of the cases, in order.
    pub cases: Vec<u32>,
}

/// Checks the cases of jobs that share one harness, and hands each result to `deliver` in order; stops when that breaks.
/// Runs on the rayon pool of the caller.
///
/// If coverage is watched, returns what the cases did. After a break these are the cases delivered and those that ran
/// beside them.
///
/// # Errors
/// A case that could not be made any more.
pub fn check_all(
    jobs: &[Job],
    watch: Watch,
    mut deliver: impl FnMut(CaseResult) -> ControlFlow<()>,
) -> Result<Option<Gathered>, Complaint> {
    let checkers: Mutex<Vec<Checker>> = Mutex::new(Vec::new());
    'jobs: for (number, job) in jobs.iter().enumerate() {
        for batch in job.cases.chunks(BATCH) {
            let results: Vec<Result<CaseResult, Complaint>> = batch
                .par_chunks(CHUNK)
                .flat_map_iter(|chunk| check_chunk(&job.source, number, chunk, watch, &checkers))
                .collect();
            for result in results {
                if deliver(result?).is_break() {
                    break 'jobs;
                }
            }
        }
    }
    let checkers = checkers.into_inner().unwrap_or_else(PoisonError::into_inner);
    let mut gathered = checkers.into_iter().filter_map(|mut checker| checker.gathered()).reduce(|mut all, other| {
        all.merge(other);
        all
    });
    if let (Some(gathered), Some(job)) = (&mut gathered, jobs.first()) {
        paths::follow(jobs, job.source.harness(), gathered)?;
    }
    Ok(gathered)
}

/// Checks a few cases with a checker that no other thread uses.
fn check_chunk(
    source: &Source,
    job: usize,
    chunk: &[u32],
    watch: Watch,
    checkers: &Mutex<Vec<Checker>>,
) -> Vec<Result<CaseResult, Complaint>> {
    let spare = checkers.lock().unwrap_or_else(PoisonError::into_inner).pop();
    let mut checker = spare.unwrap_or_else(|| Checker::watching(Arc::clone(source.harness()), watch));
    let results = chunk
        .iter()
        .map(|index| {
            let case = source.case(*index as usize)?;
            Ok(CaseResult { rerun: source.rerun(&case), ..checker.check_numbered(&case, job, *index) })
        })
        .collect();
    checkers.lock().unwrap_or_else(PoisonError::into_inner).push(checker);
    results
}
