//! The processor: the `m68000` core behind one function that steps it, and what happens around an exception.
//!
//! [`Cpu::step`] is the seam: whatever the core gets wrong is to be put right there. Exceptions never go through the
//! core's own queue; [`Cpu::enter`] stacks the frame and loads the vector, so that the run decides which handlers run.

mod disassembly;
mod exception;

pub use disassembly::{Compare, Decoded, decode, name_address};
pub use exception::{DoubleFault, Exception};

use m68000::cpu_details::Mc68000;
use m68000::status_register::StatusRegister;
use m68000::{M68000, MemoryAccess, Registers};

/// What one step did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// An instruction ran.
    Ran,
    /// An instruction raised the exception of this vector number; the frame is not yet stacked.
    Raised(u8),
}

/// A 68000.
#[derive(Clone, Debug)]
pub struct Cpu {
    core: M68000<Mc68000>,
}

impl Default for Cpu {
    fn default() -> Self {
        Self { core: M68000::new_no_reset() }
    }
}

impl Cpu {
    /// Starts at `pc` with these registers.
    pub fn start(&mut self, registers: Registers) {
        self.core.regs = registers;
        self.core.stop = false;
    }

    /// The registers.
    #[inline]
    pub fn registers(&self) -> &Registers {
        &self.core.regs
    }

    /// The program counter, all 32 bits; the bus sees the low 24.
    #[inline]
    pub fn pc(&self) -> u32 {
        self.core.regs.pc.0
    }

    /// Whether a STOP instruction holds the processor.
    #[inline]
    pub fn stopped(&self) -> bool {
        self.core.stop
    }

    /// Runs one instruction. Returns the cycles it took (0 for one that raised an exception: [`Exception::cycles`] has
    /// the rest) and what it did.
    #[inline]
    pub fn step<M: MemoryAccess>(&mut self, memory: &mut M) -> (u64, Step) {
        let (cycles, vector) = self.core.interpreter_exception(memory);
        (cycles as u64, vector.map_or(Step::Ran, Step::Raised))
    }

    /// The status register as a word.
    pub fn status(&self) -> u16 {
        self.core.regs.sr.into()
    }
}

/// Registers for the start of a run: all zero but the stack, the status and the program counter.
pub fn registers(status: u16, stack: u32, pc: u32) -> Registers {
    let mut registers = Registers::with_sr(StatusRegister::from(status));
    registers.sp_mut().0 = stack;
    registers.pc.0 = pc;
    registers
}
