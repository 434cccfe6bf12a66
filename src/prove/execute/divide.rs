//! MULU, MULS, DIVU, DIVS and CHK: instructions whose time depends on their operands.
//!
//! Whether a quotient fits is decided, since what the bus sees and when differs; so its terms stay small.

use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::cpu::Exception;
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// MULU and MULS.
    pub(super) fn multiply(&mut self, opcode: u16) -> Run<W> {
        let source = self.word_operand(opcode)?;
        self.finish()?;
        let destination = self.data(Size::Word, opcode >> 9);
        let signed = opcode & 0x100 != 0;
        let steps = if signed {
            let one = self.number(16, 1);
            let shifted = self.v().shift_left(source, one);
            self.v().xor(source, shifted)
        } else {
            source
        };
        let steps = self.ones(steps);
        let twice = self.v().add(steps, steps);
        let clocks = self.plus(twice, 34);
        self.idle_value(clocks);
        let [source, destination] = [source, destination]
            .map(|value| if signed { self.v().extend_signed(value, 32) } else { self.v().extend(value, 32) });
        let product = self.v().mul(source, destination);
        self.set_data(Size::Long, opcode >> 9, product);
        self.logical(product);
        Ok(())
    }

    /// DIVU.
    pub(super) fn divide_unsigned(&mut self, opcode: u16) -> Run<W> {
        let divisor = self.word_operand(opcode)?;
        let dividend = self.data(Size::Long, opcode >> 9);
        let zero = self.is_zero(divisor);
        if self.decide(zero)? {
            return self.divide_by_zero(dividend);
        }
        let high = self.v().part(dividend, 16, 16);
        let fits = self.v().less(high, divisor);
        if !self.decide(fits)? {
            self.idle(6);
            return self.quotient_too_large();
        }
        let clocks = self.unsigned_clocks(dividend, divisor);
        self.idle_value(clocks);
        self.finish()?;
        let divisor = self.v().extend(divisor, 32);
        let (quotient, remainder) = (self.v().quotient(dividend, divisor), self.v().remainder(dividend, divisor));
        self.divided(opcode, quotient, remainder);
        Ok(())
    }

    /// DIVS.
    pub(super) fn divide_signed(&mut self, opcode: u16) -> Run<W> {
        let divisor = self.word_operand(opcode)?;
        let dividend = self.data(Size::Long, opcode >> 9);
        let zero = self.is_zero(divisor);
        if self.decide(zero)? {
            return self.divide_by_zero(dividend);
        }
        let (negative, by_negative) = (self.sign(dividend), self.sign(divisor));
        let magnitude = self.negated_if(negative, dividend);
        let by = self.negated_if(by_negative, divisor);
        let start = self.either(negative, 32, 14, 12);
        let high = self.v().part(magnitude, 16, 16);
        let fits = self.v().less(high, by);
        if !self.decide(fits)? {
            self.idle_value(start);
            return self.quotient_too_large();
        }
        let by = self.v().extend(by, 32);
        let (quotient, remainder) = (self.v().quotient(magnitude, by), self.v().remainder(magnitude, by));
        let clocks = self.signed_clocks(negative, by_negative, quotient);
        let clocks = self.v().add(start, clocks);
        self.idle_value(clocks);
        let opposite = self.v().xor(negative, by_negative);
        // The magnitude fits in 16 bits; of those, up to 32767 or, negated, 32768 are in the range.
        let limit = self.either(opposite, 32, 0x8000, 0x7FFF);
        let beyond = self.v().less(limit, quotient);
        if self.decide(beyond)? {
            return self.quotient_too_large();
        }
        self.finish()?;
        let (quotient, remainder) = (self.negated_if(opposite, quotient), self.negated_if(negative, remainder));
        self.divided(opcode, quotient, remainder);
        Ok(())
    }

    fn negated_if(&mut self, condition: ValueOf<W>, value: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(value);
        let zero = self.number(width, 0);
        let negated = self.v().sub(zero, value);
        self.v().either(condition, negated, value)
    }

    fn divided(&mut self, opcode: u16, quotient: ValueOf<W>, remainder: ValueOf<W>) {
        let (quotient, remainder) = (self.low(quotient, 16), self.low(remainder, 16));
        let both = self.v().join(remainder, quotient);
        self.set_data(Size::Long, opcode >> 9, both);
        self.logical(quotient);
    }

    /// The quotient does not fit: only V and C are documented, N and Z are observed.
    fn quotient_too_large(&mut self) -> Run<W> {
        let (set, clear) = (self.bit(true), self.bit(false));
        self.set_flag(Flag::Negative, set);
        self.set_flag(Flag::Zero, clear);
        self.set_flag(Flag::Overflow, set);
        self.set_flag(Flag::Carry, clear);
        self.finish()
    }

    /// The flags but C are undefined; no vector shows them. N and Z are set as for the dividend, which stays.
    fn divide_by_zero(&mut self, dividend: ValueOf<W>) -> Run<W> {
        self.idle(4);
        self.logical(dividend);
        Err(self.raise(Exception::ZeroDivide, self.core.pc.wrapping_add(2)))
    }

    /// Idle clocks of a DIVU that does not overflow: 72, and for 15 steps 4 more unless the shift carries, less 2 where
    /// it then subtracts.
    fn unsigned_clocks(&mut self, mut dividend: ValueOf<W>, divisor: ValueOf<W>) -> ValueOf<W> {
        let below = self.number(16, 0);
        let divisor = self.v().join(divisor, below);
        let mut clocks = self.number(32, 72);
        for _ in 0..15 {
            let carry = self.sign(dividend);
            let values = self.v();
            let (rest, nothing) = (values.part(dividend, 0, 31), values.bit(false));
            let shifted = values.join(rest, nothing);
            let smaller = values.less(shifted, divisor);
            let whole = values.not(smaller);
            let subtracts = values.or(carry, whole);
            let less = values.sub(shifted, divisor);
            dividend = values.either(subtracts, less, shifted);
            let more = self.either(smaller, 32, 4, 2);
            let none = self.number(32, 0);
            let more = self.v().either(carry, none, more);
            clocks = self.v().add(clocks, more);
        }
        clocks
    }

    /// Idle clocks of a DIVS after its start: by the signs, and 2 for each zero in bits 15-1 of the magnitude of the
    /// quotient.
    fn signed_clocks(&mut self, negative: ValueOf<W>, by_negative: ValueOf<W>, quotient: ValueOf<W>) -> ValueOf<W> {
        let by_positive = self.either(negative, 32, 108, 104);
        let by_other = self.number(32, 106);
        let signs = self.v().either(by_negative, by_other, by_positive);
        let upper = self.v().part(quotient, 1, 15);
        let zeros = self.v().not(upper);
        let zeros = self.v().extend(zeros, 16);
        let zeros = self.ones(zeros);
        let twice = self.v().add(zeros, zeros);
        self.v().add(signs, twice)
    }

    /// CHK: a word register against 0 and a bound.
    pub(super) fn check_bounds(&mut self, opcode: u16) -> Run<W> {
        let bound = self.word_operand(opcode)?;
        let value = self.data(Size::Word, opcode >> 9);
        // Z, V and C are undefined; cleared in all published vectors, of which none has a register of 0.
        self.logical(value);
        let (negative, difference) = (self.sign(value), self.v().sub(bound, value));
        let overflow = self.difference_overflows(bound, value, difference);
        let below = self.sign(difference);
        // A difference that is negative as a signed number, whatever its bits say.
        let beyond = self.v().xor(below, overflow);
        let outside = self.v().or(negative, beyond);
        if !self.decide(outside)? {
            self.idle(6);
            return self.finish();
        }
        let early = self.v().or(below, overflow);
        let clocks = self.either(early, 32, 4, 6);
        self.idle_value(clocks);
        Err(self.raise(Exception::Chk, self.core.pc.wrapping_add(2)))
    }

    /// Whether `left - right` is beyond the signed range.
    fn difference_overflows(&mut self, left: ValueOf<W>, right: ValueOf<W>, difference: ValueOf<W>) -> ValueOf<W> {
        let [left, right, difference] = [left, right, difference].map(|value| self.sign(value));
        let values = self.v();
        let (one, other) = (values.xor(left, right), values.xor(left, difference));
        values.and(one, other)
    }
}
