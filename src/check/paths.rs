//! What coverage cannot see by itself: which entries of host tables agreed, and which decisions hung on a header byte.
//!
//! Runs that went by the same path did both alike, so one case of each path is traced once more when all are done.

use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::checker::Checker;
use super::many::Job;
use crate::coverage::{Followed, Gathered, PathSeen, TableSeen};
use crate::explain::{Explanation, Step, TextCompare};
use crate::suite::{Complaint, Harness};

/// The most paths that are traced once more.
const MOST_PATHS: usize = 20_000;

/// Traces a case of each path, the first cases first; adds what that tells.
///
/// # Errors
/// A case that could not be made any more.
pub(super) fn follow(jobs: &[Job], harness: &Arc<Harness>, gathered: &mut Gathered) -> Result<(), Complaint> {
    let mut paths: Vec<PathSeen> = gathered.paths.values().copied().collect();
    paths.sort_by_key(|path| path.first);
    paths.truncate(MOST_PATHS);
    let checkers: Mutex<Vec<Checker>> = Mutex::new(Vec::new());
    let followed = paths
        .par_iter()
        .map(|path| {
            let case = jobs[path.first.job].source.case(path.first.case as usize)?;
            let spare = checkers.lock().unwrap_or_else(PoisonError::into_inner).pop();
            let mut checker = spare.unwrap_or_else(|| Checker::new(Arc::clone(harness)));
            let fills = case.fills.get(path.first.fill).map_or(&[][..], Vec::as_slice);
            let told = told(&checker.traced(&case, fills), path.cases, harness);
            checkers.lock().unwrap_or_else(PoisonError::into_inner).push(checker);
            Ok(told)
        })
        .try_reduce(Followed::default, |mut all, other| {
            all.merge(other);
            Ok(all)
        })?;
    gathered.followed = followed;
    Ok(())
}

/// What the run of one path tells, for all the cases that went by it.
fn told(explanation: &Explanation, cases: u64, harness: &Harness) -> Followed {
    let mut followed = Followed { paths: 1, ..Followed::default() };
    for byte in &explanation.influence.decisions {
        followed.deciders.entry(byte.offset).or_default().extend(&byte.at);
    }
    for text in texts(explanation) {
        // Only the host's own bytes are a table of it; the window and overlays belong to others.
        let host = text.with.address.filter(|_| text.with.offset.is_none());
        let Some(address) = host.filter(|address| harness.rig.map.host().byte(*address).is_some()) else { continue };
        let mut compared = text.with.text.clone();
        compared.truncate(text.compared);
        let entry = TableSeen {
            whose: text.with.whose.clone(),
            source: text.with.source.clone(),
            text: compared,
            cases,
            agreed: text.equal,
        };
        match followed.tables.get_mut(&address) {
            // The same entry again in this run: the same cases.
            Some(seen) => seen.join(TableSeen { cases: 0, ..entry }),
            None => {
                followed.tables.insert(address, entry);
            }
        }
    }
    followed
}

fn texts(explanation: &Explanation) -> impl Iterator<Item = &TextCompare> {
    explanation.steps.iter().flat_map(|step| match step {
        Step::Compare(text) => std::slice::from_ref(text),
        Step::Scan(scan) => &scan.entries[..],
        _ => &[],
    })
}
