//! RAM that knows which of its bytes have been written.
//!
//! A byte never written reads as the power-on fill and is noted. Nothing is ever filled: forgetting which bytes were
//! written is all that a reset does, and it visits only the 64-byte blocks that a run touched.

use super::RamArea;
use crate::noise;

/// What RAM holds at power-on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RamFill {
    /// All zeros.
    #[default]
    Zeros,
    /// All ones.
    Ones,
    /// Seeded noise, a fixed byte for each address.
    Noise,
}

/// Bytes covered by one word of the `written` map.
const BLOCK: u32 = 64;

/// One RAM area in action. Offsets are relative to its start, mirrors already folded.
#[derive(Clone, Debug)]
pub(super) struct Ram {
    start: u32,
    mask: u32,
    bytes: Box<[u8]>,
    written: Box<[u64]>,
    dirty: Vec<u32>,
    fill: RamFill,
    seed: u64,
}

impl Ram {
    pub fn new(area: &RamArea) -> Self {
        let size = area.size;
        let blocks = size.div_ceil(BLOCK) as usize;
        let repeats = area.range.end() - area.range.start() >= size;
        Self {
            start: *area.range.start(),
            mask: if repeats { size - 1 } else { u32::MAX },
            bytes: vec![0; size as usize].into(),
            written: vec![0; blocks].into(),
            dirty: Vec::with_capacity(blocks),
            fill: RamFill::Zeros,
            seed: 0,
        }
    }

    /// The offset of a bus address within the area's range.
    #[inline]
    pub fn offset(&self, address: u32) -> u32 {
        (address - self.start) & self.mask
    }

    /// Back to power-on.
    pub fn reset(&mut self, fill: RamFill, seed: u64) {
        for block in self.dirty.drain(..) {
            self.written[block as usize] = 0;
        }
        self.fill = fill;
        self.seed = seed;
    }

    /// The byte if it has been written.
    #[inline]
    pub fn byte(&self, offset: u32) -> Option<u8> {
        let known = self.written[(offset / BLOCK) as usize] >> (offset % BLOCK) & 1 == 1;
        known.then(|| self.bytes[offset as usize])
    }

    /// The word at an even offset if both bytes have been written.
    #[inline]
    pub fn word(&self, offset: u32) -> Option<u16> {
        let known = self.written[(offset / BLOCK) as usize] >> (offset % BLOCK) & 3 == 3;
        let at = offset as usize;
        known.then(|| u16::from_be_bytes([self.bytes[at], self.bytes[at + 1]]))
    }

    /// The power-on byte of an offset.
    pub fn power_on(&self, offset: u32) -> u8 {
        match self.fill {
            RamFill::Zeros => 0,
            RamFill::Ones => 0xFF,
            RamFill::Noise => noise::byte_at(self.seed, offset),
        }
    }

    #[inline]
    pub fn set_byte(&mut self, offset: u32, value: u8) {
        self.bytes[offset as usize] = value;
        self.mark(offset, 1);
    }

    /// Writes a word at an even offset.
    #[inline]
    pub fn set_word(&mut self, offset: u32, value: u16) {
        let [high, low] = value.to_be_bytes();
        self.bytes[offset as usize] = high;
        self.bytes[offset as usize + 1] = low;
        self.mark(offset, 3);
    }

    #[inline]
    fn mark(&mut self, offset: u32, bits: u64) {
        let block = &mut self.written[(offset / BLOCK) as usize];
        if *block == 0 {
            self.dirty.push(offset / BLOCK);
        }
        *block |= bits << (offset % BLOCK);
    }

    /// Copies the state into `other`, for comparing later.
    pub fn save(&self, other: &mut SavedRam) {
        other.bytes.clear();
        other.bytes.extend_from_slice(&self.bytes);
        other.written.clear();
        other.written.extend_from_slice(&self.written);
    }

    /// Whether the state is exactly the one saved. Bytes never written may hold an earlier run's, in both alike. Where
    /// they differ is remembered in `saved` and looked at first the next time, so that a counter in RAM costs one byte.
    pub fn same(&self, saved: &mut SavedRam) -> bool {
        let differs = |offset: usize| self.bytes.get(offset) != saved.bytes.get(offset);
        if differs(saved.differs) {
            return false;
        }
        let first = self.bytes.iter().zip(&saved.bytes).position(|(now, then)| now != then);
        saved.differs = first.unwrap_or(saved.differs);
        first.is_none() && self.written[..] == saved.written[..]
    }
}

/// A copy of a RAM area.
#[derive(Clone, Debug, Default)]
pub(super) struct SavedRam {
    bytes: Vec<u8>,
    written: Vec<u64>,
    /// An offset at which the RAM was different before.
    differs: usize,
}
