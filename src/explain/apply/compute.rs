//! Arithmetic and logic.

use super::*;

impl Tracer {
    pub(super) fn computes(&mut self, op: Op, taken: &mut Taken) {
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

    pub(super) fn unary(&mut self, unary: Unary, size: u32, at: Loc, taken: &mut Taken) {
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

    pub(super) fn multiplies(&mut self, op: Op, taken: &mut Taken) {
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
                if divides && !one.clean() {
                    self.note(Event::Passed { exception: Exception::ZeroDivide, at: self.now.at }, one);
                }
                let marks = self.follow.mixed(all, 4);
                self.set_flags(Compares::Result, target, Some(source));
                self.follow.set_register(Register::Data(to), 4, &marks);
            }
            Op::Check { bound, register } => {
                let bound = self.find(bound, 2, taken);
                let value = self.find(Loc::Register(Register::Data(register)), 2, taken);
                let (one, other) = (self.follow.all(bound.marks()), self.follow.all(value.marks()));
                let both = self.follow.join(one, other);
                if !both.clean() {
                    self.note(Event::Passed { exception: Exception::Chk, at: self.now.at }, both);
                }
                self.set_flags(Compares::Two, value, Some(bound));
            }
            _ => {}
        }
    }
}
