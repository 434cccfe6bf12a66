//! Arithmetic and logic with two operands.

use super::access::Place;
use super::alu::Alu;
use super::operand::Operand;
use super::size::Size;
use super::{Processor, Run};
use crate::board::AccessKind;
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// ADD, SUB, AND, OR, CMP: any operand into a data register.
    pub(super) fn alu_to_register(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::of(opcode);
        let operand = self.operand(opcode, size)?;
        let source = self.value(operand, size)?;
        self.finish()?;
        if size == Size::Long {
            // Of a memory operand, half of it passes while it is read.
            let fast = alu == Alu::Cmp || matches!(operand, Operand::Memory(_));
            self.idle(if fast { 2 } else { 4 });
        }
        self.change_data(alu, size, source, opcode >> 9);
        Ok(())
    }

    /// A data register with `source`; CMP leaves it unwritten.
    fn change_data(&mut self, alu: Alu, size: Size, source: ValueOf<W>, number: u16) {
        let old = self.data(size, number);
        let result = self.compute(alu, source, old);
        if alu != Alu::Cmp {
            self.set_data(size, number, result);
        }
    }

    /// ADD, SUB, AND, OR, EOR: a data register into memory.
    pub(super) fn alu_to_memory(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::of(opcode);
        let place = self.place(opcode, size)?;
        let source = self.data(size, opcode >> 9);
        self.modify(alu, size, place, source)
    }

    /// Reads, computes, prefetches, writes.
    fn modify(&mut self, alu: Alu, size: Size, place: Place<ValueOf<W>>, source: ValueOf<W>) -> Run<W> {
        let old = self.read(size, place)?;
        let result = self.compute(alu, source, old);
        self.finish()?;
        self.write_back(size, place.even(), result)
    }

    /// EOR of two data registers.
    pub(super) fn eor_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let source = self.data(size, opcode >> 9);
        self.change_data(Alu::Eor, size, source, opcode);
        self.close(1)?;
        self.idle(if size == Size::Long { 4 } else { 0 });
        Ok(())
    }

    /// ADDA, SUBA, CMPA with an operand in memory.
    pub(super) fn alu_to_address(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::long_if(opcode & 0x100 != 0);
        let place = self.place(opcode, size)?;
        let source = self.read(size, place)?;
        self.finish()?;
        self.idle(if size == Size::Word && alu != Alu::Cmp { 4 } else { 2 });
        self.change_address(alu, source, opcode >> 9);
        Ok(())
    }

    /// ADDA, SUBA, CMPA with a register or an immediate.
    pub(super) fn alu_to_address_inline(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::long_if(opcode & 0x100 != 0);
        let (source, words) = self.inline_operand(opcode, size)?;
        self.change_address(alu, source, opcode >> 9);
        self.close(words)?;
        self.idle(if alu == Alu::Cmp { 2 } else { 4 });
        Ok(())
    }

    fn change_address(&mut self, alu: Alu, source: ValueOf<W>, number: u16) {
        let source = self.signed(source);
        let old = self.address(number);
        let new = match alu {
            Alu::Add => self.v().add(old, source),
            Alu::Sub => self.v().sub(old, source),
            _ => {
                self.compute(Alu::Cmp, source, old);
                return;
            }
        };
        self.set_address(number, new);
    }

    /// ORI, ANDI, SUBI, ADDI, EORI, CMPI to memory.
    pub(super) fn immediate_memory(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let alu = Alu::of_immediate(opcode);
        let source = self.immediate(size)?;
        let place = self.place(opcode, size)?;
        if alu != Alu::Cmp {
            return self.modify(alu, size, place, source);
        }
        let value = self.read(size, place)?;
        self.finish()?;
        self.compute(alu, source, value);
        Ok(())
    }

    /// The same to a data register, but for ANDI.L.
    pub(super) fn immediate_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let alu = Alu::of_immediate(opcode);
        let (source, words) = self.inline(size)?;
        self.change_data(alu, size, source, opcode);
        self.close(words)?;
        self.idle(match (size, alu) {
            (Size::Long, Alu::Cmp) => 2,
            (Size::Long, _) => 4,
            _ => 0,
        });
        Ok(())
    }

    /// ANDI.L to a data register.
    pub(super) fn and_long(&mut self, opcode: u16) -> Run<W> {
        let source = self.immediate(Size::Long)?;
        self.finish()?;
        self.idle(4);
        self.change_data(Alu::And, Size::Long, source, opcode);
        Ok(())
    }

    /// ADDQ and SUBQ to memory or an address register.
    pub(super) fn quick(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let (alu, data) = quick_data(opcode);
        if let Operand::Memory(place) = self.operand(opcode, size)? {
            let source = self.number(size.bits(), data);
            return self.modify(alu, size, place, source);
        }
        self.finish()?;
        self.idle(4);
        self.advance(opcode, if alu == Alu::Add { data } else { data.wrapping_neg() });
        Ok(())
    }

    /// ADDQ and SUBQ to a data register.
    pub(super) fn quick_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let (alu, data) = quick_data(opcode);
        let source = self.number(size.bits(), data);
        self.change_data(alu, size, source, opcode);
        self.close(1)?;
        self.idle(if size == Size::Long { 4 } else { 0 });
        Ok(())
    }

    /// ADDX and SUBX of data registers.
    pub(super) fn extended_register(&mut self, opcode: u16, adds: bool) -> Run<W> {
        let size = Size::of(opcode);
        let (source, destination) = (self.data(size, opcode), self.data(size, opcode >> 9));
        let result = self.extended(adds, source, destination);
        self.set_data(size, opcode >> 9, result);
        self.close(1)?;
        self.idle(if size == Size::Long { 4 } else { 0 });
        Ok(())
    }

    /// ADDX and SUBX from memory to memory.
    pub(super) fn extended_memory(&mut self, opcode: u16, adds: bool) -> Run<W> {
        let size = Size::of(opcode);
        self.core.fault_pc = self.core.at.wrapping_add(4);
        self.idle(2);
        let (_, source) = self.read_before(opcode, size)?;
        let (place, destination) = self.read_before(opcode >> 9, size)?;
        let result = self.extended(adds, source, destination);
        if size != Size::Long {
            self.finish()?;
            return self.write(size, place.even(), result);
        }
        let (high, low) = self.halves(result);
        let next = self.plus(place.address, 2);
        self.store_word(next, low)?;
        self.finish()?;
        self.store_word(place.address, high)
    }

    /// Reads through -(An), a long low word first; gives the place too.
    pub(super) fn read_before(&mut self, number: u16, size: Size) -> Run<W, (Place<ValueOf<W>>, ValueOf<W>)> {
        let old = self.address(number);
        let address = self.plus(old, size.stride(number).wrapping_neg());
        let place = Place::data(address);
        if size != Size::Long {
            self.set_address(number, address);
            return Ok((place, self.read(size, place)?));
        }
        // At a fault of the low word An has not moved yet (observed).
        let next = self.plus(address, 2);
        self.check(place, next, AccessKind::Read)?;
        let low = self.load_word(next, false)?;
        self.set_address(number, address);
        let high = self.load_word(address, false)?;
        Ok((place, self.v().join(high, low)))
    }

    /// CMPM: (Ay)+ with (Ax)+.
    pub(super) fn compare_memory(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        self.core.fault_pc = self.core.at.wrapping_add(4);
        let (from, to) = (opcode & 7, opcode >> 9 & 7);
        let mut place = Place::data(self.address(from));
        if size != Size::Byte {
            place.odd = Some(self.odd(place.address)?);
        }
        if place.odd == Some(true) {
            // The chip has moved An by a word when it notices, whatever the size (observed).
            self.advance(from, 2);
        }
        let source = self.read(size, place)?;
        self.advance(from, size.stride(from));
        let second = Place::data(self.address(to));
        let destination = self.read(size, second)?;
        self.advance(to, size.stride(to));
        self.finish()?;
        self.compute(Alu::Cmp, source, destination);
        Ok(())
    }
}

/// The operation of ADDQ or SUBQ, and its number.
fn quick_data(opcode: u16) -> (Alu, u32) {
    let alu = if opcode & 0x100 == 0 { Alu::Add } else { Alu::Sub };
    let data = opcode >> 9 & 7;
    (alu, if data == 0 { 8 } else { data.into() })
}
