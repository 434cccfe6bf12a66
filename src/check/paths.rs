//! What coverage cannot see by itself: which entries of host tables agreed, and which decisions hung on a header byte.
//!
//! Runs that went by the same path did both alike, so one case of each path is traced once more when all are done.

use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::checker::Checker;
use super::many::Job;
use crate::board::{Map, Place};
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
            // The fills under which the case went this way; a case without RAM has none.
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
    // A run of which decisions were forgotten, as there were too many, is not told as a whole. What it still tells holds.
    let forgotten = explanation.steps.iter().any(|step| matches!(step, Step::Omitted(_)));
    let mut followed = Followed { paths: u64::from(!forgotten), ..Followed::default() };
    for byte in &explanation.influence.decisions {
        followed.deciders.entry(byte.offset).or_default().extend(&byte.at);
    }
    for text in texts(explanation) {
        let Some(address) = text.with.address.filter(|address| of_host(*address, &harness.rig.map)) else { continue };
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

/// Whether only the host ROM answers at an address. Where an overlay may show, or a port is read, its bytes cannot be told
/// from theirs.
fn of_host(address: u32, map: &Map) -> bool {
    let port = map.ports().iter().any(|port| port.reads.is_some() && port.covers(address));
    let overlay = map.overlays().iter().any(|overlay| overlay.range.contains(&address));
    map.place(address) == Place::Host && !port && !overlay
}

fn texts(explanation: &Explanation) -> impl Iterator<Item = &TextCompare> {
    explanation.steps.iter().flat_map(|step| match step {
        Step::Compare(text) => std::slice::from_ref(text),
        Step::Scan(scan) => &scan.entries[..],
        _ => &[],
    })
}
