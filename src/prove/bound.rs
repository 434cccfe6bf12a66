//! The greatest or smallest value of a term whose unknowns are only compared with numbers: a search over the values that
//! are told apart, byte by byte, which leaves out whatever cannot be better than what is known.
//!
//! A solver has a hard time with long sums; here the parts of a sum become numbers as soon as the bytes that they hang on
//! are chosen. Intervals of what is not chosen yet bound every part of the search, so what is found is exact, or a bound.

use std::collections::{BTreeMap, BTreeSet};

use super::Domain;
use super::logic::{Model, Range, Ranges, Term, Terms, Unknown, View};

/// Operations that one search may take.
const MOST_OPERATIONS: u64 = 30_000_000;

/// A value that is compared with nothing is looked for up to here: a byte is compared with 256 at the most.
const MOST_VALUES: u64 = 0xFF;

/// Unknowns that one search may have: it goes as deep as there are.
const MOST_INPUTS: usize = 1000;

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// The best value that is reached, and inputs, if any was better than the one known before.
    pub best: Option<(u64, Model)>,
    /// Nothing goes beyond this.
    pub bound: u64,
}

/// The guard among the terms of a search.
const GUARD: usize = 0;

/// The count among the terms of a search.
const COUNT: usize = 1;

/// A search.
pub struct Search {
    ranges: Ranges,
    /// The unknowns in order, with the values that are told apart.
    inputs: Vec<(Unknown, Vec<u64>)>,
    up: bool,
}

impl Search {
    /// A search for the greatest (`up`) or smallest value of `count` where `guard` holds; nothing if any unknown is more
    /// than compared with numbers.
    pub fn new(terms: &Terms, guard: Term, count: Term, up: bool) -> Option<Self> {
        let compared = Compared::of(terms, &[guard, count]);
        if !compared.only || compared.numbers.len() > MOST_INPUTS {
            return None;
        }
        let inputs = compared.numbers.into_iter().map(|(unknown, numbers)| {
            let other = (0..=MOST_VALUES).find(|value| !numbers.contains(value));
            (unknown, numbers.into_iter().chain(other).collect())
        });
        Some(Self { inputs: inputs.collect(), ranges: terms.ranges(&[guard, count]), up })
    }

    /// Looks for something better than what is known.
    pub fn run(mut self, known: Option<u64>) -> Found {
        let worst = if self.up { 0 } else { u64::MAX };
        let mut found = Found { best: None, bound: known.unwrap_or(worst) };
        let mut best = known;
        self.descend(0, &mut best, &mut found);
        if let Some((value, _)) = &found.best {
            found.bound = self.further(*value, found.bound);
        }
        found
    }

    fn better(&self, value: u64, than: u64) -> bool {
        if self.up { value > than } else { value < than }
    }

    fn further(&self, one: u64, other: u64) -> u64 {
        if self.better(one, other) { one } else { other }
    }

    /// The best that the count can be here, if anything can come here.
    fn promise(&self) -> Option<u64> {
        let count = self.ranges.of(COUNT);
        (self.ranges.of(GUARD).high == 1).then_some(if self.up { count.high } else { count.low })
    }

    /// Chooses the inputs from one on; there are [`MOST_INPUTS`] at most.
    fn descend(&mut self, depth: usize, best: &mut Option<u64>, found: &mut Found) {
        let Some(promise) = self.promise() else { return };
        if best.is_some_and(|best| !self.better(promise, best)) {
            return;
        }
        if self.ranges.spent > MOST_OPERATIONS {
            found.bound = self.further(promise, found.bound);
            return;
        }
        let Some((unknown, values)) = self.inputs.get(depth).cloned() else {
            return self.arrive(promise, best, found);
        };
        let mark = self.ranges.mark();
        let mut ways: Vec<(u64, u64)> = Vec::new();
        for value in values {
            self.ranges.set(unknown, Some(Range::one(value)));
            ways.extend(self.promise().map(|promise| (promise, value)));
            self.ranges.undo(mark);
        }
        ways.sort_by_key(|(promise, value)| (if self.up { u64::MAX - promise } else { *promise }, *value));
        for (_, value) in ways {
            self.ranges.set(unknown, Some(Range::one(value)));
            self.descend(depth + 1, best, found);
            self.ranges.undo(mark);
        }
    }

