//! Arithmetic and logic with two operands.

use crate::cpu::Cpu;
use crate::cpu::access::{Aborted, Done, Place};
use crate::cpu::alu::Alu;
use crate::cpu::memory::Memory;
use crate::cpu::operand::{Operand, stride};
use crate::cpu::size::Size;

impl Cpu {
    /// ADD, SUB, AND, OR, CMP: any operand into a data register.
    #[inline]
    pub(super) fn alu_to_register<M: Memory>(&mut self, memory: &mut M, opcode: u16, alu: Alu) -> Done {
        let size = Size::of(opcode);
        let operand = self.operand(memory, opcode, size)?;
        let source = self.value(memory, operand, size)?;
        self.finish(memory)?;
        if size == Size::Long {
            // Of a memory operand, half of it passes while it is read.
            let fast = alu == Alu::Cmp || matches!(operand, Operand::Memory(_));
            memory.idle(if fast { 2 } else { 4 });
        }
        let number = opcode >> 9;
        let result = self.compute(alu, size, source, self.data(size, number));
        self.set_data(size, number, result);
        Ok(())
    }

    /// ADD, SUB, AND, OR, EOR: a data register into memory.
    #[inline]
    pub(super) fn alu_to_memory<M: Memory>(&mut self, memory: &mut M, opcode: u16, alu: Alu) -> Done {
        let size = Size::of(opcode);
        let place = self.place(memory, opcode, size)?;
        let source = self.data(size, opcode >> 9);
        self.modify(memory, alu, size, place, source)
    }

    /// Reads, computes, prefetches, writes.
    #[inline]
    fn modify<M: Memory>(&mut self, memory: &mut M, alu: Alu, size: Size, place: Place, source: u32) -> Done {
        let old = self.read(memory, size, place)?;
        let result = self.compute(alu, size, source, old);
        self.finish(memory)?;
        self.write_back(memory, size, place.address, result)
    }

    /// ADDA, SUBA, CMPA with an operand in memory.
    #[inline]
    pub(super) fn alu_to_address<M: Memory>(&mut self, memory: &mut M, opcode: u16, alu: Alu) -> Done {
        let size = Size::long_if(opcode & 0x100 != 0);
        let place = self.place(memory, opcode, size)?;
        let source = size.extend(self.read(memory, size, place)?);
        self.finish(memory)?;
        let number = (opcode >> 9 & 7) as u8;
        let slow = size == Size::Word && alu != Alu::Cmp;
        memory.idle(if slow { 4 } else { 2 });
        let register = self.core.regs.a_mut(number);
        match alu {
            Alu::Add => *register += source,
            Alu::Sub => *register -= source,
            _ => {
                let value = register.0;
                self.compute(Alu::Cmp, Size::Long, source, value);
            }
        }
        Ok(())
    }

