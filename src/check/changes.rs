//! What differs between the results of two runs: a pure comparison, [`Changes::between`].

use std::collections::{HashMap, HashSet};

use super::result::CaseResult;
use crate::verdict::Verdict;

/// A case in both runs.
#[derive(Clone, Copy, Debug)]
pub struct Pair<'a> {
    /// Its result before.
    pub before: &'a CaseResult,
    /// Its result now.
    pub now: &'a CaseResult,
}

/// What differs; each case stands in one list, in the order of the run.
#[derive(Clone, Debug, Default)]
pub struct Changes<'a> {
    /// Cases that fail now and did not before, new ones among them.
    pub newly_failing: Vec<&'a CaseResult>,
    /// Cases that hold now and did not before; a known bug that is there counts as held.
    pub newly_held: Vec<Pair<'a>>,
    /// Cases with another verdict, reason, end, wish or cartridge than before.
    pub otherwise: Vec<Pair<'a>>,
    /// New cases that do not fail.
    pub new: Vec<&'a CaseResult>,
    /// Cases that are not there any more.
    pub gone: Vec<&'a CaseResult>,
    /// Cases that only take another number of instructions or cycles.
    pub times: Vec<Pair<'a>>,
}

/// A case's name is unique in its file. Derived cases of two harnesses may share both; these are told apart by their order.
type Key<'a> = (&'a str, &'a str, usize);

impl<'a> Changes<'a> {
    /// Compares two runs. The line of a case does not count, so it may be moved.
    pub fn between(before: &'a [CaseResult], now: &'a [CaseResult]) -> Self {
        let earlier: HashMap<Key, &CaseResult> = keyed(before).collect();
        let mut still = HashSet::new();
        let mut changes = Self::default();
        for (key, now) in keyed(now) {
            match earlier.get(&key) {
                Some(before) => {
                    still.insert(key);
                    changes.add(Pair { before, now });
                }
                None if now.verdict.failed() => changes.newly_failing.push(now),
                None => changes.new.push(now),
            }
        }
        changes.gone = keyed(before).filter(|(key, _)| !still.contains(key)).map(|(_, case)| case).collect();
        changes
    }

    fn add(&mut self, pair: Pair<'a>) {
        let Pair { before, now } = pair;
        let outcome = |case: &'a CaseResult| (&case.verdict, &case.reached, &case.expected, &case.attached);
        if now.verdict.failed() && !before.verdict.failed() {
            self.newly_failing.push(now);
        } else if good(&now.verdict) && !good(&before.verdict) {
            self.newly_held.push(pair);
        } else if outcome(before) != outcome(now) {
            self.otherwise.push(pair);
        } else if (before.instructions, before.cycles) != (now.instructions, now.cycles) {
            self.times.push(pair);
        }
    }

    /// Whether nothing differs.
    pub fn is_empty(&self) -> bool {
        let Self { newly_failing, newly_held, otherwise, new, gone, times } = self;
        [newly_failing.len(), newly_held.len(), otherwise.len(), new.len(), gone.len(), times.len()] == [0; 6]
    }
}

fn good(verdict: &Verdict) -> bool {
    matches!(verdict, Verdict::Held | Verdict::KnownBug { .. })
}

fn keyed(results: &[CaseResult]) -> impl Iterator<Item = (Key<'_>, &CaseResult)> {
    let mut seen: HashMap<(&str, &str), usize> = HashMap::with_capacity(results.len());
    results.iter().map(move |case| {
        let count = seen.entry((&case.file, &case.name)).or_default();
        *count += 1;
        ((case.file.as_str(), case.name.as_str(), *count), case)
    })
}
