//! RAM that knows which of its bytes have been written.
//!
//! A byte never written reads as the power-on fill and is noted. Nothing is ever filled: forgetting which bytes were
//! written is all that a reset does, and it visits only the 64-byte blocks that a run touched.

use std::collections::BTreeMap;

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

/// Bytes in a block.
const BLOCK: u32 = 64;

/// A block of RAM.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Block {
    /// Its words, each as it stands on the bus.
    words: [[u8; 2]; BLOCK as usize / 2],
    /// Which bytes have been written, one bit each.
    written: u64,
}

/// One RAM area in action. Addresses are on the bus, within the area's range.
#[derive(Clone, Debug)]
pub(super) struct Ram {
    start: u32,
    mask: u32,
    blocks: Box<[Block]>,
    /// The blocks that the run has written to.
    dirty: Vec<u32>,
    fill: RamFill,
    seed: u64,
    /// Bytes at power-on that differ from the fill, by offset.
    held: BTreeMap<u32, u8>,
}

impl Ram {
    pub fn new(area: &RamArea) -> Self {
        let size = area.size;
        let blocks = size.div_ceil(BLOCK) as usize;
        let repeats = area.range.end() - area.range.start() >= size;
        Self {
            start: *area.range.start(),
            mask: if repeats { size - 1 } else { u32::MAX },
            blocks: vec![Block { words: [[0; 2]; BLOCK as usize / 2], written: 0 }; blocks].into(),
            dirty: Vec::with_capacity(blocks),
            fill: RamFill::Zeros,
            seed: 0,
            held: BTreeMap::new(),
        }
    }

    /// Mirrors are folded here.
    #[inline]
    fn offset(&self, address: u32) -> u32 {
        (address - self.start) & self.mask
    }

    /// Lets a byte be this at power-on, whatever the fill.
    pub fn hold(&mut self, address: u32, byte: u8) {
        self.held.insert(self.offset(address), byte);
    }

    /// Lets the fill be everywhere again.
    pub fn hold_nothing(&mut self) {
        self.held.clear();
    }

    /// Back to power-on.
    pub fn reset(&mut self, fill: RamFill, seed: u64) {
        for block in self.dirty.drain(..) {
            self.blocks[block as usize].written = 0;
        }
        self.fill = fill;
        self.seed = seed;
    }

    /// The byte if it has been written.
    #[inline]
    pub fn byte(&self, address: u32) -> Option<u8> {
        let offset = self.offset(address);
        let block = &self.blocks[(offset / BLOCK) as usize];
        let known = block.written >> (offset % BLOCK) & 1 == 1;
        known.then(|| block.words[(offset % BLOCK / 2) as usize][(offset % 2) as usize])
    }

    /// The word at an even address if both bytes have been written.
    #[inline]
    pub fn word(&self, address: u32) -> Option<u16> {
        let offset = self.offset(address);
        let block = &self.blocks[(offset / BLOCK) as usize];
        let known = block.written >> (offset % BLOCK) & 3 == 3;
        known.then(|| u16::from_be_bytes(block.words[(offset % BLOCK / 2) as usize]))
    }

    /// What a byte holds before it is written.
    pub fn power_on(&self, address: u32) -> u8 {
        if let Some(byte) = self.held.get(&self.offset(address)) {
            return *byte;
        }
        match self.fill {
            RamFill::Zeros => 0,
            RamFill::Ones => 0xFF,
            RamFill::Noise => noise::byte_at(self.seed, self.offset(address)),
        }
    }

    /// Writes a byte.
    #[inline]
    pub fn set_byte(&mut self, address: u32, value: u8) {
        let offset = self.offset(address);
        let block = &mut self.blocks[(offset / BLOCK) as usize];
        block.words[(offset % BLOCK / 2) as usize][(offset % 2) as usize] = value;
        self.mark(offset, 1);
    }

    /// Writes a word at an even address.
    #[inline]
    pub fn set_word(&mut self, address: u32, value: u16) {
        let offset = self.offset(address);
        let block = &mut self.blocks[(offset / BLOCK) as usize];
        block.words[(offset % BLOCK / 2) as usize] = value.to_be_bytes();
        self.mark(offset, 3);
    }

    /// Notes that the bytes of these bits from an offset on are written.
    #[inline]
    fn mark(&mut self, offset: u32, bits: u64) {
        let block = &mut self.blocks[(offset / BLOCK) as usize];
        let before = block.written;
        block.written |= bits << (offset % BLOCK);
        if before == 0 {
            self.mark_dirty(offset / BLOCK);
        }
    }

    /// Seldom needed, and kept apart so that a write is short.
    #[cold]
    #[inline(never)]
    fn mark_dirty(&mut self, block: u32) {
        self.dirty.push(block);
    }

    /// Copies the state into `other`, for comparing later.
    pub fn save(&self, other: &mut SavedRam) {
        other.blocks.clear();
        other.blocks.extend_from_slice(&self.blocks);
    }

    /// Whether the state is exactly the one saved. Bytes never written may hold an earlier run's, in both alike. Where
    /// they differ is remembered in `saved` and looked at first the next time, so that a counter in RAM costs one block.
    pub fn same(&self, saved: &mut SavedRam) -> bool {
        let differs = |block: usize| self.blocks.get(block) != saved.blocks.get(block);
        if differs(saved.differs) {
            return false;
        }
        let first = self.blocks.iter().zip(&saved.blocks).position(|(now, then)| now != then);
        saved.differs = first.unwrap_or(saved.differs);
        first.is_none()
    }
}

/// A copy of a RAM area.
#[derive(Clone, Debug, Default)]
pub(super) struct SavedRam {
    blocks: Vec<Block>,
    /// A block that was different before.
    differs: usize,
}
