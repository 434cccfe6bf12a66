//! ABCD, SBCD, NBCD. Invalid digits and the flags that the manual leaves undefined are as observed.

use super::operand::Operand;
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// ABCD and SBCD.
    pub(super) fn decimal(&mut self, opcode: u16) -> Run<W> {
        let adds = opcode & 0x4000 != 0;
        let (from, to) = (opcode, opcode >> 9);
        if opcode & 8 == 0 {
            let (source, destination) = (self.data(Size::Byte, from), self.data(Size::Byte, to));
            let result = self.decimal_result(adds, source, destination);
            self.set_data(Size::Byte, to, result);
            self.finish()?;
            self.idle(2);
            return Ok(());
        }
        self.idle(2);
        let (_, source) = self.read_before(from, Size::Byte)?;
        let (place, destination) = self.read_before(to, Size::Byte)?;
        let result = self.decimal_result(adds, source, destination);
        self.finish()?;
        self.write(Size::Byte, place, result)
    }

    /// NBCD.
    pub(super) fn negate_decimal(&mut self, opcode: u16) -> Run<W> {
        let zero = self.number(8, 0);
        match self.operand(opcode, Size::Byte)? {
            Operand::Memory(place) => {
                let old = self.read(Size::Byte, place)?;
                let result = self.decimal_result(false, old, zero);
                self.finish()?;
                self.write(Size::Byte, place, result)
            }
            _ => {
                let old = self.data(Size::Byte, opcode);
                let result = self.decimal_result(false, old, zero);
                self.set_data(Size::Byte, opcode, result);
                self.finish()?;
                self.idle(2);
                Ok(())
            }
        }
    }

    fn decimal_result(&mut self, adds: bool, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        if adds { self.add_decimal(source, destination) } else { self.sub_decimal(source, destination) }
    }

    /// Bits that are set in at least two of three: a carry.
    fn majority(&mut self, one: ValueOf<W>, two: ValueOf<W>, three: ValueOf<W>) -> ValueOf<W> {
        let values = self.v();
        let both = values.and(one, two);
        let some = values.or(one, two);
        let third = values.and(some, three);
        values.or(both, third)
    }

    /// Bits that are set in the first and not in the second.
    fn without(&mut self, one: ValueOf<W>, other: ValueOf<W>) -> ValueOf<W> {
        let other = self.v().not(other);
        self.v().and(one, other)
    }

    /// 6 for each of the two digits whose bit 3 is set in `carries`.
    fn sixes(&mut self, carries: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(carries);
        let two = self.number(width, 2);
        let quarter = self.v().shift_right(carries, two);
        self.v().sub(carries, quarter)
    }

    fn add_decimal(&mut self, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let extend = self.flag(Flag::Extend);
        // Ten bits hold the sum, and what is added to it.
        let [source, destination, extend] = [source, destination, extend].map(|value| self.v().extend(value, 10));
        let sum = self.v().add(source, destination);
        let sum = self.v().add(sum, extend);
        // The carries out of both digits, of the binary sum and of the sum with 6 added to each digit.
        let missing = self.v().not(sum);
        let binary = self.majority(source, destination, missing);
        let binary = self.masked(binary, 0x88);
        let more = self.plus(sum, 0x66);
        let decimal = self.v().xor(more, sum);
        let decimal = self.masked(decimal, 0x110);
        let one = self.number(10, 1);
        let decimal = self.v().shift_right(decimal, one);
        let carries = self.v().or(binary, decimal);
        let sixes = self.sixes(carries);
        let result = self.v().add(sum, sixes);
        let (lost, gained) = (self.without(sum, result), self.without(result, sum));
        let carry = self.v().or(binary, lost);
        self.decimal_flags(carry, gained, result)
    }

    fn sub_decimal(&mut self, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let extend = self.flag(Flag::Extend);
        let extend = self.v().extend(extend, 8);
        let difference = self.v().sub(destination, source);
        let difference = self.v().sub(difference, extend);
        let missing = self.v().not(destination);
        let borrows = self.majority(missing, source, difference);
        let borrows = self.masked(borrows, 0x88);
        let sixes = self.sixes(borrows);
        let result = self.v().sub(difference, sixes);
        let (lost, gained) = (self.without(difference, result), self.without(result, difference));
        let borrow = self.v().or(borrows, gained);
        self.decimal_flags(borrow, lost, result)
    }

    /// The flags are bit 7 of each. Z is only cleared.
    fn decimal_flags(&mut self, carry: ValueOf<W>, overflow: ValueOf<W>, result: ValueOf<W>) -> ValueOf<W> {
        let [carry, overflow, negative] = [carry, overflow, result].map(|value| self.v().part(value, 7, 1));
        self.set_flag(Flag::Carry, carry);
        self.set_flag(Flag::Extend, carry);
        self.set_flag(Flag::Overflow, overflow);
        self.set_flag(Flag::Negative, negative);
        let result = self.low(result, 8);
        self.keep_zero(result);
        result
    }
}
