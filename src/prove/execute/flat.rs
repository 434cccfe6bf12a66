//! The domain in which a value is a number or unknown, and nothing between: quick, and enough to see which registers an
//! instruction reads and where it leads.

use super::numbers::{Number, Numbers};
use crate::prove::Domain;

/// A number that is known, or not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Perhaps {
    /// Its width.
    pub width: u32,
    /// The number.
    pub number: Option<u64>,
}

impl Perhaps {
    /// Any number of this width.
    pub fn unknown(width: u32) -> Self {
        Self { width, number: None }
    }

    /// This number.
    pub fn known(width: u32, number: u64) -> Self {
        Number::new(width, number).into()
    }

    fn as_number(self) -> Option<Number> {
        self.number.map(|number| Number::new(self.width, number))
    }

    fn is(self, number: u64) -> bool {
        self.number == Some(number)
    }

    fn is_all_ones(self) -> bool {
        self.is(Number::new(self.width, u64::MAX).bits)
    }
}

impl From<Number> for Perhaps {
    fn from(number: Number) -> Self {
        Self { width: number.width.into(), number: Some(number.bits) }
    }
}

/// Arithmetic on what may be unknown.
#[derive(Clone, Copy, Debug, Default)]
pub struct Flat;

/// A number if both are numbers.
fn both(left: Perhaps, right: Perhaps, width: u32, operation: fn(&mut Numbers, Number, Number) -> Number) -> Perhaps {
    match (left.as_number(), right.as_number()) {
        (Some(left), Some(right)) => operation(&mut Numbers, left, right).into(),
        _ => Perhaps::unknown(width),
    }
}

impl Domain for Flat {
    type Value = Perhaps;

    fn number(&mut self, width: u32, value: u64) -> Perhaps {
        Perhaps::known(width, value)
    }

    fn known(&self, value: Perhaps) -> Option<u64> {
        value.number
    }

    fn width(&self, value: Perhaps) -> u32 {
        value.width
    }

    fn not(&mut self, value: Perhaps) -> Perhaps {
        value.as_number().map_or(value, |number| Numbers.not(number).into())
    }

    fn and(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        if left.is(0) || right.is(0) {
            return Perhaps::known(left.width, 0);
        }
        both(left, right, left.width, Numbers::and)
    }

    fn or(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        if left.is_all_ones() || right.is_all_ones() {
            return Perhaps::known(left.width, u64::MAX);
        }
        both(left, right, left.width, Numbers::or)
    }

    fn xor(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, left.width, Numbers::xor)
    }

    fn add(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, left.width, Numbers::add)
    }

    fn sub(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, left.width, Numbers::sub)
    }

    fn mul(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        if left.is(0) || right.is(0) {
            return Perhaps::known(left.width, 0);
        }
        both(left, right, left.width, Numbers::mul)
    }

    fn quotient(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, left.width, Numbers::quotient)
    }

    fn remainder(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, left.width, Numbers::remainder)
    }

    fn shift_left(&mut self, value: Perhaps, by: Perhaps) -> Perhaps {
        both(value, by, value.width, Numbers::shift_left)
    }

    fn shift_right(&mut self, value: Perhaps, by: Perhaps) -> Perhaps {
        both(value, by, value.width, Numbers::shift_right)
    }

    fn shift_right_signed(&mut self, value: Perhaps, by: Perhaps) -> Perhaps {
        both(value, by, value.width, Numbers::shift_right_signed)
    }

    fn equal(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        both(left, right, 1, Numbers::equal)
    }

    fn less(&mut self, left: Perhaps, right: Perhaps) -> Perhaps {
        if right.is(0) {
            return Perhaps::known(1, 0);
        }
        both(left, right, 1, Numbers::less)
    }

    fn either(&mut self, condition: Perhaps, then: Perhaps, other: Perhaps) -> Perhaps {
        match condition.number {
            Some(0) => other,
            Some(_) => then,
            None if then == other => then,
            None => Perhaps::unknown(then.width),
        }
    }

    fn part(&mut self, value: Perhaps, low: u32, width: u32) -> Perhaps {
        match value.as_number() {
            Some(number) => Numbers.part(number, low, width).into(),
            None => Perhaps::unknown(width),
        }
    }

    fn join(&mut self, high: Perhaps, low: Perhaps) -> Perhaps {
        both(high, low, high.width + low.width, Numbers::join)
    }
}
