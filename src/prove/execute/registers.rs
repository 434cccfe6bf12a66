//! The registers, reached through accessors only, so that a [`Trail`] of what was read and written is left behind.

use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, Pin, ValueOf, World};

/// Registers and flags that were read before they were wholly written, and those that were wholly written. One bit each:
/// D0 to D7, A0 to A6, USP, SSP, X, N, Z, V, C, from bit 0 on. A write to a part of a register reads the rest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Trail {
    /// Read before written.
    pub uses: u32,
    /// Wholly written.
    pub defines: u32,
}

impl Trail {
    /// The stack pointer of the user.
    pub const USER_STACK: u32 = 1 << 15;
    /// The stack pointer of the supervisor.
    pub const SUPERVISOR_STACK: u32 = 1 << 16;
    /// X.
    pub const EXTEND: u32 = 1 << 17;
    /// N.
    pub const NEGATIVE: u32 = 1 << 18;
    /// Z.
    pub const ZERO: u32 = 1 << 19;
    /// V.
    pub const OVERFLOW: u32 = 1 << 20;
    /// C.
    pub const CARRY: u32 = 1 << 21;
    /// How many bits have a meaning.
    pub const BITS: u32 = 22;

    /// The bit of a data register.
    pub const fn data(number: usize) -> u32 {
        1 << (number & 7)
    }

    /// The bit of A0 to A6.
    pub const fn address(number: usize) -> u32 {
        1 << (8 + number % 7)
    }

    pub(super) fn read(&mut self, bit: u32) {
        self.uses |= bit & !self.defines;
    }

    pub(super) fn written(&mut self, bit: u32) {
        self.defines |= bit;
    }
}

/// A condition code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Flag {
    Extend,
    Negative,
    Zero,
    Overflow,
    Carry,
}

impl Flag {
    /// Their order in the status register, from bit 4 down.
    pub const ALL: [Flag; 5] = [Flag::Extend, Flag::Negative, Flag::Zero, Flag::Overflow, Flag::Carry];

    fn trail(self) -> u32 {
        match self {
            Flag::Extend => Trail::EXTEND,
            Flag::Negative => Trail::NEGATIVE,
            Flag::Zero => Trail::ZERO,
            Flag::Overflow => Trail::OVERFLOW,
            Flag::Carry => Trail::CARRY,
        }
    }
}