    /// Every input is chosen.
    fn arrive(&self, promise: u64, best: &mut Option<u64>, found: &mut Found) {
        let (guard, count) = (self.ranges.of(GUARD).number(), self.ranges.of(COUNT).number());
        let (Some(1), Some(value)) = (guard, count) else {
            found.bound = self.further(promise, found.bound);
            return;
        };
        let number = |unknown: Unknown| self.ranges.of_unknown(unknown).and_then(Range::number).unwrap_or(0);
        let model = self.inputs.iter().map(|(unknown, _)| (*unknown, number(*unknown)));
        found.best = Some((value, model.collect()));
        *best = Some(value);
    }
}

/// The numbers with which unknowns are compared.
pub struct Compared {
    /// Of each unknown.
    pub numbers: BTreeMap<Unknown, BTreeSet<u64>>,
    /// Whether nothing else is done with them: then any other value is as good as any other.
    pub only: bool,
}

impl Compared {
    /// Those of some terms.
    pub fn of(terms: &Terms, roots: &[Term]) -> Self {
        let mut compared = Self { numbers: BTreeMap::new(), only: true };
        let unknown = |term: Term| match terms.view(term) {
            View::Unknown(unknown) => Some(unknown),
            _ => None,
        };
        for term in terms.topological(roots) {
            let view = terms.view(term);
            let pair = match view {
                View::Equal(left, right) => [(left, right), (right, left)]
                    .into_iter()
                    .find_map(|(of, with)| Some((unknown(of)?, terms.known(with)?))),
                _ => None,
            };
            match pair {
                Some((unknown, number)) => {
                    compared.numbers.entry(unknown).or_default().insert(number);
                }
                None => compared.only &= view.operands().all(|operand| unknown(operand).is_none()),
            }
        }
        // One that stands for itself is more than compared.
        compared.only &= roots.iter().all(|root| unknown(*root).is_none());
        compared
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prove::Domain;

    /// Sums of choices on two bytes that exclude each other in part, against trying all 65,536 pairs.
    #[test]
    fn what_is_found_is_the_extreme() {
        let mut noise = crate::noise::Noise::new(3);
        for round in 0..60 {
            let mut terms = Terms::new();
            let bytes = [0, 1].map(|number| terms.unknown(Unknown(number), 8));
            let mut count = terms.number(16, 7);
            let mut guard = terms.bit(true);
            for _ in 0..6 {
                let byte = bytes[(noise.bits() % 2) as usize];
                let number = terms.number(8, noise.bits() % 4);
                let equal = terms.equal(byte, number);
                let [then, other] = [0, 1].map(|_| terms.number(16, noise.bits() % 50));
                let part = terms.either(equal, then, other);
                count = terms.add(count, part);
                if noise.bits().is_multiple_of(3) {
                    let not = terms.not(equal);
                    guard = terms.and(guard, not);
                }
            }
            for up in [true, false] {
                let mut wanted: Option<u64> = None;
                for value in 0..0x400u64 {
                    // Values from 4 on are all alike.
                    let model: Model = [(Unknown(0), value & 31), (Unknown(1), value >> 5)].into_iter().collect();
                    if terms.evaluate(guard, &model) == 1 {
                        let found = terms.evaluate(count, &model);
                        wanted = Some(wanted.map_or(found, |best| if up { best.max(found) } else { best.min(found) }));
                    }
                }
                let found = Search::new(&terms, guard, count, up).unwrap().run(None);
                assert_eq!(found.best.as_ref().map(|(value, _)| *value), wanted, "{round}");
                if let Some((value, model)) = found.best {
                    assert_eq!(found.bound, value, "{round}");
                    assert_eq!(terms.evaluate(count, &model), value, "{round}");
                }
            }
        }
    }
}
