//! What each instruction does to the marks, once it has run.

mod bits;
mod compute;
mod control;
mod moves;
mod raise;

use super::event::{Compares, Event, Held, Operand, Setter};
use super::follow::Taken;
use super::op::{Address, Loc, Op, Register};
use super::shadow::{CLEAN, Mark, Marks};
use super::sources::Taint;
use super::tracer::Tracer;
use crate::board::{Access, BUS_MASK, Place, PortSize};
use crate::cpu::Exception;

/// The stack pointer.
const STACK: Address = Address { base: Some(7), index: None, moves: false };

impl Tracer {
    /// Moves the marks as the instruction that has just run did.
    pub(super) fn apply(&mut self) {
        let Some(op) = self.now.op.take() else { return };
        let bytes = std::mem::take(&mut self.now.reads);
        let mut taken = Taken { bytes: &bytes };
        self.move_marks(op, &mut taken);
        self.now.reads = bytes;
        if self.now.wrote_last {
            self.leave_on_bus();
        }
    }

    /// What was written last stays on the bus, in the order of the bus cycles; a byte is on both halves.
    fn leave_on_bus(&mut self) {
        for index in 0..self.now.writes.len() {
            let access = self.now.writes[index];
            let mut taints = [Taint::CLEAN; 2];
            for (address, taint) in self.now.marked.iter().rev() {
                match (address.wrapping_sub(access.address & BUS_MASK), access.size) {
                    (0, PortSize::Byte) => taints = [*taint; 2],
                    (0, PortSize::Word) => taints[0] = *taint,
                    (1, PortSize::Word) => taints[1] = *taint,
                    _ => {}
                }
            }
            self.last = taints;
        }
    }

