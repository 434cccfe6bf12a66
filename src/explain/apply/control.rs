//! Branches, jumps, calls and returns, and instructions that set or take the status.

use super::*;

impl Tracer {
    pub(super) fn status(&mut self, op: Op, taken: &mut Taken) {
        match op {
            Op::Set { condition, to } => {
                let taint = self.follow.condition(condition);
                if self.timed {
                    self.influenced(taint);
                }
                self.keep_answer(condition, taint);
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
                self.keep_answer(0, taint);
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

    pub(super) fn flows(&mut self, op: Op, taken: &mut Taken) {
        let (at, to) = (self.now.at, self.now.next);
        match op {
            Op::Branch { condition } => {
                let taken = self.now.registers.sr.condition(condition);
                let taint = self.follow.condition(condition);
                self.decide(Turn { at, to, taken, counted: false, kept: false, condition }, taint);
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
            Op::Return { status, handler } => {
                self.reach(STACK);
                if status {
                    let found = self.find(Loc::Memory(STACK), 2, taken);
                    self.influenced(found.marks[1].taint);
                    self.set_codes(found, found.marks[0].taint);
                }
                if handler && let Some((_, Some(before))) = self.handlers.pop() {
                    // The codes are those of the interrupted program again.
                    self.setter = Some(before);
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
        let turn = Turn { at, to, taken, counted: true, kept: false, condition };
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

    /// An instruction keeps what a condition was; a branch may ask for it later.
    fn keep_answer(&mut self, condition: u8, taint: Taint) {
        if let Some(setter) = self.setter.filter(|_| !taint.clean()) {
            let (at, to) = (self.now.at, self.now.next);
            let taken = self.now.registers.sr.condition(condition);
            self.note_kept(
                Event::Decision { setter, turn: Turn { at, to, taken, counted: false, kept: true, condition } },
                taint,
            );
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
}
