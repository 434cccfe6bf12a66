//! Choices by a seed: the same numbers give the same choices on every machine.

use crate::noise::{self, Noise};

/// Seeded choices.
#[derive(Clone, Debug)]
pub struct Dice(Noise);

impl Dice {
    /// The choices of these numbers.
    pub fn new(numbers: &[u64]) -> Self {
        Self(Noise::new(numbers.iter().fold(0, |state, number| noise::mix(state ^ noise::mix(*number)))))
    }

    /// A number below `end`, which is not zero; as evenly as 64 bits allow.
    pub fn below(&mut self, end: usize) -> usize {
        ((u128::from(self.0.bits()) * end as u128) >> 64) as usize
    }

    /// Whether one of `times` throws comes.
    pub fn one_in(&mut self, times: usize) -> bool {
        self.below(times) == 0
    }

    /// One of a list; `None` if it is empty.
    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> Option<&'a T> {
        if list.is_empty() { None } else { list.get(self.below(list.len())) }
    }

    /// Any byte.
    pub fn byte(&mut self) -> u8 {
        self.0.bits() as u8
    }

    /// Any 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0.bits()
    }
}
