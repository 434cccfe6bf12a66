//! Loops that can never end: the same state seen again.
//!
//! Brent's way: keep one earlier state, replace it each time the run has doubled, and compare whenever the program
//! counter is back. Registers are compared first; the board (RAM, ports, noise) only when they agree, and of RAM first
//! the byte that differed the last time, so that a counter in RAM costs little. Equality is exact, never a hash.

use m68000::Registers;

use super::interrupts::{Interrupts, SavedInterrupts};
use crate::board::{Bus, SavedBus};
use crate::cpu::Cpu;

/// Instructions before the first state is kept: an ordinary detection is over by then.
const FIRST: u64 = 1024;

/// The earlier state.
#[derive(Clone, Debug)]
pub(super) struct Earlier {
    registers: Registers,
    /// The prefetch queue, which may differ from what memory holds by now.
    queue: [u16; 2],
    interrupts: SavedInterrupts,
    bus: SavedBus,
    /// Instructions run when the state was kept; `u64::MAX` before the first.
    at: u64,
    /// When the next state is to be kept.
    pub next: u64,
}

impl Earlier {
    pub fn new() -> Self {
        Self {
            registers: Registers::default(),
            queue: [0; 2],
            interrupts: SavedInterrupts::default(),
            bus: SavedBus::default(),
            at: u64::MAX,
            next: FIRST,
        }
    }

    /// Forgets everything, for a new run.
    pub fn reset(&mut self) {
        self.at = u64::MAX;
        self.next = FIRST;
        self.registers.pc.0 = u32::MAX;
    }

    /// Keeps the state after `count` instructions.
    pub fn keep(&mut self, count: u64, cpu: &Cpu, interrupts: &Interrupts, bus: &Bus) {
        self.registers = *cpu.registers();
        self.queue = cpu.queue();
        interrupts.save(bus.now, &mut self.interrupts);
        bus.save(&mut self.bus);
        self.at = count;
        self.next = count.saturating_mul(2);
    }

    /// Whether the state is the one kept; if so, the instructions between.
    #[inline]
    pub fn again(&mut self, count: u64, cpu: &Cpu, interrupts: &Interrupts, bus: &Bus) -> Option<u64> {
        if cpu.registers().pc == self.registers.pc { self.compare(count, cpu, interrupts, bus) } else { None }
    }

    #[inline(never)]
    fn compare(&mut self, count: u64, cpu: &Cpu, interrupts: &Interrupts, bus: &Bus) -> Option<u64> {
        let again = same(cpu.registers(), &self.registers)
            && cpu.queue() == self.queue
            && interrupts.same(bus.now, &self.interrupts)
            && bus.same(&mut self.bus);
        again.then(|| count - self.at)
    }
}

/// Register equality that gives up at the first difference; loop counters differ almost at once.
#[inline]
fn same(left: &Registers, right: &Registers) -> bool {
    left.d.iter().zip(&right.d).all(|(left, right)| left == right)
        && left.a.iter().zip(&right.a).all(|(left, right)| left == right)
        && left.ssp == right.ssp
        && left.usp == right.usp
        && left.sr == right.sr
}
