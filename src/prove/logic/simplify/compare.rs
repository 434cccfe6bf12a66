//! `equal` and `less`.

use crate::prove::logic::meaning::ones;
use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

/// What becomes of an equality.
enum Step {
    /// It is this.
    Done(Term),
    /// It is the equality of these.
    Go(Term, Term),
    /// Nothing.
    Stay,
}

impl Terms {
    /// Whether two terms are equal. What can be undone on both sides is undone in a loop, since there can be much of it.
    pub(in crate::prove::logic) fn make_equal(&mut self, left: Term, right: Term) -> Term {
        let (mut left, mut right) = (left, right);
        loop {
            (left, right) = self.ordered(left, right);
            if left == right {
                return self.make_number(1, 1);
            }
            let width = self.width_of(left);
            if width == 1 {
                let differ = self.make_xor(left, right);
                return self.make_not(differ);
            }
            let view = View::Equal(left, right);
            if let Some(term) = self.folded(view, 1) {
                return term;
            }
            if let Some(cut) = self.common_cut(left, right) {
                let high = (self.make_part(left, cut, width - cut), self.make_part(right, cut, width - cut));
                let low = (self.make_part(left, 0, cut), self.make_part(right, 0, cut));
                let (high, low) = (self.make_equal(high.0, high.1), self.make_equal(low.0, low.1));
                return self.make_and(high, low);
            }
            let step = match self.known_of(right) {
                Some(number) => self.equal_to_number(left, number, width),
                None => self.equal_sides(left, right, width),
            };
            match step {
                Step::Done(term) => return term,
                Step::Go(one, two) => (left, right) = (one, two),
                Step::Stay => return self.intern(view, 1),
            }
        }
    }

    fn equal_to_number(&mut self, left: Term, number: u64, width: u32) -> Step {
        let known = |term: Term| self.known_of(term);
        let (of, number) = match self.view(left) {
            View::Not(of) => (of, !number),
            View::Add(of, more) if let Some(more) = known(more) => (of, number.wrapping_sub(more)),
            View::Xor(of, mask) if let Some(mask) = known(mask) => (of, number ^ mask),
            View::Sub(from, of) if let Some(from) = known(from) => (of, from.wrapping_sub(number)),
            View::Sub(one, two) | View::Xor(one, two) if number == 0 => return Step::Go(one, two),
            View::And(_, mask) if known(mask).is_some_and(|mask| number & !mask != 0) => {
                return Step::Done(self.make_number(1, 0));
            }
            View::Or(_, mask) if known(mask).is_some_and(|mask| mask & !number != 0) => {
                return Step::Done(self.make_number(1, 0));
            }
            _ => return Step::Stay,
        };
        let number = self.make_number(width, number);
        Step::Go(of, number)
    }

    fn equal_sides(&mut self, left: Term, right: Term, width: u32) -> Step {
        let plus = |term: Term| match self.view(term) {
            View::Add(of, more) => self.known_of(more).map(|more| (of, more)),
            _ => None,
        };
        match (plus(left), plus(right)) {
            (Some((one, more)), Some((two, other))) => {
                let number = self.make_number(width, other.wrapping_sub(more));
                let two = self.make_add(two, number);
                return Step::Go(one, two);
            }
            // What is added is never 0.
            (Some((of, _)), _) if of == right => return Step::Done(self.make_number(1, 0)),
            (_, Some((of, _))) if of == left => return Step::Done(self.make_number(1, 0)),
            _ => {}
        }
        match (self.view(left), self.view(right)) {
            (View::Not(one), View::Not(two)) => Step::Go(one, two),
            _ if self.opposite(left, right) => Step::Done(self.make_number(1, 0)),
            _ => Step::Stay,
        }
    }

    /// Whether `left` is the smaller unsigned number.
    pub(in crate::prove::logic) fn make_less(&mut self, left: Term, right: Term) -> Term {
        let (width, view) = (self.width_of(left), View::Less(left, right));
        if left == right {
            return self.make_number(1, 0);
        }
        if width == 1 {
            let not = self.make_not(left);
            return self.make_and(not, right);
        }
        if let Some(term) = self.folded(view, 1) {
            return term;
        }
        let most = ones(width);
        match (self.known_of(left), self.known_of(right)) {
            (_, Some(0)) => right_bit(self, 0),
            (Some(number), _) if number == most => right_bit(self, 0),
            (_, Some(1)) => {
                let zero = self.make_number(width, 0);
                self.make_equal(left, zero)
            }
            (Some(0), _) | (_, Some(_)) if self.known_of(left) == Some(0) || self.known_of(right) == Some(most) => {
                let equal = self.make_equal(left, right);
                self.make_not(equal)
            }
            (Some(number), _) if number == most - 1 => {
                let number = self.make_number(width, most);
                self.make_equal(right, number)
            }
            _ => self.less_of_pieces(left, right, width).unwrap_or_else(|| self.intern(view, 1)),
        }
    }

    /// A comparison that only some of the bits decide.
    fn less_of_pieces(&mut self, left: Term, right: Term, width: u32) -> Option<Term> {
        let zeros = |term: Term| self.zeros_above(term).unwrap_or(0);
        let (above_left, above_right) = (zeros(left), zeros(right));
        let (both, most) = (above_left.min(above_right), above_left.max(above_right));
        if both > 0 && both < width {
            let (left, right) = (self.make_part(left, 0, width - both), self.make_part(right, 0, width - both));
            return Some(self.make_less(left, right));
        }
        if both == 0 && most > 0 {
            // The other is a number with its top bit set (so the larger), or not known.
            let (known_left, known_right) = (self.known_of(left).is_some(), self.known_of(right).is_some());
            if known_left || known_right {
                let (left_zero, right_zero) = (above_left > 0, above_right > 0);
                if known_right && left_zero {
                    return Some(right_bit(self, 1));
                }
                if known_left && right_zero {
                    return Some(right_bit(self, 0));
                }
            }
        }
        self.less_by_tail(left, right, width)
    }

    /// Joins with the same head are compared by their tails, and those with a tail that cannot matter by their heads.
    fn less_by_tail(&mut self, left: Term, right: Term, width: u32) -> Option<Term> {
        let cut = self.common_cut(left, right)?;
        let high = (self.make_part(left, cut, width - cut), self.make_part(right, cut, width - cut));
        let low = (self.make_part(left, 0, cut), self.make_part(right, 0, cut));
        if high.0 == high.1 {
            return Some(self.make_less(low.0, low.1));
        }
        let decided = self.known_of(low.1) == Some(0) || self.known_of(low.0) == Some(ones(cut)) || low.0 == low.1;
        decided.then(|| self.make_less(high.0, high.1))
    }
}

fn right_bit(terms: &mut Terms, value: u64) -> Term {
    terms.make_number(1, value)
}