impl<W: World> Processor<'_, W> {
    /// The low part of a data register.
    pub(super) fn data(&mut self, size: Size, number: u16) -> ValueOf<W> {
        let number = usize::from(number & 7);
        self.core.trail.read(Trail::data(number));
        let whole = self.core.data[number];
        self.low(whole, size.bits())
    }

    /// Replaces the low part of a data register.
    pub(super) fn set_data(&mut self, size: Size, number: u16, value: ValueOf<W>) {
        let number = usize::from(number & 7);
        let whole = if size == Size::Long {
            value
        } else {
            self.core.trail.read(Trail::data(number));
            let old = self.core.data[number];
            let above = self.v().part(old, size.bits(), 32 - size.bits());
            self.v().join(above, value)
        };
        self.core.data[number] = whole;
        self.core.trail.written(Trail::data(number));
    }

    /// An address register; A7 is that of the mode.
    pub(super) fn address(&mut self, number: u16) -> ValueOf<W> {
        let number = usize::from(number & 7);
        if number == 7 {
            return if self.core.supervisor { self.supervisor_stack() } else { self.user_stack() };
        }
        self.core.trail.read(Trail::address(number));
        self.core.address[number]
    }

    /// Replaces an address register.
    pub(super) fn set_address(&mut self, number: u16, value: ValueOf<W>) {
        let number = usize::from(number & 7);
        if number == 7 {
            return if self.core.supervisor { self.set_supervisor_stack(value) } else { self.set_user_stack(value) };
        }
        self.core.address[number] = value;
        self.core.trail.written(Trail::address(number));
    }

    /// Adds to an address register, and gives what it was.
    pub(super) fn advance(&mut self, number: u16, by: u32) -> ValueOf<W> {
        let old = self.address(number);
        let new = self.plus(old, by);
        self.set_address(number, new);
        old
    }

    pub(super) fn user_stack(&mut self) -> ValueOf<W> {
        self.core.trail.read(Trail::USER_STACK);
        self.core.user_stack
    }

    pub(super) fn set_user_stack(&mut self, value: ValueOf<W>) {
        self.core.user_stack = value;
        self.core.trail.written(Trail::USER_STACK);
    }

    pub(super) fn supervisor_stack(&mut self) -> ValueOf<W> {
        self.core.trail.read(Trail::SUPERVISOR_STACK);
        self.core.supervisor_stack
    }

    pub(super) fn set_supervisor_stack(&mut self, value: ValueOf<W>) {
        self.core.supervisor_stack = value;
        self.core.trail.written(Trail::SUPERVISOR_STACK);
    }

    /// D0 to D7, then A0 to A7.
    pub(super) fn register(&mut self, number: u16) -> ValueOf<W> {
        if number < 8 { self.data(Size::Long, number) } else { self.address(number) }
    }

    pub(super) fn set_register(&mut self, number: u16, value: ValueOf<W>) {
        if number < 8 { self.set_data(Size::Long, number, value) } else { self.set_address(number, value) }
    }

    fn cell(&mut self, flag: Flag) -> &mut ValueOf<W> {
        match flag {
            Flag::Extend => &mut self.core.extend,
            Flag::Negative => &mut self.core.negative,
            Flag::Zero => &mut self.core.zero,
            Flag::Overflow => &mut self.core.overflow,
            Flag::Carry => &mut self.core.carry,
        }
    }

    /// A condition code, one bit.
    pub(super) fn flag(&mut self, flag: Flag) -> ValueOf<W> {
        self.core.trail.read(flag.trail());
        *self.cell(flag)
    }

    pub(super) fn set_flag(&mut self, flag: Flag, value: ValueOf<W>) {
        *self.cell(flag) = value;
        self.core.trail.written(flag.trail());
    }

    /// The status register, 16 bits.
    pub(super) fn status(&mut self) -> ValueOf<W> {
        let mut status = self.number(11, self.core.system_bits() >> 5);
        for flag in Flag::ALL {
            let bit = self.flag(flag);
            status = self.v().join(status, bit);
        }
        status
    }

    /// The condition codes, from the low bits of a word.
    pub(super) fn set_condition_codes(&mut self, word: ValueOf<W>) {
        for (flag, index) in Flag::ALL.into_iter().zip([4, 3, 2, 1, 0]) {
            let bit = self.v().part(word, index, 1);
            self.set_flag(flag, bit);
        }
    }

    /// The whole status register from a word. Its system byte must be a number.
    pub(super) fn set_status(&mut self, word: ValueOf<W>) -> Run<W> {
        let high = self.v().part(word, 8, 8);
        // What the chip does not have need not be known.
        let implemented = self.number(8, 0xA7);
        let high = self.v().and(high, implemented);
        let system = self.pin(high, Pin::Control)?;
        self.core.trace = system & 0x80 != 0;
        self.core.supervisor = system & 0x20 != 0;
        self.core.mask = system as u8 & 7;
        self.set_condition_codes(word);
        Ok(())
    }
}

impl<V: Copy> super::Core<V> {
    /// The system byte in its place; the rest is zero.
    fn system_bits(&self) -> u32 {
        u32::from(self.trace) << 15 | u32::from(self.supervisor) << 13 | u32::from(self.mask & 7) << 8
    }

    /// The status register, 16 bits. It leaves no trail.
    pub fn status<W>(&self, world: &mut W) -> V
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        let values = world.values();
        let mut status = values.number(11, (self.system_bits() >> 5).into());
        for bit in [self.extend, self.negative, self.zero, self.overflow, self.carry] {
            status = values.join(status, bit);
        }
        status
    }
}
