//! The domain of numbers: every value is known.

use crate::prove::Domain;

/// A number of 1 to 64 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number {
    /// Its width.
    pub width: u8,
    /// Its bits; those above the width are zero.
    pub bits: u64,
}

impl Number {
    /// The low `width` bits of a number.
    pub fn new(width: u32, bits: u64) -> Self {
        let mask = if width >= 64 { u64::MAX } else { (1 << width) - 1 };
        Self { width: width as u8, bits: bits & mask }
    }

    /// With other bits.
    fn with(self, bits: u64) -> Self {
        Self::new(self.width.into(), bits)
    }

    fn signed(self) -> i64 {
        let above = 64 - u32::from(self.width).min(64);
        (self.bits << above) as i64 >> above
    }
}

/// Arithmetic on numbers.
#[derive(Clone, Copy, Debug, Default)]
pub struct Numbers;

/// Both must be equally wide.
fn both(left: Number, right: Number, operation: impl FnOnce(u64, u64) -> u64) -> Number {
    debug_assert_eq!(left.width, right.width, "{left:?} and {right:?}");
    left.with(operation(left.bits, right.bits))
}

fn shifted(value: Number, by: Number, beyond: u64, operation: impl FnOnce(Number, u64) -> u64) -> Number {
    debug_assert_eq!(value.width, by.width, "{value:?} by {by:?}");
    if by.bits >= value.width.into() { value.with(beyond) } else { value.with(operation(value, by.bits)) }
}

impl Domain for Numbers {
    type Value = Number;

    fn number(&mut self, width: u32, value: u64) -> Number {
        Number::new(width, value)
    }

    fn known(&self, value: Number) -> Option<u64> {
        Some(value.bits)
    }

    fn width(&self, value: Number) -> u32 {
        value.width.into()
    }

    fn not(&mut self, value: Number) -> Number {
        value.with(!value.bits)
    }

    fn and(&mut self, left: Number, right: Number) -> Number {
        both(left, right, |left, right| left & right)
    }

    fn or(&mut self, left: Number, right: Number) -> Number {
        both(left, right, |left, right| left | right)
    }

    fn xor(&mut self, left: Number, right: Number) -> Number {
        both(left, right, |left, right| left ^ right)
    }

    fn add(&mut self, left: Number, right: Number) -> Number {
        both(left, right, u64::wrapping_add)
    }

    fn sub(&mut self, left: Number, right: Number) -> Number {
        both(left, right, u64::wrapping_sub)
    }

    fn mul(&mut self, left: Number, right: Number) -> Number {
        both(left, right, u64::wrapping_mul)
    }

    fn quotient(&mut self, left: Number, right: Number) -> Number {
        both(left, right, |left, right| left.checked_div(right).unwrap_or(u64::MAX))
    }

    fn remainder(&mut self, left: Number, right: Number) -> Number {
        both(left, right, |left, right| left.checked_rem(right).unwrap_or(left))
    }

    fn shift_left(&mut self, value: Number, by: Number) -> Number {
        shifted(value, by, 0, |value, by| value.bits << by)
    }

    fn shift_right(&mut self, value: Number, by: Number) -> Number {
        shifted(value, by, 0, |value, by| value.bits >> by)
    }

    fn shift_right_signed(&mut self, value: Number, by: Number) -> Number {
        let sign = if value.signed() < 0 { u64::MAX } else { 0 };
        shifted(value, by, sign, |value, by| (value.signed() >> by) as u64)
    }

    fn equal(&mut self, left: Number, right: Number) -> Number {
        debug_assert_eq!(left.width, right.width, "{left:?} and {right:?}");
        Number::new(1, u64::from(left.bits == right.bits))
    }

    fn less(&mut self, left: Number, right: Number) -> Number {
        debug_assert_eq!(left.width, right.width, "{left:?} and {right:?}");
        Number::new(1, u64::from(left.bits < right.bits))
    }

    fn either(&mut self, condition: Number, then: Number, other: Number) -> Number {
        debug_assert_eq!((condition.width, then.width), (1, other.width), "{then:?} or {other:?}");
        if condition.bits == 1 { then } else { other }
    }

    fn part(&mut self, value: Number, low: u32, width: u32) -> Number {
        debug_assert!(width > 0 && low + width <= value.width.into(), "{width} bits of {value:?} from {low} on");
        Number::new(width, value.bits.checked_shr(low).unwrap_or(0))
    }

    fn join(&mut self, high: Number, low: Number) -> Number {
        let width = u32::from(high.width) + u32::from(low.width);
        debug_assert!(width <= 64, "{high:?} above {low:?}");
        Number::new(width, high.bits.checked_shl(low.width.into()).unwrap_or(0) | low.bits)
    }
}
