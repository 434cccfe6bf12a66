//! Moves marks as instructions move data.
//!
//! A byte of a result hangs on whatever could change it. Bits are not told apart: an AND with a constant clears a byte
//! or leaves its mark alone. Where an instruction mixes everything (a product, a quotient), so do the marks.

use super::event::{Held, Operand};
use super::op::{Address, Alu, Loc, Register, Shift};
use super::shadow::{CLEAN, Mark, Marks, ShadowRegisters};
use super::sources::{Sources, Taint};
use m68000::Registers;

/// A byte that the instruction has read.
#[derive(Clone, Copy, Debug)]
pub(super) struct ReadByte {
    pub address: u32,
    pub value: u8,
    pub mark: Mark,
}

/// The marks of the processor, and the sets that they name.
#[derive(Clone, Debug, Default)]
pub(super) struct Follow {
    pub sources: Sources,
    pub registers: ShadowRegisters,
    /// What Z hangs on.
    pub zero: Taint,
    /// What N, V and C hang on.
    pub flags: Taint,
    /// What X hangs on.
    pub extend: Taint,
    /// What the instruction itself hangs on: code may come from outside too.
    pub code: Taint,
}

/// The bytes that an instruction has read, taken in order.
pub(super) struct Taken<'a> {
    pub bytes: &'a [ReadByte],
}

impl Taken<'_> {
    /// The next operand of this width; what was not read (the instruction was cut short) is clean.
    fn next(&mut self, width: u32) -> Operand {
        let (head, rest) = self.bytes.split_at(self.bytes.len().min(width as usize));
        self.bytes = rest;
        let mut operand = Operand::constant(0, width);
        let Some(first) = head.first() else { return operand };
        operand.held = Held::Memory(first.address);
        for (index, byte) in head.iter().rev().enumerate().take(4) {
            operand.marks[index] = byte.mark;
        }
        operand.value = head.iter().fold(0, |value, byte| value << 8 | u32::from(byte.value));
        operand
    }
}

fn mask(width: u32) -> u32 {
    u32::MAX >> (32 - 8 * width.clamp(1, 4))
}

impl Follow {
    /// Starts a run: nothing hangs on anything.
    pub fn clear(&mut self) {
        self.sources.clear();
        self.registers = ShadowRegisters::default();
        self.zero = Taint::CLEAN;
        self.flags = Taint::CLEAN;
        self.extend = Taint::CLEAN;
        self.code = Taint::CLEAN;
    }

    pub fn join(&mut self, left: Taint, right: Taint) -> Taint {
        self.sources.join(left, right)
    }

    /// What all these bytes together hang on.
    pub fn all(&mut self, marks: &[Mark]) -> Taint {
        marks.iter().fold(Taint::CLEAN, |taint, mark| self.sources.join(taint, mark.taint))
    }

    /// What a condition hangs on (PRM table 3-19: EQ and NE ask Z alone, HI, LS, GT and LE ask it too).
    pub fn condition(&mut self, condition: u8) -> Taint {
        match condition {
            0 | 1 => Taint::CLEAN,
            6 | 7 => self.zero,
            2 | 3 | 14 | 15 => self.join(self.zero, self.flags),
            _ => self.flags,
        }
    }

    /// What all condition codes hang on.
    pub fn codes(&mut self) -> Taint {
        let codes = self.join(self.zero, self.flags);
        self.join(codes, self.extend)
    }

    /// What any register hangs on.
    pub fn everything(&mut self) -> Taint {
        let marks = self.registers.all();
        marks.into_iter().fold(Taint::CLEAN, |taint, mark| self.join(taint, mark.taint))
    }

    fn register(&self, register: Register) -> &Marks {
        match register {
            Register::Data(number) => self.registers.data(number),
            Register::Address(number) => self.registers.address(number),
        }
    }

    /// What an address hangs on.
    pub fn address(&mut self, address: Address) -> Taint {
        let mut taint = Taint::CLEAN;
        if let Some(base) = address.base {
            let marks = *self.registers.address(base);
            taint = self.all(&marks);
        }
        if let Some(index) = address.index {
            let marks = *self.register(index.register);
            let index = self.all(&marks[..if index.long { 4 } else { 2 }]);
            taint = self.join(taint, index);
        }
        taint
    }

    /// An operand as the instruction finds it.
    pub fn operand(&self, loc: Loc, width: u32, registers: &Registers, taken: &mut Taken) -> Operand {
        match loc {
            Loc::Memory(_) => taken.next(width),
            Loc::Immediate(value) => {
                let mut operand = Operand::constant(value & mask(width), width);
                operand.marks = self.constant(width);
                operand
            }
            Loc::Register(register) => {
                let value = match register {
                    Register::Data(number) => registers.d[usize::from(number & 7)].0,
                    Register::Address(number) => registers.a(number),
                };
                let mut marks = *self.register(register);
                marks[width.min(4) as usize..].fill(Mark::CLEAN);
                Operand { value: value & mask(width), width, marks, held: Held::Register(register) }
            }
        }
    }

