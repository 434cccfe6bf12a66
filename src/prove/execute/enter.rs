//! The entry into a handler: frames, vectors and times (UM section 6.3 and table 8-14, from memory; the order of the
//! bus cycles and the time of an address error as observed in the published vectors).

use std::fmt::Debug;

use super::access::Place;
use super::size::Size;
use super::{Core, Ended, Entered, Fault, Processor, Raised, Run, Step, completes, ended};
use crate::board::AccessKind;
use crate::cpu::Exception;
use crate::prove::{Domain, ValueOf, World};

impl<V: Copy + PartialEq + Debug> Core<V> {
    /// Enters the handler of an exception: stacks the frame, loads the vector, fills the queue. The trail of the step
    /// goes on.
    ///
    /// # Errors
    /// What the world says when it cannot go on.
    pub fn enter<W>(&mut self, world: &mut W, raised: &Raised<V>) -> Result<Entered<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        self.enter_by(world, raised, raised.exception.vector())
    }

    /// Takes an interrupt of this level with the vector that the device or the autovector gives. The caller has
    /// compared the level with the mask.
    ///
    /// # Errors
    /// What the world says when it cannot go on.
    pub fn interrupt<W>(&mut self, world: &mut W, level: u8, vector: u8) -> Result<Entered<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        let raised = Raised { exception: Exception::Interrupt(level), pc: self.pc, fault: None };
        self.enter_by(world, &raised, vector)
    }

    /// Loads the supervisor stack pointer and the program counter from vector 0, as the reset line makes it do. An
    /// error that is raised halts the processor.
    ///
    /// # Errors
    /// What the world says when it cannot go on.
    pub fn reset<W>(&mut self, world: &mut W) -> Result<Step<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        (self.trace, self.supervisor, self.mask) = (false, true, 7);
        self.stopped = false;
        self.trace_due = false;
        let done = Processor { core: self, world }.load_reset_vector();
        ended(done)
    }

    fn enter_by<W>(&mut self, world: &mut W, raised: &Raised<V>, vector: u8) -> Result<Entered<V>, W::Cut>
    where
        W: World,
        W::Values: Domain<Value = V>,
    {
        self.between = !completes(raised.exception);
        let entered = Processor { core: self, world }.process(raised, vector);
        self.between = false;
        match entered {
            Ok(()) => Ok(Entered::Handler),
            Err(Ended::Cut(cut)) => Err(cut),
            Err(Ended::Raised(_)) if raised.fault.is_some() => Ok(Entered::DoubleFault),
            Err(Ended::Raised(met)) => {
                self.trace_due = false;
                Ok(Entered::Instead(met))
            }
        }
    }
}

impl<W: World> Processor<'_, W> {
    fn load_reset_vector(&mut self) -> Run<W> {
        self.idle(14);
        // The reset vector is fetched as program (UM 6.3.1).
        let (stack_at, target_at) = (self.number(32, 0), self.number(32, 4));
        let stack = self.load(Size::Long, stack_at, true)?;
        self.set_supervisor_stack(stack);
        let target = self.load(Size::Long, target_at, true)?;
        self.start_handler(target)
    }

    fn start_handler(&mut self, target: ValueOf<W>) -> Run<W> {
        let (at, first) = self.jump_first(target)?;
        self.idle(2);
        self.jump_second(at, first)
    }

    fn process(&mut self, raised: &Raised<ValueOf<W>>, vector: u8) -> Run<W> {
        let status = self.status();
        (self.core.trace, self.core.supervisor) = (false, true);
        self.core.stopped = false;
        self.core.fault_pc = raised.pc;
        self.idle(before(raised.exception));
        let top = self.supervisor_stack();
        let stack = self.plus(top, 6u32.wrapping_neg());
        self.set_supervisor_stack(stack);
        let pc = self.number(32, raised.pc);
        let (high, low) = self.halves(pc);
        // The order of the chip: low half of the PC, status, high half. All words are an even distance apart.
        let first = self.plus(top, 2u32.wrapping_neg());
        self.check(Place::data(top), first, AccessKind::Write)?;
        self.store_word(first, low)?;
        if let Exception::Interrupt(level) = raised.exception {
            self.core.mask = level;
            // The acknowledge cycle, without the wait states that a device or the autovector adds, and 4 clocks more.
            self.idle(8);
        }
        self.store_word(stack, status)?;
        self.stack_word(top, 4, high)?;
        if let Some(fault) = raised.fault {
            self.stack_fault(top, &fault)?;
        }
        let vector = self.number(32, u32::from(vector) * 4);
        let target = self.load(Size::Long, vector, false)?;
        self.start_handler(target)
    }

    /// The rest of the frame of a bus or address error.
    fn stack_fault(&mut self, top: ValueOf<W>, fault: &Fault<ValueOf<W>>) -> Run<W> {
        let stack = self.plus(top, 14u32.wrapping_neg());
        self.set_supervisor_stack(stack);
        let (high, low) = self.halves(fault.address);
        // The rest of the instruction register, the read flag, the flag that no instruction was running, the code.
        let read = if fault.kind == AccessKind::Write { 0 } else { 0x10 };
        let flags = read | if fault.between { 8 } else { 0 } | fault.code as u32;
        let (rest, flags) = (self.v().part(fault.instruction, 5, 11), self.number(5, flags));
        let status = self.v().join(rest, flags);
        self.stack_word(top, 8, fault.instruction)?;
        self.stack_word(top, 10, low)?;
        self.stack_word(top, 14, status)?;
        self.stack_word(top, 12, high)
    }

    fn stack_word(&mut self, top: ValueOf<W>, below: u32, value: ValueOf<W>) -> Run<W> {
        let address = self.plus(top, below.wrapping_neg());
        self.store_word(address, value)
    }
}

/// Clock periods before the first push, beyond those that the instruction itself has spent.
fn before(exception: Exception) -> u32 {
    match exception {
        // The access that did not take place, and 8 more (observed; the UM has 4 less in all).
        Exception::AddressError => 12,
        // No vector shows a bus error; the chip goes the same way.
        Exception::BusError => 8,
        Exception::Interrupt(_) => 6,
        Exception::Trapv => 0,
        _ => 4,
    }
}
