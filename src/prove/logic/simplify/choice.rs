//! `either`.

use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

impl Terms {
    /// `then` if `condition` is set, else `other`.
    pub(in crate::prove::logic) fn make_either(&mut self, condition: Term, then: Term, other: Term) -> Term {
        let (condition, then, other) = match self.view(condition) {
            View::Number(bit) => return if bit == 1 { then } else { other },
            View::Not(opposite) => (opposite, other, then),
            _ => (condition, then, other),
        };
        let (then, other) = (self.arm(condition, then, true), self.arm(condition, other, false));
        if then == other {
            return then;
        }
        let width = self.width_of(then);
        if width == 1
            && let Some(term) = self.either_bit(condition, then, other)
        {
            return term;
        }
        if let (View::Join(head, tail), View::Join(second, rest)) = (self.view(then), self.view(other))
            && self.width_of(tail) == self.width_of(rest)
            && (head == second || tail == rest)
        {
            let (high, low) = (self.make_either(condition, head, second), self.make_either(condition, tail, rest));
            return self.make_join(high, low);
        }
        self.intern(View::Either(condition, then, other), width)
    }

    /// An arm in which the condition is known.
    fn arm(&self, condition: Term, arm: Term, set: bool) -> Term {
        let mut arm = arm;
        while let View::Either(same, then, other) = self.view(arm)
            && same == condition
        {
            arm = if set { then } else { other };
        }
        arm
    }

    fn either_bit(&mut self, condition: Term, then: Term, other: Term) -> Option<Term> {
        let not = |terms: &mut Self| terms.make_not(condition);
        Some(match (self.known_of(then), self.known_of(other)) {
            (Some(1), Some(0)) => condition,
            (Some(0), Some(1)) => not(self),
            (Some(1), _) => self.make_or(condition, other),
            (Some(0), _) => {
                let not = not(self);
                self.make_and(not, other)
            }
            (_, Some(0)) => self.make_and(condition, then),
            (_, Some(1)) => {
                let not = not(self);
                self.make_or(not, then)
            }
            _ if then == condition => self.make_or(condition, other),
            _ if other == condition => self.make_and(condition, then),
            _ if self.opposite(then, other) => {
                let differ = self.make_xor(condition, then);
                self.make_not(differ)
            }
            _ => return None,
        })
    }
}
