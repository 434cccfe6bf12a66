//! The loop that keyway is measured against: what a competent person writes over the core in an afternoon.
//!
//! ROM, RAM and cartridge are vectors, the map is a `match`, a word is two bytes, the labels are a hash set that is asked
//! after each instruction, and RAM is filled before each run. It notes nothing and forgives everything.

use std::collections::HashSet;
use std::sync::Arc;

use m68000::cpu_details::Mc68000;
use m68000::{M68000, MemoryAccess};

use crate::watch::Watch;

/// Memory of the naive machine; `WATCHED` says whether reads of the window are recorded.
struct Memory<const WATCHED: bool> {
    rom: Vec<u8>,
    ram: Vec<u8>,
    image: Arc<Vec<u8>>,
    patch: Vec<u8>,
    latch: u8,
    watch: Watch,
}

impl<const WATCHED: bool> MemoryAccess for Memory<WATCHED> {
    fn get_byte(&mut self, address: u32) -> Option<u8> {
        let address = address & 0xFF_FFFF;
        match address {
            0x00_0000..=0x1F_FFFF => Some(self.rom.get(address as usize).copied().unwrap_or(0xFF)),
            0x28_0000..=0x2B_FFFF if self.latch == 1 => Some(self.patch[address as usize - 0x28_0000]),
            0x20_0000..=0x3F_FFFF => {
                if WATCHED {
                    self.watch.window_read(address);
                }
                Some(self.image[address as usize - 0x20_0000])
            }
            0xB0_0003 => Some(0),
            0xE0_0000..=0xE0_FFFF => Some(self.ram[address as usize - 0xE0_0000]),
            _ => Some(0xFF),
        }
    }

    fn get_word(&mut self, address: u32) -> Option<u16> {
        Some(u16::from_be_bytes([self.get_byte(address)?, self.get_byte(address.wrapping_add(1))?]))
    }

    fn set_byte(&mut self, address: u32, value: u8) -> Option<()> {
        let address = address & 0xFF_FFFF;
        match address {
            0xB0_0001 => self.latch = value,
            0xE0_0000..=0xE0_FFFF => self.ram[address as usize - 0xE0_0000] = value,
            _ => {}
        }
        Some(())
    }

    fn set_word(&mut self, address: u32, value: u16) -> Option<()> {
        let [high, low] = value.to_be_bytes();
        self.set_byte(address, high)?;
        self.set_byte(address.wrapping_add(1), low)
    }

    fn reset_instruction(&mut self) {
        self.latch = 0;
    }
}

/// What a naive machine runs.
pub struct Plan {
    /// The host ROM.
    pub rom: Vec<u8>,
    /// The attached cartridge as it fills the window, 2 MiB.
    pub image: Arc<Vec<u8>>,
    /// What the latch shows.
    pub patch: Vec<u8>,
    /// Where the routine starts.
    pub entry: u32,
    /// Its stack.
    pub stack: u32,
    /// Where it may end.
    pub labels: HashSet<u32>,
}

/// The naive machine; `WATCHED` as for its memory.
pub struct Naive<const WATCHED: bool> {
    memory: Memory<WATCHED>,
    entry: u32,
    stack: u32,
    labels: HashSet<u32>,
    /// Instructions of the last run.
    pub instructions: u64,
    /// D0 at its end.
    pub d0: u32,
}

impl<const WATCHED: bool> Naive<WATCHED> {
    pub fn new(plan: Plan) -> Self {
        let Plan { rom, image, patch, entry, stack, labels } = plan;
        let memory = Memory { rom, ram: vec![0; 0x1_0000], image, patch, latch: 0, watch: Watch::default() };
        Self { memory, entry, stack, labels, instructions: 0, d0: 0 }
    }

    /// What the last run was seen to do.
    pub fn watch(&self) -> &Watch {
        &self.memory.watch
    }

    /// Runs the routine and returns the label at which it ended.
    pub fn run(&mut self) -> Option<u32> {
        self.memory.ram.fill(0);
        self.memory.latch = 0;
        if WATCHED {
            self.memory.watch.clear();
        }
        let mut cpu: M68000<Mc68000> = M68000::new_no_reset();
        cpu.regs.sr.s = true;
        cpu.regs.ssp.0 = self.stack;
        cpu.regs.pc.0 = self.entry;
        self.instructions = 0;
        while self.instructions < 100_000_000 {
            let from = cpu.regs.pc.0;
            let (_, exception) = cpu.interpreter_exception(&mut self.memory);
            self.instructions += 1;
            let to = cpu.regs.pc.0;
            if WATCHED {
                self.memory.watch.edge(from, to);
            }
            if exception.is_some() || cpu.stop {
                return None;
            }
            if self.labels.contains(&to) {
                self.d0 = cpu.regs.d[0].0;
                return Some(to);
            }
        }
        None
    }
}
