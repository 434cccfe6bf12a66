//! What follows for `and` and `or` when one operand implies or contradicts the other, or shares a part with it.

use crate::prove::logic::meaning::ones;
use crate::prove::logic::term::{Term, Terms};
use crate::prove::logic::view::View;

impl Terms {
    /// The term and number of an equality with a number.
    fn equal_number(&self, term: Term) -> Option<(Term, u64)> {
        match self.view(term) {
            View::Equal(of, number) => Some((of, self.known_of(number)?)),
            _ => None,
        }
    }

    /// The same of the opposite of one.
    fn unequal_number(&self, term: Term) -> Option<(Term, u64)> {
        match self.view(term) {
            View::Not(of) => self.equal_number(of),
            _ => None,
        }
    }

    /// Whether no bit can be set in both, as far as one look can tell.
    fn exclude(&self, left: Term, right: Term) -> bool {
        let differ = |(of, number): (Term, u64), (other, wanted): (Term, u64)| of == other && number != wanted;
        self.opposite(left, right)
            || self.equal_number(left).zip(self.equal_number(right)).is_some_and(|(left, right)| differ(left, right))
    }

    /// Whether every bit is set in one of them.
    fn exhaust(&self, left: Term, right: Term) -> bool {
        let differ = |(of, number): (Term, u64), (other, wanted): (Term, u64)| of == other && number != wanted;
        self.opposite(left, right)
            || self
                .unequal_number(left)
                .zip(self.unequal_number(right))
                .is_some_and(|(left, right)| differ(left, right))
    }

    /// Whether each bit of the first is set in the second too.
    fn implies(&self, left: Term, right: Term) -> bool {
        let differ = |(of, number): (Term, u64), (other, wanted): (Term, u64)| of == other && number != wanted;
        left == right
            || self.equal_number(left).zip(self.unequal_number(right)).is_some_and(|(left, right)| differ(left, right))
    }

    /// What `left & right` is because of how `right` is made.
    pub(super) fn and_by_form(&mut self, left: Term, right: Term) -> Option<Term> {
        if self.exclude(left, right) {
            return Some(self.make_number(self.width_of(left), 0));
        }
        if self.implies(left, right) {
            return Some(left);
        }
        match self.view(right) {
            View::And(one, two) if self.exclude(left, one) || self.exclude(left, two) => {
                Some(self.make_number(self.width_of(left), 0))
            }
            View::And(one, two) if self.implies(one, left) || self.implies(two, left) => Some(right),
            View::Or(one, two) if self.implies(left, one) || self.implies(left, two) => Some(left),
            View::Or(one, two) if self.opposite(left, one) => Some(self.make_and(left, two)),
            View::Or(one, two) if self.opposite(left, two) => Some(self.make_and(left, one)),
            View::Or(one, two) => {
                let View::Or(three, four) = self.view(left) else { return None };
                self.shared(one, two, three, four).filter(|&(_, two, four)| self.opposite(two, four)).map(|all| all.0)
            }
            _ => None,
        }
    }

    /// What `left | right` is because of how `right` is made.
    pub(super) fn or_by_form(&mut self, left: Term, right: Term, fuel: u32) -> Option<Term> {
        if self.exhaust(left, right) {
            return Some(self.make_number(self.width_of(left), ones(64)));
        }
        if self.implies(left, right) {
            return Some(right);
        }
        match self.view(right) {
            View::Or(one, two) if self.exhaust(left, one) || self.exhaust(left, two) => {
                Some(self.make_number(self.width_of(left), ones(64)))
            }
            View::Or(one, two) if self.implies(left, one) || self.implies(left, two) => Some(right),
            View::And(one, two) if self.implies(one, left) || self.implies(two, left) => Some(left),
            View::And(one, two) if self.opposite(left, one) => Some(self.make_or(left, two)),
            View::And(one, two) if self.opposite(left, two) => Some(self.make_or(left, one)),
            View::And(one, two) if fuel > 0 => {
                let View::And(three, four) = self.view(left) else { return None };
                let (both, two, four) = self.shared(one, two, three, four)?;
                if self.opposite(two, four) {
                    return Some(both);
                }
                let rest = self.or_within(four, two, fuel - 1);
                Some(self.make_and(both, rest))
            }
            _ => None,
        }
    }

    /// The term that is in both pairs, and what is left of each.
    fn shared(&self, one: Term, two: Term, three: Term, four: Term) -> Option<(Term, Term, Term)> {
        [(one, two, three, four), (one, two, four, three), (two, one, three, four), (two, one, four, three)]
            .into_iter()
            .find(|&(one, _, three, _)| one == three)
            .map(|(both, two, _, four)| (both, two, four))
    }
}
