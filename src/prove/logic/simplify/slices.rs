//! `part`, `join` and the shifts. A join of joins leans to the right: its high operand is never a join, so that where
//! pieces meet is found in one look.

use super::FUEL;
use crate::prove::logic::meaning::ones;
use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

impl Terms {
    /// `width` bits from `low` on.
    pub(in crate::prove::logic) fn make_part(&mut self, value: Term, low: u32, width: u32) -> Term {
        self.part_within(value, low, width, FUEL)
    }

    fn part_within(&mut self, value: Term, low: u32, width: u32, fuel: u32) -> Term {
        let (mut value, mut low) = (value, low);
        loop {
            if width == self.width_of(value) {
                return value;
            }
            match self.view(value) {
                View::Number(number) => return self.make_number(width, number >> low),
                View::Part(of, more) => {
                    value = of;
                    low += more;
                }
                View::Join(_, tail) if low + width <= self.width_of(tail) => value = tail,
                View::Join(head, tail) if low >= self.width_of(tail) => {
                    low -= self.width_of(tail);
                    value = head;
                }
                View::Join(head, tail) => {
                    let cut = self.width_of(tail) - low;
                    let high = self.part_within(head, 0, width - cut, fuel);
                    let low = self.part_within(tail, low, cut, fuel);
                    return self.make_join(high, low);
                }
                view => {
                    let pushed = if fuel == 0 { None } else { self.part_of(view, value, low, width, fuel - 1) };
                    return pushed.unwrap_or_else(|| self.intern(View::Part(value, low), width));
                }
            }
        }
    }

    /// The part of an operation as the operation on parts, where that is smaller.
    fn part_of(&mut self, view: View, value: Term, low: u32, width: u32, fuel: u32) -> Option<Term> {
        let cut = |terms: &mut Self, of: Term| terms.part_within(of, low, width, fuel);
        match view {
            View::Not(of) => {
                let of = cut(self, of);
                Some(self.make_not(of))
            }
            View::And(left, right) | View::Or(left, right) | View::Xor(left, right)
                if self.is_pieces(left) || self.is_pieces(right) =>
            {
                let (left, right) = (cut(self, left), cut(self, right));
                Some(match view {
                    View::And(..) => self.make_and(left, right),
                    View::Or(..) => self.make_or(left, right),
                    _ => self.make_xor(left, right),
                })
            }
            View::Either(condition, then, other) if self.is_pieces(then) || self.is_pieces(other) => {
                let (then, other) = (cut(self, then), cut(self, other));
                Some(self.make_either(condition, then, other))
            }
            View::Add(left, right) | View::Sub(left, right) if low > 0 && width == 1 => {
                self.carry(matches!(view, View::Add(..)), value, left, right, low)
            }
            View::Add(left, right) | View::Sub(left, right) | View::Mul(left, right)
                if low == 0 && (self.is_pieces(left) || self.is_pieces(right)) =>
            {
                let (left, right) = (cut(self, left), cut(self, right));
                Some(match view {
                    View::Add(..) => self.make_add(left, right),
                    View::Sub(..) => self.make_sub(left, right),
                    _ => self.make_mul(left, right),
                })
            }
            _ => None,
        }
    }

    /// The top bit of a sum or a difference of numbers that are one bit narrower: a comparison.
    fn carry(&mut self, sum: bool, value: Term, left: Term, right: Term, at: u32) -> Option<Term> {
        if at + 1 != self.width_of(value) {
            return None;
        }
        if !sum {
            let (left, right) = (self.narrow(left, at)?, self.narrow(right, at)?);
            return Some(self.make_less(left, right));
        }
        let (number, left) = (self.known_of(right)?, self.narrow(left, at)?);
        let (top, low) = (number >> at & 1 == 1, number & ones(at));
        if low == 0 {
            return Some(self.make_number(1, u64::from(top)));
        }
        let least = self.make_number(at, low.wrapping_neg());
        let below = self.make_less(left, least);
        Some(if top { below } else { self.make_not(below) })
    }

