//! The processor: the `m68000` core, corrected, behind one function that steps it, and what happens around an exception.
//!
//! [`Cpu::step`] is the seam. A table in `corrections` says per opcode whether the core may execute it; everything that
//! drives the bus, and whatever the core gets wrong, is done here, with each bus cycle in its place ([`Memory`]).
//! [`Cpu::enter`] stacks a frame and loads the vector, so that the run decides which handlers run.

mod access;
mod alu;
mod control;
mod core;
mod corrections;
mod disassembly;
mod enter;
mod exception;
mod memory;
mod operand;
mod queue;
mod size;

pub use control::Control;
pub use disassembly::{Compare, Decoded, decode, name_address};
pub use enter::DoubleFault;
pub use exception::{Exception, Fault, Raised};
pub use memory::{FunctionCode, Memory};

use m68000::cpu_details::Mc68000;
use m68000::status_register::StatusRegister;
use m68000::{M68000, Registers};

use access::Aborted;
use queue::Queue;

/// What one step did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// An instruction ran.
    Ran,
    /// An exception was raised; its frame is not yet stacked, see [`Cpu::enter`]. A trace comes after its instruction
    /// has run.
    Raised(Raised),
}

/// A 68000.
#[derive(Clone, Debug)]
pub struct Cpu {
    core: M68000<Mc68000>,
    /// The prefetch queue: the word that is executed next, and the one after it.
    queue: Queue,
    /// Address of the instruction that runs.
    at: u32,
    /// The instruction register, as a fault's frame shows it.
    instruction: u16,
    /// The program counter that a fault at the next access would stack.
    fault_pc: u32,
    /// The exception of an aborted instruction.
    raised: Raised,
    /// Whether no instruction runs, but an exception of group 0 or 1 is being entered.
    between_instructions: bool,
    /// Whether the exception just entered came from a traced instruction that ran to its end.
    trace_due: bool,
}

impl Default for Cpu {
    fn default() -> Self {
        Self {
            core: M68000::new_no_reset(),
            queue: Queue::default(),
            at: 0,
            instruction: 0,
            fault_pc: 0,
            raised: Raised::NONE,
            between_instructions: false,
            trace_due: false,
        }
    }
}

impl Cpu {
    /// Starts with these registers. The prefetch queue must be filled before the first step.
    pub fn start(&mut self, registers: Registers) {
        self.core.regs = registers;
        self.core.stop = false;
        self.trace_due = false;
        // What the program before did shall not be seen in a frame.
        self.instruction = 0;
    }

    /// The registers.
    #[inline]
    pub fn registers(&self) -> &Registers {
        &self.core.regs
    }

    /// The address of the next instruction, all 32 bits; the bus sees the low 24.
    #[inline]
    pub fn pc(&self) -> u32 {
        self.core.regs.pc.0
    }

    /// The prefetch queue: the words at the program counter and after it, as they were when they were fetched.
    #[inline]
    pub fn queue(&self) -> [u16; 2] {
        [self.queue.first(), self.queue.second()]
    }

    /// Puts words into the prefetch queue that were fetched some other way.
    pub fn set_queue(&mut self, queue: [u16; 2]) {
        self.queue = Queue::new(queue[0], queue[1]);
    }

    /// Whether a STOP instruction holds the processor.
    #[inline]
    pub fn stopped(&self) -> bool {
        self.core.stop
    }

    /// The status register as a word.
    pub fn status(&self) -> u16 {
        self.core.regs.sr.into()
    }

    /// Fills the prefetch queue from memory, as a jump to the program counter does.
    pub fn refill<M: Memory>(&mut self, memory: &mut M) -> Step {
        self.at = self.pc();
        self.fault_pc = self.at;
        match self.jump(memory, self.at) {
            Ok(()) => Step::Ran,
            Err(Aborted) => Step::Raised(self.raised),
        }
    }

    /// Runs one instruction. The time it takes is what its calls of `memory` add up to.
    #[inline]
    pub fn step<M: Memory>(&mut self, memory: &mut M) -> Step {
        let opcode = self.queue.first();
        let traced = self.core.regs.sr.t;
        self.at = self.core.regs.pc.0;
        self.instruction = opcode;
        self.fault_pc = self.at.wrapping_add(2);
        let done = self.execute(memory, opcode);
        if done.is_ok() && !traced { Step::Ran } else { self.exceptional(done.is_ok(), traced) }
    }

    /// After an aborted or a traced instruction.
    #[cold]
    fn exceptional(&mut self, ran: bool, traced: bool) -> Step {
        if ran {
            return Step::Raised(self.trace());
        }
        self.trace_due = traced && self.raised.exception.completes();
        Step::Raised(self.raised)
    }
}

/// Registers for the start of a run: all zero but the stack, the status and the program counter.
pub fn registers(status: u16, stack: u32, pc: u32) -> Registers {
    let mut registers = Registers::with_sr(StatusRegister::from(status));
    registers.sp_mut().0 = stack;
    registers.pc.0 = pc;
    registers
}
