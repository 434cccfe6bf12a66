//! What a term is made of, for those who walk over terms or print them.

use super::meaning::meaning;
use super::model::Unknown;
use super::term::Term;

/// A term's operation with its operands. What they mean is said at [`Domain`](crate::prove::Domain).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum View {
    /// A number.
    Number(u64),
    /// An unknown.
    Unknown(Unknown),
    /// Every bit the other way.
    Not(Term),
    /// Bits that are set in both.
    And(Term, Term),
    /// Bits that are set in one of them.
    Or(Term, Term),
    /// Bits that differ.
    Xor(Term, Term),
    /// The sum.
    Add(Term, Term),
    /// The difference.
    Sub(Term, Term),
    /// The product.
    Mul(Term, Term),
    /// The unsigned quotient.
    Quotient(Term, Term),
    /// The unsigned remainder.
    Remainder(Term, Term),
    /// Shifted up.
    ShiftLeft(Term, Term),
    /// Shifted down.
    ShiftRight(Term, Term),
    /// Shifted down, the sign kept.
    ShiftRightSigned(Term, Term),
    /// One bit: equal.
    Equal(Term, Term),
    /// One bit: the smaller unsigned number.
    Less(Term, Term),
    /// The second if the first is set, else the third.
    Either(Term, Term, Term),
    /// Bits of a term, from this one on.
    Part(Term, u32),
    /// The first above the second.
    Join(Term, Term),
}

impl View {
    /// What the operation gives for numbers; `width` is that of its result, `last_width` that of its last operand.
    pub fn of_numbers(self, width: u32, operands: [u64; 3], last_width: u32) -> u64 {
        meaning(self, width, operands, last_width)
    }

    /// The operands, in order.
    pub fn operands(self) -> impl Iterator<Item = Term> {
        use View::*;
        let [first, second, third] = match self {
            Number(_) | Unknown(_) => [None, None, None],
            Not(of) | Part(of, _) => [Some(of), None, None],
            And(left, right)
            | Or(left, right)
            | Xor(left, right)
            | Add(left, right)
            | Sub(left, right)
            | Mul(left, right)
            | Quotient(left, right)
            | Remainder(left, right)
            | ShiftLeft(left, right)
            | ShiftRight(left, right)
            | ShiftRightSigned(left, right)
            | Equal(left, right)
            | Less(left, right)
            | Join(left, right) => [Some(left), Some(right), None],
            Either(condition, then, other) => [Some(condition), Some(then), Some(other)],
        };
        [first, second, third].into_iter().flatten()
    }
}
