//! A memory of noise that remembers what is written to it, perhaps with holes, and keeps a journal of all calls.

use std::collections::BTreeMap;
use std::num::Wrapping;

use keyway::cpu::{FunctionCode, Memory};
use m68000::Registers;

use crate::random::start::Start;

/// What the processor did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Call {
    ReadByte,
    ReadWord,
    Fetch,
    WriteByte(u8),
    WriteWord(u16),
    TouchByte,
    TouchWord,
    Reset,
}

/// One call, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    pub clock: u64,
    pub call: Call,
    pub at: u32,
    pub code: Option<FunctionCode>,
}

/// The memory.
#[derive(Clone)]
pub struct Bus {
    seed: u64,
    holes: bool,
    written: BTreeMap<u32, u8>,
    pub clock: u64,
    pub journal: Vec<Event>,
}

impl Bus {
    pub fn new(seed: u64, holes: bool) -> Self {
        Self { seed, holes, written: BTreeMap::new(), clock: 0, journal: Vec::new() }
    }

    /// A memory in which a state's words are where they belong.
    pub fn of(start: &Start, seed: u64, holes: bool) -> Self {
        let mut bus = Self::new(seed, holes);
        for (index, word) in start.stacked.iter().enumerate() {
            bus.poke(start.stack().wrapping_add(2 * index as u32), *word);
        }
        for (index, word) in [start.opcode].iter().chain(&start.extension).enumerate() {
            bus.poke(start.pc.wrapping_add(2 * index as u32), *word);
        }
        bus
    }

    fn poke(&mut self, at: u32, word: u16) {
        for (offset, byte) in word.to_be_bytes().into_iter().enumerate() {
            self.written.insert(at.wrapping_add(offset as u32) & 0xFF_FFFF, byte);
        }
    }

    fn hash(&self, at: u32) -> u64 {
        let mixed = (u64::from(at) ^ self.seed).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        (mixed ^ mixed >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 32
    }

    fn byte(&self, at: u32) -> u8 {
        let at = at & 0xFF_FFFF;
        let noise = self.hash(at);
        // Most vectors are even.
        let even = at < 0x400 && at & 3 == 3 && noise >> 8 & 7 != 0;
        self.written.get(&at).copied().unwrap_or(if even { noise as u8 & !1 } else { noise as u8 })
    }

    /// A call. Words are at even addresses: the processor has to see to that.
    fn call(&mut self, call: Call, at: u32, code: FunctionCode) -> Option<u16> {
        self.journal.push(Event { clock: self.clock, call, at, code: Some(code) });
        self.clock += 4;
        let byte = matches!(call, Call::ReadByte | Call::WriteByte(_) | Call::TouchByte);
        assert!(byte || at & 1 == 0, "{call:?} at {at:08X}");
        if self.holes && self.hash((at & 0xFF_FFFF) >> 4 | 0x8000_0000).is_multiple_of(8) {
            return None;
        }
        match call {
            Call::WriteByte(value) => {
                self.written.insert(at & 0xFF_FFFF, value);
            }
            Call::WriteWord(value) => self.poke(at, value),
            _ => {}
        }
        let high = u16::from(self.byte(at));
        Some(if byte { high } else { high << 8 | u16::from(self.byte(at.wrapping_add(1))) })
    }
}

impl Memory for Bus {
    fn read_byte(&mut self, at: u32, code: FunctionCode) -> Option<u8> {
        self.call(Call::ReadByte, at, code).map(|value| value as u8)
    }

    fn read_word(&mut self, at: u32, code: FunctionCode) -> Option<u16> {
        self.call(Call::ReadWord, at, code)
    }

    fn fetch(&mut self, at: u32, code: FunctionCode) -> Option<u16> {
        self.call(Call::Fetch, at, code)
    }

    fn write_byte(&mut self, at: u32, value: u8, code: FunctionCode) -> Option<()> {
        self.call(Call::WriteByte(value), at, code).map(|_| ())
    }

    fn write_word(&mut self, at: u32, value: u16, code: FunctionCode) -> Option<()> {
        self.call(Call::WriteWord(value), at, code).map(|_| ())
    }

    fn touch_byte(&mut self, at: u32, code: FunctionCode) -> Option<()> {
        self.call(Call::TouchByte, at, code).map(|_| ())
    }

    fn touch_word(&mut self, at: u32, code: FunctionCode) -> Option<()> {
        self.call(Call::TouchWord, at, code).map(|_| ())
    }

    fn idle(&mut self, clocks: u32) {
        self.clock += u64::from(clocks);
    }

    fn reset_devices(&mut self) {
        self.journal.push(Event { clock: self.clock, call: Call::Reset, at: 0, code: None });
    }
}

/// The registers of a state.
pub fn registers(start: &Start) -> Registers {
    let mut registers = Registers { pc: Wrapping(start.pc), usp: Wrapping(start.usp), ..Registers::default() };
    registers.ssp.0 = start.ssp;
    registers.sr = start.status.into();
    registers.d = start.d.map(Wrapping);
    registers.a = start.a.map(Wrapping);
    registers
}
