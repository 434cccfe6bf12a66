//! The greatest or smallest value of a term whose unknowns are only compared with numbers: a search over the values that
//! are told apart, byte by byte, which leaves out whatever cannot be better than what is known.
//!
//! A solver has a hard time with long sums; here the parts of a sum become numbers as soon as the bytes that they hang on
//! are chosen. Intervals of what is not chosen yet bound every part of the search, so what is found is exact, or a bound.

use std::collections::{BTreeMap, BTreeSet};

use super::logic::{Model, Term, Terms, Unknown, View};

/// Operations that one search may take.
const MOST_OPERATIONS: u64 = 30_000_000;

/// Unknowns that one search may have: it goes as deep as there are.
const MOST_INPUTS: usize = 1000;

/// A range of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Range {
    low: u64,
    high: u64,
}

impl Range {
    const fn one(number: u64) -> Self {
        Self { low: number, high: number }
    }

    fn all(width: u32) -> Self {
        Self { low: 0, high: u64::MAX >> (64 - width) }
    }

    fn number(self) -> Option<u64> {
        (self.low == self.high).then_some(self.low)
    }

    fn hull(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
}

/// One operation.
#[derive(Clone, Copy, Debug)]
struct Op {
    view: View,
    width: u32,
    operands: [u32; 3],
    low_width: u32,
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// The best value that is reached, and inputs, if any was better than the one known before.
    pub best: Option<(u64, Model)>,
    /// Nothing goes beyond this.
    pub bound: u64,
}

/// A search.
pub struct Search {
    ops: Vec<Op>,
    ranges: Vec<Range>,
    /// The unknowns in order, with their places and the values that are told apart.
    inputs: Vec<(Unknown, u32, Vec<u64>)>,
    /// Which operations hang on an input or one after it.
    guard: u32,
    count: u32,
    up: bool,
    spent: u64,
}

impl Search {
    /// A search for the greatest (`up`) or smallest value of `count` where `guard` holds; nothing if any unknown is more
    /// than compared with numbers.
    pub fn new(terms: &Terms, guard: Term, count: Term, up: bool) -> Option<Self> {
        let order = terms.topological(&[guard, count]);
        let mut places: BTreeMap<Term, u32> = BTreeMap::new();
        let mut numbers: BTreeMap<Unknown, (u32, u32, BTreeSet<u64>)> = BTreeMap::new();
        let mut compared: BTreeSet<Unknown> = BTreeSet::new();
        let mut ops = Vec::with_capacity(order.len());
        for (place, term) in (0u32..).zip(order) {
            let view = terms.view(term);
            let width = terms.bits_of(term);
            let mut operands = [0; 3];
            let mut low_width = width;
            for (slot, operand) in operands.iter_mut().zip(view.operands()) {
                *slot = places[&operand];
            }
            match view {
                View::Unknown(unknown) => {
                    numbers.insert(unknown, (place, width, BTreeSet::new()));
                }
                View::Equal(left, right) => {
                    for (of, with) in [(left, right), (right, left)] {
                        if let (View::Unknown(unknown), View::Number(number)) = (terms.view(of), terms.view(with)) {
                            compared.insert(unknown);
                            numbers.get_mut(&unknown)?.2.insert(number);
                        }
                    }
                }
                View::Join(_, low) => low_width = terms.bits_of(low),
                _ => {}
            }
            // An unknown in any other place would have more than these values.
            let other_use = !matches!(view, View::Equal(..))
                && view.operands().any(|operand| matches!(terms.view(operand), View::Unknown(_)));
            if other_use {
                return None;
            }
            places.insert(term, place);
            ops.push(Op { view, width, operands, low_width });
        }
        let inputs = numbers.into_iter().filter(|(unknown, _)| compared.contains(unknown));
        let inputs: Vec<(Unknown, u32, Vec<u64>)> = inputs
            .map(|(unknown, (place, width, numbers))| {
                let other = (0..=Range::all(width).high).find(|value| !numbers.contains(value));
                (unknown, place, numbers.into_iter().chain(other).collect())
            })
            .collect();
        if inputs.len() > MOST_INPUTS {
            return None;
        }
        let ranges = ops.iter().map(|op| Range::all(op.width)).collect();
        let (guard, count) = (places[&guard], places[&count]);
        Some(Self { ops, ranges, inputs, guard, count, up, spent: 0 })
    }

