//! Bus cycles as instructions make them: the prefetch queue, data reads and writes, and the faults they raise.

use super::Cpu;
use super::exception::{Exception, Fault, Raised};
use super::memory::{FunctionCode, Memory};
use super::queue::Queue;
use super::size::Size;
use crate::board::AccessKind;

/// The instruction did not run to its end; [`Cpu::raised`](Cpu) says why.
#[derive(Debug)]
pub(super) struct Aborted;

/// How an instruction ended.
pub(super) type Done = Result<(), Aborted>;

/// A place in memory, and whether it is read as program (PC-relative) or as data.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub address: u32,
    pub program: bool,
}

impl Place {
    #[inline]
    pub fn data(address: u32) -> Self {
        Self { address, program: false }
    }
}

impl Cpu {
    #[inline]
    fn supervisor(&self) -> bool {
        self.core.regs.sr.s
    }

    #[inline]
    fn code(&self, program: bool) -> FunctionCode {
        let supervisor = self.supervisor();
        if program { FunctionCode::program(supervisor) } else { FunctionCode::data(supervisor) }
    }

    /// Fetches one word of the instruction stream.
    #[inline]
    pub(super) fn fetch<M: Memory>(&mut self, memory: &mut M, address: u32) -> Result<u16, Aborted> {
        match memory.fetch(address, self.code(true)) {
            Some(word) => Ok(word),
            None => Err(self.fault(Exception::BusError, address, AccessKind::Fetch, true)),
        }
    }

    /// Takes the next extension word out of the queue and fetches the word behind it.
    #[inline]
    pub(super) fn extension<M: Memory>(&mut self, memory: &mut M) -> Result<u16, Aborted> {
        let word = self.queue.second();
        let next = self.pc().wrapping_add(4);
        let fetched = self.fetch(memory, next)?;
        self.queue.replace_second(fetched);
        self.core.regs.pc += 2;
        Ok(word)
    }

    /// Two extension words, or one; a byte is the low half of its word.
    #[inline]
    pub(super) fn immediate<M: Memory>(&mut self, memory: &mut M, size: Size) -> Result<u32, Aborted> {
        let first = u32::from(self.extension(memory)?);
        if size != Size::Long {
            return Ok(first & size.mask());
        }
        Ok(first << 16 | u32::from(self.extension(memory)?))
    }

    /// The last prefetch of an instruction: the queue moves on.
    #[inline]
    pub(super) fn finish<M: Memory>(&mut self, memory: &mut M) -> Done {
        let next = self.pc().wrapping_add(4);
        let word = self.fetch(memory, next)?;
        self.queue.advance(word);
        self.core.regs.pc += 2;
        Ok(())
    }

    /// Continues at `target`: both words of the queue are fetched there.
    #[inline]
    pub(super) fn jump<M: Memory>(&mut self, memory: &mut M, target: u32) -> Done {
        let first = self.jump_first(memory, target)?;
        self.jump_second(memory, target, first)
    }

    /// The first fetch of a jump.
    #[inline]
    pub(super) fn jump_first<M: Memory>(&mut self, memory: &mut M, target: u32) -> Result<u16, Aborted> {
        if target & 1 != 0 {
            return Err(self.fault(Exception::AddressError, target, AccessKind::Fetch, true));
        }
        self.fetch(memory, target)
    }

    /// The second one.
    #[inline]
    pub(super) fn jump_second<M: Memory>(&mut self, memory: &mut M, target: u32, first: u16) -> Done {
        let second = self.fetch(memory, target.wrapping_add(2))?;
        self.queue = Queue::new(first, second);
        self.core.regs.pc.0 = target;
        Ok(())
    }

    /// Reads an operand, a long high word first.
    #[inline]
    pub(super) fn read<M: Memory>(&mut self, memory: &mut M, size: Size, place: Place) -> Result<u32, Aborted> {
        let Place { address, program } = place;
        match size {
            Size::Byte => match memory.read_byte(address, self.code(program)) {
                Some(value) => Ok(u32::from(value)),
                None => Err(self.fault(Exception::BusError, address, AccessKind::Read, program)),
            },
            Size::Word => self.read_word(memory, place),
            Size::Long => {
                let high = self.read_word(memory, place)?;
                let low = self.read_word(memory, Place { address: address.wrapping_add(2), program })?;
                Ok(high << 16 | low)
            }
        }
    }

