//! Bits, shifts, and the bytes of a register rearranged.

use super::*;

impl Tracer {
    pub(super) fn rearranges(&mut self, op: Op, taken: &mut Taken) {
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
        let count = self.find(count, 1, taken);
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
        let number = self.find(number, 1, taken);
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
}
