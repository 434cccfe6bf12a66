//! MOVE, MOVEA from memory, LEA with an index, PEA.

use crate::cpu::Cpu;
use crate::cpu::access::{Aborted, Done};
use crate::cpu::memory::Memory;
use crate::cpu::operand::{Operand, stride};
use crate::cpu::size::Size;

/// Mode 7 stands for an absolute short address here, and this for a long one.
const ABSOLUTE_LONG: u16 = 8;

impl Cpu {
    /// MOVE, whatever its operands.
    #[inline]
    pub(super) fn move_data<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = move_size(opcode);
        let source = self.operand(memory, opcode, size)?;
        let value = self.value(memory, source, size)?;
        let (mode, number) = (opcode >> 6 & 7, (opcode >> 9 & 7) as u8);
        if mode == 0 {
            self.logical(size, value);
            self.set_data(size, number.into(), value);
            return self.finish(memory);
        }
        let from_memory = matches!(source, Operand::Memory(_));
        self.store(memory, size, value, mode, number, from_memory)
    }

    /// Writes the destination; each mode has its own place for the prefetches.
    #[inline]
    fn store<M: Memory>(
        &mut self,
        memory: &mut M,
        size: Size,
        value: u32,
        mode: u16,
        number: u8,
        from_memory: bool,
    ) -> Done {
        // Observed: 4 past the opcode and the extension words of the source.
        self.fault_pc = self.pc().wrapping_add(4);
        let address = match mode {
            2 | 3 => self.core.regs.a(number),
            4 => return self.store_before(memory, size, value, number),
            5 => self.core.regs.a(number).wrapping_add(self.displacement(memory)?),
            6 => self.indexed(memory, self.core.regs.a(number))?,
            _ if number == 0 => self.displacement(memory)?,
            _ => return self.store_absolute(memory, size, value, from_memory),
        };
        if address & 1 != 0 && size == Size::Long {
            self.flags_at_fault(value, mode, from_memory);
        } else {
            self.logical(size, value);
        }
        self.write(memory, size, address, value)?;
        if mode == 3 {
            *self.core.regs.a_mut(number) += stride(size, number);
        }
        self.finish(memory)
    }

    /// To -(An): the prefetch comes first, and a long goes low word first.
    fn store_before<M: Memory>(&mut self, memory: &mut M, size: Size, value: u32, number: u8) -> Done {
        let address = self.core.regs.a(number).wrapping_sub(stride(size, number));
        self.logical(size, value);
        self.finish(memory)?;
        if size == Size::Long {
            self.write_back(memory, size, address, value)?;
            self.core.regs.a_mut(number).0 = address;
            return Ok(());
        }
        self.instruction = self.queue.first();
        self.core.regs.a_mut(number).0 = address;
        self.write(memory, size, address, value)
    }

    /// To an absolute long address: from memory, the write comes before the last extension word's prefetch.
    fn store_absolute<M: Memory>(&mut self, memory: &mut M, size: Size, value: u32, from_memory: bool) -> Done {
        let high = u32::from(self.extension(memory)?);
        let address = high << 16 | u32::from(self.queue.second());
        if from_memory {
            if address & 1 != 0 && size == Size::Long {
                self.flags_at_fault(value, ABSOLUTE_LONG, true);
            } else {
                self.logical(size, value);
            }
            self.write(memory, size, address, value)?;
            self.extension(memory)?;
        } else {
            self.fault_pc = self.fault_pc.wrapping_add(2);
            self.extension(memory)?;
            self.logical(size, value);
            self.write(memory, size, address, value)?;
        }
        self.finish(memory)
    }

    /// How far the flags of a long have come when its write meets an odd address (observed).
    #[cold]
    fn flags_at_fault(&mut self, value: u32, mode: u16, from_memory: bool) {
        match (mode, from_memory) {
            (2 | 3, false) => {}
            (2 | 3 | ABSOLUTE_LONG, true) => {
                self.logical(Size::Word, value);
            }
            (5 | 6, false) => {
                self.core.regs.sr.n = Size::Long.negative(value);
                self.core.regs.sr.z = value == 0;
            }
            _ => {
                self.logical(Size::Long, value);
            }
        }
    }

    /// MOVEA from memory.
    pub(super) fn move_address<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = move_size(opcode);
        let place = self.place(memory, opcode, size)?;
        let value = size.extend(self.read(memory, size, place)?);
        self.core.regs.a_mut((opcode >> 9 & 7) as u8).0 = value;
        self.finish(memory)
    }

    /// LEA with an index.
    pub(super) fn load_indexed<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let address = self.address_of(memory, opcode)?;
        self.core.regs.a_mut((opcode >> 9 & 7) as u8).0 = address;
        self.finish(memory)
    }

    /// PEA: an absolute address is pushed before the last prefetch, any other after it.
    pub(super) fn push_address<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let address = self.address_of(memory, opcode)?;
        self.fault_pc = self.pc().wrapping_add(2);
        if opcode & 0x3F >= 0x38 && opcode & 7 <= 1 {
            self.push_long(memory, address)?;
            return self.finish(memory);
        }
        self.finish(memory)?;
        self.push_long(memory, address)
    }

    fn address_of<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Result<u32, Aborted> {
        let place = self.place(memory, opcode, Size::Long)?;
        if matches!(opcode & 0x3F, 0x30..=0x37 | 0x3B) {
            memory.idle(2);
        }
        Ok(place.address)
    }
}

/// MOVE has a size field of its own.
#[inline]
fn move_size(opcode: u16) -> Size {
    match opcode >> 12 & 3 {
        1 => Size::Byte,
        2 => Size::Long,
        _ => Size::Word,
    }
}
