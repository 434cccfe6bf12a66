//! Bus cycles as instructions make them: the prefetch queue, data reads and writes, and the faults they raise.

use super::size::Size;
use super::{Ended, Fault, Processor, Raised, Run};
use crate::board::AccessKind;
use crate::cpu::{Exception, FunctionCode};
use crate::prove::{Domain, Pin, ValueOf, World};

/// A place in memory, whether it is read as program (PC-relative) or as data, and whether it is odd if that has been
/// asked already.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place<V> {
    pub address: V,
    pub program: bool,
    pub odd: Option<bool>,
}

impl<V> Place<V> {
    pub fn data(address: V) -> Self {
        Self { address, program: false, odd: None }
    }

    /// The same place, once a word there has been accessed.
    pub fn even(self) -> Self {
        Self { odd: Some(false), ..self }
    }
}

impl<W: World> Processor<'_, W> {
    fn code(&self, program: bool) -> FunctionCode {
        let supervisor = self.core.supervisor;
        if program { FunctionCode::program(supervisor) } else { FunctionCode::data(supervisor) }
    }

    /// An access failed: what its frame will say.
    pub(super) fn fault(
        &mut self,
        exception: Exception,
        address: ValueOf<W>,
        kind: AccessKind,
        program: bool,
    ) -> Ended<W> {
        let code = self.code(program);
        let fault = Fault { address, kind, code, instruction: self.core.instruction, between: self.core.between };
        Ended::Raised(Raised { exception, pc: self.core.fault_pc, fault: Some(fault) })
    }

    /// The instruction raised an exception that stacks this program counter.
    pub(super) fn raise(&self, exception: Exception, pc: u32) -> Ended<W> {
        Ended::Raised(Raised { exception, pc, fault: None })
    }

    /// What the bus said, or a bus error.
    fn answered<T>(
        &mut self,
        answer: Result<Option<T>, W::Cut>,
        address: ValueOf<W>,
        kind: AccessKind,
        program: bool,
    ) -> Run<W, T> {
        match answer.map_err(Ended::Cut)? {
            Some(answer) => Ok(answer),
            None => Err(self.fault(Exception::BusError, address, kind, program)),
        }
    }

    /// Fetches one word of the instruction stream.
    pub(super) fn fetch(&mut self, at: u32) -> Run<W, ValueOf<W>> {
        let code = self.code(true);
        let answer = self.world.fetch(at, code);
        let address = self.number(32, at);
        self.answered(answer, address, AccessKind::Fetch, true)
    }

    /// Takes the next extension word out of the queue and fetches the word behind it.
    pub(super) fn extension(&mut self) -> Run<W, ValueOf<W>> {
        let word = self.core.queue[1];
        self.core.queue[1] = self.fetch(self.core.pc.wrapping_add(4))?;
        self.core.pc = self.core.pc.wrapping_add(2);
        Ok(word)
    }

    /// Two extension words, or one; a byte is the low half of its word.
    pub(super) fn immediate(&mut self, size: Size) -> Run<W, ValueOf<W>> {
        let first = self.extension()?;
        if size != Size::Long {
            return Ok(self.low(first, size.bits()));
        }
        let second = self.extension()?;
        Ok(self.v().join(first, second))
    }

    /// The last prefetch of an instruction: the queue moves on.
    pub(super) fn finish(&mut self) -> Run<W> {
        let word = self.fetch(self.core.pc.wrapping_add(4))?;
        self.core.queue = [self.core.queue[1], word];
        self.core.pc = self.core.pc.wrapping_add(2);
        Ok(())
    }

    /// The immediate of an instruction on registers alone, which changes them before its last prefetches; and how many
    /// words the instruction has.
    pub(super) fn inline(&mut self, size: Size) -> Run<W, (ValueOf<W>, u32)> {
        let first = self.core.queue[1];
        if size != Size::Long {
            return Ok((self.low(first, size.bits()), 2));
        }
        let second = self.fetch(self.core.at.wrapping_add(4))?;
        Ok((self.v().join(first, second), 3))
    }

    /// The last prefetches of an instruction on registers alone.
    pub(super) fn close(&mut self, words: u32) -> Run<W> {
        let next = self.core.at.wrapping_add(2 * words);
        self.core.pc = next;
        if words > 1 {
            let first = self.fetch(next)?;
            self.core.queue = [self.core.queue[1], first];
        }
        let second = self.fetch(next.wrapping_add(2))?;
        self.core.queue = [self.core.queue[1], second];
        Ok(())
    }

    /// Continues at `target`: both words of the queue are fetched there.
    pub(super) fn jump(&mut self, target: ValueOf<W>) -> Run<W> {
        let (at, first) = self.jump_first(target)?;
        self.jump_second(at, first)
    }

    /// The first fetch of a jump, and where it goes.
    pub(super) fn jump_first(&mut self, target: ValueOf<W>) -> Run<W, (u32, ValueOf<W>)> {
        if self.odd(target)? {
            return Err(self.fault(Exception::AddressError, target, AccessKind::Fetch, true));
        }
        let at = self.pin(target, Pin::Jump)?;
        Ok((at, self.fetch(at)?))
    }

    /// The second one.
    pub(super) fn jump_second(&mut self, at: u32, first: ValueOf<W>) -> Run<W> {
        let second = self.fetch(at.wrapping_add(2))?;
        self.core.queue = [first, second];
        self.core.pc = at;
        Ok(())
    }

    /// Whether an address is odd.
    pub(super) fn odd(&mut self, address: ValueOf<W>) -> Run<W, bool> {
        let lowest = self.v().part(address, 0, 1);
        self.decide(lowest)
    }

    /// Whether a place is odd.
    pub(super) fn odd_place(&mut self, place: Place<ValueOf<W>>) -> Run<W, bool> {
        match place.odd {
            Some(odd) => Ok(odd),
            None => self.odd(place.address),
        }
    }

    /// An address error if a place is odd. `first` is the address of the first access, an even distance away.
    pub(super) fn check(&mut self, place: Place<ValueOf<W>>, first: ValueOf<W>, kind: AccessKind) -> Run<W> {
        if self.odd_place(place)? {
            return Err(self.fault(Exception::AddressError, first, kind, place.program));
        }
        Ok(())
    }

    /// Reads a word whose address is even.
    pub(super) fn load_word(&mut self, address: ValueOf<W>, program: bool) -> Run<W, ValueOf<W>> {
        let code = self.code(program);
        let answer = self.world.read_word(address, code);
        self.answered(answer, address, AccessKind::Read, program)
    }

    /// Writes a word whose address is even.
    pub(super) fn store_word(&mut self, address: ValueOf<W>, value: ValueOf<W>) -> Run<W> {
        let code = self.code(false);
        let answer = self.world.write_word(address, value, code);
        self.answered(answer, address, AccessKind::Write, false)
    }

    /// Reads a word whose address is even, and takes no notice of it.
    pub(super) fn pass_word(&mut self, address: ValueOf<W>, program: bool) -> Run<W> {
        let code = self.code(program);
        let answer = self.world.touch_word(address, code);
        self.answered(answer, address, AccessKind::Read, program)
    }

    /// Reads an operand, a long high word first.
    pub(super) fn read(&mut self, size: Size, place: Place<ValueOf<W>>) -> Run<W, ValueOf<W>> {
        let Place { address, program, .. } = place;
        if size == Size::Byte {
            let code = self.code(program);
            let answer = self.world.read_byte(address, code);
            return self.answered(answer, address, AccessKind::Read, program);
        }
        self.check(place, address, AccessKind::Read)?;
        self.load(size, address, program)
    }

    /// Reads a word or a long whose address is even.
    pub(super) fn load(&mut self, size: Size, address: ValueOf<W>, program: bool) -> Run<W, ValueOf<W>> {
        let high = self.load_word(address, program)?;
        if size != Size::Long {
            return Ok(high);
        }
        let next = self.plus(address, 2);
        let low = self.load_word(next, program)?;
        Ok(self.v().join(high, low))
    }

    /// Reads an operand that is only going to be overwritten (CLR, Scc, MOVE from SR).
    pub(super) fn touch(&mut self, size: Size, place: Place<ValueOf<W>>) -> Run<W> {
        let address = place.address;
        if size == Size::Byte {
            let code = self.code(false);
            let answer = self.world.touch_byte(address, code);
            return self.answered(answer, address, AccessKind::Read, false);
        }
        self.check(place, address, AccessKind::Read)?;
        self.pass_word(address, false)?;
        if size == Size::Long {
            let next = self.plus(address, 2);
            self.pass_word(next, false)?;
        }
        Ok(())
    }

    /// Writes an operand, a long high word first.
    pub(super) fn write(&mut self, size: Size, place: Place<ValueOf<W>>, value: ValueOf<W>) -> Run<W> {
        let address = place.address;
        if size == Size::Byte {
            let code = self.code(false);
            let answer = self.world.write_byte(address, value, code);
            return self.answered(answer, address, AccessKind::Write, false);
        }
        self.check(place, address, AccessKind::Write)?;
        self.store(size, address, value)
    }

    /// Writes a word or a long whose address is even.
    pub(super) fn store(&mut self, size: Size, address: ValueOf<W>, value: ValueOf<W>) -> Run<W> {
        if size != Size::Long {
            return self.store_word(address, value);
        }
        let (high, low) = self.halves(value);
        self.store_word(address, high)?;
        let next = self.plus(address, 2);
        self.store_word(next, low)
    }

    /// Writes the result of a read-modify-write, a long low word first.
    pub(super) fn write_back(&mut self, size: Size, place: Place<ValueOf<W>>, value: ValueOf<W>) -> Run<W> {
        if size != Size::Long {
            return self.write(size, place, value);
        }
        let next = self.plus(place.address, 2);
        self.check(place, next, AccessKind::Write)?;
        self.store_down_long(place.address, value)
    }

    /// Writes a long whose address is even, low word first.
    pub(super) fn store_down_long(&mut self, address: ValueOf<W>, value: ValueOf<W>) -> Run<W> {
        let (high, low) = self.halves(value);
        let next = self.plus(address, 2);
        self.store_word(next, low)?;
        self.store_word(address, high)
    }

    /// High and low word of a long.
    pub(super) fn halves(&mut self, value: ValueOf<W>) -> (ValueOf<W>, ValueOf<W>) {
        (self.v().part(value, 16, 16), self.v().part(value, 0, 16))
    }

    /// Pushes a long: the high word first, as subroutine calls, PEA and LINK do.
    pub(super) fn push_long(&mut self, value: ValueOf<W>) -> Run<W> {
        let top = self.address(7);
        let stack = self.plus(top, 4u32.wrapping_neg());
        self.write(Size::Long, Place::data(stack), value)?;
        self.set_address(7, stack);
        Ok(())
    }
}
