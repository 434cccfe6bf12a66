//! Sixteen megabytes of RAM that keep a journal and can be put back: one memory for both processors, in turn.
//!
//! It holds noise, except for the vectors, which are even. Time is what the processors say it is: four clocks an access
//! and what they report in between.

use keyway::cpu::{FunctionCode, Memory};
use m68k::AddressBus;

use super::super::support::Random;
use super::start::Start;

const PINS: u32 = 0xFF_FFFF;
const SIZE: usize = 0x100_0000;

/// One access on the bus, and when it began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Access {
    pub clock: u32,
    pub write: bool,
    /// As on the pins.
    pub address: u32,
    pub bytes: u32,
    pub value: u16,
}

impl Access {
    /// All but the time.
    pub fn what(&self) -> (bool, u32, u32, u16) {
        (self.write, self.address, self.bytes, self.value)
    }
}

/// The memory.
pub struct Flat {
    bytes: Vec<u8>,
    /// What was overwritten, oldest first.
    old: Vec<(u32, u8)>,
    /// Since [`Flat::rewind`].
    pub journal: Vec<Access>,
    pub clock: u32,
}

impl Flat {
    pub fn new(seed: u64) -> Self {
        let mut random = Random(seed);
        let mut bytes = Vec::with_capacity(SIZE);
        while bytes.len() < SIZE {
            bytes.extend(random.next().to_be_bytes());
        }
        for vector in bytes[..0x400].chunks_exact_mut(4) {
            vector[3] &= !1;
        }
        Self { bytes, old: Vec::new(), journal: Vec::new(), clock: 0 }
    }

    /// Puts a state's words where they belong: the opcode, the words behind it, and the top of the stack.
    pub fn place(&mut self, start: &Start) {
        for (index, word) in start.stacked.iter().enumerate() {
            self.poke(start.stack().wrapping_add(2 * index as u32), *word);
        }
        for (index, word) in [start.opcode].iter().chain(&start.extension).enumerate() {
            self.poke(start.pc.wrapping_add(2 * index as u32), *word);
        }
    }

    /// Undoes everything after the first `mark` changes and forgets the journal. Returns it.
    pub fn rewind(&mut self, mark: usize) -> Vec<Access> {
        while self.old.len() > mark {
            if let Some((at, byte)) = self.old.pop() {
                self.bytes[at as usize] = byte;
            }
        }
        self.clock = 0;
        std::mem::take(&mut self.journal)
    }

    /// How many changes there are to undo.
    pub fn mark(&self) -> usize {
        self.old.len()
    }

    /// A word at an even address.
    pub fn word(&self, address: u32) -> u16 {
        let at = (address & PINS & !1) as usize;
        u16::from_be_bytes([self.bytes[at], self.bytes[at + 1]])
    }

    /// A long at an even address.
    pub fn long(&self, address: u32) -> u32 {
        u32::from(self.word(address)) << 16 | u32::from(self.word(address + 2))
    }

    /// A byte.
    pub fn byte(&self, address: u32) -> u8 {
        self.bytes[(address & PINS) as usize]
    }

    fn set(&mut self, address: u32, byte: u8) {
        let at = address & PINS;
        self.old.push((at, self.bytes[at as usize]));
        self.bytes[at as usize] = byte;
    }

    fn poke(&mut self, address: u32, word: u16) {
        let [high, low] = word.to_be_bytes();
        self.set(address, high);
        self.set(address.wrapping_add(1), low);
    }

    fn note(&mut self, write: bool, address: u32, bytes: u32, value: u16) {
        self.journal.push(Access { clock: self.clock, write, address: address & PINS, bytes, value });
        self.clock += 4;
    }

    fn load(&mut self, address: u32, bytes: u32) -> u16 {
        let word = self.word(address);
        let value = match (bytes, address & 1) {
            (1, 0) => word >> 8,
            (1, _) => word & 0xFF,
            _ => word,
        };
        self.note(false, address, bytes, value);
        value
    }

    fn store(&mut self, address: u32, bytes: u32, value: u16) {
        self.note(true, address, bytes, value);
        match bytes {
            1 => self.set(address, value as u8),
            _ => self.poke(address & !1, value),
        }
    }
}

/// Words must be at even addresses: the processor has to see to that.
impl Memory for Flat {
    fn read_byte(&mut self, address: u32, _: FunctionCode) -> Option<u8> {
        Some(self.load(address, 1) as u8)
    }

    fn read_word(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        assert_eq!(address & 1, 0, "read at {address:06X}");
        Some(self.load(address, 2))
    }

    fn fetch(&mut self, address: u32, _: FunctionCode) -> Option<u16> {
        assert_eq!(address & 1, 0, "fetch at {address:06X}");
        Some(self.load(address, 2))
    }

    fn write_byte(&mut self, address: u32, value: u8, _: FunctionCode) -> Option<()> {
        self.store(address, 1, value.into());
        Some(())
    }

    fn write_word(&mut self, address: u32, value: u16, _: FunctionCode) -> Option<()> {
        assert_eq!(address & 1, 0, "write at {address:06X}");
        self.store(address, 2, value);
        Some(())
    }

    fn idle(&mut self, clocks: u32) {
        self.clock += clocks;
    }

    fn reset_devices(&mut self) {}
}

impl AddressBus for Flat {
    fn read_byte(&mut self, address: u32) -> u8 {
        self.load(address, 1) as u8
    }

    fn read_word(&mut self, address: u32) -> u16 {
        self.load(address, 2)
    }

    fn read_long(&mut self, address: u32) -> u32 {
        u32::from(self.load(address, 2)) << 16 | u32::from(self.load(address.wrapping_add(2), 2))
    }

    fn write_byte(&mut self, address: u32, value: u8) {
        self.store(address, 1, value.into());
    }

    fn write_word(&mut self, address: u32, value: u16) {
        self.store(address, 2, value);
    }

    fn write_long(&mut self, address: u32, value: u32) {
        self.store(address, 2, (value >> 16) as u16);
        self.store(address.wrapping_add(2), 2, value as u16);
    }

    fn sync(&mut self, clocks: u32) {
        self.clock += clocks;
    }
}
