//! What instructions compute, in the plainest way: wide integers for carry and overflow, decimal numbers for BCD, one
//! bit at a time for shifts.
//!
//! An [`Answer`] is what a row of the condition code table needs to know. Sources: the operation and the condition
//! codes of each instruction's page in the PRM, section 4, from memory.

use super::support::{mask, signed};

/// What an instruction works on.
#[derive(Clone, Copy, Debug)]
pub struct Operands {
    /// The size of the operation.
    pub bits: u32,
    /// All 32 bits of where the source came from; what counts is [`Operands::s`].
    pub source: u32,
    /// The same for the target.
    pub target: u32,
    /// The condition codes before, X N Z V C in bits 4 to 0.
    pub codes: u16,
}

impl Operands {
    /// The source, in the size of the operation.
    pub fn s(&self) -> u32 {
        self.source & mask(self.bits)
    }

    /// The target, in the size of the operation.
    pub fn t(&self) -> u32 {
        self.target & mask(self.bits)
    }

    /// X before, as a number.
    pub fn x(&self) -> u32 {
        u32::from(self.codes >> 4 & 1)
    }

    /// The answer whose result is `value`, stored over the low bits of the target.
    fn answer(&self, value: u32) -> Answer {
        let value = value & mask(self.bits);
        let zero = self.codes & 4 != 0 && value == 0;
        Answer {
            value,
            bits: self.bits,
            stored: Some(self.target & !mask(self.bits) | value),
            carry: false,
            overflow: false,
            special: if zero { 4 } else { 0 },
            undefined: "",
        }
    }
}

/// What came out.
#[derive(Clone, Copy, Debug)]
pub struct Answer {
    /// What N and Z look at, and its size.
    pub value: u32,
    pub bits: u32,
    /// All 32 bits of the target afterwards, if it changes.
    pub stored: Option<u32>,
    pub carry: bool,
    pub overflow: bool,
    /// The codes for the columns with a rule of their own; Z is as in arithmetic of several words (ADDX): cleared
    /// by a result that is not zero, otherwise unchanged.
    pub special: u16,
    /// Columns that the manual leaves open for these very operands.
    pub undefined: &'static str,
}

fn sum(o: &Operands, x: u32) -> Answer {
    let unsigned = u64::from(o.s()) + u64::from(o.t()) + u64::from(x);
    let wide = signed(o.s(), o.bits) + signed(o.t(), o.bits) + i64::from(x);
    Answer {
        carry: unsigned > u64::from(mask(o.bits)),
        overflow: wide != signed(wide as u32, o.bits),
        ..o.answer(unsigned as u32)
    }
}

fn difference(o: &Operands, from: u32, take: u32, x: u32) -> Answer {
    let (from, take) = (from & mask(o.bits), take & mask(o.bits));
    let unsigned = i64::from(from) - i64::from(take) - i64::from(x);
    let wide = signed(from, o.bits) - signed(take, o.bits) - i64::from(x);
    Answer { carry: unsigned < 0, overflow: wide != signed(wide as u32, o.bits), ..o.answer(unsigned as u32) }
}

pub fn add(o: &Operands) -> Answer {
    sum(o, 0)
}

pub fn add_extended(o: &Operands) -> Answer {
    sum(o, o.x())
}

pub fn subtract(o: &Operands) -> Answer {
    difference(o, o.target, o.source, 0)
}

pub fn subtract_extended(o: &Operands) -> Answer {
    difference(o, o.target, o.source, o.x())
}

pub fn negate(o: &Operands) -> Answer {
    difference(o, 0, o.target, 0)
}

pub fn negate_extended(o: &Operands) -> Answer {
    difference(o, 0, o.target, o.x())
}

pub fn compare(o: &Operands) -> Answer {
    Answer { stored: None, ..subtract(o) }
}

/// CMPA.W: the source is extended, and all 32 bits are compared.
pub fn compare_address_word(o: &Operands) -> Answer {
    compare(&Operands { bits: 32, source: signed(o.source, 16) as u32, ..*o })
}

