//! Moves, addresses, and many registers at once.

use super::*;

impl Tracer {
    pub(super) fn moves(&mut self, op: Op, taken: &mut Taken) {
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
                let marks = self.follow.constant(size);
                self.store(to, size, &marks);
            }
            _ => {}
        }
    }

    pub(super) fn addresses(&mut self, op: Op, taken: &mut Taken) {
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

    pub(super) fn many(&mut self, op: Op, taken: &mut Taken) {
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
}
