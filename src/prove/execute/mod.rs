//! The executor: the whole 68000 instruction set over any [`World`], so over numbers, terms, or what is known of either.
//!
//! [`Core`] means exactly what [`crate::cpu`] means, down to the order of the bus cycles, the clocks between them and the
//! frames of faults, but shares no code with it: each checks the other. Where the processor goes on in one of two ways
//! it asks the world ([`World::decide`]); results and flags are computed, never decided.

mod access;
mod alu;
mod arithmetic;
mod bits;
mod calls;
mod compute;
mod decimal;
mod decode;
mod divide;
mod enter;
mod flat;
mod flow;
mod modify;
mod moves;
mod multiple;
mod numbers;
mod on_memory;
mod operand;
mod raised;
mod registers;
mod shifts;
mod size;
mod status;

pub use flat::{Flat, Perhaps};
pub use numbers::{Number, Numbers};
pub use on_memory::OnMemory;
pub use raised::{Entered, Fault, Raised, Step};
pub use registers::Trail;

use std::fmt::Debug;

use super::{Domain, Pin, ValueOf, World};
use crate::cpu::Exception;

/// The registers of a 68000 whose contents are values.
///
/// Two are equal if they go on equally: what the next step overwrites, and the [`Trail`], are left out.
#[derive(Clone, Debug)]
pub struct Core<V> {
    /// D0 to D7, 32 bits.
    pub data: [V; 8],
    /// A0 to A6, 32 bits.
    pub address: [V; 7],
    /// A7 of the user.
    pub user_stack: V,
    /// A7 of the supervisor.
    pub supervisor_stack: V,
    /// X, one bit.
    pub extend: V,
    /// N, one bit.
    pub negative: V,
    /// Z, one bit.
    pub zero: V,
    /// V, one bit.
    pub overflow: V,
    /// C, one bit.
    pub carry: V,
    /// T.
    pub trace: bool,
    /// S.
    pub supervisor: bool,
    /// The interrupt mask.
    pub mask: u8,
    /// The address of the next instruction, all 32 bits.
    pub pc: u32,
    /// The prefetch queue: two words.
    pub queue: [V; 2],
    /// Whether a STOP instruction holds the processor.
    pub stopped: bool,
    /// What was read and written since the last step began.
    pub trail: Trail,
    /// Address of the instruction that runs.
    at: u32,
    /// The instruction register, as a fault's frame shows it.
    instruction: V,
    /// The program counter that a fault at the next access would stack.
    fault_pc: u32,
    /// Whether no instruction runs, but an exception of group 0 or 1 is being entered.
    between: bool,
    /// Whether the exception just raised came from a traced instruction that ran to its end.
    trace_due: bool,
}

impl<V: PartialEq> PartialEq for Core<V> {
    fn eq(&self, other: &Self) -> bool {
        let system = |core: &Self| (core.trace, core.supervisor, core.mask, core.stopped, core.trace_due);
        self.pc == other.pc
            && system(self) == system(other)
            && self.queue == other.queue
            && self.data == other.data
            && self.address == other.address
            && self.user_stack == other.user_stack
            && self.supervisor_stack == other.supervisor_stack
            && self.extend == other.extend
            && self.negative == other.negative
            && self.zero == other.zero
            && self.overflow == other.overflow
            && self.carry == other.carry
    }
}

/// A core at work in a world.
struct Processor<'a, W: World> {
    core: &'a mut Core<ValueOf<W>>,
    world: &'a mut W,
}

/// Why an instruction did not run to its end.
enum Ended<W: World> {
    Raised(Raised<ValueOf<W>>),
    Cut(W::Cut),
}

/// What a part of an instruction gives.
type Run<W, T = ()> = Result<T, Ended<W>>;

impl<V: Copy + PartialEq + Debug> Core<V> {
    /// Starts with these registers. The prefetch queue must be filled before the first step.
    pub fn start<W>(world: &mut W, registers: &m68000::Registers) -> Self
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        let values = world.values();
        let status = registers.sr;
        let nothing = values.number(16, 0);
        Self {
            data: registers.d.map(|register| values.number(32, register.0.into())),
            address: registers.a.map(|register| values.number(32, register.0.into())),
            user_stack: values.number(32, registers.usp.0.into()),
            supervisor_stack: values.number(32, registers.ssp.0.into()),
            extend: values.bit(status.x),
            negative: values.bit(status.n),
            zero: values.bit(status.z),
            overflow: values.bit(status.v),
            carry: values.bit(status.c),
            trace: status.t,
            supervisor: status.s,
            mask: status.interrupt_mask,
            pc: registers.pc.0,
            queue: [nothing; 2],
            stopped: false,
            trail: Trail::default(),
            at: registers.pc.0,
            instruction: nothing,
            fault_pc: registers.pc.0,
            between: false,
            trace_due: false,
        }
    }

    /// Fills the prefetch queue from memory, as a jump to the program counter does.
    ///
    /// # Errors
    /// What the world says when it cannot go on.
    pub fn refill<W>(&mut self, world: &mut W) -> Result<Step<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        self.at = self.pc;
        self.fault_pc = self.at;
        let mut processor = Processor { core: self, world };
        let target = processor.number(32, processor.core.at);
        let done = processor.jump(target);
        ended(done)
    }

    /// Runs one instruction. The time it takes is what its calls of `world` add up to.
    ///
    /// # Errors
    /// What the world says when it cannot go on; the registers are then anywhere in the instruction.
    pub fn step<W>(&mut self, world: &mut W) -> Result<Step<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        self.trail = Trail::default();
        let traced = self.trace;
        let opcode = world.pin(self.queue[0], Pin::Code)? as u16;
        self.at = self.pc;
        self.instruction = world.values().number(16, opcode.into());
        self.fault_pc = self.at.wrapping_add(2);
        let mut processor = Processor { core: self, world };
        let done = processor.execute(opcode);
        let step = ended(done)?;
        Ok(match step {
            Step::Ran if traced => Step::Raised(self.traced()),
            Step::Ran => Step::Ran,
            Step::Raised(raised) => {
                self.trace_due = traced && completes(raised.exception);
                Step::Raised(raised)
            }
        })
    }

    /// The trace of an instruction that has run and raised an exception itself (TRAP, say), once that one is entered:
    /// it is to be entered next, before the handler's first instruction.
    pub fn trace_due(&mut self) -> Option<Raised<V>> {
        std::mem::take(&mut self.trace_due).then(|| self.traced())
    }

    fn traced(&self) -> Raised<V> {
        Raised { exception: Exception::Trace, pc: self.pc, fault: None }
    }
}

/// Whether the instruction that raises it has run to its end.
fn completes(exception: Exception) -> bool {
    matches!(exception, Exception::Trap(_) | Exception::Trapv | Exception::Chk | Exception::ZeroDivide)
}

/// An end as the outside sees it.
fn ended<W: World>(done: Run<W>) -> Result<Step<ValueOf<W>>, W::Cut> {
    match done {
        Ok(()) => Ok(Step::Ran),
        Err(Ended::Raised(raised)) => Ok(Step::Raised(raised)),
        Err(Ended::Cut(cut)) => Err(cut),
    }
}