    /// A term that has only zeros from `width` on, without them.
    pub(super) fn narrow(&mut self, value: Term, width: u32) -> Option<Term> {
        let zeros = self.zeros_above(value)?;
        (self.width_of(value) - zeros <= width).then(|| self.make_part(value, 0, width))
    }

    /// How many zeros a term begins with, if any.
    pub(super) fn zeros_above(&self, value: Term) -> Option<u32> {
        let (number, width) = match self.view(value) {
            View::Number(number) => (number, self.width_of(value)),
            View::Join(head, _) => (self.known_of(head)?, self.width_of(head)),
            _ => return None,
        };
        let zeros = number.leading_zeros() - (64 - width);
        (zeros > 0).then_some(zeros)
    }

    /// Whether a part of it is found at once.
    fn is_pieces(&self, term: Term) -> bool {
        matches!(self.view(term), View::Number(_) | View::Join(..)) || self.two_numbers(term).is_some()
    }

    /// Where two terms can both be cut: they are joins (or a join and a number) and it makes them simpler.
    pub(super) fn common_cut(&self, left: Term, right: Term) -> Option<u32> {
        let tail = |term: Term| match self.view(term) {
            View::Join(head, tail) => {
                let number = self.known_of(head).is_some() || self.known_of(tail).is_some();
                Some((self.width_of(tail), number))
            }
            _ => None,
        };
        match (tail(left), tail(right)) {
            (Some((one, first)), Some((two, second))) if one == two || first || second => Some(one.max(two)),
            (Some((cut, _)), None) if self.known_of(right).is_some() => Some(cut),
            (None, Some((cut, _))) if self.known_of(left).is_some() => Some(cut),
            _ => None,
        }
    }

    /// `high` above `low`.
    pub(in crate::prove::logic) fn make_join(&mut self, high: Term, low: Term) -> Term {
        if let View::Join(head, tail) = self.view(high) {
            let low = self.make_join(tail, low);
            return self.make_join(head, low);
        }
        if let View::Join(head, tail) = self.view(low) {
            if let Some(merged) = self.merged(high, head) {
                return self.make_join(merged, tail);
            }
        } else if let Some(merged) = self.merged(high, low) {
            return merged;
        }
        let width = self.width_of(high) + self.width_of(low);
        self.intern(View::Join(high, low), width)
    }

    /// Two neighbours as one piece: numbers, or what was one piece before.
    fn merged(&mut self, high: Term, low: Term) -> Option<Term> {
        let width = self.width_of(high) + self.width_of(low);
        match (self.view(high), self.view(low)) {
            (View::Part(of, from), View::Part(same, start)) if of == same && start + self.width_of(low) == from => {
                Some(self.make_part(of, start, width))
            }
            (View::Number(_), View::Number(_)) => self.folded(View::Join(high, low), width),
            (View::Either(one, ..), View::Either(two, ..)) if one == two => self.folded(View::Join(high, low), width),
            _ => None,
        }
    }

    /// A shift, of whichever kind.
    pub(in crate::prove::logic) fn make_shift(&mut self, value: Term, by: Term, kind: fn(Term, Term) -> View) -> Term {
        let view = kind(value, by);
        let width = self.width_of(value);
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match (self.known_of(value), self.known_of(by)) {
            (Some(0), _) | (_, Some(0)) => value,
            (_, Some(count)) => self.shift_by(view, value, count.min(u64::from(width)) as u32),
            _ => self.intern(view, width),
        }
    }

    fn shift_by(&mut self, view: View, value: Term, count: u32) -> Term {
        let width = self.width_of(value);
        let new = match view {
            View::ShiftRightSigned(..) => {
                let sign = self.make_part(value, width - 1, 1);
                let (ones, zeros) = (self.make_number(count, u64::MAX), self.make_number(count, 0));
                self.make_either(sign, ones, zeros)
            }
            _ => self.make_number(count, 0),
        };
        if count == width {
            return new;
        }
        if matches!(view, View::ShiftLeft(..)) {
            let kept = self.make_part(value, 0, width - count);
            return self.make_join(kept, new);
        }
        let kept = self.make_part(value, count, width - count);
        self.make_join(new, kept)
    }
}
