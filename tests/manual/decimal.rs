//! Binary coded decimal against decimal arithmetic: every pair of valid operands, and numbers of many digits.
//!
//! Source: ABCD, SBCD and NBCD in the PRM, section 4, from memory. Operands that are no decimal digits, and N and V,
//! are undefined there and not looked at.

use keyway::noise::Noise;

use super::models::digits;
use super::support::{Bench, DATA, SUPERVISOR};

const ABCD: u16 = 0xC101; // abcd d1,d0
const SBCD: u16 = 0x8101; // sbcd d1,d0
const NBCD: u16 = 0x4800; // nbcd d0
const HIGH: u32 = 0x5A5A_5A00;

/// Runs it with decimal D0 and D1. Gives D0's byte, C, and Z; X must be as C, and the rest of D0 untouched.
fn run(bench: &mut Bench, opcode: u16, target: u32, source: u32, codes: u16) -> (u32, bool, bool) {
    bench.fresh().code(&[opcode]).status(SUPERVISOR | codes);
    bench.d(0, HIGH | digits(i64::from(target))).d(1, HIGH | digits(i64::from(source))).runs();
    let after = bench.codes_now();
    assert_eq!(after >> 4, after & 1, "{opcode:04X}: X is not C");
    assert_eq!(bench.d_now(0) & !0xFF, HIGH, "{opcode:04X}: more than a byte changed");
    (bench.d_now(0) & 0xFF, after & 1 != 0, after & 4 != 0)
}

/// X and Z before, in all four ways.
const BEFORE: [u16; 4] = [0, 4, 0x10, 0x14];

#[test]
fn every_sum_and_difference_of_two_digits() {
    let mut bench = Bench::new();
    for pair in 0..10_000 {
        let (target, source) = (pair / 100, pair % 100);
        for x in [0, 1] {
            // Z before is set for every other pair; its own rule is looked at in the table of condition codes.
            let codes = (x << 4 | (pair & 1) << 2) as u16;
            let sum = target + source + x;
            let z = pair & 1 == 1 && sum % 100 == 0;
            let expected = (digits(i64::from(sum % 100)), sum > 99, z);
            assert_eq!(run(&mut bench, ABCD, target, source, codes), expected, "{target} + {source} + {x}");
            let left = (target + 200 - source - x) % 100;
            let z = pair & 1 == 1 && left == 0;
            let expected = (digits(i64::from(left)), target < source + x, z);
            assert_eq!(run(&mut bench, SBCD, target, source, codes), expected, "{target} - {source} - {x}");
        }
    }
}

#[test]
fn every_negation_of_two_digits() {
    let mut bench = Bench::new();
    for number in 0..100 {
        for codes in BEFORE {
            let x = u32::from(codes >> 4);
            let left = (200 - number - x) % 100;
            let expected = (digits(i64::from(left)), number + x > 0, codes & 4 != 0 && left == 0);
            assert_eq!(run(&mut bench, NBCD, number, 0, codes), expected, "-{number} - {x}");
        }
    }
}

/// Numbers of eight digits in memory, last byte first: -(A1) onto -(A0), X carried from byte to byte, and Z at the end
/// only for a result that is zero all through.
#[test]
fn numbers_of_eight_digits() {
    let mut noise = Noise::new(0xBCD);
    let mut bench = Bench::new();
    for case in 0..300 {
        let draw = |noise: &mut Noise| (noise.bits() % 100_000_000) as i64;
        let target = draw(&mut noise);
        let source = if case % 3 == 0 { target } else { draw(&mut noise) };
        let check = |bench: &mut Bench, opcode: u16, exact: i64| {
            let (number, codes) = chain(bench, opcode, target, source);
            let expected = exact.rem_euclid(100_000_000);
            assert_eq!(number, expected, "{opcode:04X} of {target} and {source}");
            let carry = exact != expected;
            assert_eq!((codes & 1 != 0, codes & 4 != 0), (carry, expected == 0), "C and Z of {target} and {source}");
        };
        check(&mut bench, 0xC109, target + source);
        check(&mut bench, 0x8109, target - source);
    }
}

/// Four times the instruction, from X clear and Z set.
fn chain(bench: &mut Bench, opcode: u16, target: i64, source: i64) -> (i64, u16) {
    let mut codes = 4;
    let pair = |number: i64, at: u32| digits(number / 100i64.pow(3 - at) % 100);
    for at in 0..4 {
        bench.memory.poke(DATA + at, pair(target, at), 8);
        bench.memory.poke(DATA + 0x100 + at, pair(source, at), 8);
    }
    for at in (0..4).rev() {
        bench.fresh().code(&[opcode]).status(SUPERVISOR | codes);
        bench.a(0, DATA + at + 1).a(1, DATA + 0x100 + at + 1).runs();
        assert_eq!((bench.a_now(0), bench.a_now(1)), (DATA + at, DATA + 0x100 + at));
        codes = bench.codes_now();
    }
    let number = (0..4).fold(0, |number, at| number * 100 + super::models::decimal(bench.memory.peek(DATA + at, 8)));
    (number, codes)
}
