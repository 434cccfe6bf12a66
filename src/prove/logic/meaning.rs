//! What each operation does with numbers: the one place that says it, for folding and for evaluating. It follows the
//! definitions of SMT-LIB's theory FixedSizeBitVectors and logic QF_BV.

use super::view::View;

/// The low `width` bits set.
pub(super) fn ones(width: u32) -> u64 {
    u64::MAX >> (64 - width)
}

/// What a term of `width` bits is whose operands are the numbers that `value` says. `narrow` is the width of the last
/// operand, which matters where a term joins two, and of the first, which matters where a sign is looked at.
pub(super) fn meaning(view: View, width: u32, operands: [u64; 3], last_width: u32) -> u64 {
    let [left, right, third] = operands;
    let result = match view {
        View::Number(value) => value,
        View::Unknown(_) => left,
        View::Not(_) => !left,
        View::And(..) => left & right,
        View::Or(..) => left | right,
        View::Xor(..) => left ^ right,
        View::Add(..) => left.wrapping_add(right),
        View::Sub(..) => left.wrapping_sub(right),
        View::Mul(..) => left.wrapping_mul(right),
        View::Quotient(..) => left.checked_div(right).unwrap_or(u64::MAX),
        View::Remainder(..) => left.checked_rem(right).unwrap_or(left),
        View::ShiftLeft(..) => shifted(left, right, width, |value, by| value << by, 0),
        View::ShiftRight(..) => shifted(left, right, width, |value, by| value >> by, 0),
        View::ShiftRightSigned(..) => {
            let signed = ((left << (64 - width)) as i64 >> (64 - width)) as u64;
            let sign = if signed >> 63 == 1 { u64::MAX } else { 0 };
            shifted(signed, right, width, |value, by| (value as i64 >> by) as u64, sign)
        }
        View::Equal(..) => u64::from(left == right),
        View::Less(..) => u64::from(left < right),
        View::Either(..) => {
            if left == 1 {
                right
            } else {
                third
            }
        }
        View::Part(_, low) => left >> low,
        View::Join(..) => left << last_width | right,
    };
    result & ones(width)
}

fn shifted(value: u64, by: u64, width: u32, shift: impl Fn(u64, u32) -> u64, beyond: u64) -> u64 {
    if by >= u64::from(width) { beyond } else { shift(value, by as u32) }
}
