//! MULU, MULS, DIVU, DIVS and CHK: instructions whose time depends on their operands.
//!
//! The times are those of the published vectors; the UM gives their maximum, and how MULx counts bits.

use crate::cpu::Cpu;
use crate::cpu::access::{Aborted, Done};
use crate::cpu::exception::Exception;
use crate::cpu::memory::Memory;
use crate::cpu::size::Size;

impl Cpu {
    /// MULU and MULS.
    pub(super) fn multiply<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let source = self.word_operand(memory, opcode)?;
        self.finish(memory)?;
        let destination = self.data(Size::Word, opcode >> 9);
        let (product, steps) = if opcode & 0x100 == 0 {
            (source * destination, source.count_ones())
        } else {
            let product = (source as i16 as i32).wrapping_mul(destination as i16 as i32) as u32;
            (product, ((source ^ source << 1) & 0xFFFF).count_ones())
        };
        memory.idle(34 + 2 * steps);
        self.set_data(Size::Long, opcode >> 9, product);
        self.logical(Size::Long, product);
        Ok(())
    }

    /// DIVU.
    pub(super) fn divide_unsigned<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let divisor = self.word_operand(memory, opcode)?;
        let dividend = self.data(Size::Long, opcode >> 9);
        if divisor == 0 {
            return self.divide_by_zero(memory, dividend);
        }
        if dividend >> 16 >= divisor {
            memory.idle(6);
            return self.overflow(memory);
        }
        memory.idle(unsigned_clocks(dividend, divisor) - 4);
        self.finish(memory)?;
        self.divided(opcode, dividend / divisor, dividend % divisor);
        Ok(())
    }

    /// DIVS.
    pub(super) fn divide_signed<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let divisor = self.word_operand(memory, opcode)? as i16;
        let dividend = self.data(Size::Long, opcode >> 9) as i32;
        if divisor == 0 {
            return self.divide_by_zero(memory, dividend as u32);
        }
        let start = if dividend < 0 { 14 } else { 12 };
        let (magnitude, by) = (dividend.unsigned_abs(), u32::from(divisor.unsigned_abs()));
        if magnitude >> 16 >= by {
            memory.idle(start);
            return self.overflow(memory);
        }
        memory.idle(start + signed_clocks(dividend, divisor, magnitude / by) - 4);
        // The magnitude fits in 16 bits, and -32768 is not beyond the range.
        let quotient = i64::from(dividend) / i64::from(divisor);
        if i16::try_from(quotient).is_err() {
            return self.overflow(memory);
        }
        self.finish(memory)?;
        let remainder = i64::from(dividend) % i64::from(divisor);
        self.divided(opcode, quotient as u32, remainder as u32);
        Ok(())
    }

    fn divided(&mut self, opcode: u16, quotient: u32, remainder: u32) {
        self.set_data(Size::Long, opcode >> 9, remainder << 16 | quotient & 0xFFFF);
        self.logical(Size::Word, quotient);
    }

    /// The quotient does not fit: only V and C are documented, N and Z are observed.
    fn overflow<M: Memory>(&mut self, memory: &mut M) -> Done {
        let sr = &mut self.core.regs.sr;
        (sr.n, sr.z, sr.v, sr.c) = (true, false, true, false);
        self.finish(memory)
    }

    /// The flags but C are undefined; no vector shows them. N and Z are set as for the dividend, which stays.
    fn divide_by_zero<M: Memory>(&mut self, memory: &mut M, dividend: u32) -> Done {
        memory.idle(4);
        self.logical(Size::Long, dividend);
        Err(self.raise(Exception::ZeroDivide, self.pc().wrapping_add(2)))
    }

    /// CHK: a word register against 0 and a bound.
    pub(super) fn check<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let bound = self.word_operand(memory, opcode)? as i16;
        let value = self.data(Size::Word, opcode >> 9) as i16;
        let sr = &mut self.core.regs.sr;
        // Z, V and C are undefined; cleared in all published vectors, of which none has a register of 0.
        (sr.n, sr.z, sr.v, sr.c) = (value < 0, value == 0, false, false);
        if (0..=bound).contains(&value) {
            memory.idle(6);
            return self.finish(memory);
        }
        let (difference, beyond) = bound.overflowing_sub(value);
        memory.idle(if difference < 0 || beyond { 4 } else { 6 });
        Err(self.raise(Exception::Chk, self.pc().wrapping_add(2)))
    }

    fn word_operand<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Result<u32, Aborted> {
        let operand = self.operand(memory, opcode, Size::Word)?;
        self.value(memory, operand, Size::Word)
    }
}

/// Clocks of a DIVU that does not overflow: 76, and for 15 steps 4 more unless the shift carries, less 2 where it
/// then subtracts.
fn unsigned_clocks(mut dividend: u32, divisor: u32) -> u32 {
    let divisor = divisor << 16;
    let mut clocks = 76;
    for _ in 0..15 {
        let carry = dividend >> 31 == 1;
        dividend <<= 1;
        if carry {
            dividend = dividend.wrapping_sub(divisor);
        } else if dividend >= divisor {
            dividend -= divisor;
            clocks += 2;
        } else {
            clocks += 4;
        }
    }
    clocks
}

/// Clocks of a DIVS after its start: by the signs, and 2 for each zero in bits 15-1 of the magnitude of the quotient.
fn signed_clocks(dividend: i32, divisor: i16, magnitude: u32) -> u32 {
    let signs = match (divisor >= 0, dividend >= 0) {
        (true, true) => 108,
        (true, false) => 112,
        (false, _) => 110,
    };
    signs + 2 * (15 - (magnitude >> 1 & 0x7FFF).count_ones())
}
