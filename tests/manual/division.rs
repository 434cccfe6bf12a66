//! Division at its limits: the largest quotients, overflow, the remainder's sign, and the divisor zero.
//!
//! Source: DIVS and DIVU in the PRM, section 4, from memory. Random operands are in the table of condition codes.

use keyway::cpu::Exception;

use super::support::{Bench, CODE, STACK, SUPERVISOR};

const DIVU: u16 = 0x80C1; // divu d1,d0
const DIVS: u16 = 0x81C1; // divs d1,d0
const N: u16 = 8;
const Z: u16 = 4;
const V: u16 = 2;

/// Opcode, dividend, divisor, then remainder and quotient, and N Z V C where they are defined.
type Case = (u16, i64, i64, i64, i64, u16);

/// Quotient and remainder as the PRM defines them, worked out by hand: the remainder has the dividend's sign.
const FITS: [Case; 22] = [
    (DIVU, 0, 1, 0, 0, Z),
    (DIVU, 0xFFFF, 1, 0, 0xFFFF, N),
    (DIVU, 0x7FFF, 1, 0, 0x7FFF, 0),
    (DIVU, 0x8000, 1, 0, 0x8000, N),
    (DIVU, 0xFFFE_FFFF, 0xFFFF, 0xFFFE, 0xFFFF, N),
    (DIVU, 0x7FFF_FFFF, 0x8000, 0x7FFF, 0xFFFF, N),
    (DIVU, 6, 7, 6, 0, Z),
    (DIVU, 0x1_0000, 2, 0, 0x8000, N),
    (DIVU, 100, 7, 2, 14, 0),
    (DIVS, 0, 5, 0, 0, Z),
    (DIVS, 0, -5, 0, 0, Z),
    (DIVS, 7, 2, 1, 3, 0),
    (DIVS, -7, 2, -1, -3, N),
    (DIVS, 7, -2, 1, -3, N),
    (DIVS, -7, -2, -1, 3, 0),
    (DIVS, -1, 2, -1, 0, Z),
    (DIVS, 32767, 1, 0, 32767, 0),
    (DIVS, -32767, -1, 0, 32767, 0),
    (DIVS, -32768, 1, 0, -32768, N),
    (DIVS, 32768, -1, 0, -32768, N),
    (DIVS, 0x4000_0000, -0x8000, 0, -32768, N),
    (DIVS, -65537, 2, -1, -32768, N),
];

#[test]
fn quotients_that_fit() {
    let mut bench = Bench::new();
    for (opcode, dividend, divisor, remainder, quotient, codes) in FITS {
        let what = format!("{opcode:04X}: {dividend} / {divisor}");
        bench.fresh().code(&[opcode]).status(SUPERVISOR | 0x1F).d(0, dividend as u32).d(1, divisor as u32).runs();
        assert_eq!(bench.d_now(0), (remainder as u32) << 16 | quotient as u32 & 0xFFFF, "{what}");
        assert_eq!(bench.codes_now(), 0x10 | codes, "{what}: X is kept, C cleared");
    }
}

/// One too many, or far too many: V is set, C cleared, X kept, and the operands are as they were. N and Z are
/// undefined.
#[test]
fn quotients_that_do_not_fit() {
    let cases: [(u16, i64, i64); 15] = [
        (DIVU, 0x1_0000, 1),
        (DIVU, 0xFFFF_0000, 0xFFFF),
        (DIVU, 0xFFFF_FFFF, 0xFFFF),
        (DIVU, 0xFFFF_FFFF, 1),
        (DIVU, 0x2_0000, 2),
        (DIVS, 32768, 1),
        (DIVS, -32769, 1),
        (DIVS, 32769, -1),
        (DIVS, -32768, -1),
        (DIVS, 65536, 2),
        (DIVS, -65538, 2),
        (DIVS, -0x8000_0000, -1),
        (DIVS, -0x8000_0000, 1),
        (DIVS, -0x8000_0000, -0x8000),
        (DIVS, 0x7FFF_FFFF, 1),
    ];
    let mut bench = Bench::new();
    for (opcode, dividend, divisor) in cases {
        for codes in [0, 0x1F] {
            let (dividend, divisor) = (dividend as u32, divisor as u32);
            let what = format!("{opcode:04X}: {dividend:X} / {divisor:X}");
            bench.fresh().code(&[opcode]).status(SUPERVISOR | codes).d(0, dividend).d(1, divisor).runs();
            assert_eq!((bench.d_now(0), bench.d_now(1)), (dividend, divisor), "{what}");
            assert_eq!(bench.codes_now() & 0x13, codes & 0x10 | V, "{what}");
        }
    }
}

/// Only the divisor's low word counts. The exception is vector 5, its frame has the next instruction's address (UM
/// 6.3.5), C is cleared, X kept, and the dividend untouched.
#[test]
fn a_divisor_of_zero_raises_its_exception() {
    let mut bench = Bench::new();
    for (opcode, codes) in [(DIVU, 0), (DIVU, 0x1F), (DIVS, 0), (DIVS, 0x1F)] {
        bench.fresh().code(&[opcode]).status(SUPERVISOR | codes).d(0, 0x1234_5678).d(1, 0x7_0000);
        let raised = bench.raises();
        assert_eq!((raised.exception, raised.exception.vector()), (Exception::ZeroDivide, 5));
        assert_eq!(bench.d_now(0), 0x1234_5678);
        assert_eq!(bench.memory.peek(STACK - 4, 32), CODE + 2, "the stacked program counter");
        assert_eq!(bench.memory.peek(STACK - 6, 16) as u16 & 0xFF11, SUPERVISOR | codes & 0x10, "the stacked status");
    }
}
