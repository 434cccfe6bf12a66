//! Arithmetic, logic and their condition codes (PRM, table 3-18), for all sizes alike; and the conditions.

use super::Processor;
use super::registers::Flag;
use crate::prove::{Domain, ValueOf, World};

/// A two-operand operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Alu {
    Or,
    And,
    Sub,
    Add,
    Eor,
    Cmp,
}

impl Alu {
    /// The operation in bits 11-9 of the immediate instructions.
    pub fn of_immediate(opcode: u16) -> Self {
        match opcode >> 9 & 7 {
            0 => Alu::Or,
            1 => Alu::And,
            2 => Alu::Sub,
            3 => Alu::Add,
            5 => Alu::Eor,
            _ => Alu::Cmp,
        }
    }
}

impl<W: World> Processor<'_, W> {
    /// `destination` with `source`: the result, and the condition codes. CMP gives the destination unchanged.
    pub(super) fn compute(&mut self, alu: Alu, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let result = match alu {
            Alu::Or => self.v().or(destination, source),
            Alu::And => self.v().and(destination, source),
            Alu::Eor => self.v().xor(destination, source),
            Alu::Add => return self.add(source, destination),
            Alu::Sub => {
                let result = self.compare(source, destination);
                // The flags were just set: this is no reading of what was there before.
                let carry = self.flag(Flag::Carry);
                self.set_flag(Flag::Extend, carry);
                return result;
            }
            Alu::Cmp => {
                self.compare(source, destination);
                return destination;
            }
        };
        self.logical(result);
        result
    }

    /// N and Z of a result; V and C cleared.
    pub(super) fn logical(&mut self, value: ValueOf<W>) {
        self.negative_and_zero(value);
        let clear = self.bit(false);
        self.set_flag(Flag::Overflow, clear);
        self.set_flag(Flag::Carry, clear);
    }

    pub(super) fn negative_and_zero(&mut self, value: ValueOf<W>) {
        let (negative, zero) = (self.sign(value), self.is_zero(value));
        self.set_flag(Flag::Negative, negative);
        self.set_flag(Flag::Zero, zero);
    }

    fn set_carry_and_extend(&mut self, carry: ValueOf<W>) {
        self.set_flag(Flag::Carry, carry);
        self.set_flag(Flag::Extend, carry);
    }

    fn add(&mut self, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let result = self.v().add(destination, source);
        let carry = self.v().less(result, source);
        self.set_carry_and_extend(carry);
        self.overflow_of_sum(source, destination, result);
        self.negative_and_zero(result);
        result
    }

    /// A difference with all flags but X.
    fn compare(&mut self, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let result = self.v().sub(destination, source);
        let borrow = self.v().less(destination, source);
        self.set_flag(Flag::Carry, borrow);
        self.overflow_of_difference(source, destination, result);
        let negative = self.sign(result);
        self.set_flag(Flag::Negative, negative);
        let zero = self.v().equal(destination, source);
        self.set_flag(Flag::Zero, zero);
        result
    }

    fn overflow_of_sum(&mut self, source: ValueOf<W>, destination: ValueOf<W>, result: ValueOf<W>) {
        let [source, destination, result] = [source, destination, result].map(|value| self.sign(value));
        let values = self.v();
        let (one, other) = (values.xor(source, result), values.xor(destination, result));
        let overflow = values.and(one, other);
        self.set_flag(Flag::Overflow, overflow);
    }

    fn overflow_of_difference(&mut self, source: ValueOf<W>, destination: ValueOf<W>, result: ValueOf<W>) {
        let [source, destination, result] = [source, destination, result].map(|value| self.sign(value));
        let values = self.v();
        let (one, other) = (values.xor(source, destination), values.xor(result, destination));
        let overflow = values.and(one, other);
        self.set_flag(Flag::Overflow, overflow);
    }

    /// ADDX, SUBX, NEGX: sums or differences that take X in and only clear Z.
    pub(super) fn extended(&mut self, adds: bool, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(source);
        let extend = self.flag(Flag::Extend);
        // One bit more holds the carry or the borrow.
        let values = self.v();
        let [from, to, extend] = [source, destination, extend].map(|value| values.extend(value, width + 1));
        let wide = if adds {
            let sum = values.add(to, from);
            values.add(sum, extend)
        } else {
            let difference = values.sub(to, from);
            values.sub(difference, extend)
        };
        let (result, carry) = (values.part(wide, 0, width), values.part(wide, width, 1));
        self.set_carry_and_extend(carry);
        if adds {
            self.overflow_of_sum(source, destination, result);
        } else {
            self.overflow_of_difference(source, destination, result);
        }
        let negative = self.sign(result);
        self.set_flag(Flag::Negative, negative);
        self.keep_zero(result);
        result
    }

    /// Z stays only if the result is zero.
    pub(super) fn keep_zero(&mut self, result: ValueOf<W>) {
        let (before, zero) = (self.flag(Flag::Zero), self.is_zero(result));
        let zero = self.v().and(before, zero);
        self.set_flag(Flag::Zero, zero);
    }

    /// Whether a condition holds, one bit (PRM, table 3-19). Only the flags it is about are read.
    pub(super) fn condition(&mut self, number: u16) -> ValueOf<W> {
        let holds = match number >> 1 & 7 {
            0 => self.bit(true),
            1 => self.neither(Flag::Carry, Flag::Zero),
            2 => self.clear(Flag::Carry),
            3 => self.clear(Flag::Zero),
            4 => self.clear(Flag::Overflow),
            5 => self.clear(Flag::Negative),
            6 => self.alike(),
            _ => {
                let (alike, unequal) = (self.alike(), self.clear(Flag::Zero));
                self.v().and(alike, unequal)
            }
        };
        // The odd ones are the opposites.
        if number & 1 == 0 { holds } else { self.v().not(holds) }
    }

    fn clear(&mut self, flag: Flag) -> ValueOf<W> {
        let flag = self.flag(flag);
        self.v().not(flag)
    }

    fn neither(&mut self, one: Flag, other: Flag) -> ValueOf<W> {
        let (one, other) = (self.flag(one), self.flag(other));
        let some = self.v().or(one, other);
        self.v().not(some)
    }

    /// N and V are equal.
    fn alike(&mut self) -> ValueOf<W> {
        let (negative, overflow) = (self.flag(Flag::Negative), self.flag(Flag::Overflow));
        let differ = self.v().xor(negative, overflow);
        self.v().not(differ)
    }
}
