//! Circuits over whole numbers: adders, multipliers, dividers, shifters.

use super::blast::Bits;
use super::gates::{Clauses, FALSE, Gates, TRUE};

impl<C: Clauses> Gates<C> {
    /// The sum, and the carry out of it.
    pub(super) fn sum(&mut self, left: &[i32], right: &[i32], carry: i32) -> (Bits, i32) {
        let mut carry = carry;
        let sum = left
            .iter()
            .zip(right)
            .map(|(&left, &right)| {
                let differ = self.xor(left, right);
                let bit = self.xor(differ, carry);
                carry = self.majority(left, right, carry);
                bit
            })
            .collect();
        (sum, carry)
    }

    /// The difference, and whether there was nothing to borrow.
    pub(super) fn difference(&mut self, left: &[i32], right: &[i32]) -> (Bits, i32) {
        let right: Bits = right.iter().map(|&bit| -bit).collect();
        self.sum(left, &right, TRUE)
    }

    /// The low half of the product: shifted copies of one factor, added where the other has a bit.
    pub(super) fn product(&mut self, left: &[i32], right: &[i32]) -> Bits {
        let width = left.len();
        let constants = |bits: &[i32]| bits.iter().filter(|bit| bit.abs() == TRUE).count();
        let (left, right) = if constants(left) > constants(right) { (right, left) } else { (left, right) };
        let mut product = vec![FALSE; width];
        for (at, &bit) in right.iter().enumerate() {
            if bit == FALSE {
                continue;
            }
            let copy: Bits = left[..width - at].iter().map(|&other| self.and(other, bit)).collect();
            let (sum, _) = self.sum(&product[at..], &copy, FALSE);
            product[at..].copy_from_slice(&sum);
        }
        product
    }

    /// Quotient and remainder, by restoring division. Dividing by zero leaves the number as the remainder and all ones as
    /// the quotient, which is what SMT-LIB says.
    pub(super) fn divided(&mut self, left: &[i32], right: &[i32]) -> (Bits, Bits) {
        let width = left.len();
        let mut wide: Bits = right.to_vec();
        wide.push(FALSE);
        let mut rest = vec![FALSE; width];
        let mut quotient = vec![FALSE; width];
        for at in (0..width).rev() {
            rest.insert(0, left[at]);
            let (less, fits) = self.difference(&rest, &wide);
            rest = less.iter().zip(&rest).map(|(&less, &rest)| self.choice(fits, less, rest)).collect();
            // What is left is below the divisor, or the divisor is zero and nothing was shifted out yet.
            rest.truncate(width);
            quotient[at] = fits;
        }
        (quotient, rest)
    }

    /// Shifted up by a number of as many bits.
    pub(super) fn shift_left(&mut self, value: &[i32], by: &[i32]) -> Bits {
        let value: Bits = value.iter().rev().copied().collect();
        let mut shifted = self.shift_right(&value, by, FALSE);
        shifted.reverse();
        shifted
    }

    /// Shifted down, copies of a literal coming in.
    pub(super) fn shift_right(&mut self, value: &[i32], by: &[i32], fill: i32) -> Bits {
        let width = value.len();
        let mut value: Bits = value.to_vec();
        let mut beyond = FALSE;
        for (at, &bit) in by.iter().enumerate() {
            let step = 1usize.checked_shl(at as u32).unwrap_or(usize::MAX);
            if step >= width {
                beyond = self.or(beyond, bit);
                continue;
            }
            value = (0..width)
                .map(|place| {
                    let from = value.get(place + step).copied().unwrap_or(fill);
                    self.choice(bit, from, value[place])
                })
                .collect();
        }
        value.iter().map(|&kept| self.choice(beyond, fill, kept)).collect()
    }
}
