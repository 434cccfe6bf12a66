//! MOVEM and MOVEP.

use crate::cpu::Cpu;
use crate::cpu::access::{Done, Place};
use crate::cpu::memory::Memory;
use crate::cpu::size::Size;

impl Cpu {
    /// MOVEM.
    pub(super) fn move_multiple<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::long_if(opcode & 0x40 != 0);
        let list = self.extension(memory)?;
        let (mode, number) = (opcode >> 3 & 7, (opcode & 7) as u8);
        let place = match mode {
            2..=4 => Place::data(self.core.regs.a(number)),
            _ => self.place(memory, opcode, size)?,
        };
        // Observed: 6 past the opcode, and 2 more for each extension word of the operand.
        self.fault_pc = self.pc().wrapping_add(4);
        if opcode & 0x400 != 0 {
            self.load_multiple(memory, size, list, place, (mode == 3).then_some(number))
        } else if mode == 4 {
            self.store_down(memory, size, list, number)
        } else {
            self.store_up(memory, size, list, place.address)
        }
    }

    fn load_multiple<M: Memory>(
        &mut self,
        memory: &mut M,
        size: Size,
        list: u16,
        mut place: Place,
        moves: Option<u8>,
    ) -> Done {
        for register in (0..16).filter(|register| list >> register & 1 == 1) {
            let value = size.extend(self.read(memory, size, place)?);
            self.set_register(register, value);
            place.address = place.address.wrapping_add(size.bytes());
        }
        // One word more than needed is read and dropped (observed; UM table 8-10 counts it).
        self.touch_word(memory, place)?;
        if let Some(number) = moves {
            self.core.regs.a_mut(number).0 = place.address;
        }
        self.finish(memory)
    }

    fn store_up<M: Memory>(&mut self, memory: &mut M, size: Size, list: u16, mut address: u32) -> Done {
        for register in (0..16).filter(|register| list >> register & 1 == 1) {
            self.write(memory, size, address, self.register(register))?;
            address = address.wrapping_add(size.bytes());
        }
        self.finish(memory)
    }

    /// To -(An): the list is reversed, and a long goes low word first. A stored An is the one before.
    fn store_down<M: Memory>(&mut self, memory: &mut M, size: Size, list: u16, number: u8) -> Done {
        let mut address = self.core.regs.a(number);
        for register in (0..16).rev().filter(|register| list >> (15 - register) & 1 == 1) {
            address = address.wrapping_sub(size.bytes());
            self.write_back(memory, size, address, self.register(register))?;
        }
        self.core.regs.a_mut(number).0 = address;
        self.finish(memory)
    }

    fn register(&self, number: u8) -> u32 {
        if number < 8 { self.core.regs.d[number as usize].0 } else { self.core.regs.a(number - 8) }
    }

    fn set_register(&mut self, number: u8, value: u32) {
        if number < 8 {
            self.core.regs.d[number as usize].0 = value;
        } else {
            self.core.regs.a_mut(number - 8).0 = value;
        }
    }

    /// MOVEP: every other byte, the highest first.
    pub(super) fn move_peripheral<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::long_if(opcode & 0x40 != 0);
        let base = self.core.regs.a((opcode & 7) as u8);
        self.fault_pc = self.pc().wrapping_add(2);
        let address = base.wrapping_add(self.displacement(memory)?);
        let places = (0..size.bytes()).map(|index| (address.wrapping_add(2 * index), 8 * (size.bytes() - 1 - index)));
        if opcode & 0x80 != 0 {
            let value = self.data(size, opcode >> 9);
            for (address, shift) in places {
                self.write(memory, Size::Byte, address, value >> shift)?;
            }
        } else {
            let mut value = 0;
            for (address, _) in places {
                value = value << 8 | self.read(memory, Size::Byte, Place::data(address))?;
            }
            self.set_data(size, opcode >> 9, value);
        }
        self.finish(memory)
    }
}
