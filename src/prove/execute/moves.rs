//! temp
use super::access::Place;
use super::operand::Operand;
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, Pin, ValueOf, World};

impl<W: World> Processor<'_, W> {
    pub(super) fn move_data(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of_move(opcode);
        let operand = self.operand(opcode, size)?;
        let value = self.value(operand, size)?;
        let (mode, number) = (opcode >> 6 & 7, opcode >> 9 & 7);
        match mode {
            0 => {
                self.logical(value);
                self.set_data(size, number, value);
                return self.finish();
            }
            1 => {
                let value = self.signed(value);
                self.set_address(number, value);
                return self.finish();
            }
            _ => {}
        }
        let from_memory = matches!(operand, Operand::Memory(_));
        self.core.fault_pc = self.core.pc.wrapping_add(4);
        let address = match mode {
            2 | 3 => self.address(number),
            4 => return self.store_before(size, value, number),
            5 => {
                let base = self.address(number);
                let by = self.displacement()?;
                self.v().add(base, by)
            }
            6 => {
                let base = self.address(number);
                self.indexed(base)?
            }
            _ if number == 0 => self.displacement()?,
            _ => return self.store_absolute(size, value, from_memory),
        };
        let odd = if size == Size::Byte { false } else { self.odd(address)? };
        if odd && size == Size::Long {
            self.flags_at_fault(value, mode, from_memory);
        } else {
            self.logical(value);
        }
        self.write(size, Place::data(address), value)?;
        if mode == 3 {
            self.advance(number, size.stride(number));
        }
        self.finish()
    }
    fn store_before(&mut self, size: Size, value: ValueOf<W>, number: u16) -> Run<W> {
        let old = self.address(number);
        let address = self.plus(old, size.stride(number).wrapping_neg());
        self.logical(value);
        self.finish()?;
        if size == Size::Long {
            self.write_back(size, Place::data(address), value)?;
            self.set_address(number, address);
            return Ok(());
        }
        self.core.instruction = self.core.queue[0];
        self.set_address(number, address);
        self.write(size, Place::data(address), value)
    }
    fn store_absolute(&mut self, size: Size, value: ValueOf<W>, from_memory: bool) -> Run<W> {
        let high = self.extension()?;
        let low = self.core.queue[1];
        let address = self.v().join(high, low);
        if from_memory {
            let odd = if size == Size::Byte { false } else { self.odd(address)? };
            if odd && size == Size::Long {
                self.flags_at_fault(value, 8, true);
            } else {
                self.logical(value);
            }
            self.write(size, Place::data(address), value)?;
            self.extension()?;
        } else {
            self.core.fault_pc = self.core.fault_pc.wrapping_add(2);
            self.extension()?;
            self.logical(value);
            self.write(size, Place::data(address), value)?;
        }
        self.finish()
    }
    fn flags_at_fault(&mut self, value: ValueOf<W>, mode: u16, from_memory: bool) {
        match (mode, from_memory) {
            (2 | 3, false) => {}
            (2 | 3 | 8, true) => {
                let low = self.low(value, 16);
                self.logical(low);
            }
            (5 | 6, false) => self.negative_and_zero(value),
            _ => self.logical(value),
        }
    }
    pub(super) fn load_address(&mut self, opcode: u16) -> Run<W> {
        let address = self.address_of(opcode)?;
        self.set_address(opcode >> 9 & 7, address);
        self.finish()
    }
    pub(super) fn push_address(&mut self, opcode: u16) -> Run<W> {
        let address = self.address_of(opcode)?;
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        if opcode & 0x3F >= 0x38 && opcode & 7 <= 1 {
            self.push_long(address)?;
            return self.finish();
        }
        self.finish()?;
        self.push_long(address)
    }
    fn address_of(&mut self, opcode: u16) -> Run<W, ValueOf<W>> {
        let place = self.place(opcode, Size::Long)?;
        if matches!(opcode & 0x3F, 0x30..=0x37 | 0x3B) {
            self.idle(2);
        }
        Ok(place.address)
    }
    pub(super) fn unary(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let operand = self.operand(opcode, size)?;
        let old = self.value(operand, size)?;
        let zero = self.number(size.bits(), 0);
        let result = match opcode >> 9 & 3 {
            0 => self.extended(false, old, zero),
            2 => self.compute(super::alu::Alu::Sub, old, zero),
            _ => {
                let r = self.v().not(old);
                self.logical(r);
                r
            }
        };
        self.finish()?;
        match operand {
            Operand::Memory(place) => self.write_back(size, place.even(), result),
            _ => {
                self.set_data(size, opcode, result);
                if size == Size::Long {
                    self.idle(2);
                }
                Ok(())
            }
        }
    }
    pub(super) fn clear_op(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let zero = self.number(size.bits(), 0);
        if opcode >> 3 & 7 == 0 {
            self.logical(zero);
            self.set_data(size, opcode, zero);
            self.finish()?;
            if size == Size::Long {
                self.idle(2);
            }
            return Ok(());
        }
        let place = self.place(opcode, size)?;
        self.touch(size, place)?;
        self.logical(zero);
        self.finish()?;
        self.write_back(size, place.even(), zero)
    }
    pub(super) fn test(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let operand = self.operand(opcode, size)?;
        let value = self.value(operand, size)?;
        self.finish()?;
        self.logical(value);
        Ok(())
    }
    pub(super) fn set_if(&mut self, opcode: u16) -> Run<W> {
        let holds = self.condition(opcode >> 8 & 15);
        let value = self.either(holds, 8, 0xFF, 0);
        if opcode >> 3 & 7 == 0 {
            self.set_data(Size::Byte, opcode, value);
            self.finish()?;
            let clocks = self.either(holds, 32, 2, 0);
            self.idle_value(clocks);
            return Ok(());
        }
        let place = self.place(opcode, Size::Byte)?;
        self.touch(Size::Byte, place)?;
        self.finish()?;
        self.write(Size::Byte, place, value)
    }
    pub(super) fn tas(&mut self, opcode: u16) -> Run<W> {
        let operand = self.operand(opcode, Size::Byte)?;
        let value = self.value(operand, Size::Byte)?;
        self.logical(value);
        let top = self.number(8, 0x80);
        let set = self.v().or(value, top);
        match operand {
            Operand::Memory(place) => {
                self.idle(2);
                self.write(Size::Byte, place, set)?;
            }
            _ => self.set_data(Size::Byte, opcode, set),
        }
        self.finish()
    }
    pub(super) fn nbcd(&mut self, opcode: u16) -> Run<W> {
        let operand = self.operand(opcode, Size::Byte)?;
        let old = self.value(operand, Size::Byte)?;
        let zero = self.number(8, 0);
        let result = self.decimal_result(false, old, zero);
        match operand {
            Operand::Memory(place) => {
                self.finish()?;
                self.write(Size::Byte, place, result)
            }
            _ => {
                self.set_data(Size::Byte, opcode, result);
                self.finish()?;
                self.idle(2);
                Ok(())
            }
        }
    }
    pub(super) fn ext(&mut self, opcode: u16) -> Run<W> {
        let long = opcode & 0x40 != 0;
        let from = if long { Size::Word } else { Size::Byte };
        let value = self.data(from, opcode);
        let value = self.v().extend_signed(value, if long { 32 } else { 16 });
        self.logical(value);
        self.set_data(Size::long_if(long), opcode, value);
        self.finish()
    }
    pub(super) fn swap(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::Long, opcode);
        let (high, low) = self.halves(value);
        let value = self.v().join(low, high);
        self.logical(value);
        self.set_data(Size::Long, opcode, value);
        self.finish()
    }
    pub(super) fn exchange(&mut self, opcode: u16) -> Run<W> {
        let (x, y) = (opcode >> 9 & 7, opcode & 7);
        let (left, right) = match opcode >> 3 & 0x1F {
            8 => (x, y),
            9 => (x + 8, y + 8),
            _ => (x, y + 8),
        };
        let (a, b) = (self.register(left), self.register(right));
        self.set_register(left, b);
        self.set_register(right, a);
        self.finish()?;
        self.idle(2);
        Ok(())
    }
    pub(super) fn move_quick(&mut self, opcode: u16) -> Run<W> {
        let value = self.number(32, opcode as u8 as i8 as u32);
        self.logical(value);
        self.set_data(Size::Long, opcode >> 9, value);
        self.finish()
    }
    fn bit_number(&mut self, opcode: u16) -> Run<W, ValueOf<W>> {
        if opcode & 0x100 != 0 { Ok(self.data(Size::Byte, opcode >> 9)) } else { self.immediate(Size::Byte) }
    }
    pub(super) fn bit_op(&mut self, opcode: u16) -> Run<W> {
        let bit = self.bit_number(opcode)?;
        let kind = opcode >> 6 & 3;
        let operand = self.operand(opcode, if opcode >> 3 & 7 == 0 { Size::Long } else { Size::Byte })?;
        let size = if matches!(operand, Operand::Data(_)) { Size::Long } else { Size::Byte };
        let old = self.value(operand, size)?;
        let bit = self.masked(bit, size.bits() - 1);
        let by = self.v().extend(bit, 8);
        let by = if size == Size::Long { self.v().extend(by, 32) } else { by };
        let one = self.number(size.bits(), 1);
        let mask = self.v().shift_left(one, by);
        let held = self.v().and(old, mask);
        let zero = self.is_zero(held);
        self.set_flag(Flag::Zero, zero);
        let new = match kind {
            0 => None,
            1 => Some(self.v().xor(old, mask)),
            2 => {
                let m = self.v().not(mask);
                Some(self.v().and(old, m))
            }
            _ => Some(self.v().or(old, mask)),
        };
        match (operand, new) {
            (Operand::Memory(place), Some(new)) => {
                self.finish()?;
                self.write(Size::Byte, place, new)
            }
            (Operand::Data(n), new) => {
                if let Some(new) = new {
                    self.set_data(Size::Long, n, new);
                }
                self.finish()?;
                let upper = self.v().part(by, 4, 1);
                let extra = match kind {
                    0 => self.number(32, 2),
                    2 => self.either(upper, 32, 6, 4),
                    _ => self.either(upper, 32, 4, 2),
                };
                self.idle_value(extra);
                Ok(())
            }
            (Operand::Immediate(_), _) => {
                self.finish()?;
                self.idle(2);
                Ok(())
            }
            _ => self.finish(),
        }
    }
    pub(super) fn move_multiple(&mut self, opcode: u16) -> Run<W> {
        let size = Size::long_if(opcode & 0x40 != 0);
        let list = self.extension()?;
        let list = self.pin(list, Pin::Code)? as u16;
        let (mode, number) = (opcode >> 3 & 7, opcode & 7);
        let place = match mode {
            2..=4 => Place::data(self.address(number)),
            _ => self.place(opcode, size)?,
        };
        self.core.fault_pc = self.core.pc.wrapping_add(4);
        if opcode & 0x400 != 0 {
            let mut place = place;
            for register in (0..16).filter(|r| list >> r & 1 == 1) {
                let value = self.read(size, place)?;
                place = place.even();
                let value = self.signed(value);
                self.set_register(register, value);
                place.address = self.plus(place.address, size.bytes());
            }
            self.check(place, place.address, crate::board::AccessKind::Read)?;
            self.pass_word(place.address, place.program)?;
            if mode == 3 {
                self.set_address(number, place.address);
            }
            return self.finish();
        }
        if mode == 4 {
            let mut address = place.address;
            for register in (0..16).rev().filter(|r| list >> (15 - r) & 1 == 1) {
                address = self.plus(address, size.bytes().wrapping_neg());
                let value = self.register(register);
                let value = self.low(value, size.bits());
                self.write_back(size, Place::data(address), value)?;
            }
            self.set_address(number, address);
            return self.finish();
        }
        let mut address = place.address;
        for register in (0..16).filter(|r| list >> r & 1 == 1) {
            let value = self.register(register);
            let value = self.low(value, size.bits());
            self.write(size, Place::data(address), value)?;
            address = self.plus(address, size.bytes());
        }
        self.finish()
    }
    pub(super) fn move_peripheral(&mut self, opcode: u16) -> Run<W> {
        let size = Size::long_if(opcode & 0x40 != 0);
        let base = self.address(opcode & 7);
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        let by = self.displacement()?;
        let mut address = self.v().add(base, by);
        if opcode & 0x80 != 0 {
            let value = self.data(size, opcode >> 9);
            for index in (0..size.bytes()).rev() {
                let byte = self.v().part(value, 8 * index, 8);
                self.write(Size::Byte, Place::data(address), byte)?;
                address = self.plus(address, 2);
            }
        } else {
            let mut value: Option<ValueOf<W>> = None;
            for _ in 0..size.bytes() {
                let byte = self.read(Size::Byte, Place::data(address))?;
                value = Some(match value {
                    Some(v) => self.v().join(v, byte),
                    None => byte,
                });
                address = self.plus(address, 2);
            }
            if let Some(value) = value {
                self.set_data(size, opcode >> 9, value);
            }
        }
        self.finish()
    }
}
