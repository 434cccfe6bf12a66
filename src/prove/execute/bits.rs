//! BTST, BCHG, BCLR, BSET.

use super::operand::Operand;
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// BTST of memory or of an immediate.
    pub(super) fn bit_test(&mut self, opcode: u16) -> Run<W> {
        let bit = self.bit_number(opcode)?;
        let operand = self.operand(opcode, Size::Byte)?;
        let value = self.value(operand, Size::Byte)?;
        self.finish()?;
        if let Operand::Immediate(_) = operand {
            // Observed; the UM has no line for it.
            self.idle(2);
        }
        let bit = self.masked(bit, 7);
        self.test_bit(value, bit);
        Ok(())
    }

    /// BTST of a data register.
    pub(super) fn bit_test_register(&mut self, opcode: u16) -> Run<W> {
        let (bit, words) =
            if opcode & 0x100 != 0 { (self.data(Size::Byte, opcode >> 9), 1) } else { self.inline(Size::Byte)? };
        let bit = self.bit_of_register(bit);
        let value = self.data(Size::Long, opcode);
        self.test_bit(value, bit);
        self.close(words)?;
        self.idle(2);
        Ok(())
    }

    /// BCHG, BCLR, BSET.
    pub(super) fn bit_change(&mut self, opcode: u16) -> Run<W> {
        let bit = self.bit_number(opcode)?;
        if let Operand::Memory(place) = self.operand(opcode, Size::Byte)? {
            let old = self.read(Size::Byte, place)?;
            let bit = self.masked(bit, 7);
            let new = self.changed(opcode, old, bit);
            self.finish()?;
            return self.write(Size::Byte, place, new);
        }
        let bit = self.bit_of_register(bit);
        let old = self.data(Size::Long, opcode);
        let new = self.changed(opcode, old, bit);
        self.set_data(Size::Long, opcode, new);
        self.finish()?;
        // The upper half takes longer; the UM gives the maximum only.
        let clocks = if opcode >> 6 & 3 == 2 { 4 } else { 2 };
        let upper = self.v().part(bit, 4, 1);
        let clocks = self.either(upper, 32, clocks + 2, clocks);
        self.idle_value(clocks);
        Ok(())
    }

    /// A byte from a data register, or from the first extension word.
    fn bit_number(&mut self, opcode: u16) -> Run<W, ValueOf<W>> {
        if opcode & 0x100 != 0 { Ok(self.data(Size::Byte, opcode >> 9)) } else { self.immediate(Size::Byte) }
    }

    /// The low five bits of a bit's number, as wide as the register.
    fn bit_of_register(&mut self, bit: ValueOf<W>) -> ValueOf<W> {
        let bit = self.v().part(bit, 0, 5);
        self.v().extend(bit, 32)
    }

    /// Z says that the bit is clear.
    fn test_bit(&mut self, value: ValueOf<W>, bit: ValueOf<W>) {
        let tested = match self.known(bit) {
            Some(bit) => self.v().part(value, bit, 1),
            None => {
                let shifted = self.v().shift_right(value, bit);
                self.v().part(shifted, 0, 1)
            }
        };
        let clear = self.v().not(tested);
        self.set_flag(Flag::Zero, clear);
    }

    fn changed(&mut self, opcode: u16, old: ValueOf<W>, bit: ValueOf<W>) -> ValueOf<W> {
        self.test_bit(old, bit);
        let width = self.width(old);
        let one = self.number(width, 1);
        let mask = self.v().shift_left(one, bit);
        match opcode >> 6 & 3 {
            1 => self.v().xor(old, mask),
            2 => {
                let rest = self.v().not(mask);
                self.v().and(old, rest)
            }
            _ => self.v().or(old, mask),
        }
    }
}