pub fn and(o: &Operands) -> Answer {
    o.answer(o.s() & o.t())
}

pub fn or(o: &Operands) -> Answer {
    o.answer(o.s() | o.t())
}

pub fn exclusive_or(o: &Operands) -> Answer {
    o.answer(o.s() ^ o.t())
}

pub fn not(o: &Operands) -> Answer {
    o.answer(!o.t())
}

pub fn copy(o: &Operands) -> Answer {
    o.answer(o.s())
}

/// MOVEQ: eight bits become 32.
pub fn copy_quick(o: &Operands) -> Answer {
    o.answer(signed(o.source, 8) as u32)
}

pub fn test(o: &Operands) -> Answer {
    Answer { stored: None, ..o.answer(o.t()) }
}

pub fn clear(o: &Operands) -> Answer {
    o.answer(0)
}

/// TAS looks at the byte before it sets bit 7.
pub fn test_and_set(o: &Operands) -> Answer {
    Answer { stored: Some(o.target | 0x80), ..o.answer(o.t()) }
}

/// EXT: the lower half of the size becomes all of it.
pub fn extend(o: &Operands) -> Answer {
    o.answer(signed(o.target, o.bits / 2) as u32)
}

pub fn swap(o: &Operands) -> Answer {
    o.answer(o.target.rotate_left(16))
}

pub fn multiply_unsigned(o: &Operands) -> Answer {
    wide(o, u64::from(o.s()) * u64::from(o.t()))
}

pub fn multiply_signed(o: &Operands) -> Answer {
    wide(o, (signed(o.source, 16) * signed(o.target, 16)) as u64)
}

/// A long result of word operands.
fn wide(o: &Operands, value: u64) -> Answer {
    Operands { bits: 32, ..*o }.answer(value as u32)
}

pub fn divide_unsigned(o: &Operands) -> Answer {
    let (dividend, divisor) = (i64::from(o.target), i64::from(o.s()));
    quotient(o, dividend, divisor, (0, 0xFFFF))
}

pub fn divide_signed(o: &Operands) -> Answer {
    quotient(o, signed(o.target, 32), signed(o.source, 16), (-0x8000, 0x7FFF))
}

/// The remainder above the quotient. An overflow leaves the operands alone, and N and Z open. (Rust's remainder has
/// the dividend's sign, as the PRM wants it.)
fn quotient(o: &Operands, dividend: i64, divisor: i64, (least, most): (i64, i64)) -> Answer {
    let (quotient, remainder) = (dividend / divisor, dividend % divisor);
    let word = Operands { bits: 16, ..*o };
    if quotient < least || quotient > most {
        return Answer { stored: None, overflow: true, undefined: "NZ", ..word.answer(0) };
    }
    let both = (remainder as u32) << 16 | quotient as u32 & 0xFFFF;
    Answer { stored: Some(both), ..word.answer(quotient as u32) }
}

/// Two decimal digits as a number.
pub fn decimal(byte: u32) -> i64 {
    i64::from(byte >> 4 & 15) * 10 + i64::from(byte & 15)
}

/// A number below a hundred as two decimal digits.
pub fn digits(number: i64) -> u32 {
    (number / 10 * 16 + number % 10) as u32
}

/// 0 to 199 or -100 to 99: two digits, and a decimal carry or borrow.
fn decimal_answer(o: &Operands, number: i64) -> Answer {
    Answer { carry: !(0..100).contains(&number), ..o.answer(digits(number.rem_euclid(100))) }
}

pub fn add_decimal(o: &Operands) -> Answer {
    decimal_answer(o, decimal(o.t()) + decimal(o.s()) + i64::from(o.x()))
}

pub fn subtract_decimal(o: &Operands) -> Answer {
    decimal_answer(o, decimal(o.t()) - decimal(o.s()) - i64::from(o.x()))
}

pub fn negate_decimal(o: &Operands) -> Answer {
    decimal_answer(o, -decimal(o.t()) - i64::from(o.x()))
}

