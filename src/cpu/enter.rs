//! The entry into a handler: frames, vectors and times (UM section 6.3 and table 8-14, from memory; the order of the
//! bus cycles and the time of an address error as observed in the published vectors).

use super::Cpu;
use super::access::{Aborted, Done, Place};
use super::exception::{Exception, Raised};
use super::memory::Memory;
use super::size::Size;

/// A bus or address error while one was being stacked: the processor halts (UM 6.3.9).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DoubleFault;

impl Cpu {
    /// Enters the handler of an exception: stacks the frame, loads the vector, fills the queue.
    ///
    /// Returns the bus or address error that stacking the frame or loading the vector has met: it is to be entered in
    /// its place. If there is none, see [`Cpu::trace_due`].
    ///
    /// # Errors
    /// [`DoubleFault`] if that happens to the frame of such an error itself.
    pub fn enter<M: Memory>(&mut self, memory: &mut M, raised: &Raised) -> Result<Option<Raised>, DoubleFault> {
        let vector = raised.exception.vector();
        self.enter_by(memory, raised, vector)
    }

    /// The trace of an instruction that has run and raised an exception itself (TRAP, say), once that one is entered:
    /// it is to be entered next, before the handler's first instruction (UM 6.3.8).
    pub fn trace_due(&mut self) -> Option<Raised> {
        std::mem::take(&mut self.trace_due).then(|| self.trace())
    }

    pub(super) fn trace(&self) -> Raised {
        Raised { exception: Exception::Trace, pc: self.pc(), fault: None }
    }

    /// Takes an interrupt of this level with the vector that the device or the autovector gives. The caller has
    /// compared the level with the mask.
    ///
    /// # Errors
    /// [`DoubleFault`] as for [`Cpu::enter`].
    pub fn interrupt<M: Memory>(
        &mut self,
        memory: &mut M,
        level: u8,
        vector: u8,
    ) -> Result<Option<Raised>, DoubleFault> {
        let raised = Raised { exception: Exception::Interrupt(level), pc: self.pc(), fault: None };
        self.enter_by(memory, &raised, vector)
    }

    /// Loads the supervisor stack pointer and the program counter from vector 0, as the reset line makes it do.
    ///
    /// # Errors
    /// The bus or address error that halts the processor if the vector or the first instruction cannot be read.
    pub fn reset<M: Memory>(&mut self, memory: &mut M) -> Result<(), Raised> {
        let sr = &mut self.core.regs.sr;
        (sr.t, sr.s, sr.interrupt_mask) = (false, true, 7);
        self.core.stop = false;
        self.trace_due = false;
        memory.idle(14);
        self.load_reset_vector(memory).map_err(|Aborted| self.raised)
    }

    fn load_reset_vector<M: Memory>(&mut self, memory: &mut M) -> Done {
        // The reset vector is fetched as program (UM 6.3.1).
        let vector = Place { address: 0, program: true };
        self.core.regs.ssp.0 = self.read(memory, Size::Long, vector)?;
        let target = self.read(memory, Size::Long, Place { address: 4, ..vector })?;
        let first = self.jump_first(memory, target)?;
        memory.idle(2);
        self.jump_second(memory, target, first)
    }

    fn enter_by<M: Memory>(
        &mut self,
        memory: &mut M,
        raised: &Raised,
        vector: u8,
    ) -> Result<Option<Raised>, DoubleFault> {
        self.between_instructions = raised.exception.between_instructions();
        let entered = self.process(memory, raised, vector);
        self.between_instructions = false;
        match entered {
            Ok(()) => Ok(None),
            Err(Aborted) if raised.fault.is_some() => Err(DoubleFault),
            Err(Aborted) => {
                self.trace_due = false;
                Ok(Some(self.raised))
            }
        }
    }

    fn process<M: Memory>(&mut self, memory: &mut M, raised: &Raised, vector: u8) -> Done {
        let status = self.status();
        let sr = &mut self.core.regs.sr;
        (sr.t, sr.s) = (false, true);
        self.core.stop = false;
        self.fault_pc = raised.pc;
        let interrupt = if let Exception::Interrupt(level) = raised.exception { Some(level) } else { None };
        memory.idle(before(raised.exception));
        let top = self.core.regs.ssp.0;
        self.core.regs.ssp -= 6;
        // The order of the chip: low half of the PC, status, high half.
        self.write_word(memory, top.wrapping_sub(2), raised.pc as u16)?;
        if let Some(level) = interrupt {
            self.core.regs.sr.interrupt_mask = level;
            // The acknowledge cycle, without the wait states that a device or the autovector adds, and 4 clocks more.
            memory.idle(8);
        }
        self.write_word(memory, top.wrapping_sub(6), status)?;
        self.write_word(memory, top.wrapping_sub(4), (raised.pc >> 16) as u16)?;
        if let Some(fault) = raised.fault {
            self.core.regs.ssp -= 8;
            self.write_word(memory, top.wrapping_sub(8), fault.instruction)?;
            self.write_word(memory, top.wrapping_sub(10), fault.address as u16)?;
            self.write_word(memory, top.wrapping_sub(14), fault.status_word())?;
            self.write_word(memory, top.wrapping_sub(12), (fault.address >> 16) as u16)?;
        }
        let target = self.read(memory, Size::Long, Place::data(u32::from(vector) * 4))?;
        let first = self.jump_first(memory, target)?;
        memory.idle(2);
        self.jump_second(memory, target, first)
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
