//! Small things that are done with values everywhere.

use super::{Ended, Processor, Run};
use crate::prove::{Domain, Pin, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// The values.
    pub(super) fn v(&mut self) -> &mut W::Values {
        self.world.values()
    }

    pub(super) fn number(&mut self, width: u32, value: u32) -> ValueOf<W> {
        self.v().number(width, value.into())
    }

    pub(super) fn bit(&mut self, set: bool) -> ValueOf<W> {
        self.v().bit(set)
    }

    /// The number that a value is, if it is one.
    pub(super) fn known(&mut self, value: ValueOf<W>) -> Option<u32> {
        self.v().known(value).map(|number| number as u32)
    }

    pub(super) fn width(&mut self, value: ValueOf<W>) -> u32 {
        self.v().width(value)
    }

    /// The low bits of a value.
    pub(super) fn low(&mut self, value: ValueOf<W>, width: u32) -> ValueOf<W> {
        if self.width(value) == width { value } else { self.v().part(value, 0, width) }
    }

    /// The highest bit of a value.
    pub(super) fn sign(&mut self, value: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(value);
        self.v().part(value, width - 1, 1)
    }

    /// Whether a value is zero, one bit.
    pub(super) fn is_zero(&mut self, value: ValueOf<W>) -> ValueOf<W> {
        let width = self.width(value);
        let zero = self.number(width, 0);
        self.v().equal(value, zero)
    }

    /// A value and a number.
    pub(super) fn plus(&mut self, value: ValueOf<W>, by: u32) -> ValueOf<W> {
        if by == 0 {
            return value;
        }
        let width = self.width(value);
        let by = self.number(width, by);
        self.v().add(value, by)
    }

    /// The bits of a value that are set in a number, too.
    pub(super) fn masked(&mut self, value: ValueOf<W>, mask: u32) -> ValueOf<W> {
        let width = self.width(value);
        let mask = self.number(width, mask);
        self.v().and(value, mask)
    }

    /// Widened to an address.
    pub(super) fn signed(&mut self, value: ValueOf<W>) -> ValueOf<W> {
        self.v().extend_signed(value, 32)
    }

    /// One of two numbers of clocks or masks.
    pub(super) fn either(&mut self, condition: ValueOf<W>, width: u32, then: u32, other: u32) -> ValueOf<W> {
        let (then, other) = (self.number(width, then), self.number(width, other));
        self.v().either(condition, then, other)
    }

    /// How many of 16 bits are set, as 32 bits.
    pub(super) fn ones(&mut self, value: ValueOf<W>) -> ValueOf<W> {
        if let Some(number) = self.known(value) {
            return self.number(32, number.count_ones());
        }
        let mut sums = value;
        // Sums of 2, 4, 8 and 16 bits, side by side.
        for (by, mask) in [(1, 0x5555), (2, 0x3333), (4, 0x0F0F), (8, 0x00FF)] {
            let distance = self.number(16, by);
            let above = self.v().shift_right(sums, distance);
            let (above, below) = (self.masked(above, mask), self.masked(sums, mask));
            sums = self.v().add(above, below);
        }
        self.v().extend(sums, 32)
    }

    /// Asks the world for a way to go on.
    pub(super) fn decide(&mut self, bit: ValueOf<W>) -> Run<W, bool> {
        self.world.decide(bit).map_err(Ended::Cut)
    }

    /// Asks the world for a number.
    pub(super) fn pin(&mut self, value: ValueOf<W>, what: Pin) -> Run<W, u32> {
        self.world.pin(value, what).map(|number| number as u32).map_err(Ended::Cut)
    }

    pub(super) fn idle(&mut self, clocks: u32) {
        if clocks > 0 {
            self.world.idle(clocks);
        }
    }

    /// Idle clocks whose number may not be known.
    pub(super) fn idle_value(&mut self, clocks: ValueOf<W>) {
        match self.known(clocks) {
            Some(clocks) => self.idle(clocks),
            None => self.world.idle_for(clocks),
        }
    }
}