/// What a bit instruction makes of the target, given the bit.
fn bit(o: &Operands, change: fn(u32, u32) -> u32) -> Answer {
    let one = 1 << (o.source % o.bits);
    let changed = change(o.target, one) & mask(o.bits) | o.target & !mask(o.bits);
    Answer { stored: Some(changed), special: if o.target & one == 0 { 4 } else { 0 }, ..o.answer(0) }
}

pub fn bit_test(o: &Operands) -> Answer {
    Answer { stored: None, ..bit(o, |target, _| target) }
}

pub fn bit_change(o: &Operands) -> Answer {
    bit(o, |target, one| target ^ one)
}

pub fn bit_clear(o: &Operands) -> Answer {
    bit(o, |target, one| target & !one)
}

pub fn bit_set(o: &Operands) -> Answer {
    bit(o, |target, one| target | one)
}

/// CHK that does not trap: whatever flags there are, none is defined (N is only for a trap).
pub fn within_bounds(o: &Operands) -> Answer {
    Answer { stored: None, ..o.answer(0) }
}

/// CHK that traps: N says which bound was left.
pub fn out_of_bounds(o: &Operands) -> Answer {
    Answer { stored: None, special: if signed(o.target, 16) < 0 { 8 } else { 0 }, ..o.answer(0) }
}

/// A source that becomes the condition codes: only bits 4 to 0 count.
pub fn to_codes(o: &Operands) -> Answer {
    codes(o, o.source as u16)
}

pub fn and_to_codes(o: &Operands) -> Answer {
    codes(o, o.source as u16 & o.codes)
}

pub fn or_to_codes(o: &Operands) -> Answer {
    codes(o, o.source as u16 | o.codes)
}

pub fn exclusive_or_to_codes(o: &Operands) -> Answer {
    codes(o, o.source as u16 ^ o.codes)
}

fn codes(o: &Operands, value: u16) -> Answer {
    Answer { stored: None, special: value & 0x1F, ..o.answer(0) }
}

/// A way to shift.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shift {
    Arithmetic,
    Logical,
    RotateExtended,
    Rotate,
}

/// A shift, one bit at a time. The count of a register is modulo 64.
pub fn shift(o: &Operands, kind: Shift, left: bool) -> Answer {
    let top = o.bits - 1;
    let (mut value, mut extend) = (o.t(), o.x());
    let mut out = if kind == Shift::RotateExtended { extend } else { 0 };
    let mut overflow = false;
    for _ in 0..o.source % 64 {
        let sign = value >> top;
        out = if left { sign } else { value & 1 };
        let enters = match kind {
            Shift::Arithmetic if !left => sign,
            Shift::Arithmetic | Shift::Logical => 0,
            Shift::RotateExtended => extend,
            Shift::Rotate => out,
        };
        value = if left { (value << 1 | enters) & mask(o.bits) } else { value >> 1 | enters << top };
        extend = out;
        overflow |= value >> top != sign;
    }
    Answer { carry: out == 1, overflow: overflow && kind == Shift::Arithmetic, special: out as u16, ..o.answer(value) }
}

pub fn asl(o: &Operands) -> Answer {
    shift(o, Shift::Arithmetic, true)
}

pub fn asr(o: &Operands) -> Answer {
    shift(o, Shift::Arithmetic, false)
}

pub fn lsl(o: &Operands) -> Answer {
    shift(o, Shift::Logical, true)
}

pub fn lsr(o: &Operands) -> Answer {
    shift(o, Shift::Logical, false)
}

pub fn roxl(o: &Operands) -> Answer {
    shift(o, Shift::RotateExtended, true)
}

pub fn roxr(o: &Operands) -> Answer {
    shift(o, Shift::RotateExtended, false)
}

pub fn rol(o: &Operands) -> Answer {
    shift(o, Shift::Rotate, true)
}

pub fn ror(o: &Operands) -> Answer {
    shift(o, Shift::Rotate, false)
}
