//! MOVEM and MOVEP.

use super::access::Place;
use super::size::Size;
use super::{Processor, Run};
use crate::board::AccessKind;
use crate::prove::{Domain, Pin, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// MOVEM.
    pub(super) fn move_multiple(&mut self, opcode: u16) -> Run<W> {
        let size = Size::long_if(opcode & 0x40 != 0);
        let list = self.extension()?;
        let list = self.pin(list, Pin::Code)? as u16;
        let (mode, number) = (opcode >> 3 & 7, opcode & 7);
        let place = match mode {
            2..=4 => Place::data(self.address(number)),
            _ => self.place(opcode, size)?,
        };
        // Observed: 6 past the opcode, and 2 more for each extension word of the operand.
        self.core.fault_pc = self.core.pc.wrapping_add(4);
        if opcode & 0x400 != 0 {
            self.load_multiple(size, list, place, (mode == 3).then_some(number))
        } else if mode == 4 {
            self.store_down(size, list, number)
        } else {
            self.store_up(size, list, place)
        }
    }

    /// All accesses are an even distance apart: the first one says whether they are odd.
    fn load_multiple(&mut self, size: Size, list: u16, place: Place<ValueOf<W>>, moves: Option<u16>) -> Run<W> {
        let Place { mut address, program, .. } = place;
        self.check(place, address, AccessKind::Read)?;
        for register in (0..16).filter(|register| list >> register & 1 == 1) {
            let value = self.load(size, address, program)?;
            let value = self.signed(value);
            self.set_register(register, value);
            address = self.plus(address, size.bytes());
        }
        // One word more than needed is read and dropped (observed; UM table 8-10 counts it).
        self.pass_word(address, program)?;
        if let Some(number) = moves {
            self.set_address(number, address);
        }
        self.finish()
    }

    fn store_up(&mut self, size: Size, list: u16, place: Place<ValueOf<W>>) -> Run<W> {
        let mut address = place.address;
        if list != 0 {
            self.check(place, address, AccessKind::Write)?;
        }
        for register in (0..16).filter(|register| list >> register & 1 == 1) {
            let value = self.register(register);
            let value = self.low(value, size.bits());
            self.store(size, address, value)?;
            address = self.plus(address, size.bytes());
        }
        self.finish()
    }

    /// To -(An): the list is reversed, and a long goes low word first. A stored An is the one before.
    fn store_down(&mut self, size: Size, list: u16, number: u16) -> Run<W> {
        let mut address = self.address(number);
        if list != 0 {
            let first = self.plus(address, 2u32.wrapping_neg());
            self.check(Place::data(address), first, AccessKind::Write)?;
        }
        for register in (0..16).rev().filter(|register| list >> (15 - register) & 1 == 1) {
            address = self.plus(address, size.bytes().wrapping_neg());
            let value = self.register(register);
            if size == Size::Long {
                self.store_down_long(address, value)?;
            } else {
                let value = self.low(value, 16);
                self.store_word(address, value)?;
            }
        }
        self.set_address(number, address);
        self.finish()
    }

    /// MOVEP: every other byte, the highest first.
    pub(super) fn move_peripheral(&mut self, opcode: u16) -> Run<W> {
        let size = Size::long_if(opcode & 0x40 != 0);
        let base = self.address(opcode);
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        let displacement = self.displacement()?;
        let mut address = self.v().add(base, displacement);
        if opcode & 0x80 != 0 {
            let value = self.data(size, opcode >> 9);
            for index in (0..size.bytes()).rev() {
                let byte = self.v().part(value, 8 * index, 8);
                self.write(Size::Byte, Place::data(address), byte)?;
                address = self.plus(address, 2);
            }
            return self.finish();
        }
        let mut value = self.read(Size::Byte, Place::data(address))?;
        for _ in 1..size.bytes() {
            address = self.plus(address, 2);
            let byte = self.read(Size::Byte, Place::data(address))?;
            value = self.v().join(value, byte);
        }
        self.set_data(size, opcode >> 9, value);
        self.finish()
    }
}