    #[inline]
    pub(super) fn read_word<M: Memory>(&mut self, memory: &mut M, place: Place) -> Result<u32, Aborted> {
        let Place { address, program } = place;
        if address & 1 != 0 {
            return Err(self.fault(Exception::AddressError, address, AccessKind::Read, program));
        }
        match memory.read_word(address, self.code(program)) {
            Some(value) => Ok(u32::from(value)),
            None => Err(self.fault(Exception::BusError, address, AccessKind::Read, program)),
        }
    }

    /// Reads an operand that is only going to be overwritten (CLR, Scc, MOVE from SR).
    #[inline]
    pub(super) fn touch<M: Memory>(&mut self, memory: &mut M, size: Size, address: u32) -> Done {
        match size {
            Size::Byte => {
                let code = self.code(false);
                let touched = memory.touch_byte(address, code);
                touched.ok_or_else(|| self.fault(Exception::BusError, address, AccessKind::Read, false))
            }
            Size::Word => self.touch_word(memory, Place::data(address)),
            Size::Long => {
                self.touch_word(memory, Place::data(address))?;
                self.touch_word(memory, Place::data(address.wrapping_add(2)))
            }
        }
    }

    #[inline]
    pub(super) fn touch_word<M: Memory>(&mut self, memory: &mut M, place: Place) -> Done {
        let Place { address, program } = place;
        if address & 1 != 0 {
            return Err(self.fault(Exception::AddressError, address, AccessKind::Read, program));
        }
        let code = self.code(program);
        let touched = memory.touch_word(address, code);
        touched.ok_or_else(|| self.fault(Exception::BusError, address, AccessKind::Read, program))
    }

    /// Writes an operand, a long high word first.
    #[inline]
    pub(super) fn write<M: Memory>(&mut self, memory: &mut M, size: Size, address: u32, value: u32) -> Done {
        match size {
            Size::Byte => {
                let code = self.code(false);
                let written = memory.write_byte(address, value as u8, code);
                written.ok_or_else(|| self.fault(Exception::BusError, address, AccessKind::Write, false))
            }
            Size::Word => self.write_word(memory, address, value as u16),
            Size::Long => {
                self.write_word(memory, address, (value >> 16) as u16)?;
                self.write_word(memory, address.wrapping_add(2), value as u16)
            }
        }
    }

    /// Writes the result of a read-modify-write, a long low word first.
    #[inline]
    pub(super) fn write_back<M: Memory>(&mut self, memory: &mut M, size: Size, address: u32, value: u32) -> Done {
        if size != Size::Long {
            return self.write(memory, size, address, value);
        }
        self.write_word(memory, address.wrapping_add(2), value as u16)?;
        self.write_word(memory, address, (value >> 16) as u16)
    }

    #[inline]
    pub(super) fn write_word<M: Memory>(&mut self, memory: &mut M, address: u32, value: u16) -> Done {
        if address & 1 != 0 {
            return Err(self.fault(Exception::AddressError, address, AccessKind::Write, false));
        }
        let code = self.code(false);
        let written = memory.write_word(address, value, code);
        written.ok_or_else(|| self.fault(Exception::BusError, address, AccessKind::Write, false))
    }

    /// Pushes a long: the high word first, as subroutine calls, PEA and LINK do.
    #[inline]
    pub(super) fn push_long<M: Memory>(&mut self, memory: &mut M, value: u32) -> Done {
        let stack = self.core.regs.sp().wrapping_sub(4);
        self.write(memory, Size::Long, stack, value)?;
        self.core.regs.sp_mut().0 = stack;
        Ok(())
    }

    /// An access failed: notes what its frame will say.
    #[cold]
    #[inline(never)]
    pub(super) fn fault(&mut self, exception: Exception, address: u32, kind: AccessKind, program: bool) -> Aborted {
        let (instruction, between) = (self.instruction, self.between_instructions);
        let fault = Fault { address, kind, code: self.code(program), instruction, between };
        self.raised = Raised { exception, pc: self.fault_pc, fault: Some(fault) };
        Aborted
    }

    /// The instruction raised an exception that stacks this program counter.
    #[cold]
    pub(super) fn raise(&mut self, exception: Exception, pc: u32) -> Aborted {
        self.raised = Raised { exception, pc, fault: None };
        Aborted
    }
}