    fn move_marks(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::None => {}
            Op::Move { .. } | Op::MoveAddress { .. } | Op::Constant { .. } => self.moves(op, taken),
            Op::Lea { .. } | Op::Pea { .. } | Op::Link { .. } | Op::Unlink { .. } => self.addresses(op, taken),
            Op::Alu { .. } | Op::AluAddress { .. } | Op::AluExtended { .. } | Op::CompareMemory { .. } => {
                self.computes(op, taken);
            }
            Op::Unary { unary, size, at } => self.unary(unary, size, at, taken),
            Op::Bit { .. } | Op::Shift { .. } | Op::Swap { .. } | Op::Extend { .. } | Op::Exchange { .. } => {
                self.rearranges(op, taken);
            }
            Op::Product { .. } | Op::Check { .. } => self.multiplies(op, taken),
            Op::Multiple { .. } | Op::Peripheral { .. } => self.many(op, taken),
            Op::Set { .. } | Op::ToStatus { .. } | Op::FromStatus { .. } | Op::ChangeStatus | Op::UserStack { .. } => {
                self.status(op, taken);
            }
            Op::Branch { .. } | Op::CountedBranch { .. } | Op::Jump { .. } | Op::Call | Op::Return { .. } => {
                self.flows(op, taken);
            }
            Op::TrapOnOverflow => {
                let taint = self.follow.flags;
                if !taint.clean() {
                    self.note(Event::Passed { exception: Exception::Trapv, at: self.now.at }, taint);
                }
            }
            Op::Reset => self.note(Event::Reset, Taint::CLEAN),
        }
    }

    /// An operand, its address reached.
    fn find(&mut self, loc: Loc, width: u32, taken: &mut Taken) -> Operand {
        let by = if let Loc::Memory(address) = loc { self.reach(address) } else { Taint::CLEAN };
        let mut operand = self.follow.operand(loc, width, &self.now.registers, taken);
        if !by.clean() {
            let mark = operand.marks().last().copied().unwrap_or(Mark::CLEAN);
            self.add_to(&mut operand.marks, width, by);
            if let Held::Memory(address) = operand.held {
                let event = Event::Lookup { at: self.now.at, address, width, value: Some(operand.value), mark };
                self.note(event, by);
            }
        }
        if let Loc::Memory(address) = loc {
            self.moved(address);
        }
        operand
    }

    fn add_to(&mut self, marks: &mut Marks, width: u32, by: Taint) {
        for mark in &mut marks[..width.min(4) as usize] {
            mark.taint = self.follow.join(mark.taint, by);
        }
    }

    /// What an address hangs on; the way of the run does too, for what lies at another one may do anything.
    fn reach(&mut self, address: Address) -> Taint {
        let taint = self.follow.address(address);
        if !taint.clean() {
            self.influenced(taint);
        }
        taint
    }

    /// A register that moves with an access: what its low byte hangs on, the higher ones may.
    fn moved(&mut self, address: Address) {
        if let Address { base: Some(base), moves: true, .. } = address {
            let marks = *self.follow.registers.address(base);
            if marks.iter().any(|mark| !mark.taint.clean()) {
                let marks = self.follow.carried(&marks, &CLEAN, Taint::CLEAN);
                self.follow.set_register(Register::Address(base), 4, &marks);
            } else {
                self.follow.set_register(Register::Address(base), 4, &CLEAN);
            }
        }
    }

    /// Puts a result where it belongs.
    fn store(&mut self, to: Loc, width: u32, marks: &Marks) {
        match to {
            Loc::Register(register) => self.follow.set_register(register, width, marks),
            Loc::Immediate(_) => {}
            Loc::Memory(address) => {
                let by = self.reach(address);
                if !by.clean()
                    && let Some(place) = self.lowest_write()
                {
                    let (at, mark) = (self.now.at, Mark::CLEAN);
                    self.note(Event::Lookup { at, address: place, width, value: None, mark }, by);
                }
                self.moved(address);
                self.write_result(address, width, marks);
            }
        }
    }

    /// Marks a result in memory. What the handler of an interrupt leaves there hangs on the interrupt; what it saves on
    /// the stack does not.
    fn write_result(&mut self, address: Address, width: u32, marks: &Marks) {
        match self.handlers.iter().rev().find_map(|(interrupt, _)| *interrupt) {
            Some(interrupt) if address.base != Some(7) => {
                let mut marks = *marks;
                self.add_to(&mut marks, width, interrupt);
                self.write_marks(width, &marks);
            }
            _ => self.write_marks(width, marks),
        }
    }

    /// Puts a result back where an operand was found.
    fn store_back(&mut self, to: Loc, width: u32, marks: &Marks) {
        match to {
            Loc::Memory(address) => self.write_result(address, width, marks),
            _ => self.follow.set_register_of(to, width, marks),
        }
    }

    /// The first address that the instruction wrote to.
    fn lowest_write(&self) -> Option<u32> {
        self.now.writes.iter().map(|access| access.address).min()
    }

    /// Marks what the instruction wrote.
    fn write_marks(&mut self, width: u32, marks: &Marks) {
        if let Some(base) = self.lowest_write() {
            self.mark_memory(base, width, marks);
        }
    }

    fn mark_memory(&mut self, base: u32, width: u32, marks: &Marks) {
        for index in 0..width.min(4) {
            self.mark_byte(base.wrapping_add(index), marks[(width - 1 - index) as usize]);
        }
    }

    fn mark_byte(&mut self, address: u32, mark: Mark) {
        let address = address & BUS_MASK;
        let covers = |access: &&Access| address.wrapping_sub(access.address) < access.size.bytes();
        let Some(place) = self.now.writes.iter().find(covers).map(|access| access.place) else { return };
        self.now.marked.push((address, mark.taint));
        self.ram.set(place, address, mark);
        if !mark.taint.clean()
            && let Some(port) = self.rig.map.port_at(address)
            && !matches!(place, Place::Ram(_))
        {
            let known = self.port_taints.iter().find(|(known, _)| *known == port).map(|(_, taint)| *taint);
            let taint = self.follow.join(known.unwrap_or(Taint::CLEAN), mark.taint);
            self.port_taints.retain(|(known, _)| *known != port);
            self.port_taints.push((port, taint));
        }
    }

    fn setter_of(&self, compares: Compares, found: Operand, with: Option<Operand>) -> Setter {
        Setter { at: self.now.at, serial: self.serial, compares, found, with }
    }

    /// The condition codes hang on these operands now.
    fn set_flags(&mut self, compares: Compares, found: Operand, with: Option<Operand>) {
        let one = self.follow.all(found.marks());
        let other = with.map_or(Taint::CLEAN, |with| self.follow.all(with.marks()));
        self.follow.flags = self.follow.join(one, other);
        self.follow.zero = self.follow.flags;
        self.setter = (!self.follow.flags.clean()).then(|| self.setter_of(compares, found, with));
    }

    /// The condition codes of a move or a logical operation: N is in the highest byte of the result, V and C are clear.
    fn set_logical(&mut self, compares: Compares, found: Operand, with: Option<Operand>, result: &Marks) {
        let width = found.width.clamp(1, 4) as usize;
        self.follow.zero = self.follow.all(&result[..width]);
        self.follow.flags = result[width - 1].taint;
        self.setter = (!self.follow.zero.clean()).then(|| self.setter_of(compares, found, with));
    }

    /// All condition codes come from the low byte of a word.
    fn set_codes(&mut self, found: Operand, low: Taint) {
        (self.follow.zero, self.follow.flags, self.follow.extend) = (low, low, low);
        self.setter = (!low.clean()).then(|| self.setter_of(Compares::Result, found, None));
    }
}
