//! BTST, BCHG, BCLR, BSET.

use crate::cpu::Cpu;
use crate::cpu::access::{Aborted, Done};
use crate::cpu::memory::Memory;
use crate::cpu::operand::Operand;
use crate::cpu::size::Size;

impl Cpu {
    /// BTST of memory or of an immediate.
    pub(super) fn bit_test<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let bit = self.bit_number(memory, opcode)?;
        let operand = self.operand(memory, opcode, Size::Byte)?;
        let value = self.value(memory, operand, Size::Byte)?;
        self.finish(memory)?;
        if let Operand::Immediate(_) = operand {
            // Observed; the UM has no line for it.
            memory.idle(2);
        }
        self.core.regs.sr.z = value >> (bit & 7) & 1 == 0;
        Ok(())
    }

    /// BCHG, BCLR, BSET.
    pub(super) fn bit_change<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let bit = self.bit_number(memory, opcode)?;
        match self.operand(memory, opcode, Size::Byte)? {
            Operand::Memory(place) => {
                let old = self.read(memory, Size::Byte, place)?;
                let new = self.changed(opcode, old, bit & 7);
                self.finish(memory)?;
                self.write(memory, Size::Byte, place.address, new)
            }
            _ => {
                let bit = bit & 31;
                let new = self.changed(opcode, self.data(Size::Long, opcode), bit);
                self.set_data(Size::Long, opcode, new);
                self.finish(memory)?;
                // The upper half takes longer; the UM gives the maximum only.
                let clears = opcode >> 6 & 3 == 2;
                memory.idle(2 + if clears { 2 } else { 0 } + if bit >= 16 { 2 } else { 0 });
                Ok(())
            }
        }
    }

    /// From a data register, or from the first extension word.
    fn bit_number<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Result<u32, Aborted> {
        if opcode & 0x100 != 0 { Ok(self.data(Size::Byte, opcode >> 9)) } else { self.immediate(memory, Size::Byte) }
    }

    fn changed(&mut self, opcode: u16, old: u32, bit: u32) -> u32 {
        let mask = 1 << bit;
        self.core.regs.sr.z = old & mask == 0;
        match opcode >> 6 & 3 {
            1 => old ^ mask,
            2 => old & !mask,
            _ => old | mask,
        }
    }
}
