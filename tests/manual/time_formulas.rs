//! What is behind the tables' maxima: times that depend on the operands.
//!
//! MULU and MULS are documented (UM, notes to table 8-4, from memory). The manual gives only maxima for DIVU, DIVS
//! and the bit instructions on registers; their formulas were observed on the published vectors (SingleStepTests/
//! m68000, v1) and are written down here in words anew.

use keyway::noise::Noise;

use super::support::{Bench, operand, signed};
use super::times::{Time, measured};

/// The clocks of an instruction on D0, with D1 as its source; one fetch and nothing else.
fn clocks(bench: &mut Bench, opcode: u16, d0: u32, d1: u32) -> u32 {
    bench.fresh().code(&[opcode]).d(0, d0).d(1, d1).runs();
    let Time { clocks, reads, writes } = measured(bench);
    assert_eq!((reads, writes), (1, 0), "{opcode:04X}");
    clocks
}

/// MULU: 38 + 2n, n the ones in the source. MULS: n the pairs 10 and 01 in the source with a zero put below it. Every
/// source is tried; the other operand does not matter.
#[test]
fn multiplication() {
    let mut bench = Bench::new();
    let mut most = (0, 0);
    for source in 0..=0xFFFFu32 {
        let (ones, changes) =
            (source.count_ones(), (0..16).filter(|bit| (source << 1 >> bit ^ source >> bit) & 1 == 1));
        let (unsigned, signed) = (38 + 2 * ones, 38 + 2 * changes.count() as u32);
        let other = source.wrapping_mul(0x9E37_79B9);
        assert_eq!(clocks(&mut bench, 0xC0C1, other, source), unsigned, "mulu by {source:X}");
        assert_eq!(clocks(&mut bench, 0xC1C1, other, source), signed, "muls by {source:X}");
        most = (most.0.max(unsigned), most.1.max(signed));
    }
    // Table 8-4.
    assert_eq!(most, (70, 70));
}

/// Overflow is seen at once. Otherwise there are fifteen steps of shifting the dividend and trying to subtract: four
/// clocks more for a step whose shift carries nothing out, two of them saved if it subtracts. (The sixteenth step
/// always takes the same.)
fn unsigned_division(dividend: u32, divisor: u16) -> u32 {
    let divisor = u64::from(divisor) << 16;
    if u64::from(dividend) >= divisor {
        return 10;
    }
    let mut rest = u64::from(dividend);
    (0..15).fold(76, |clocks, _| {
        rest <<= 1;
        let (carries, subtracts) = (rest >> 32 != 0, rest >= divisor);
        if subtracts {
            rest -= divisor;
        }
        clocks + if carries { 0 } else { 4 - 2 * u32::from(subtracts) }
    })
}

/// The same of magnitudes, with the signs put right before and after; two clocks for each zero in all but the last bit
/// of the quotient's magnitude.
fn signed_division(dividend: i64, divisor: i64) -> u32 {
    let start = if dividend < 0 { 14 } else { 12 };
    if dividend.abs() >> 16 >= divisor.abs() {
        return start + 4;
    }
    let sign = match (divisor < 0, dividend < 0) {
        (true, _) => 0,
        (false, false) => -2,
        (false, true) => 2,
    };
    let quotient = dividend.abs() / divisor.abs();
    let zeros = (1..16).filter(|bit| quotient >> bit & 1 == 0).count() as u32;
    (start + 110 + 2 * zeros).wrapping_add_signed(sign)
}

/// Operands as they come, and many that do not overflow.
fn division_operands(noise: &mut Noise) -> (u32, u16) {
    let divisor = operand(noise) as u16;
    let dividend = operand(noise);
    let tame = if noise.coin() { dividend >> (noise.word() % 32) } else { dividend };
    (tame, divisor.max(1))
}

#[test]
fn unsigned_divisions() {
    let mut noise = Noise::new(0xD1);
    let mut bench = Bench::new();
    let mut range = (u32::MAX, 0);
    for _ in 0..20_000 {
        let (dividend, divisor) = division_operands(&mut noise);
        let got = clocks(&mut bench, 0x80C1, dividend, u32::from(divisor));
        assert_eq!(got, unsigned_division(dividend, divisor), "divu of {dividend:X} by {divisor:X}");
        range = (range.0.min(got), range.1.max(got));
    }
    // The maximum of table 8-4 is 140; the formula's is 136, for a quotient of zeros.
    assert_eq!(range, (10, 136));
}

#[test]
fn signed_divisions() {
    let mut noise = Noise::new(0xD2);
    let mut bench = Bench::new();
    let mut range = (u32::MAX, 0);
    for _ in 0..20_000 {
        let (dividend, divisor) = division_operands(&mut noise);
        let dividend = if noise.coin() { dividend.wrapping_neg() } else { dividend };
        let got = clocks(&mut bench, 0x81C1, dividend, u32::from(divisor));
        let expected = signed_division(signed(dividend, 32), signed(u32::from(divisor), 16));
        assert_eq!(got, expected, "divs of {dividend:X} by {divisor:X}");
        range = (range.0.min(got), range.1.max(got));
    }
    // The maximum of table 8-4 is 158; the formula's is 156: 14 + 110 + 2 + 15 zeros.
    assert_eq!(range, (16, 156));
}

/// The maxima of table 8-8, from memory; two clocks fewer for a bit of the low word. BTST always takes the same.
#[test]
fn bits_of_registers() {
    let mut bench = Bench::new();
    for (name, kind, most, least) in [("BTST", 0, 6, 6), ("BCHG", 1, 8, 6), ("BCLR", 2, 10, 8), ("BSET", 3, 8, 6)] {
        for bit in 0..64u32 {
            let expected = if bit % 32 < 16 { least } else { most };
            let got = clocks(&mut bench, 0x0300 | kind << 6, 0x1234_5678, bit);
            assert_eq!(got, expected, "{name} d1,d0 with {bit}");
            bench.fresh().code(&[0x0800 | kind << 6, bit as u16]).runs();
            // The bit's number is one more word: four clocks, one read.
            let expected = Time { clocks: expected + 4, reads: 2, writes: 0 };
            assert_eq!(measured(&bench), expected, "{name} #{bit},d0");
        }
    }
}
