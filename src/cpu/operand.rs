//! Effective addresses: the addressing modes, with the fetches and the time they take.

use super::Cpu;
use super::access::{Aborted, Place};
use super::memory::Memory;
use super::size::{Size, merge};

/// Where an operand is.
#[derive(Clone, Copy, Debug)]
pub(super) enum Operand {
    Data(usize),
    Address(u8),
    Memory(Place),
    Immediate(u32),
}

/// How far An moves for (An)+ and -(An): the stack pointer stays even.
#[inline]
pub(super) fn stride(size: Size, register: u8) -> u32 {
    if size == Size::Byte && register == 7 { 2 } else { size.bytes() }
}

impl Cpu {
    /// The operand of the mode and register in bits 5-0 of `opcode`.
    ///
    /// It also sets the program counter that the frame shows if the operand cannot be read (observed: 2 past the
    /// opcode and immediate words, 4 for a word at -(An) and an absolute short address, 6 for an absolute long one).
    #[inline]
    pub(super) fn operand<M: Memory>(&mut self, memory: &mut M, opcode: u16, size: Size) -> Result<Operand, Aborted> {
        let number = (opcode & 7) as u8;
        let mode = opcode >> 3 & 7;
        let address = match mode {
            0 => return Ok(Operand::Data(number.into())),
            1 => return Ok(Operand::Address(number)),
            7 if number == 4 => return Ok(Operand::Immediate(self.immediate(memory, size)?)),
            _ => self.memory_operand(memory, mode, number, size)?,
        };
        Ok(Operand::Memory(Place { address, program: mode == 7 && number >= 2 }))
    }

    /// The place of an operand that is known to be in memory.
    #[inline]
    pub(super) fn place<M: Memory>(&mut self, memory: &mut M, opcode: u16, size: Size) -> Result<Place, Aborted> {
        let (mode, number) = (opcode >> 3 & 7, (opcode & 7) as u8);
        let address = self.memory_operand(memory, mode, number, size)?;
        Ok(Place { address, program: mode == 7 && number >= 2 })
    }

    #[inline]
    fn memory_operand<M: Memory>(&mut self, memory: &mut M, mode: u16, number: u8, size: Size) -> Result<u32, Aborted> {
        self.fault_pc = self.pc().wrapping_add(2);
        match mode {
            2 => Ok(self.core.regs.a(number)),
            3 => {
                let address = self.core.regs.a(number);
                // A long at an odd address leaves An as it was (observed).
                if size != Size::Long || address & 1 == 0 {
                    *self.core.regs.a_mut(number) += stride(size, number);
                }
                Ok(address)
            }
            4 => {
                memory.idle(2);
                if size == Size::Word {
                    self.fault_pc = self.fault_pc.wrapping_add(2);
                }
                *self.core.regs.a_mut(number) -= stride(size, number);
                Ok(self.core.regs.a(number))
            }
            5 => Ok(self.core.regs.a(number).wrapping_add(self.displacement(memory)?)),
            6 => self.indexed(memory, self.core.regs.a(number)),
            _ => self.absolute_or_relative(memory, number),
        }
    }

    fn absolute_or_relative<M: Memory>(&mut self, memory: &mut M, number: u8) -> Result<u32, Aborted> {
        let base = self.pc().wrapping_add(2);
        match number {
            0 => {
                self.fault_pc = base.wrapping_add(2);
                self.displacement(memory)
            }
            1 => {
                self.fault_pc = base.wrapping_add(4);
                self.immediate(memory, Size::Long)
            }
            2 => Ok(base.wrapping_add(self.displacement(memory)?)),
            _ => self.indexed(memory, base),
        }
    }

    /// A 16-bit displacement or short address, sign-extended.
    #[inline]
    pub(super) fn displacement<M: Memory>(&mut self, memory: &mut M) -> Result<u32, Aborted> {
        Ok(self.extension(memory)? as i16 as u32)
    }

    /// Base, index and displacement of a brief extension word (PRM figure 2-8).
    pub(super) fn indexed<M: Memory>(&mut self, memory: &mut M, base: u32) -> Result<u32, Aborted> {
        memory.idle(2);
        let index = self.index(self.queue.second());
        self.extension(memory)?;
        Ok(base.wrapping_add(index))
    }

    /// Index and displacement of a brief extension word.
    pub(super) fn index(&self, word: u16) -> u32 {
        let number = word >> 12 & 7;
        let registers = &self.core.regs;
        let whole = if word & 0x8000 == 0 { registers.d[number as usize].0 } else { registers.a(number as u8) };
        let index = if word & 0x0800 == 0 { whole as i16 as u32 } else { whole };
        index.wrapping_add(word as i8 as u32)
    }

    /// The value of an operand.
    #[inline]
    pub(super) fn value<M: Memory>(&mut self, memory: &mut M, operand: Operand, size: Size) -> Result<u32, Aborted> {
        match operand {
            Operand::Data(number) => Ok(self.core.regs.d[number].0 & size.mask()),
            Operand::Address(number) => Ok(self.core.regs.a(number) & size.mask()),
            Operand::Memory(place) => self.read(memory, size, place),
            Operand::Immediate(value) => Ok(value),
        }
    }

    /// The low part of a data register.
    #[inline]
    pub(super) fn data(&self, size: Size, number: u16) -> u32 {
        self.core.regs.d[(number & 7) as usize].0 & size.mask()
    }

    /// Replaces the low part of a data register.
    #[inline]
    pub(super) fn set_data(&mut self, size: Size, number: u16, value: u32) {
        let register = &mut self.core.regs.d[(number & 7) as usize].0;
        *register = merge(size, *register, value);
    }
}
