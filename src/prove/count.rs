//! Instructions and clock cycles of a state: a number that may differ between the paths which came together in it.

use super::Domain;
use super::logic::{Term, Terms};

/// Bits of a count.
const BITS: u32 = 32;

/// A count, exact for every path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// What differs between paths, on top of `fixed`.
    varying: Option<Term>,
    fixed: u64,
    /// No path has fewer.
    pub least: u64,
    /// No path has more.
    pub most: u64,
}

impl Count {
    /// Nothing yet.
    pub const ZERO: Self = Self { varying: None, fixed: 0, least: 0, most: 0 };

    /// So many more on every path.
    pub fn add(&mut self, more: u64) {
        self.fixed += more;
        self.least += more;
        self.most += more;
    }

    /// More by a 32-bit number that lies between these bounds.
    pub fn add_term(&mut self, terms: &mut Terms, more: Term, least: u64, most: u64) {
        if let Some(number) = terms.known(more) {
            return self.add(number);
        }
        self.varying = Some(match self.varying {
            Some(varying) => terms.add(varying, more),
            None => more,
        });
        self.least += least;
        self.most += most;
    }

    /// Whether it is the same on all paths.
    pub fn constant(&self) -> Option<u64> {
        self.varying.is_none().then_some(self.fixed)
    }

    /// As a 32-bit term.
    pub fn term(&self, terms: &mut Terms) -> Term {
        let fixed = terms.number(BITS, self.fixed);
        match self.varying {
            Some(varying) => terms.add(varying, fixed),
            None => fixed,
        }
    }

    /// One bit: whether it is more than `limit`.
    pub fn exceeds(&self, terms: &mut Terms, limit: u64) -> Term {
        if self.least > limit || self.most <= limit {
            return terms.bit(self.least > limit);
        }
        let (count, limit) = (self.term(terms), terms.number(BITS, limit));
        terms.less(limit, count)
    }

    /// `left` where `guard` holds, else `right`.
    pub fn either(terms: &mut Terms, guard: Term, left: &Self, right: &Self) -> Self {
        if (left.varying, left.fixed) == (right.varying, right.fixed) {
            return Self { least: left.least.min(right.least), most: left.most.max(right.most), ..*left };
        }
        let fixed = left.fixed.min(right.fixed);
        let mut above = |count: &Self| {
            let rest = terms.number(BITS, count.fixed - fixed);
            count.varying.map_or(rest, |varying| terms.add(varying, rest))
        };
        let (above_left, above_right) = (above(left), above(right));
        let varying = terms.either(guard, above_left, above_right);
        Self { varying: Some(varying), fixed, least: left.least.min(right.least), most: left.most.max(right.most) }
    }
}
