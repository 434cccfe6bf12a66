//! Shifts and rotates by every count from 0 to 63, every way and size, against [`shift`] one bit at a time; and the
//! counts at which a rotation comes round, which that reference could get wrong by itself.

use keyway::noise::Noise;

use super::models::{Operands, Shift, shift};
use super::support::{Bench, SUPERVISOR, mask, operand};

const WAYS: [Shift; 4] = [Shift::Arithmetic, Shift::Logical, Shift::RotateExtended, Shift::Rotate];
const SIZES: [u32; 3] = [8, 16, 32];

/// The opcode of a shift of D0 by D1 (PRM section 4): 1110 001 d ss 1 ww 000.
fn by_register(way: usize, left: bool, bits: u32) -> u16 {
    0xE220 | u16::from(left) << 8 | (bits as u16 / 16) << 6 | (way as u16) << 3
}

/// Runs it, and gives D0 and the codes afterwards.
fn run(bench: &mut Bench, opcode: u16, o: &Operands) -> (u32, u16) {
    bench.fresh().code(&[opcode]).status(SUPERVISOR | o.codes).d(0, o.target).d(1, o.source).runs();
    assert_eq!(bench.d_now(1), o.source, "{opcode:04X} changed its count");
    (bench.d_now(0), bench.codes_now())
}

/// What X N Z V C are afterwards, by the instructions' pages in the PRM: X takes the last bit out but not in a rotation
/// without it, nor for a count of zero; C takes it too, or X for ROXd by zero; V is ASL's alone.
fn codes(o: &Operands, kind: Shift, left: bool) -> (u32, u16) {
    let answer = shift(o, kind, left);
    let count = o.source % 64;
    let x = if kind == Shift::Rotate || count == 0 { o.x() == 1 } else { answer.carry };
    let n = answer.value >> (o.bits - 1) == 1;
    let flags = [x, n, answer.value == 0, answer.overflow, answer.carry];
    let codes = flags.into_iter().fold(0, |codes, flag| codes << 1 | u16::from(flag));
    (o.target & !mask(o.bits) | answer.value, codes)
}

#[test]
fn every_count_way_and_size() {
    let mut noise = Noise::new(0x5117);
    let mut bench = Bench::new();
    for (way, kind) in WAYS.into_iter().enumerate() {
        for (left, bits) in [false, true].into_iter().flat_map(|left| SIZES.map(|bits| (left, bits))) {
            let opcode = by_register(way, left, bits);
            for case in 0..64 * 40 {
                // Only the low six bits of the count register count.
                let source = noise.bits() as u32 & !63 | (case % 64);
                let o = Operands { bits, source, target: operand(&mut noise), codes: noise.word() & 0x1F };
                let got = run(&mut bench, opcode, &o);
                assert_eq!(got, codes(&o, kind, left), "{opcode:04X}, {kind:?} left {left}: {o:X?}");
            }
        }
    }
}

/// A rotation through X has one bit more than the operand: it comes round after 9, 17 and 33. One without comes round
/// after 8, 16 and 32, and then C is the last bit that went round.
#[test]
fn rotations_come_round() {
    let mut noise = Noise::new(0x0707);
    let mut bench = Bench::new();
    for case in 0..600 {
        let (bits, left, codes) = (SIZES[case % 3], case % 2 == 0, noise.word() & 0x1F);
        let target = operand(&mut noise);
        for count in [bits + 1, 2 * (bits + 1)].into_iter().filter(|count| *count < 64) {
            let o = Operands { bits, source: count, target, codes };
            let (value, after) = run(&mut bench, by_register(2, left, bits), &o);
            assert_eq!((value, after >> 4), (target, codes >> 4), "ROX by {count}: {o:X?}");
            assert_eq!(after & 1, after >> 4, "C is X: {o:X?}");
        }
        for count in [bits, 2 * bits].into_iter().filter(|count| *count < 64) {
            let o = Operands { bits, source: count, target, codes };
            let (value, after) = run(&mut bench, by_register(3, left, bits), &o);
            let last = if left { target } else { target >> (bits - 1) };
            assert_eq!((value, after >> 4), (target, codes >> 4), "RO by {count}: {o:X?}");
            assert_eq!(u32::from(after & 1), last & 1, "C is the last bit: {o:X?}");
        }
    }
}

/// ASL's V by arithmetic: it is clear only if the value times two to the count still fits (PRM, ASL: set if the most
/// significant bit changes at any time). ASR is a division that rounds down.
#[test]
fn arithmetic_shifts_are_arithmetic() {
    let mut noise = Noise::new(0xA51);
    let mut bench = Bench::new();
    for case in 0..4000 {
        let bits = SIZES[case % 3];
        let o = Operands { bits, source: noise.word() as u32 % 64, target: operand(&mut noise), codes: 0 };
        let value = i128::from(super::support::signed(o.target, bits));
        let (_, left) = run(&mut bench, by_register(0, true, bits), &o);
        let product = value << o.source;
        let fits = (-(1i128 << (bits - 1))..1 << (bits - 1)).contains(&product);
        assert_eq!(left & 2 != 0, !fits, "V of ASL: {o:X?}");
        let (right, _) = run(&mut bench, by_register(0, false, bits), &o);
        let quotient = value.div_euclid(1 << o.source);
        assert_eq!(right & mask(bits), quotient as u32 & mask(bits), "ASR: {o:X?}");
    }
}