    /// ORI, ANDI, SUBI, ADDI, EORI, CMPI to memory.
    pub(super) fn immediate_memory<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let alu = Alu::of_immediate(opcode);
        let source = self.immediate(memory, size)?;
        let place = self.place(memory, opcode, size)?;
        if alu == Alu::Cmp {
            let value = self.read(memory, size, place)?;
            self.finish(memory)?;
            self.compute(alu, size, source, value);
            return Ok(());
        }
        self.modify(memory, alu, size, place, source)
    }

    /// ANDI.L to a data register, which takes 2 clocks more than the core thinks (observed).
    pub(super) fn and_long<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let source = self.immediate(memory, Size::Long)?;
        self.finish(memory)?;
        memory.idle(4);
        let result = self.compute(Alu::And, Size::Long, source, self.data(Size::Long, opcode));
        self.set_data(Size::Long, opcode, result);
        Ok(())
    }

    /// ADDQ and SUBQ to memory or an address register.
    pub(super) fn quick<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let alu = if opcode & 0x100 == 0 { Alu::Add } else { Alu::Sub };
        let data = u32::from(if opcode >> 9 & 7 == 0 { 8 } else { opcode >> 9 & 7 });
        match self.operand(memory, opcode, size)? {
            Operand::Memory(place) => self.modify(memory, alu, size, place, data),
            _ => {
                self.finish(memory)?;
                memory.idle(4);
                let register = self.core.regs.a_mut((opcode & 7) as u8);
                *register += if alu == Alu::Add { data } else { data.wrapping_neg() };
                Ok(())
            }
        }
    }

    /// ADDX and SUBX from memory to memory.
    pub(super) fn extended_memory<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        let alu = if opcode & 0x4000 == 0 { Alu::Sub } else { Alu::Add };
        self.fault_pc = self.at.wrapping_add(4);
        memory.idle(2);
        let (_, source) = self.read_before(memory, opcode, size)?;
        let (address, destination) = self.read_before(memory, opcode >> 9, size)?;
        let result = self.extended(alu, size, source, destination);
        if size != Size::Long {
            self.finish(memory)?;
            return self.write(memory, size, address, result);
        }
        self.write_word(memory, address.wrapping_add(2), result as u16)?;
        self.finish(memory)?;
        self.write_word(memory, address, (result >> 16) as u16)
    }

    /// Reads through -(An), a long low word first; gives the address too.
    fn read_before<M: Memory>(&mut self, memory: &mut M, number: u16, size: Size) -> Result<(u32, u32), Aborted> {
        let number = (number & 7) as u8;
        let address = self.core.regs.a(number).wrapping_sub(stride(size, number));
        if size != Size::Long {
            self.core.regs.a_mut(number).0 = address;
            return Ok((address, self.read(memory, size, Place::data(address))?));
        }
        // At a fault of the low word An has not moved yet (observed).
        let low = self.read_word(memory, Place::data(address.wrapping_add(2)))?;
        self.core.regs.a_mut(number).0 = address;
        let high = self.read_word(memory, Place::data(address))?;
        Ok((address, high << 16 | low))
    }

    /// CMPM: (Ay)+ with (Ax)+.
    pub(super) fn cmpm<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let size = Size::of(opcode);
        self.fault_pc = self.at.wrapping_add(4);
        let (from, to) = ((opcode & 7) as u8, (opcode >> 9 & 7) as u8);
        let address = self.core.regs.a(from);
        if size != Size::Byte && address & 1 != 0 {
            // The chip has moved An by a word when it notices, whatever the size (observed).
            *self.core.regs.a_mut(from) += 2;
        }
        let source = self.read(memory, size, Place::data(address))?;
        *self.core.regs.a_mut(from) += stride(size, from);
        let destination = self.read(memory, size, Place::data(self.core.regs.a(to)))?;
        *self.core.regs.a_mut(to) += stride(size, to);
        self.finish(memory)?;
        self.compute(Alu::Cmp, size, source, destination);
        Ok(())
    }

    /// ABCD and SBCD.
    pub(super) fn decimal<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let adds = opcode & 0x4000 != 0;
        let (from, to) = (opcode, opcode >> 9);
        if opcode & 8 == 0 {
            let (source, destination) = (self.data(Size::Byte, from), self.data(Size::Byte, to));
            let result = self.decimal_result(adds, source, destination);
            self.set_data(Size::Byte, to, result);
            self.finish(memory)?;
            memory.idle(2);
            return Ok(());
        }
        memory.idle(2);
        let (_, source) = self.read_before(memory, from, Size::Byte)?;
        let (address, destination) = self.read_before(memory, to, Size::Byte)?;
        let result = self.decimal_result(adds, source, destination);
        self.finish(memory)?;
        self.write(memory, Size::Byte, address, result)
    }

    fn decimal_result(&mut self, adds: bool, source: u32, destination: u32) -> u32 {
        if adds { self.add_decimal(source, destination) } else { self.sub_decimal(source, destination) }
    }
}