    /// The marks of a constant in the instruction.
    pub fn constant(&self, width: u32) -> Marks {
        let mut marks = CLEAN;
        marks[..width.min(4) as usize].fill(Mark::computed(self.code));
        marks
    }

    /// Marks the low bytes of a register.
    pub fn set_register(&mut self, register: Register, width: u32, marks: &Marks) {
        let all = match register {
            Register::Data(number) => self.registers.data_mut(number),
            Register::Address(number) => self.registers.address_mut(number),
        };
        let width = width.min(4) as usize;
        all[..width].copy_from_slice(&marks[..width]);
    }

    /// The same for a place that is known to be a register.
    pub fn set_register_of(&mut self, loc: Loc, width: u32, marks: &Marks) {
        if let Loc::Register(register) = loc {
            self.set_register(register, width, marks);
        }
    }

    /// A value widened with its sign.
    pub fn widened(&self, marks: &Marks, width: u32) -> Marks {
        let mut wide = *marks;
        let sign = Mark::computed(marks[width.clamp(1, 4) as usize - 1].taint);
        wide[width.min(4) as usize..].fill(sign);
        wide
    }

    /// A sum or difference: what a byte hangs on, the higher ones may hang on too.
    pub fn carried(&mut self, one: &Marks, other: &Marks, into: Taint) -> Marks {
        let mut carry = into;
        std::array::from_fn(|index| {
            let both = self.join(one[index].taint, other[index].taint);
            carry = self.join(carry, both);
            Mark::computed(carry)
        })
    }

    /// Every byte hangs on everything.
    pub fn mixed(&mut self, taint: Taint, width: u32) -> Marks {
        let mut marks = CLEAN;
        marks[..width.min(4) as usize].fill(Mark::computed(taint));
        marks
    }

    /// The result of two operands.
    pub fn combined(&mut self, alu: Alu, from: &Operand, to: &Operand) -> Marks {
        match alu {
            Alu::Add | Alu::Sub => self.carried(&from.marks, &to.marks, Taint::CLEAN),
            Alu::Cmp => to.marks,
            Alu::And | Alu::Or | Alu::Eor => std::array::from_fn(|index| {
                let (one, other) = (from.marks[index], to.marks[index]);
                let bytes = [from.value, to.value].map(|value| (value >> (8 * index)) as u8);
                self.logical(alu, [one, other], bytes)
            }),
        }
    }

    /// One byte of AND, OR or EOR. A constant may fix the result, or leave the other byte as it is.
    fn logical(&mut self, alu: Alu, marks: [Mark; 2], bytes: [u8; 2]) -> Mark {
        let (fixes, keeps) = match alu {
            Alu::And => (Some(0), 0xFF),
            Alu::Or => (Some(0xFF), 0),
            _ => (None, 0),
        };
        for (constant, other) in [(0, 1), (1, 0)] {
            if !marks[constant].taint.clean() {
                continue;
            }
            if Some(bytes[constant]) == fixes {
                return Mark::CLEAN;
            }
            if bytes[constant] == keeps {
                return marks[other];
            }
        }
        Mark::computed(self.join(marks[0].taint, marks[1].taint))
    }

    /// A shifted or rotated value, by a constant number of bits.
    pub fn shifted(&mut self, shift: Shift, left: bool, count: u32, value: &Operand) -> Marks {
        let width = value.width.clamp(1, 4);
        let bits = 8 * width;
        if shift == Shift::ThroughExtend {
            let all = self.all(value.marks());
            let all = self.join(all, self.extend);
            return self.mixed(all, width);
        }
        let mut marks = CLEAN;
        for index in 0..width {
            let mut taint = Taint::CLEAN;
            let mut copied = None;
            for bit in [8 * index, 8 * index + 7] {
                let from = source_bit(shift, left, count, bit, bits);
                if let Some(from) = from {
                    let mark = value.marks[(from / 8) as usize];
                    taint = self.join(taint, mark.taint);
                    copied = (count.is_multiple_of(8) && shift != Shift::Arithmetic).then_some(mark);
                }
            }
            marks[index as usize] = copied.unwrap_or(Mark::computed(taint));
        }
        marks
    }
}

/// The bit that comes to stand at `bit`; `None` for a zero that comes in.
fn source_bit(shift: Shift, left: bool, count: u32, bit: u32, bits: u32) -> Option<u32> {
    match (shift, left) {
        (Shift::Rotate, true) => Some((bit + bits - count % bits) % bits),
        (Shift::Rotate, false) => Some((bit + count) % bits),
        (_, true) => bit.checked_sub(count),
        (Shift::Arithmetic, false) => Some((bit + count).min(bits - 1)),
        (_, false) => (bit + count < bits).then_some(bit + count),
    }
}
