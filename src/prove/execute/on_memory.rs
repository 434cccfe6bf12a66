//! The executor as a plain processor: [`OnMemory`] makes a world of numbers of any [`Memory`].

use std::convert::Infallible;

use super::numbers::{Number, Numbers};
use crate::cpu::{FunctionCode, Memory};
use crate::prove::{Pin, World};

/// A memory as a world in which everything is known.
pub struct OnMemory<'a, M> {
    /// The memory.
    pub memory: &'a mut M,
    values: Numbers,
}

impl<'a, M: Memory> OnMemory<'a, M> {
    /// The world of this memory.
    pub fn new(memory: &'a mut M) -> Self {
        Self { memory, values: Numbers }
    }
}

fn byte(value: u8) -> Number {
    Number::new(8, value.into())
}

fn word(value: u16) -> Number {
    Number::new(16, value.into())
}

impl<M: Memory> World for OnMemory<'_, M> {
    type Values = Numbers;
    type Cut = Infallible;

    fn values(&mut self) -> &mut Numbers {
        &mut self.values
    }

    fn decide(&mut self, bit: Number) -> Result<bool, Infallible> {
        Ok(bit.bits != 0)
    }

    fn pin(&mut self, value: Number, _: Pin) -> Result<u64, Infallible> {
        Ok(value.bits)
    }

    fn read_byte(&mut self, at: Number, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        Ok(self.memory.read_byte(at.bits as u32, code).map(byte))
    }

    fn read_word(&mut self, at: Number, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        Ok(self.memory.read_word(at.bits as u32, code).map(word))
    }

    fn fetch(&mut self, at: u32, code: FunctionCode) -> Result<Option<Number>, Infallible> {
        Ok(self.memory.fetch(at, code).map(word))
    }

    fn write_byte(&mut self, at: Number, value: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        Ok(self.memory.write_byte(at.bits as u32, value.bits as u8, code))
    }

    fn write_word(&mut self, at: Number, value: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        Ok(self.memory.write_word(at.bits as u32, value.bits as u16, code))
    }

    fn touch_byte(&mut self, at: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        Ok(self.memory.touch_byte(at.bits as u32, code))
    }

    fn touch_word(&mut self, at: Number, code: FunctionCode) -> Result<Option<()>, Infallible> {
        Ok(self.memory.touch_word(at.bits as u32, code))
    }

    fn idle(&mut self, clocks: u32) {
        self.memory.idle(clocks);
    }

    fn idle_for(&mut self, clocks: Number) {
        self.memory.idle(clocks.bits as u32);
    }

    fn reset_devices(&mut self) -> Result<(), Infallible> {
        self.memory.reset_devices();
        Ok(())
    }
}
