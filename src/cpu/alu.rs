//! Arithmetic, logic and their condition codes (PRM, table 3-18), for all sizes alike.

use super::Cpu;
use super::size::Size;

/// A two-operand operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Alu {
    Or,
    And,
    Sub,
    Add,
    Eor,
    Cmp,
}

impl Alu {
    /// The operation in bits 11-9 of the immediate instructions.
    pub fn of_immediate(opcode: u16) -> Self {
        match opcode >> 9 & 7 {
            0 => Alu::Or,
            1 => Alu::And,
            2 => Alu::Sub,
            3 => Alu::Add,
            5 => Alu::Eor,
            _ => Alu::Cmp,
        }
    }
}

impl Cpu {
    /// `destination` with `source`: the result, and the condition codes. CMP returns the destination unchanged.
    #[inline]
    pub(super) fn compute(&mut self, alu: Alu, size: Size, source: u32, destination: u32) -> u32 {
        match alu {
            Alu::Or => self.logical(size, source | destination),
            Alu::And => self.logical(size, source & destination),
            Alu::Eor => self.logical(size, source ^ destination),
            Alu::Add => {
                let result = self.add(size, source, destination, 0);
                self.core.regs.sr.z = result == 0;
                result
            }
            Alu::Sub => {
                let result = self.sub(size, source, destination, 0);
                self.core.regs.sr.z = result == 0;
                result
            }
            Alu::Cmp => {
                let extend = self.core.regs.sr.x;
                let result = self.sub(size, source, destination, 0);
                self.core.regs.sr.z = result == 0;
                self.core.regs.sr.x = extend;
                destination
            }
        }
    }

    /// N and Z of a result; V and C cleared.
    #[inline]
    pub(super) fn logical(&mut self, size: Size, value: u32) -> u32 {
        let sr = &mut self.core.regs.sr;
        let value = value & size.mask();
        sr.n = size.negative(value);
        sr.z = value == 0;
        sr.v = false;
        sr.c = false;
        value
    }

    /// A sum with its X, N, V and C; Z is the caller's, since ADDX only clears it.
    #[inline]
    pub(super) fn add(&mut self, size: Size, source: u32, destination: u32, extend: u32) -> u32 {
        let result = destination.wrapping_add(source).wrapping_add(extend) & size.mask();
        let carry = source & destination | (source | destination) & !result;
        self.carried(size, result, carry, (source ^ result) & (destination ^ result))
    }

    /// A difference with its X, N, V and C; Z is the caller's.
    #[inline]
    pub(super) fn sub(&mut self, size: Size, source: u32, destination: u32, extend: u32) -> u32 {
        let result = destination.wrapping_sub(source).wrapping_sub(extend) & size.mask();
        let borrow = source & !destination | result & (source | !destination);
        self.carried(size, result, borrow, (source ^ destination) & (result ^ destination))
    }

    /// X, N, V and C of a result; the carry and the overflow are sign bits.
    #[inline]
    fn carried(&mut self, size: Size, result: u32, carry: u32, overflow: u32) -> u32 {
        let sr = &mut self.core.regs.sr;
        sr.c = size.negative(carry);
        sr.x = sr.c;
        sr.v = size.negative(overflow);
        sr.n = size.negative(result);
        result
    }

    /// Sums or differences that take X in and only clear Z.
    pub(super) fn extended(&mut self, alu: Alu, size: Size, source: u32, destination: u32) -> u32 {
        let extend = u32::from(self.core.regs.sr.x);
        let result = match alu {
            Alu::Add => self.add(size, source, destination, extend),
            _ => self.sub(size, source, destination, extend),
        };
        self.core.regs.sr.z &= result == 0;
        result
    }

    /// A decimal sum of two digits. Invalid digits and the flags that the manual leaves undefined are as observed.
    pub(super) fn add_decimal(&mut self, source: u32, destination: u32) -> u32 {
        let sum = source + destination + u32::from(self.core.regs.sr.x);
        // The carries out of both digits, of the binary sum and of the sum with 6 added to each digit.
        let binary = (source & destination | !sum & source | !sum & destination) & 0x88;
        let decimal = ((sum + 0x66) ^ sum) & 0x110;
        let carries = binary | decimal >> 1;
        let result = sum.wrapping_add(carries - (carries >> 2));
        let sr = &mut self.core.regs.sr;
        sr.c = (binary | sum & !result) & 0x80 != 0;
        sr.x = sr.c;
        sr.v = !sum & result & 0x80 != 0;
        sr.n = result & 0x80 != 0;
        sr.z &= result & 0xFF == 0;
        result & 0xFF
    }

    /// A decimal difference; the same holds.
    pub(super) fn sub_decimal(&mut self, source: u32, destination: u32) -> u32 {
        let difference = destination.wrapping_sub(source).wrapping_sub(u32::from(self.core.regs.sr.x));
        let borrows = (!destination & source | difference & !destination | difference & source) & 0x88;
        let result = difference.wrapping_sub(borrows - (borrows >> 2));
        let sr = &mut self.core.regs.sr;
        sr.c = (borrows | !difference & result) & 0x80 != 0;
        sr.x = sr.c;
        sr.v = difference & !result & 0x80 != 0;
        sr.n = result & 0x80 != 0;
        sr.z &= result & 0xFF == 0;
        result & 0xFF
    }
}
