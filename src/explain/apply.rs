//! What each instruction does to the marks, once it has run.

use super::event::{Compares, Event, Held, Operand, Setter, Turn};
use super::follow::Taken;
use super::op::{Address, Alu, Loc, Op, Register, Shift, Unary};
use super::shadow::{CLEAN, Mark, Marks};
use super::sources::Taint;
use super::tracer::Tracer;
use crate::board::{Access, BUS_MASK, Place};
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
            Op::TrapOnOverflow => self.influenced(self.follow.flags),
            Op::Reset => self.note(Event::Reset, Taint::CLEAN),
        }
    }

    fn moves(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Move { size, from, to } => {
                let found = self.find(from, size, taken);
                self.set_logical(Compares::Zero, found, None, &found.marks);
                self.store(to, size, &found.marks);
            }
            Op::MoveAddress { size, from, to } => {
                let found = self.find(from, size, taken);
                let wide = self.follow.widened(&found.marks, size);
                self.follow.set_register(Register::Address(to), 4, &wide);
            }
            Op::Constant { size, to } => {
                self.set_flags(Compares::Zero, Operand::constant(0, size), None);
                self.store(to, size, &CLEAN);
            }
            _ => {}
        }
    }

    fn addresses(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Lea { from, to } => {
                let marks = self.address_marks(from);
                self.follow.set_register(Register::Address(to), 4, &marks);
            }
            Op::Pea { from } => {
                let marks = self.address_marks(from);
                self.reach(STACK);
                self.write_marks(4, &marks);
            }
            Op::Link { register } => {
                let marks = *self.follow.registers.address(register);
                self.reach(STACK);
                self.write_marks(4, &marks);
                let stack = *self.follow.registers.address(7);
                self.follow.set_register(Register::Address(register), 4, &stack);
            }
            Op::Unlink { register } => {
                let stack = *self.follow.registers.address(register);
                let found = self.find(Loc::Memory(Address { base: Some(register), ..STACK }), 4, taken);
                self.follow.set_register(Register::Address(7), 4, &stack);
                self.follow.set_register(Register::Address(register), 4, &found.marks);
            }
            _ => {}
        }
    }

    /// The marks of an address that is computed and not used.
    fn address_marks(&mut self, from: Address) -> Marks {
        match from {
            Address { base: Some(base), index: None, .. } => {
                let base = *self.follow.registers.address(base);
                self.follow.carried(&base, &CLEAN, Taint::CLEAN)
            }
            from => {
                let taint = self.follow.address(from);
                self.follow.mixed(taint, 4)
            }
        }
    }

    fn computes(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Alu { alu, size, from, to } => self.alu(alu, size, from, to, taken),
            Op::AluAddress { alu, size, from, to } => {
                let mut source = self.find(from, size, taken);
                source.marks = self.follow.widened(&source.marks, size);
                let target = self.find(Loc::Register(Register::Address(to)), 4, taken);
                if alu == Alu::Cmp {
                    source.width = 4;
                    source.value = if size == 2 { source.value as i16 as u32 } else { source.value };
                    self.set_flags(Compares::Two, target, Some(source));
                    return;
                }
                let nothing = alu == Alu::Sub && size == 4 && from == Loc::Register(Register::Address(to));
                let marks = if nothing { CLEAN } else { self.follow.combined(alu, &source, &target) };
                self.follow.set_register(Register::Address(to), 4, &marks);
            }
            Op::AluExtended { size, from, to } => {
                let source = self.find(from, size, taken);
                let target = self.find(to, size, taken);
                let extend = self.follow.extend;
                // A long is read low word first, so its bytes are not told apart.
                let both = [self.follow.all(source.marks()), self.follow.all(target.marks())];
                let all = self.follow.join(both[0], both[1]);
                let all = self.follow.join(all, extend);
                let marks = self.follow.mixed(all, size);
                // Z only ever goes from set to clear.
                let zero = self.follow.join(self.follow.zero, all);
                self.set_flags(Compares::Result, target, Some(source));
                (self.follow.zero, self.follow.flags, self.follow.extend) = (zero, all, all);
                self.store_back(to, size, &marks);
            }
            Op::CompareMemory { size, from, to } => {
                let source = self.find(Loc::Memory(from), size, taken);
                let target = self.find(Loc::Memory(to), size, taken);
                self.set_flags(Compares::Two, target, Some(source));
            }
            _ => {}
        }
    }

    fn alu(&mut self, alu: Alu, size: u32, from: Loc, to: Loc, taken: &mut Taken) {
        let source = self.find(from, size, taken);
        let target = self.find(to, size, taken);
        if from == to && matches!(from, Loc::Register(_)) && matches!(alu, Alu::Sub | Alu::Eor | Alu::Cmp) {
            // The result is zero, whatever the register held.
            self.set_flags(Compares::Result, Operand::constant(0, size), None);
            if alu != Alu::Cmp {
                self.follow.set_register_of(to, size, &CLEAN);
            }
            if alu == Alu::Sub {
                self.follow.extend = Taint::CLEAN;
            }
            return;
        }
        let marks = self.follow.combined(alu, &source, &target);
        match alu {
            Alu::Cmp => return self.set_flags(Compares::Two, target, Some(source)),
            Alu::Add | Alu::Sub => {
                self.set_flags(Compares::Result, target, Some(source));
                self.follow.extend = self.follow.flags;
            }
            Alu::And if source.clean() => self.set_logical(Compares::Bits(source.value), target, None, &marks),
            Alu::And if target.clean() => self.set_logical(Compares::Bits(target.value), source, None, &marks),
            _ => self.set_logical(Compares::Result, target, Some(source), &marks),
        }
        self.store_back(to, size, &marks);
    }

    fn unary(&mut self, unary: Unary, size: u32, at: Loc, taken: &mut Taken) {
        let found = self.find(at, size, taken);
        let marks = match unary {
            Unary::Test => return self.set_logical(Compares::Zero, found, None, &found.marks),
            Unary::TestAndSet => {
                self.set_logical(Compares::Zero, found, None, &found.marks);
                found.marks.map(|mark| Mark::computed(mark.taint))
            }
            Unary::Not => {
                let marks = found.marks.map(|mark| Mark::computed(mark.taint));
                self.set_logical(Compares::Result, found, None, &marks);
                marks
            }
            Unary::Neg => {
                self.set_flags(Compares::Result, found, None);
                self.follow.extend = self.follow.flags;
                self.follow.carried(&found.marks, &CLEAN, Taint::CLEAN)
            }
            Unary::Extended => {
                let (zero, extend) = (self.follow.zero, self.follow.extend);
                self.set_flags(Compares::Result, found, None);
                let all = self.follow.join(self.follow.flags, extend);
                (self.follow.zero, self.follow.flags, self.follow.extend) = (self.follow.join(zero, all), all, all);
                self.follow.carried(&found.marks, &CLEAN, extend)
            }
        };
        self.store_back(at, size, &marks);
    }

    fn rearranges(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Bit { tests_only, size, number, at } => self.bit(tests_only, size, number, at, taken),
            Op::Shift { shift, left, size, count, at } => self.shift(shift, left, size, [count, at], taken),
            Op::Swap { register } => {
                let [a, b, c, d] = *self.follow.registers.data(register);
                let found = self.find(Loc::Register(Register::Data(register)), 4, taken);
                self.set_logical(Compares::Result, found, None, &[c, d, a, b]);
                self.follow.set_register(Register::Data(register), 4, &[c, d, a, b]);
            }
            Op::Extend { size, register } => {
                let found = self.find(Loc::Register(Register::Data(register)), size / 2, taken);
                let wide = self.follow.widened(&found.marks, size / 2);
                self.set_logical(Compares::Zero, found, None, &found.marks);
                self.follow.set_register(Register::Data(register), size, &wide);
            }
            Op::Exchange { left, right } => {
                let one = self.find(Loc::Register(left), 4, taken).marks;
                let other = self.find(Loc::Register(right), 4, taken).marks;
                self.follow.set_register(left, 4, &other);
                self.follow.set_register(right, 4, &one);
            }
            _ => {}
        }
    }

    fn shift(&mut self, shift: Shift, left: bool, size: u32, [count, at]: [Loc; 2], taken: &mut Taken) {
        let count = self.find(count, 4, taken);
        let found = self.find(at, size, taken);
        let (by, extend) = (self.follow.all(count.marks()), self.follow.extend);
        if self.timed {
            self.influenced(by);
        }
        let bits = count.value & 63;
        let marks = if by.clean() {
            self.follow.shifted(shift, left, bits, &found)
        } else {
            let all = self.follow.all(found.marks());
            let all = self.follow.join(all, by);
            let all = if shift == Shift::ThroughExtend { self.follow.join(all, extend) } else { all };
            self.follow.mixed(all, size)
        };
        self.set_flags(Compares::Result, found, None);
        let mut flags = self.follow.join(self.follow.flags, by);
        // A count of zero leaves X alone, and ROXL and ROXR take it in.
        if shift == Shift::ThroughExtend || !by.clean() || bits == 0 {
            flags = self.follow.join(flags, extend);
        }
        let result = self.follow.all(&marks);
        (self.follow.zero, self.follow.flags) = (self.follow.join(result, by), flags);
        if shift != Shift::Rotate {
            self.follow.extend = flags;
        }
        if self.setter.is_none() {
            self.setter = Some(self.setter_of(Compares::Result, count, None));
        }
        self.store_back(at, size, &marks);
    }

    /// Only Z changes; the other flags hang on what they did before.
    fn bit(&mut self, tests_only: bool, size: u32, number: Loc, at: Loc, taken: &mut Taken) {
        let number = self.find(number, 4, taken);
        let by = self.follow.all(number.marks());
        let found = self.find(at, size, taken);
        let bit = number.value % (8 * size);
        let byte = (bit / 8) as usize;
        let tested = if by.clean() { found.marks[byte].taint } else { self.follow.all(found.marks()) };
        let tested = self.follow.join(tested, by);
        if self.timed {
            self.influenced(by);
        }
        self.follow.zero = tested;
        let told = if found.clean() { number } else { found };
        self.setter = (!tested.clean()).then(|| self.setter_of(Compares::Bits(1 << bit), told, None));
        if tests_only {
            return;
        }
        let mut marks = found.marks;
        if by.clean() {
            marks[byte] = Mark::computed(marks[byte].taint);
        } else {
            marks = self.follow.mixed(tested, size);
        }
        self.store_back(at, size, &marks);
    }

    fn multiplies(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Product { divides, from, to } => {
                let source = self.find(from, 2, taken);
                let target = self.find(Loc::Register(Register::Data(to)), if divides { 4 } else { 2 }, taken);
                let one = self.follow.all(source.marks());
                let other = self.follow.all(target.marks());
                let all = self.follow.join(one, other);
                if self.timed {
                    self.influenced(all);
                }
                if divides {
                    // A divisor of zero is an exception.
                    self.influenced(one);
                }
                let marks = self.follow.mixed(all, 4);
                self.set_flags(Compares::Result, target, Some(source));
                self.follow.set_register(Register::Data(to), 4, &marks);
            }
            Op::Check { bound, register } => {
                let bound = self.find(bound, 2, taken);
                let value = self.find(Loc::Register(Register::Data(register)), 2, taken);
                let (one, other) = (self.follow.all(bound.marks()), self.follow.all(value.marks()));
                self.influenced(one);
                self.influenced(other);
                self.set_flags(Compares::Two, value, Some(bound));
            }
            _ => {}
        }
    }

    fn many(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Multiple { loads, size, list, at } => {
                let by = self.reach(at);
                let registers = (0..16u8).filter(|number| list >> number & 1 == 1);
                let base = self.lowest_write();
                let numbered = |number: u8| match number {
                    0..8 => Register::Data(number),
                    _ => Register::Address(number - 8),
                };
                let (before, mut place) = (self.follow.registers.clone(), base);
                for register in registers.map(numbered) {
                    if loads {
                        let mut found = self.find(Loc::Memory(Address::default()), size, taken);
                        self.add_to(&mut found.marks, size, by);
                        let wide = self.follow.widened(&found.marks, size);
                        self.follow.set_register(register, 4, &wide);
                    } else if let Some(address) = place {
                        let marks = match register {
                            Register::Data(number) => *before.data(number),
                            Register::Address(number) => *before.address(number),
                        };
                        self.mark_memory(address, size, &marks);
                        place = Some(address.wrapping_add(size));
                    }
                }
                self.moved(at);
            }
            Op::Peripheral { loads: true, size, register, at } => {
                self.reach(at);
                let found = self.find(Loc::Memory(Address::default()), size, taken);
                self.follow.set_register(Register::Data(register), size, &found.marks);
            }
            Op::Peripheral { size, register, at, .. } => {
                self.reach(at);
                let marks = *self.follow.registers.data(register);
                if let Some(base) = self.lowest_write() {
                    for index in 0..size.min(4) {
                        let mark = marks[(size - 1 - index) as usize];
                        self.mark_byte(base.wrapping_add(2 * index), mark);
                    }
                }
            }
            _ => {}
        }
    }

    fn status(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Set { condition, to } => {
                let taint = self.follow.condition(condition);
                if self.timed {
                    self.influenced(taint);
                }
                let marks = self.follow.mixed(taint, 1);
                self.store(to, 1, &marks);
            }
            Op::ToStatus { size, from } => {
                let found = self.find(from, 2, taken);
                let low = found.marks[0].taint;
                if size == 2 {
                    // Trace, supervisor state and the mask: what follows hangs on them.
                    self.influenced(found.marks[1].taint);
                }
                self.set_codes(found, low);
            }
            Op::FromStatus { to } => {
                let taint = self.follow.codes();
                let marks = self.follow.mixed(taint, 1);
                self.store(to, 2, &marks);
            }
            // A constant sets or clears some flags: at worst they hang on what they did.
            Op::ChangeStatus => {}
            Op::UserStack { loads, register } => {
                if loads {
                    let marks = *self.follow.registers.user_stack();
                    self.follow.set_register(Register::Address(register), 4, &marks);
                } else {
                    let marks = *self.follow.registers.address(register);
                    *self.follow.registers.user_stack() = marks;
                }
            }
            _ => {}
        }
    }

    fn flows(&mut self, op: Op, taken: &mut Taken) {
        let (at, to) = (self.now.at, self.now.next);
        match op {
            Op::Branch { condition } => {
                let taken = self.now.registers.sr.condition(condition);
                let taint = self.follow.condition(condition);
                self.decide(Turn { at, to, taken, condition }, taint);
            }
            Op::CountedBranch { condition, register } => self.count_down(condition, register),
            Op::Jump { to: place, calls } => {
                let taint = self.follow.address(place);
                if calls {
                    self.reach(STACK);
                    self.write_marks(4, &CLEAN);
                }
                if !taint.clean() {
                    self.note(Event::Jump { at, to }, taint);
                }
            }
            Op::Call => {
                self.reach(STACK);
                self.write_marks(4, &CLEAN);
            }
            Op::Return { status } => {
                self.reach(STACK);
                if status {
                    let found = self.find(Loc::Memory(STACK), 2, taken);
                    self.influenced(found.marks[1].taint);
                    self.set_codes(found, found.marks[0].taint);
                }
                let target = self.find(Loc::Memory(STACK), 4, taken);
                let taint = self.follow.all(target.marks());
                if !taint.clean() {
                    self.note(Event::Jump { at, to }, taint);
                }
            }
            _ => {}
        }
    }

    fn count_down(&mut self, condition: u8, register: u8) {
        let (at, to) = (self.now.at, self.now.next);
        let met = self.now.registers.sr.condition(condition);
        let count = self.follow.operand(
            Loc::Register(Register::Data(register)),
            2,
            &self.now.registers,
            &mut Taken { bytes: &[] },
        );
        let taken = !met && count.value != 0;
        let flags = self.follow.condition(condition);
        let turn = Turn { at, to, taken, condition };
        if count.clean() {
            self.decide(turn, flags);
        } else if !met {
            let by = self.follow.all(count.marks());
            let by = self.follow.join(by, flags);
            let setter = self.setter_of(Compares::Zero, count, None);
            self.note(Event::Decision { setter, turn }, by);
            let marks = self.follow.carried(&count.marks, &CLEAN, Taint::CLEAN);
            self.follow.set_register(Register::Data(register), 2, &marks);
        } else {
            self.decide(turn, flags);
        }
    }

    /// A conditional branch went its way.
    fn decide(&mut self, turn: Turn, taint: Taint) {
        if taint.clean() {
            return;
        }
        let unknown = || self.setter_of(Compares::Result, Operand::constant(0, 1), None);
        let setter = self.setter.unwrap_or_else(unknown);
        self.note(Event::Decision { setter, turn }, taint);
    }

    /// An operand, its address reached.
    fn find(&mut self, loc: Loc, width: u32, taken: &mut Taken) -> Operand {
        let by = if let Loc::Memory(address) = loc { self.reach(address) } else { Taint::CLEAN };
        let mut operand = self.follow.operand(loc, width, &self.now.registers, taken);
        if !by.clean() {
            self.add_to(&mut operand.marks, width, by);
            if let Held::Memory(address) = operand.held {
                let event = Event::Lookup { at: self.now.at, address, value: Some(operand.value) };
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
                    self.note(Event::Lookup { at: self.now.at, address: place, value: None }, by);
                }
                self.moved(address);
                self.write_marks(width, marks);
            }
        }
    }

    /// Puts a result back where an operand was found.
    fn store_back(&mut self, to: Loc, width: u32, marks: &Marks) {
        match to {
            Loc::Memory(_) => self.write_marks(width, marks),
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
        self.last[(address & 1) as usize] = mark.taint;
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

    /// A handler was entered: the frame holds the flags and the address to go back to.
    pub(super) fn enter(&mut self, exception: Exception, from: u32, to: u32) {
        // The vector was read last; it may lie in RAM.
        let vector = self.now.reads.len().saturating_sub(4);
        let target = self.now.reads.split_off(vector);
        let target = target.iter().fold(Taint::CLEAN, |taint, byte| self.follow.join(taint, byte.mark.taint));
        self.influenced(target);
        // The chip pushes the low half of the address, the status, the high half, and of a bus or address error more.
        let frame = if matches!(exception, Exception::BusError | Exception::AddressError) { 7 } else { 3 };
        let frame = self.now.writes.split_off(self.now.writes.len().saturating_sub(frame));
        let by = self.raised_by(exception);
        let flags = self.follow.codes();
        for (index, access) in frame.iter().enumerate() {
            let low = if index == 1 { Mark::computed(flags) } else { Mark::CLEAN };
            self.ram.set(access.place, access.address, Mark::CLEAN);
            self.ram.set(access.place, access.address.wrapping_add(1), low);
        }
        self.note(Event::Exception { exception, from, to }, by);
    }

    /// What an exception hangs on that the instruction itself raises. One that did not run to its end is not followed
    /// any further: whatever it may have changed by then hangs on all that it could reach.
    pub(super) fn raised_by(&mut self, exception: Exception) -> Taint {
        let Some(op) = self.now.op else { return Taint::CLEAN };
        let bytes = std::mem::take(&mut self.now.reads);
        let read = bytes.iter().fold(Taint::CLEAN, |taint, byte| self.follow.join(taint, byte.mark.taint));
        self.now.reads = bytes;
        let taint = match (exception, op) {
            (Exception::Interrupt(_) | Exception::Trace | Exception::Trap(_), _) => return Taint::CLEAN,
            (Exception::Trapv, _) => return self.follow.flags,
            (Exception::ZeroDivide | Exception::Chk, _) => self.of_registers(op),
            _ => self.address_of(op),
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
    pub(super) fn address_of(&mut self, op: Op) -> Taint {
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
