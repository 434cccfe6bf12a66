//! Instructions with one operand, which they change or test.

use crate::cpu::Cpu;
use crate::cpu::access::Done;
use crate::cpu::alu::Alu;
use crate::cpu::memory::Memory;
use crate::cpu::operand::Operand;
use crate::cpu::size::Size;

impl Cpu {
    /// NEGX, NEG, NOT of memory.
    pub(super) fn unary<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let place = self.place(memory, opcode, size)?;
        let old = self.read(memory, size, place)?;
        let result = match opcode >> 9 & 3 {
            0 => self.extended(Alu::Sub, size, old, 0),
            2 => self.compute(Alu::Sub, size, old, 0),
            _ => self.logical(size, !old),
        };
        self.finish(memory)?;
        self.write_back(memory, size, place.address, result)
    }

    /// CLR of memory, which is read first.
    pub(super) fn clear<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let place = self.place(memory, opcode, size)?;
        self.touch(memory, size, place.address)?;
        self.logical(size, 0);
        self.finish(memory)?;
        self.write_back(memory, size, place.address, 0)
    }

    /// TST of memory.
    #[inline]
    pub(super) fn test<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let place = self.place(memory, opcode, size)?;
        let value = self.read(memory, size, place)?;
        self.finish(memory)?;
        self.logical(size, value);
        Ok(())
    }

    /// Scc of memory, which is read first.
    pub(super) fn set_if<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let place = self.place(memory, opcode, Size::Byte)?;
        let value = if self.core.regs.sr.condition((opcode >> 8 & 15) as u8) { 0xFF } else { 0 };
        self.touch(memory, Size::Byte, place.address)?;
        self.finish(memory)?;
        self.write(memory, Size::Byte, place.address, value)
    }

    /// TAS of memory: one locked cycle on the chip, here a read and a write.
    pub(super) fn test_and_set<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let place = self.place(memory, opcode, Size::Byte)?;
        let value = self.read(memory, Size::Byte, place)?;
        self.logical(Size::Byte, value);
        memory.idle(2);
        self.write(memory, Size::Byte, place.address, value | 0x80)?;
        self.finish(memory)
    }

    /// NBCD.
    pub(super) fn negate_decimal<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        match self.operand(memory, opcode, Size::Byte)? {
            Operand::Memory(place) => {
                let old = self.read(memory, Size::Byte, place)?;
                let result = self.sub_decimal(old, 0);
                self.finish(memory)?;
                self.write(memory, Size::Byte, place.address, result)
            }
            _ => {
                let result = self.sub_decimal(self.data(Size::Byte, opcode), 0);
                self.set_data(Size::Byte, opcode, result);
                self.finish(memory)?;
                memory.idle(2);
                Ok(())
            }
        }
    }

    /// Shifts and rotates of a word in memory, by one.
    pub(super) fn shift_memory<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let place = self.place(memory, opcode, Size::Word)?;
        let old = self.read(memory, Size::Word, place)?;
        let result = self.shift_by_one(opcode, old);
        self.finish(memory)?;
        self.write(memory, Size::Word, place.address, result)
    }

    fn shift_by_one(&mut self, opcode: u16, old: u32) -> u32 {
        let left = opcode & 0x100 != 0;
        let extend = u32::from(self.core.regs.sr.x);
        let out = if left { old >> 15 & 1 } else { old & 1 };
        let kind = opcode >> 9 & 3;
        // What comes in at the other end: sign, zero, X, or what went out.
        let into = match kind {
            0 if left => 0,
            0 => old >> 15 & 1,
            1 => 0,
            2 => extend,
            _ => out,
        };
        let result = if left { old << 1 | into } else { old >> 1 | into << 15 };
        let result = self.logical(Size::Word, result);
        let sr = &mut self.core.regs.sr;
        sr.c = out == 1;
        sr.v = kind == 0 && left && (old ^ result) & 0x8000 != 0;
        if kind != 3 {
            sr.x = sr.c;
        }
        result
    }

    /// EXT.W, whose flags the core takes from the whole register.
    pub(super) fn extend_word<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let value = Size::Byte.extend(self.data(Size::Byte, opcode));
        let result = self.logical(Size::Word, value);
        self.set_data(Size::Word, opcode, result);
        self.finish(memory)
    }
}
