//! Sums, differences, products, quotients and remainders.

use crate::prove::logic::meaning::ones;
use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

impl Terms {
    /// The sum.
    pub(in crate::prove::logic) fn make_add(&mut self, left: Term, right: Term) -> Term {
        let (left, right) = self.ordered(left, right);
        let (width, view) = (self.width_of(left), View::Add(left, right));
        if width == 1 {
            return self.make_xor(left, right);
        }
        if self.known_of(right) == Some(0) {
            return left;
        }
        if let Some(term) = self.folded(view, width).or_else(|| self.add_pieces(left, right, width)) {
            return term;
        }
        match (self.view(left), self.view(right)) {
            (View::Add(of, more), View::Number(number)) if let Some(more) = self.known_of(more) => {
                let number = self.make_number(width, more.wrapping_add(number));
                self.make_add(of, number)
            }
            (View::Sub(from, of), View::Number(number)) if let Some(from) = self.known_of(from) => {
                let number = self.make_number(width, from.wrapping_add(number));
                self.make_sub(number, of)
            }
            (View::Sub(of, less), _) if less == right => of,
            (_, View::Sub(of, less)) if less == left => of,
            _ => self.intern(view, width),
        }
    }

    /// A sum in which no bit of one meets a bit of the other from below: no carry goes from piece to piece.
    fn add_pieces(&mut self, left: Term, right: Term, width: u32) -> Option<Term> {
        let cut = [left, right].into_iter().find_map(|term| match self.view(term) {
            View::Join(_, tail) => Some(self.width_of(tail)),
            _ => None,
        })?;
        let known_zero = |terms: &mut Self, of: Term| {
            let low =
                matches!(terms.view(of), View::Join(..) | View::Number(_)).then(|| terms.make_part(of, 0, cut))?;
            (terms.known_of(low) == Some(0)).then_some(())
        };
        let low = match (known_zero(self, left), known_zero(self, right)) {
            (Some(()), _) => self.make_part(right, 0, cut),
            (_, Some(())) => self.make_part(left, 0, cut),
            _ => return None,
        };
        let (left, right) = (self.make_part(left, cut, width - cut), self.make_part(right, cut, width - cut));
        let high = self.make_add(left, right);
        Some(self.make_join(high, low))
    }

    /// The difference.
    pub(in crate::prove::logic) fn make_sub(&mut self, left: Term, right: Term) -> Term {
        let (width, view) = (self.width_of(left), View::Sub(left, right));
        if left == right {
            return self.make_number(width, 0);
        }
        if width == 1 {
            return self.make_xor(left, right);
        }
        if let Some(number) = self.known_of(right) {
            let number = self.make_number(width, number.wrapping_neg());
            return self.make_add(left, number);
        }
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match (self.view(left), self.view(right)) {
            (View::Number(from), View::Add(of, more)) if let Some(more) = self.known_of(more) => {
                let number = self.make_number(width, from.wrapping_sub(more));
                self.make_sub(number, of)
            }
            (View::Number(from), View::Sub(number, of)) if let Some(number) = self.known_of(number) => {
                let number = self.make_number(width, from.wrapping_sub(number));
                self.make_add(of, number)
            }
            (View::Add(one, two), _) if one == right => two,
            (View::Add(one, two), _) if two == right => one,
            _ => self.intern(view, width),
        }
    }

    /// The product.
    pub(in crate::prove::logic) fn make_mul(&mut self, left: Term, right: Term) -> Term {
        let (left, right) = self.ordered(left, right);
        let (width, view) = (self.width_of(left), View::Mul(left, right));
        if width == 1 {
            return self.make_and(left, right);
        }
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match self.known_of(right) {
            Some(0) => right,
            Some(number) if number.is_power_of_two() => {
                let by = self.make_number(width, u64::from(number.trailing_zeros()));
                self.make_shift(left, by, View::ShiftLeft)
            }
            _ => self.intern(view, width),
        }
    }

    /// The unsigned quotient.
    pub(in crate::prove::logic) fn make_quotient(&mut self, left: Term, right: Term) -> Term {
        let (width, view) = (self.width_of(left), View::Quotient(left, right));
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match self.known_of(right) {
            Some(0) => self.make_number(width, ones(width)),
            Some(number) if number.is_power_of_two() => {
                let by = self.make_number(width, u64::from(number.trailing_zeros()));
                self.make_shift(left, by, View::ShiftRight)
            }
            _ => self.intern(view, width),
        }
    }

    /// The unsigned remainder.
    pub(in crate::prove::logic) fn make_remainder(&mut self, left: Term, right: Term) -> Term {
        let (width, view) = (self.width_of(left), View::Remainder(left, right));
        if let Some(term) = self.folded(view, width) {
            return term;
        }
        match self.known_of(right) {
            Some(0) => left,
            Some(number) if number.is_power_of_two() => {
                let mask = self.make_number(width, number - 1);
                self.make_and(left, mask)
            }
            _ => self.intern(view, width),
        }
    }
}
