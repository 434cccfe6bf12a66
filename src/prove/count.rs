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
        self.least += least;
        self.most += most;
        let width = bits(self.most - self.fixed);
        let more = narrowed(terms, more, width);
        self.varying = Some(match self.varying {
            Some(varying) => {
                let varying = narrowed(terms, varying, width);
                terms.add(varying, more)
            }
            None => more,
        });
    }

    /// Whether it is the same on all paths.
    pub fn constant(&self) -> Option<u64> {
        self.varying.is_none().then_some(self.fixed)
    }

    /// As a 32-bit term.
    pub fn term(&self, terms: &mut Terms) -> Term {
        let fixed = terms.number(BITS, self.fixed);
        match self.varying {
            Some(varying) => {
                let varying = narrowed(terms, varying, BITS);
                terms.add(varying, fixed)
            }
            None => fixed,
        }
    }

    /// One bit: whether it reaches a number, or does not go beyond it if `up` is not set. Told by what differs only.
    pub fn reaches(&self, terms: &mut Terms, number: u64, up: bool) -> Term {
        let Some(varying) = self.varying else {
            return terms.bit(if up { self.fixed >= number } else { self.fixed <= number });
        };
        if number < self.fixed {
            return terms.bit(up);
        }
        let width = terms.width(varying);
        let rest = number - self.fixed;
        if bits(rest) > width {
            return terms.bit(!up);
        }
        let rest = terms.number(width, rest);
        let misses = if up { terms.less(varying, rest) } else { terms.less(rest, varying) };
        terms.not(misses)
    }

    /// One bit: whether it is more than `limit`.
    pub fn exceeds(&self, terms: &mut Terms, limit: u64) -> Term {
        if self.least > limit || self.most <= limit {
            return terms.bit(self.least > limit);
        }
        self.reaches(terms, limit + 1, true)
    }

    /// `left` where `guard` holds, else `right`.
    pub fn either(terms: &mut Terms, guard: Term, left: &Self, right: &Self) -> Self {
        if (left.varying, left.fixed) == (right.varying, right.fixed) {
            return Self { least: left.least.min(right.least), most: left.most.max(right.most), ..*left };
        }
        let fixed = left.fixed.min(right.fixed);
        // As narrow as can be: what is compared later is these few bits.
        let width = bits(left.most.max(right.most) - fixed);
        let mut above = |count: &Self| {
            let rest = terms.number(width, count.fixed - fixed);
            count.varying.map_or(rest, |varying| {
                let varying = narrowed(terms, varying, width);
                terms.add(varying, rest)
            })
        };
        let (above_left, above_right) = (above(left), above(right));
        let varying = terms.either(guard, above_left, above_right);
        Self { varying: Some(varying), fixed, least: left.least.min(right.least), most: left.most.max(right.most) }
    }
}

/// Bits of a number, one at least.
fn bits(number: u64) -> u32 {
    (u64::BITS - number.leading_zeros()).clamp(1, BITS)
}

/// A term that is known to fit, in so many bits.
fn narrowed(terms: &mut Terms, term: Term, width: u32) -> Term {
    if terms.width(term) > width { terms.part(term, 0, width) } else { terms.extend(term, width) }
}
