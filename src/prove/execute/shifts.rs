//! temp
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    pub(super) fn shift_memory(&mut self, opcode: u16) -> Run<W> {
        let place = self.place(opcode, Size::Word)?;
        let old = self.read(Size::Word, place)?;
        let count = self.number(8, 1);
        let result = self.shifted(opcode >> 9 & 3, opcode & 0x100 != 0, Size::Word, old, count);
        self.finish()?;
        self.write(Size::Word, place.even(), result)
    }
    pub(super) fn shift_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let count = if opcode & 0x20 == 0 {
            let n = opcode >> 9 & 7;
            self.number(8, if n == 0 { 8 } else { n.into() })
        } else {
            let c = self.data(Size::Byte, opcode >> 9);
            self.masked(c, 63)
        };
        let old = self.data(size, opcode);
        let result = self.shifted(opcode >> 3 & 3, opcode & 0x100 != 0, size, old, count);
        self.set_data(size, opcode, result);
        self.finish()?;
        let count = self.v().extend(count, 32);
        let twice = self.v().add(count, count);
        let clocks = self.plus(twice, if size == Size::Long { 4 } else { 2 });
        self.idle_value(clocks);
        Ok(())
    }
    /// One step at a time for constants; a ladder of conditional single steps otherwise is too much, so by wide shifts.
    fn shifted(&mut self, kind: u16, left: bool, size: Size, old: ValueOf<W>, count: ValueOf<W>) -> ValueOf<W> {
        match kind {
            0 | 1 => self.shift(kind == 0, left, size, old, count),
            3 => self.rotate(left, size, old, count),
            _ => self.rotate_extended(left, size, old, count),
        }
    }
    fn shift(&mut self, arithmetic: bool, left: bool, size: Size, old: ValueOf<W>, count: ValueOf<W>) -> ValueOf<W> {
        let bits = size.bits();
        let none = self.is_zero(count);
        // 33 bits and more: the bit that goes out last stands just outside.
        let zero = self.number(1, 0);
        let (result, out) = if left {
            let wide = self.v().join(zero, old);
            let by = self.v().extend(count, bits + 1);
            let wide = self.v().shift_left(wide, by);
            (self.v().part(wide, 0, bits), self.v().part(wide, bits, 1))
        } else {
            let wide = self.v().join(old, zero);
            let by = self.v().extend(count, bits + 1);
            let wide = if arithmetic { self.v().shift_right_signed(wide, by) } else { self.v().shift_right(wide, by) };
            (self.v().part(wide, 1, bits), self.v().part(wide, 0, 1))
        };
        let no = self.bit(false);
        let carry = self.v().either(none, no, out);
        let x = self.flag(Flag::Extend);
        let x = self.v().either(none, x, out);
        self.logical(result);
        self.set_flag(Flag::Carry, carry);
        self.set_flag(Flag::Extend, x);
        if arithmetic && left {
            // V: whether the sign changed at any time: the top count+1 bits are not all alike.
            let back = self.v().extend(count, bits);
            let again = self.v().shift_right_signed(result, back);
            let same = self.v().equal(again, old);
            let wide = self.number(8, bits);
            let few = self.v().less(count, wide);
            let zero_value = self.is_zero(old);
            let fine = self.v().either(few, same, zero_value);
            let overflow = self.v().not(fine);
            self.set_flag(Flag::Overflow, overflow);
        }
        result
    }
    fn rotate(&mut self, left: bool, size: Size, old: ValueOf<W>, count: ValueOf<W>) -> ValueOf<W> {
        let bits = size.bits();
        let none = self.is_zero(count);
        let by = self.masked(count, bits - 1);
        let by = self.v().extend(by, bits);
        let all = self.number(bits, bits);
        let back = self.v().sub(all, by);
        let (a, b) = if left {
            (self.v().shift_left(old, by), self.v().shift_right(old, back))
        } else {
            (self.v().shift_right(old, by), self.v().shift_left(old, back))
        };
        let result = self.v().or(a, b);
        let out = if left { self.v().part(result, 0, 1) } else { self.v().part(result, bits - 1, 1) };
        let no = self.bit(false);
        let carry = self.v().either(none, no, out);
        self.logical(result);
        self.set_flag(Flag::Carry, carry);
        result
    }
    fn rotate_extended(&mut self, left: bool, size: Size, old: ValueOf<W>, count: ValueOf<W>) -> ValueOf<W> {
        let bits = size.bits() + 1;
        let x = self.flag(Flag::Extend);
        let wide = self.v().join(x, old);
        let modulus = self.number(8, bits);
        let by = self.v().remainder(count, modulus);
        let by = self.v().extend(by, bits);
        let all = self.number(bits, bits);
        let back = self.v().sub(all, by);
        let (a, b) = if left {
            (self.v().shift_left(wide, by), self.v().shift_right(wide, back))
        } else {
            (self.v().shift_right(wide, by), self.v().shift_left(wide, back))
        };
        let wide = self.v().or(a, b);
        let result = self.v().part(wide, 0, bits - 1);
        let x = self.v().part(wide, bits - 1, 1);
        self.logical(result);
        self.set_flag(Flag::Carry, x);
        self.set_flag(Flag::Extend, x);
        result
    }
}
