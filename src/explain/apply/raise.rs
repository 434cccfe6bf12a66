//! Exceptions: the frame of one that a handler takes, and what an instruction hangs on that raises one.

use super::STACK;
use crate::cpu::Exception;
use crate::explain::event::Event;
use crate::explain::follow::Taken;
use crate::explain::op::{Address, Loc, Op, Register};
use crate::explain::shadow::Mark;
use crate::explain::sources::{Source, Taint};
use crate::explain::tracer::Tracer;

impl Tracer {
    /// A handler was entered: the frame holds the flags and the address to go back to.
    pub(in crate::explain) fn enter(&mut self, exception: Exception, from: u32, to: u32) {
        // The vector was read last; it may lie in RAM.
        let vector = self.now.reads.len().saturating_sub(4);
        let target = self.now.reads.split_off(vector);
        let target = target.iter().fold(Taint::CLEAN, |taint, byte| self.follow.join(taint, byte.mark.taint));
        self.influenced(target);
        // The chip pushes the low half of the address, the status, the high half, and of a bus or address error more.
        let frame = if matches!(exception, Exception::BusError | Exception::AddressError) { 7 } else { 3 };
        let frame = self.now.writes.split_off(self.now.writes.len().saturating_sub(frame));
        self.reach(STACK);
        // What the frame holds may lie past the instruction that raised it.
        let raised = self.now.op.is_some() && !matches!(exception, Exception::Interrupt(_) | Exception::Trace);
        let from = if raised { self.now.at } else { from };
        let by = self.raised_by(exception);
        let flags = self.follow.codes();
        for (index, access) in frame.iter().enumerate() {
            let low = if index == 1 { Mark::computed(flags) } else { Mark::CLEAN };
            self.ram.set(access.place, access.address, Mark::CLEAN);
            self.ram.set(access.place, access.address.wrapping_add(1), low);
        }
        let interrupt = match exception {
            Exception::Interrupt(level) => Some(Taint::of(Source::Interrupt(level.into()))),
            _ => None,
        };
        self.handlers.push((interrupt, self.setter));
        let by = self.follow.join(by, interrupt.unwrap_or(Taint::CLEAN));
        self.note(Event::Exception { exception, from, to }, by);
    }

    /// What an exception hangs on that the instruction itself raises. One that did not run to its end is not followed
    /// any further: whatever it may have changed by then hangs on all that it could reach.
    pub(in crate::explain) fn raised_by(&mut self, exception: Exception) -> Taint {
        let Some(op) = self.now.op else { return Taint::CLEAN };
        let bytes = std::mem::take(&mut self.now.reads);
        let read = bytes.iter().fold(Taint::CLEAN, |taint, byte| self.follow.join(taint, byte.mark.taint));
        self.now.reads = bytes;
        let reached = self.address_of(op);
        self.influenced(reached);
        let taint = match (exception, op) {
            (Exception::Interrupt(_) | Exception::Trace | Exception::Trap(_), _) => return Taint::CLEAN,
            (Exception::Trapv, _) => return self.follow.flags,
            (Exception::ZeroDivide | Exception::Chk, _) => self.of_registers(op),
            // Where it would have gone on is what is wrong.
            (_, Op::Return { .. }) => read,
            (_, Op::Branch { condition } | Op::CountedBranch { condition, .. }) => self.follow.condition(condition),
            _ => reached,
        };
        let taint = if matches!(exception, Exception::ZeroDivide | Exception::Chk) {
            // N and Z may be those of the dividend.
            let reached = self.follow.everything();
            self.follow.zero = self.follow.join(self.follow.zero, reached);
            self.follow.flags = self.follow.join(self.follow.flags, reached);
            self.follow.join(taint, read)
        } else {
            let reached = self.follow.everything();
            let reached = self.follow.join(reached, read);
            self.spoil(op, reached);
            taint
        };
        self.follow.zero = self.follow.join(self.follow.zero, taint);
        self.follow.flags = self.follow.join(self.follow.flags, taint);
        self.now.op = None;
        taint
    }

