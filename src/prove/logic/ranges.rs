//! Terms of which only some unknowns have a number: a range that each is certain to lie in. A range may be too wide and
//! never too narrow.

use super::model::Unknown;
use super::row::{Op, Row};
use super::term::{Term, Terms};
use super::view::View;

/// A range of numbers, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// The smallest.
    pub low: u64,
    /// The greatest.
    pub high: u64,
}

impl Range {
    /// One number.
    pub const fn one(number: u64) -> Self {
        Self { low: number, high: number }
    }

    /// All numbers of so many bits.
    pub const fn all(width: u32) -> Self {
        Self { low: 0, high: u64::MAX >> (64 - width) }
    }

    /// The number, if it is one.
    pub fn number(self) -> Option<u64> {
        (self.low == self.high).then_some(self.low)
    }

    fn hull(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
}

/// Terms, and the ranges that they lie in.
#[derive(Clone, Debug)]
pub struct Ranges {
    row: Row,
    ranges: Vec<Range>,
    /// What was before each change, to take it back.
    log: Vec<(u32, Range)>,
    /// Operations done so far.
    pub spent: u64,
}

impl Terms {
    /// Lays terms out. Every unknown can be anything at first.
    pub fn ranges(&self, terms: &[Term]) -> Ranges {
        let row = Row::new(self, terms);
        let ranges = row.ops.iter().map(|op| Range::all(op.width)).collect();
        let mut ranges = Ranges { row, ranges, log: Vec::new(), spent: 0 };
        ranges.settle();
        ranges.log.clear();
        ranges
    }
}

impl Ranges {
    /// The unknowns that occur, in order.
    pub fn unknowns(&self) -> impl Iterator<Item = Unknown> + '_ {
        self.row.inputs.keys().copied()
    }

    /// The range of one of the terms that were laid out.
    pub fn of(&self, root: usize) -> Range {
        self.ranges[self.row.roots[root] as usize]
    }

    /// The range that an unknown was given.
    pub fn of_unknown(&self, unknown: Unknown) -> Option<Range> {
        self.row.inputs.get(&unknown).map(|place| self.ranges[*place as usize])
    }

    /// Lets an unknown be in a range, or anything again.
    pub fn set(&mut self, unknown: Unknown, range: Option<Range>) {
        if let Some(place) = self.row.inputs.get(&unknown).copied() {
            let range = range.unwrap_or(Range::all(self.row.ops[place as usize].width));
            self.change(place as usize, range);
            self.settle();
        }
    }

    /// Where [`Ranges::undo`] goes back to.
    pub fn mark(&self) -> usize {
        self.log.len()
    }

    /// Takes back what was set since a mark.
    pub fn undo(&mut self, mark: usize) {
        while self.log.len() > mark {
            if let Some((place, before)) = self.log.pop() {
                self.ranges[place as usize] = before;
            }
        }
    }

    fn change(&mut self, place: usize, range: Range) {
        if self.ranges[place] != range {
            self.log.push((place as u32, self.ranges[place]));
            self.ranges[place] = range;
            self.row.changed(place);
        }
    }

    fn settle(&mut self) {
        let mut from = 0;
        while let Some(place) = self.row.next_stale(from) {
            from = place + 1;
            self.spent += 1;
            let op = self.row.ops[place];
            if !matches!(op.view, View::Unknown(_)) {
                let range = self.range(op);
                self.change(place, range);
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
        Some(Range::one(op.view.of_numbers(op.width, operands, op.last_width)))
    }
}
