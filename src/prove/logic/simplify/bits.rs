//! `not`, `and`, `or`, `xor`.

use super::FUEL;
use crate::prove::logic::meaning::ones;
use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

impl Terms {
    /// Every bit the other way.
    pub(in crate::prove::logic) fn make_not(&mut self, value: Term) -> Term {
        let width = self.width_of(value);
        if let Some((condition, then, other)) = self.two_numbers(value) {
            let (then, other) = (self.make_number(width, !then), self.make_number(width, !other));
            return self.make_either(condition, then, other);
        }
        match self.view(value) {
            View::Number(number) => self.make_number(width, !number),
            View::Not(of) => of,
            _ => self.intern(View::Not(value), width),
        }
    }

    /// Bits that are set in both.
    pub(in crate::prove::logic) fn make_and(&mut self, left: Term, right: Term) -> Term {
        let (left, right) = self.ordered(left, right);
        let (width, view) = (self.width_of(left), View::And(left, right));
        match self.known_of(right) {
            Some(0) => return right,
            Some(number) if number == ones(width) => return left,
            _ => {}
        }
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        if let Some(term) = self.and_by_form(left, right).or_else(|| self.and_by_form(right, left)) {
            return term;
        }
        if let Some(term) = self.piecewise(view, width) {
            return term;
        }
        match (self.view(left), self.known_of(right)) {
            (View::And(of, mask), Some(number)) if let Some(mask) = self.known_of(mask) => {
                let mask = self.make_number(width, mask & number);
                self.make_and(of, mask)
            }
            (_, Some(mask)) if let Some((from, count)) = run(mask) => {
                let (below, above) = (self.zeros(from), self.zeros(width - from - count));
                let middle = self.make_part(left, from, count);
                self.sandwich(above, middle, below)
            }
            _ => self.intern(view, width),
        }
    }

    /// Bits that are set in one of them.
    pub(in crate::prove::logic) fn make_or(&mut self, left: Term, right: Term) -> Term {
        self.or_within(left, right, FUEL)
    }

    pub(super) fn or_within(&mut self, left: Term, right: Term, fuel: u32) -> Term {
        let (left, right) = self.ordered(left, right);
        let (width, view) = (self.width_of(left), View::Or(left, right));
        match self.known_of(right) {
            Some(0) => return left,
            Some(number) if number == ones(width) => return right,
            _ => {}
        }
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        if let Some(term) = self.or_by_form(left, right, fuel).or_else(|| self.or_by_form(right, left, fuel)) {
            return term;
        }
        if let Some(term) = self.piecewise(view, width) {
            return term;
        }
        match (self.view(left), self.known_of(right)) {
            (View::Or(of, mask), Some(number)) if let Some(mask) = self.known_of(mask) => {
                let mask = self.make_number(width, mask | number);
                self.make_or(of, mask)
            }
            (_, Some(mask)) if let Some((from, count)) = run(mask) => {
                let middle = self.make_number(count, u64::MAX);
                let below = (from > 0).then(|| self.make_part(left, 0, from));
                let end = from + count;
                let above = (end < width).then(|| self.make_part(left, end, width - end));
                self.sandwich(above, middle, below)
            }
            _ => self.intern(view, width),
        }
    }

    /// Bits that differ.
    pub(in crate::prove::logic) fn make_xor(&mut self, left: Term, right: Term) -> Term {
        let (left, right) = self.ordered(left, right);
        let (width, view) = (self.width_of(left), View::Xor(left, right));
        if left == right {
            return self.make_number(width, 0);
        }
        match self.known_of(right) {
            Some(0) => return left,
            Some(number) if number == ones(width) => return self.make_not(left),
            _ => {}
        }
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match (self.view(left), self.view(right)) {
            (View::Not(of), View::Number(number)) => {
                let number = self.make_number(width, !number);
                self.make_xor(of, number)
            }
            (View::Not(left), View::Not(right)) => self.make_xor(left, right),
            (View::Not(of), _) => {
                let inner = self.make_xor(of, right);
                self.make_not(inner)
            }
            (_, View::Not(of)) => {
                let inner = self.make_xor(left, of);
                self.make_not(inner)
            }
            (View::Xor(of, mask), View::Number(number)) if let Some(mask) = self.known_of(mask) => {
                let mask = self.make_number(width, mask ^ number);
                self.make_xor(of, mask)
            }
            (View::Xor(one, two), _) if one == right => two,
            (View::Xor(one, two), _) if two == right => one,
            (_, View::Xor(one, two)) if one == left => two,
            (_, View::Xor(one, two)) if two == left => one,
            _ => self.piecewise(view, width).unwrap_or_else(|| self.intern(view, width)),
        }
    }

    /// An operation bit by bit on joins, as the join of what it does with their pieces: where they are cut alike, or a
    /// piece is a number.
    fn piecewise(&mut self, view: View, width: u32) -> Option<Term> {
        let mut operands = view.operands();
        let (left, right) = (operands.next()?, operands.next()?);
        let cut = self.common_cut(left, right)?;
        let high = (self.make_part(left, cut, width - cut), self.make_part(right, cut, width - cut));
        let low = (self.make_part(left, 0, cut), self.make_part(right, 0, cut));
        let mut apply = |(left, right): (Term, Term)| match view {
            View::And(..) => self.make_and(left, right),
            View::Or(..) => self.make_or(left, right),
            _ => self.make_xor(left, right),
        };
        let (high, low) = (apply(high), apply(low));
        Some(self.make_join(high, low))
    }

    fn zeros(&mut self, width: u32) -> Option<Term> {
        (width > 0).then(|| self.make_number(width, 0))
    }

    fn sandwich(&mut self, above: Option<Term>, middle: Term, below: Option<Term>) -> Term {
        let low = below.map_or(middle, |below| self.make_join(middle, below));
        above.map_or(low, |above| self.make_join(above, low))
    }
}

/// Where the set bits of a number begin and how many they are, if there is no gap between them.
fn run(number: u64) -> Option<(u32, u32)> {
    let (from, count) = (number.trailing_zeros(), number.count_ones());
    (number != 0 && number >> from == ones(count)).then_some((from, count))
}