    /// Looks for something better than what is known.
    pub fn run(mut self, known: Option<u64>) -> Found {
        let worst = if self.up { 0 } else { u64::MAX };
        let mut found = Found { best: None, bound: known.unwrap_or(worst) };
        let mut best = known;
        self.evaluate();
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
        let count = self.ranges[self.count as usize];
        (self.ranges[self.guard as usize].high == 1).then_some(if self.up { count.high } else { count.low })
    }

    /// Chooses the inputs from one on. The depth is the number of inputs: a few hundred bytes of a header.
    fn descend(&mut self, depth: usize, best: &mut Option<u64>, found: &mut Found) {
        let Some(promise) = self.promise() else { return };
        if best.is_some_and(|best| !self.better(promise, best)) {
            return;
        }
        if self.spent > MOST_OPERATIONS {
            found.bound = self.further(promise, found.bound);
            return;
        }
        let Some((_, place, values)) = self.inputs.get(depth).cloned() else {
            if self.ranges[self.guard as usize].number() == Some(1)
                && let Some(value) = self.ranges[self.count as usize].number()
            {
                let model = self
                    .inputs
                    .iter()
                    .map(|(unknown, place, _)| (*unknown, self.ranges[*place as usize].number().unwrap_or(0)));
                found.best = Some((value, model.collect()));
                *best = Some(value);
            } else {
                found.bound = self.further(promise, found.bound);
            }
            return;
        };
        let before = self.ranges.clone();
        let mut ways: Vec<(u64, u64)> = Vec::new();
        for value in values {
            self.choose(place, Range::one(value), &before);
            if let Some(promise) = self.promise() {
                ways.push((promise, value));
            }
        }
        ways.sort_by_key(|(promise, value)| (if self.up { u64::MAX - promise } else { *promise }, *value));
        for (_, value) in ways {
            self.choose(place, Range::one(value), &before);
            self.descend(depth + 1, best, found);
        }
        self.ranges = before;
    }

    fn choose(&mut self, place: u32, range: Range, before: &[Range]) {
        self.ranges.copy_from_slice(before);
        self.ranges[place as usize] = range;
        self.evaluate();
    }

    fn evaluate(&mut self) {
        self.spent += self.ops.len() as u64;
        for place in 0..self.ops.len() {
            let op = self.ops[place];
            // What is a number stays one.
            if self.ranges[place].number().is_none() && !matches!(op.view, View::Unknown(_)) {
                self.ranges[place] = self.range(op);
            }
        }
    }

    fn range(&self, op: Op) -> Range {
        let [first, second, third] = op.operands.map(|place| self.ranges[place as usize]);
        let all = Range::all(op.width);
        match op.view {
            View::Number(number) => Range::one(number),
            View::Not(_) => Range { low: all.high - first.high, high: all.high - first.low },
            View::And(..) if op.width == 1 => Range { low: first.low & second.low, high: first.high & second.high },
            View::Or(..) if op.width == 1 => Range { low: first.low | second.low, high: first.high | second.high },
            View::Equal(..) => match (first.number(), second.number()) {
                (Some(left), Some(right)) => Range::one(u64::from(left == right)),
                _ if first.high < second.low || second.high < first.low => Range::one(0),
                _ => all,
            },
            View::Less(..) if first.high < second.low => Range::one(1),
            View::Less(..) if first.low >= second.high => Range::one(0),
            View::Either(..) => match first.number() {
                Some(1) => second,
                Some(_) => third,
                None => second.hull(third),
            },
            View::Add(..) => match first.high.checked_add(second.high).filter(|high| *high <= all.high) {
                Some(high) => Range { low: first.low + second.low, high },
                None => self.numbers(op).unwrap_or(all),
            },
            View::Part(_, 0) if first.high <= all.high => first,
            View::Join(..) if first == Range::one(0) => second,
            _ => self.numbers(op).unwrap_or(all),
        }
    }

    /// What an operation gives where all of its operands are numbers.
    fn numbers(&self, op: Op) -> Option<Range> {
        let mut operands = [0; 3];
        let count = op.view.operands().count();
        for (slot, place) in operands.iter_mut().zip(op.operands).take(count) {
            *slot = self.ranges[place as usize].number()?;
        }
        Some(Range::one(op.view.of_numbers(op.width, operands, op.low_width)))
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
                if noise.bits() % 3 == 0 {
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
