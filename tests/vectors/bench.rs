//! The memory that a vector runs on: [`Bench`] holds the words that the vector lists and writes down what happens on
//! the pins. It judges nothing.

use std::collections::{BTreeSet, HashMap};

use keyway::cpu::{FunctionCode, Memory};

use super::format::{Access, Lanes};

/// Words, and what was done with them.
#[derive(Default)]
pub struct Bench {
    pub words: HashMap<u32, u16>,
    /// Even addresses that were written.
    pub written: BTreeSet<u32>,
    pub accesses: Vec<Timed>,
    pub clock: u32,
    /// How often the reset line was pulled.
    pub resets: u32,
}

/// A bus cycle, and the clock at which it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timed {
    pub clock: u32,
    pub access: Access,
}

impl Bench {
    pub fn new(words: &[(u32, u16)]) -> Self {
        Self { words: words.iter().copied().collect(), ..Self::default() }
    }

    /// One bus cycle. `data` has its byte in the lane where it belongs.
    fn cycle(&mut self, address: u32, code: FunctionCode, lanes: Lanes, written: Option<u16>) -> u16 {
        let address = address & 0xFF_FFFF;
        // A word access at an odd address would be a bug of the processor. It shows as what it is, in the address.
        let shown = if lanes == Lanes::Both { address } else { address & !1 };
        let cell = self.words.entry(address & !1).or_default();
        if let Some(data) = written {
            *cell = *cell & !lanes.mask() | data;
            self.written.insert(address & !1);
        }
        let data = *cell & lanes.mask();
        let access = Access { write: written.is_some(), code, address: shown, data, lanes };
        self.accesses.push(Timed { clock: self.clock, access });
        self.clock += 4;
        data
    }
}

fn lane(address: u32) -> Lanes {
    if address & 1 == 0 { Lanes::Upper } else { Lanes::Lower }
}

impl Memory for Bench {
    fn read_byte(&mut self, address: u32, code: FunctionCode) -> Option<u8> {
        let [upper, lower] = self.cycle(address, code, lane(address), None).to_be_bytes();
        Some(upper | lower)
    }

    fn read_word(&mut self, address: u32, code: FunctionCode) -> Option<u16> {
        Some(self.cycle(address, code, Lanes::Both, None))
    }

    fn fetch(&mut self, address: u32, code: FunctionCode) -> Option<u16> {
        Some(self.cycle(address, code, Lanes::Both, None))
    }

    fn write_byte(&mut self, address: u32, value: u8, code: FunctionCode) -> Option<()> {
        let lanes = lane(address);
        self.cycle(address, code, lanes, Some(u16::from_be_bytes([value, value]) & lanes.mask()));
        Some(())
    }

    fn write_word(&mut self, address: u32, value: u16, code: FunctionCode) -> Option<()> {
        self.cycle(address, code, Lanes::Both, Some(value));
        Some(())
    }

    fn idle(&mut self, clocks: u32) {
        self.clock += clocks;
    }

    fn reset_devices(&mut self) {
        self.resets += 1;
    }
}
