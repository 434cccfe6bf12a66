//! Instructions with one operand, which they change or test; SWAP, EXT, EXG.

use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// NEGX, NEG, NOT of memory.
    pub(super) fn unary(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let place = self.place(opcode, size)?;
        let old = self.read(size, place)?;
        let result = self.unary_result(opcode, old);
        self.finish()?;
        self.write_back(size, place.even(), result)
    }

    /// The same of a data register.
    pub(super) fn unary_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let old = self.data(size, opcode);
        let result = self.unary_result(opcode, old);
        self.set_data(size, opcode, result);
        self.close_one(size)
    }

    fn unary_result(&mut self, opcode: u16, old: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(old);
        let zero = self.number(width, 0);
        match opcode >> 9 & 3 {
            0 => self.extended(false, old, zero),
            2 => self.compute(super::alu::Alu::Sub, old, zero),
            _ => {
                let result = self.v().not(old);
                self.logical(result);
                result
            }
        }
    }

    /// The end of an instruction on one register: a long takes 2 clocks more.
    fn close_one(&mut self, size: Size) -> Run<W> {
        self.close(1)?;
        self.idle(if size == Size::Long { 2 } else { 0 });
        Ok(())
    }

    /// CLR of memory, which is read first.
    pub(super) fn clear_memory(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let place = self.place(opcode, size)?;
        self.touch(size, place)?;
        let zero = self.number(size.bits(), 0);
        self.logical(zero);
        self.finish()?;
        self.write_back(size, place.even(), zero)
    }

    /// CLR of a data register.
    pub(super) fn clear_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let zero = self.number(size.bits(), 0);
        self.logical(zero);
        self.set_data(size, opcode, zero);
        self.close_one(size)
    }

    /// TST of memory.
    pub(super) fn test(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let place = self.place(opcode, size)?;
        let value = self.read(size, place)?;
        self.finish()?;
        self.logical(value);
        Ok(())
    }

    /// TST of a data register.
    pub(super) fn test_register(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::of(opcode), opcode);
        self.logical(value);
        self.close(1)
    }

    /// Scc of memory, which is read first.
    pub(super) fn set_if(&mut self, opcode: u16) -> Run<W> {
        let place = self.place(opcode, Size::Byte)?;
        let condition = self.condition(opcode >> 8 & 15);
        let value = self.either(condition, 8, 0xFF, 0);
        self.touch(Size::Byte, place)?;
        self.finish()?;
        self.write(Size::Byte, place, value)
    }

    /// Scc of a data register, which takes longer if the condition holds.
    pub(super) fn set_if_register(&mut self, opcode: u16) -> Run<W> {
        let condition = self.condition(opcode >> 8 & 15);
        let value = self.either(condition, 8, 0xFF, 0);
        self.set_data(Size::Byte, opcode, value);
        self.close(1)?;
        let clocks = self.either(condition, 32, 2, 0);
        self.idle_value(clocks);
        Ok(())
    }

    /// TAS of memory: one locked cycle on the chip, here a read and a write.
    pub(super) fn test_and_set(&mut self, opcode: u16) -> Run<W> {
        let place = self.place(opcode, Size::Byte)?;
        let value = self.read(Size::Byte, place)?;
        let set = self.with_top(value);
        self.idle(2);
        self.write(Size::Byte, place, set)?;
        self.finish()
    }

    /// TAS of a data register.
    pub(super) fn test_and_set_register(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::Byte, opcode);
        let set = self.with_top(value);
        self.set_data(Size::Byte, opcode, set);
        self.close(1)
    }

    fn with_top(&mut self, value: ValueOf<W>) -> ValueOf<W> {
        self.logical(value);
        let top = self.number(8, 0x80);
        self.v().or(value, top)
    }

    /// EXT.W.
    pub(super) fn extend_word(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::Byte, opcode);
        let result = self.v().extend_signed(value, 16);
        self.logical(result);
        self.set_data(Size::Word, opcode, result);
        self.finish()
    }

    /// EXT.L.
    pub(super) fn extend_long(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::Word, opcode);
        let result = self.signed(value);
        self.logical(result);
        self.set_data(Size::Long, opcode, result);
        self.close(1)
    }

    /// SWAP.
    pub(super) fn swap(&mut self, opcode: u16) -> Run<W> {
        let value = self.data(Size::Long, opcode);
        let (high, low) = self.halves(value);
        let result = self.v().join(low, high);
        self.logical(result);
        self.set_data(Size::Long, opcode, result);
        self.close(1)
    }

    /// EXG.
    pub(super) fn exchange(&mut self, opcode: u16) -> Run<W> {
        let addresses = opcode & 0xF8 == 0x48;
        let left = opcode >> 9 & 7 | if addresses { 8 } else { 0 };
        let right = opcode & 15;
        let (one, other) = (self.register(left), self.register(right));
        self.set_register(right, one);
        self.set_register(left, other);
        self.close(1)?;
        self.idle(2);
        Ok(())
    }

    /// Shifts and rotates of a word in memory, by one.
    pub(super) fn shift_memory(&mut self, opcode: u16) -> Run<W> {
        let place = self.place(opcode, Size::Word)?;
        let old = self.read(Size::Word, place)?;
        let result = self.shift_by_one(opcode, old);
        self.finish()?;
        self.write(Size::Word, place.even(), result)
    }

    fn shift_by_one(&mut self, opcode: u16, old: ValueOf<W>) -> ValueOf<W> {
        let left = opcode & 0x100 != 0;
        let kind = opcode >> 9 & 3;
        let out = self.v().part(old, if left { 15 } else { 0 }, 1);
        // What comes in at the other end: sign, zero, X, or what went out.
        let into = match kind {
            0 if !left => self.sign(old),
            0 | 1 => self.bit(false),
            2 => self.flag(Flag::Extend),
            _ => out,
        };
        let kept = self.v().part(old, if left { 0 } else { 1 }, 15);
        let result = if left { self.v().join(kept, into) } else { self.v().join(into, kept) };
        self.logical(result);
        self.set_flag(Flag::Carry, out);
        if kind == 0 && left {
            let (before, after) = (self.sign(old), self.sign(result));
            let changed = self.v().xor(before, after);
            self.set_flag(Flag::Overflow, changed);
        }
        if kind != 3 {
            self.set_flag(Flag::Extend, out);
        }
        result
    }
}