    /// What an exception hangs on that ended the run. An error may have been met while the frame of another exception was
    /// being stacked, so the one that the instruction raised first counts too.
    pub(in crate::explain) fn ended_by(&mut self, exception: Exception) -> Taint {
        let Some(op) = self.now.op else { return Taint::CLEAN };
        let stacked = matches!(op, Op::Product { .. } | Op::Check { .. } | Op::TrapOnOverflow);
        let mut taint = self.raised_by(exception);
        if stacked && !matches!(exception, Exception::ZeroDivide | Exception::Chk | Exception::Trapv) {
            for first in [Exception::Chk, Exception::Trapv] {
                self.now.op = Some(op);
                let by = self.raised_by(first);
                taint = self.follow.join(taint, by);
            }
        }
        let stack = self.follow.address(STACK);
        self.influenced(stack);
        taint
    }

    /// What the registers hang on that a division or a CHK looks at.
    fn of_registers(&mut self, op: Op) -> Taint {
        let looked_at = match op {
            Op::Product { from, .. } => [Some(from), None],
            Op::Check { bound, register } => [Some(bound), Some(Loc::Register(Register::Data(register)))],
            _ => [None, None],
        };
        let mut taint = Taint::CLEAN;
        for loc in looked_at.into_iter().flatten() {
            if let Loc::Register(_) = loc {
                let found = self.follow.operand(loc, 2, &self.now.registers, &mut Taken { bytes: &[] });
                let all = self.follow.all(found.marks());
                taint = self.follow.join(taint, all);
            }
        }
        taint
    }

    /// An instruction was cut short: what it had written by then, and registers that it had loaded, may hang on anything.
    fn spoil(&mut self, op: Op, taint: Taint) {
        let writes = std::mem::take(&mut self.now.writes);
        for access in &writes {
            for address in access.address..access.address + access.size.bytes() {
                self.ram.set(access.place, address, Mark::computed(taint));
            }
        }
        self.now.writes = writes;
        if let Op::Multiple { loads: true, list, .. } = op {
            let marks = self.follow.mixed(taint, 4);
            for number in (0..16u8).filter(|number| list >> number & 1 == 1) {
                let register = if number < 8 { Register::Data(number) } else { Register::Address(number - 8) };
                self.follow.set_register(register, 4, &marks);
            }
        }
    }

    /// What the addresses of an instruction hang on.
    fn address_of(&mut self, op: Op) -> Taint {
        let places: [Option<Loc>; 2] = match op {
            Op::Move { from, to, .. } | Op::Alu { from, to, .. } | Op::AluExtended { from, to, .. } => {
                [Some(from), Some(to)]
            }
            Op::CompareMemory { from, to, .. } => [Some(Loc::Memory(from)), Some(Loc::Memory(to))],
            Op::MoveAddress { from, .. } | Op::AluAddress { from, .. } | Op::Product { from, .. } => [Some(from), None],
            Op::ToStatus { from, .. } => [Some(from), None],
            Op::Constant { to, .. } | Op::Set { to, .. } | Op::FromStatus { to } => [Some(to), None],
            Op::Unary { at, .. } | Op::Bit { at, .. } | Op::Shift { at, .. } => [Some(at), None],
            Op::Check { bound, .. } => [Some(bound), None],
            Op::Jump { to, .. } => [Some(Loc::Memory(to)), Some(Loc::Memory(STACK))],
            Op::Multiple { at, .. } | Op::Peripheral { at, .. } => [Some(Loc::Memory(at)), None],
            Op::Pea { .. } | Op::Link { .. } | Op::Call | Op::Return { .. } => [Some(Loc::Memory(STACK)), None],
            Op::Unlink { register } => [Some(Loc::Memory(Address { base: Some(register), ..STACK })), None],
            _ => [None, None],
        };
        let mut taint = Taint::CLEAN;
        for place in places.into_iter().flatten() {
            if let Loc::Memory(address) = place {
                let by = self.follow.address(address);
                taint = self.follow.join(taint, by);
            }
        }
        taint
    }
}
