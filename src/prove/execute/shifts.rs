//! Shifts and rotates of data registers. A count that is a number makes small terms; one that is not, a shift by it.

use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

/// What a shift gives: the result, the bit that went out last, and whether V is set.
struct Shifted<V> {
    result: V,
    out: V,
    overflow: Option<V>,
}

impl<W: World> Processor<'_, W> {
    /// ASd, LSd, ROXd, ROd of a data register.
    pub(super) fn shift_register(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let count = self.shift_count(opcode);
        let value = self.data(size, opcode);
        let left = opcode & 0x100 != 0;
        match opcode >> 3 & 3 {
            0 | 1 => self.shift(opcode, value, count),
            2 => self.rotate_extended(opcode, value, count),
            _ => {
                let result = self.rotate(left, value, count);
                let last = if left { self.v().part(result, 0, 1) } else { self.sign(result) };
                let none = self.is_zero(count);
                let clear = self.bit(false);
                let carry = self.v().either(none, clear, last);
                self.shifted(opcode, Shifted { result, out: carry, overflow: None });
            }
        }
        self.close(1)?;
        let count = self.v().extend(count, 32);
        let twice = self.v().add(count, count);
        let clocks = self.plus(twice, if size == Size::Long { 4 } else { 2 });
        self.idle_value(clocks);
        Ok(())
    }

    /// The count, six bits.
    fn shift_count(&mut self, opcode: u16) -> ValueOf<W> {
        if opcode & 0x20 != 0 {
            let count = self.data(Size::Byte, opcode >> 9);
            return self.low(count, 6);
        }
        let count = opcode >> 9 & 7;
        self.number(6, if count == 0 { 8 } else { count.into() })
    }

    /// Sets register and flags; X is the caller's.
    fn shifted(&mut self, opcode: u16, shifted: Shifted<ValueOf<W>>) {
        self.set_data(Size::of(opcode), opcode, shifted.result);
        self.negative_and_zero(shifted.result);
        self.set_flag(Flag::Carry, shifted.out);
        let overflow = shifted.overflow.unwrap_or_else(|| self.v().bit(false));
        self.set_flag(Flag::Overflow, overflow);
    }

    /// ASd and LSd.
    fn shift(&mut self, opcode: u16, value: ValueOf<W>, count: ValueOf<W>) {
        let (left, arithmetic) = (opcode & 0x100 != 0, opcode >> 3 & 3 == 0);
        let shifted = match self.known(count) {
            Some(0) => {
                let out = self.bit(false);
                self.shifted(opcode, Shifted { result: value, out, overflow: None });
                return;
            }
            Some(count) if left => self.left_by(value, count, arithmetic),
            Some(count) => self.right_by(value, count, arithmetic),
            None => self.by_unknown(left, arithmetic, value, count),
        };
        let out = shifted.out;
        self.shifted(opcode, shifted);
        if self.known(count).is_some() {
            return self.set_flag(Flag::Extend, out);
        }
        let (none, before) = (self.is_zero(count), self.flag(Flag::Extend));
        let extend = self.v().either(none, before, out);
        self.set_flag(Flag::Extend, extend);
    }

    /// To the left by a number that is not zero.
    fn left_by(&mut self, value: ValueOf<W>, count: u32, arithmetic: bool) -> Shifted<ValueOf<W>> {
        let width = self.width(value);
        let out = if count > width { self.bit(false) } else { self.v().part(value, width - count, 1) };
        let result = if count >= width {
            self.number(width, 0)
        } else {
            let (kept, zeros) = (self.v().part(value, 0, width - count), self.number(count, 0));
            self.v().join(kept, zeros)
        };
        let overflow = arithmetic.then(|| {
            // Whether the sign has ever changed: the bits that were the sign are not all alike.
            let signs = if count >= width { value } else { self.v().part(value, width - 1 - count, count + 1) };
            let some = self.is_zero(signs);
            let some = self.v().not(some);
            if count >= width {
                return some;
            }
            let ones = self.number(count + 1, u32::MAX);
            let all = self.v().equal(signs, ones);
            let missing = self.v().not(all);
            self.v().and(some, missing)
        });
        Shifted { result, out, overflow }
    }

    /// To the right by a number that is not zero.
    fn right_by(&mut self, value: ValueOf<W>, count: u32, arithmetic: bool) -> Shifted<ValueOf<W>> {
        let width = self.width(value);
        let beyond = if arithmetic { self.sign(value) } else { self.bit(false) };
        let out = if count > width { beyond } else { self.v().part(value, count - 1, 1) };
        let result = if count >= width {
            self.v().extend_signed(beyond, width)
        } else {
            let kept = self.v().part(value, count, width - count);
            if arithmetic { self.v().extend_signed(kept, width) } else { self.v().extend(kept, width) }
        };
        Shifted { result, out, overflow: None }
    }

    /// By a count that is not known. One bit more on the side of the exit catches what goes out last.
    fn by_unknown(
        &mut self,
        left: bool,
        arithmetic: bool,
        value: ValueOf<W>,
        count: ValueOf<W>,
    ) -> Shifted<ValueOf<W>> {
        let width = self.width(value);
        let by = self.v().extend(count, width + 1);
        if !left {
            let exit = self.bit(false);
            let wide = self.v().join(value, exit);
            let wide = if arithmetic { self.v().shift_right_signed(wide, by) } else { self.v().shift_right(wide, by) };
            let (result, out) = (self.v().part(wide, 1, width), self.v().part(wide, 0, 1));
            return Shifted { result, out, overflow: None };
        }
        let wide = self.v().extend(value, width + 1);
        let wide = self.v().shift_left(wide, by);
        let (result, out) = (self.v().part(wide, 0, width), self.v().part(wide, width, 1));
        let overflow = arithmetic.then(|| {
            // The sign has changed on the way if shifting back does not give the value.
            let by = self.v().extend(count, width);
            let back = self.v().shift_right_signed(result, by);
            let same = self.v().equal(back, value);
            self.v().not(same)
        });
        Shifted { result, out, overflow }
    }

    /// Rotated by a count of six bits, of which those count that are below the width.
    fn rotate(&mut self, left: bool, value: ValueOf<W>, count: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(value);
        let count = self.masked(count, width - 1);
        let by = self.v().extend(count, width);
        self.rotate_below(left, value, by)
    }

    /// Rotated by a count that is below the width, and as wide as the value.
    fn rotate_below(&mut self, left: bool, value: ValueOf<W>, by: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(value);
        if let Some(by) = self.known(by) {
            if by == 0 {
                return value;
            }
            // The two parts change places.
            let low = if left { width - by } else { by };
            let (high, low) = (self.v().part(value, low, width - low), self.v().part(value, 0, low));
            return self.v().join(low, high);
        }
        let whole = self.number(width, width);
        let values = self.v();
        let rest = values.sub(whole, by);
        let (to_left, to_right) = if left { (by, rest) } else { (rest, by) };
        let (above, below) = (values.shift_left(value, to_left), values.shift_right(value, to_right));
        values.or(above, below)
    }

    /// ROXd: X is one bit more of what rotates.
    fn rotate_extended(&mut self, opcode: u16, value: ValueOf<W>, count: ValueOf<W>) {
        let width = self.width(value);
        let extend = self.flag(Flag::Extend);
        let whole = self.v().join(extend, value);
        let around = self.number(6, width + 1);
        let count = self.v().remainder(count, around);
        let by = self.v().extend(count, width + 1);
        let whole = self.rotate_below(opcode & 0x100 != 0, whole, by);
        let (result, out) = (self.v().part(whole, 0, width), self.v().part(whole, width, 1));
        self.shifted(opcode, Shifted { result, out, overflow: None });
        self.set_flag(Flag::Extend, out);
    }
}
