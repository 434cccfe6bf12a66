//! The constructors of terms. Each looks at the operation and at what its operands are made of, one or two levels down,
//! and never further: a term costs the same however deep it is. Where a rule makes a smaller question of the same kind,
//! either the width shrinks with it (so at most 64 times) or it has `FUEL`.

mod arithmetic;
mod bits;
mod choice;
mod compare;
mod logic;
mod slices;

use super::meaning::{meaning, ones};
use super::term::{Term, Terms};
use super::view::View;

/// How many levels a rule may go down that does not make terms narrower.
const FUEL: u32 = 6;

impl Terms {
    /// A number of some width.
    pub(super) fn make_number(&mut self, width: u32, value: u64) -> Term {
        self.intern(View::Number(value & ones(width)), width)
    }

    /// The two, an older term first and a number last.
    fn ordered(&self, left: Term, right: Term) -> (Term, Term) {
        let rank = |term: Term| (self.known_of(term).is_some(), term);
        if rank(left) <= rank(right) { (left, right) } else { (right, left) }
    }

    /// Whether one is the other with every bit the other way.
    fn opposite(&self, left: Term, right: Term) -> bool {
        self.view(left) == View::Not(right) || self.view(right) == View::Not(left)
    }

    /// A term that is one of two numbers, with its condition.
    fn two_numbers(&self, term: Term) -> Option<(Term, u64, u64)> {
        let View::Either(condition, then, other) = self.view(term) else { return None };
        Some((condition, self.known_of(then)?, self.known_of(other)?))
    }

    /// The result of an operation on two numbers, or a choice of two results where an operand is a choice of two numbers.
    fn folded(&mut self, view: View, width: u32) -> Option<Term> {
        let mut operands = view.operands();
        let (left, right) = (operands.next()?, operands.next()?);
        let last = self.width_of(right);
        let apply = |left: u64, right: u64| meaning(view, width, [left, right, 0], last);
        let (condition, then, other) = match (self.known_of(left), self.known_of(right)) {
            (Some(left), Some(right)) => return Some(self.make_number(width, apply(left, right))),
            (Some(left), None) => {
                let (condition, then, other) = self.two_numbers(right)?;
                (condition, apply(left, then), apply(left, other))
            }
            (None, Some(right)) => {
                let (condition, then, other) = self.two_numbers(left)?;
                (condition, apply(then, right), apply(other, right))
            }
            (None, None) => {
                let (condition, first, second) = self.two_numbers(left)?;
                let (same, third, fourth) = self.two_numbers(right)?;
                if same != condition {
                    return None;
                }
                (condition, apply(first, third), apply(second, fourth))
            }
        };
        let (then, other) = (self.make_number(width, then), self.make_number(width, other));
        Some(self.make_either(condition, then, other))
    }

    /// The same operation on other operands.
    pub(super) fn again(&mut self, term: Term, new: impl Fn(Term) -> Term) -> Term {
        let width = self.width_of(term);
        match self.view(term) {
            View::Number(_) | View::Unknown(_) => term,
            View::Not(of) => self.make_not(new(of)),
            View::And(left, right) => self.make_and(new(left), new(right)),
            View::Or(left, right) => self.make_or(new(left), new(right)),
            View::Xor(left, right) => self.make_xor(new(left), new(right)),
            View::Add(left, right) => self.make_add(new(left), new(right)),
            View::Sub(left, right) => self.make_sub(new(left), new(right)),
            View::Mul(left, right) => self.make_mul(new(left), new(right)),
            View::Quotient(left, right) => self.make_quotient(new(left), new(right)),
            View::Remainder(left, right) => self.make_remainder(new(left), new(right)),
            View::ShiftLeft(left, right) => self.make_shift(new(left), new(right), View::ShiftLeft),
            View::ShiftRight(left, right) => self.make_shift(new(left), new(right), View::ShiftRight),
            View::ShiftRightSigned(left, right) => self.make_shift(new(left), new(right), View::ShiftRightSigned),
            View::Equal(left, right) => self.make_equal(new(left), new(right)),
            View::Less(left, right) => self.make_less(new(left), new(right)),
            View::Either(condition, then, other) => self.make_either(new(condition), new(then), new(other)),
            View::Part(of, low) => self.make_part(new(of), low, width),
            View::Join(high, low) => self.make_join(new(high), new(low)),
        }
    }
}
