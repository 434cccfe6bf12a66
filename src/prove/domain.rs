//! What the executor computes with: the [`Domain`] trait. One executor serves numbers (a run), terms over unknowns (a
//! proof), and values of which only constants are known (what an instruction reads and writes).

use std::fmt::Debug;

/// Values that are bit vectors of 1 to 64 bits. Both operands of an operation are equally wide unless it says otherwise.
pub trait Domain {
    /// A value.
    type Value: Copy + PartialEq + Debug;

    /// A number, its low `width` bits.
    fn number(&mut self, width: u32, value: u64) -> Self::Value;
    /// The number that a value is, if it is one.
    fn known(&self, value: Self::Value) -> Option<u64>;
    /// Its width in bits.
    fn width(&self, value: Self::Value) -> u32;
    /// Every bit the other way.
    fn not(&mut self, value: Self::Value) -> Self::Value;
    /// Bits that are set in both.
    fn and(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// Bits that are set in one of them.
    fn or(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// Bits that differ.
    fn xor(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// The sum, carry dropped.
    fn add(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// The difference, borrow dropped.
    fn sub(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// The product, low half.
    fn mul(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// The unsigned quotient; all ones if `right` is zero (as SMT-LIB's `bvudiv`).
    fn quotient(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// The unsigned remainder; `left` if `right` is zero (as SMT-LIB's `bvurem`).
    fn remainder(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// Shifted up; zero if `by`, an unsigned number, is the width or more.
    fn shift_left(&mut self, value: Self::Value, by: Self::Value) -> Self::Value;
    /// Shifted down, zeros coming in.
    fn shift_right(&mut self, value: Self::Value, by: Self::Value) -> Self::Value;
    /// Shifted down, copies of the sign coming in.
    fn shift_right_signed(&mut self, value: Self::Value, by: Self::Value) -> Self::Value;
    /// One bit: whether they are equal.
    fn equal(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// One bit: whether `left` is the smaller unsigned number.
    fn less(&mut self, left: Self::Value, right: Self::Value) -> Self::Value;
    /// `then` if the one bit of `condition` is set, else `other`.
    fn either(&mut self, condition: Self::Value, then: Self::Value, other: Self::Value) -> Self::Value;
    /// `width` bits from bit `low` on.
    fn part(&mut self, value: Self::Value, low: u32, width: u32) -> Self::Value;
    /// `high` above `low`: as wide as both together.
    fn join(&mut self, high: Self::Value, low: Self::Value) -> Self::Value;

    /// Widened to `width` bits with zeros above; as it is if it is as wide.
    fn extend(&mut self, value: Self::Value, width: u32) -> Self::Value {
        let more = width - self.width(value);
        if more == 0 {
            return value;
        }
        let zeros = self.number(more, 0);
        self.join(zeros, value)
    }

    /// Widened to `width` bits with copies of the sign above.
    fn extend_signed(&mut self, value: Self::Value, width: u32) -> Self::Value {
        let narrow = self.width(value);
        if width == narrow {
            return value;
        }
        let sign = self.part(value, narrow - 1, 1);
        let (ones, zeros) = (self.number(width - narrow, u64::MAX), self.number(width - narrow, 0));
        let above = self.either(sign, ones, zeros);
        self.join(above, value)
    }

    /// One bit that is set or not.
    fn bit(&mut self, set: bool) -> Self::Value {
        self.number(1, u64::from(set))
    }
}
