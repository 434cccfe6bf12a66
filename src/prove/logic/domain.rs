//! Terms are what a proof computes with.

use super::term::{Term, Terms};
use super::view::View;
use crate::prove::Domain;

impl Domain for Terms {
    type Value = Term;

    fn number(&mut self, width: u32, value: u64) -> Term {
        self.make_number(width, value)
    }

    fn known(&self, value: Term) -> Option<u64> {
        self.known_of(value)
    }

    fn width(&self, value: Term) -> u32 {
        self.width_of(value)
    }

    fn not(&mut self, value: Term) -> Term {
        self.make_not(value)
    }

    fn and(&mut self, left: Term, right: Term) -> Term {
        self.make_and(left, right)
    }

    fn or(&mut self, left: Term, right: Term) -> Term {
        self.make_or(left, right)
    }

    fn xor(&mut self, left: Term, right: Term) -> Term {
        self.make_xor(left, right)
    }

    fn add(&mut self, left: Term, right: Term) -> Term {
        self.make_add(left, right)
    }

    fn sub(&mut self, left: Term, right: Term) -> Term {
        self.make_sub(left, right)
    }

    fn mul(&mut self, left: Term, right: Term) -> Term {
        self.make_mul(left, right)
    }

    fn quotient(&mut self, left: Term, right: Term) -> Term {
        self.make_quotient(left, right)
    }

    fn remainder(&mut self, left: Term, right: Term) -> Term {
        self.make_remainder(left, right)
    }

    fn shift_left(&mut self, value: Term, by: Term) -> Term {
        self.make_shift(value, by, View::ShiftLeft)
    }

    fn shift_right(&mut self, value: Term, by: Term) -> Term {
        self.make_shift(value, by, View::ShiftRight)
    }

    fn shift_right_signed(&mut self, value: Term, by: Term) -> Term {
        self.make_shift(value, by, View::ShiftRightSigned)
    }

    fn equal(&mut self, left: Term, right: Term) -> Term {
        self.make_equal(left, right)
    }

    fn less(&mut self, left: Term, right: Term) -> Term {
        self.make_less(left, right)
    }

    fn either(&mut self, condition: Term, then: Term, other: Term) -> Term {
        self.make_either(condition, then, other)
    }

    fn part(&mut self, value: Term, low: u32, width: u32) -> Term {
        self.make_part(value, low, width)
    }

    fn join(&mut self, high: Term, low: Term) -> Term {
        self.make_join(high, low)
    }
}
