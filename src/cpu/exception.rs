//! Exceptions of the 68000: names, vectors, and what one needs to be entered.
//!
//! Sources, from memory: vector numbers from the M68000 Family Programmer's Reference Manual (PRM), table B-1; what is
//! stacked from the MC68000 User's Manual (UM), section 6.

use serde::Serialize;

use super::FunctionCode;
use crate::board::AccessKind;

/// An exception, by the name that the manuals give it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Exception {
    /// Vector 2: nothing acknowledged an access.
    BusError,
    /// Vector 3: a word or long access at an odd address.
    AddressError,
    /// Vector 4.
    Illegal,
    /// Vector 5.
    ZeroDivide,
    /// Vector 6.
    Chk,
    /// Vector 7.
    Trapv,
    /// Vector 8.
    Privilege,
    /// Vector 9.
    Trace,
    /// Vector 10: an opcode 0xAxxx.
    LineA,
    /// Vector 11: an opcode 0xFxxx.
    LineF,
    /// An interrupt of this level, 1 to 7.
    Interrupt(u8),
    /// Vectors 32 to 47: TRAP #0 to #15.
    Trap(u8),
}

/// The access of a bus or address error, as its frame describes it (UM figure 6-7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The address, all 32 bits.
    pub address: u32,
    /// What was tried.
    pub kind: AccessKind,
    /// Its function code.
    pub code: FunctionCode,
    /// The instruction register: the opcode, or the next one if that was already taken from the queue.
    pub instruction: u16,
    /// Whether it happened while an exception of group 0 or 1 was being entered, and not in an instruction.
    pub between: bool,
}

impl Fault {
    /// The first word of the frame: the rest of the instruction register, the read flag, the flag that no instruction
    /// was running, the function code.
    pub(super) fn status_word(&self) -> u16 {
        let read = if self.kind == AccessKind::Write { 0 } else { 0x10 };
        let between = if self.between { 8 } else { 0 };
        self.instruction & 0xFFE0 | read | between | self.code as u16
    }
}

/// An exception that was raised and not yet entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raised {
    /// Which one.
    pub exception: Exception,
    /// The program counter that its frame holds.
    pub pc: u32,
    /// The access, for bus and address errors.
    pub fault: Option<Fault>,
}

impl Raised {
    pub(super) const NONE: Self = Self { exception: Exception::Illegal, pc: 0, fault: None };
}

impl Exception {
    /// The exception of a vector number, as far as an instruction can raise it.
    pub fn from_vector(vector: u8) -> Option<Self> {
        Some(match vector {
            2 => Exception::BusError,
            3 => Exception::AddressError,
            4 => Exception::Illegal,
            5 => Exception::ZeroDivide,
            6 => Exception::Chk,
            7 => Exception::Trapv,
            8 => Exception::Privilege,
            9 => Exception::Trace,
            10 => Exception::LineA,
            11 => Exception::LineF,
            32..=47 => Exception::Trap(vector - 32),
            _ => return None,
        })
    }

    /// Its vector number; that of an interrupt is the autovector, unless the device gives another.
    pub fn vector(self) -> u8 {
        match self {
            Exception::BusError => 2,
            Exception::AddressError => 3,
            Exception::Illegal => 4,
            Exception::ZeroDivide => 5,
            Exception::Chk => 6,
            Exception::Trapv => 7,
            Exception::Privilege => 8,
            Exception::Trace => 9,
            Exception::LineA => 10,
            Exception::LineF => 11,
            Exception::Interrupt(level) => 24 + level,
            Exception::Trap(number) => 32 + number,
        }
    }

    /// Its name, as a sentence has it.
    pub fn name(self) -> String {
        match self {
            Exception::BusError => "bus error".to_owned(),
            Exception::AddressError => "address error".to_owned(),
            Exception::Illegal => "illegal instruction".to_owned(),
            Exception::ZeroDivide => "zero divide".to_owned(),
            Exception::Chk => "CHK out of bounds".to_owned(),
            Exception::Trapv => "TRAPV on overflow".to_owned(),
            Exception::Privilege => "privilege violation".to_owned(),
            Exception::Trace => "trace".to_owned(),
            Exception::LineA => "line A opcode".to_owned(),
            Exception::LineF => "line F opcode".to_owned(),
            Exception::Interrupt(level) => format!("level {level} interrupt"),
            Exception::Trap(number) => format!("TRAP #{number}"),
        }
    }

    /// Whether the program asked for it (TRAP, TRAPV, CHK): its handler runs unless the harness says otherwise.
    pub fn asked_for(self) -> bool {
        matches!(self, Exception::Trap(_) | Exception::Trapv | Exception::Chk)
    }

    /// Whether it belongs to group 0 or 1, for which no instruction is being executed (UM 6.2.3). Group 2 is TRAP,
    /// TRAPV, CHK and zero divide.
    pub(super) fn between_instructions(self) -> bool {
        !self.completes()
    }

    /// Whether the instruction that raises it has run to its end, so that a trace still follows (UM 6.3.8).
    pub(super) fn completes(self) -> bool {
        self.asked_for() || self == Exception::ZeroDivide
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// PRM table B-1, from memory: the vector numbers and what they are for.
    #[test]
    fn vectors_are_those_of_the_manual() {
        let table = [
            (2, "bus error"),
            (3, "address error"),
            (4, "illegal instruction"),
            (5, "zero divide"),
            (6, "CHK out of bounds"),
            (7, "TRAPV on overflow"),
            (8, "privilege violation"),
            (9, "trace"),
            (10, "line A opcode"),
            (11, "line F opcode"),
            (32, "TRAP #0"),
            (47, "TRAP #15"),
        ];
        for (vector, name) in table {
            let exception = Exception::from_vector(vector).unwrap();
            assert_eq!((exception.vector(), exception.name().as_str()), (vector, name));
        }
        for vector in (0..2).chain(12..32).chain(48..=255) {
            assert_eq!(Exception::from_vector(vector), None);
        }
    }

    /// UM figure 6-7, from memory: bits 15-5 of the instruction register, read, not an instruction, function code. The
    /// groups are those of UM 6.2.3.
    #[test]
    fn the_status_word_says_what_was_tried() {
        let read = Fault {
            address: 1,
            kind: AccessKind::Read,
            code: FunctionCode::SupervisorData,
            instruction: 0x4AFC,
            between: false,
        };
        assert_eq!(read.status_word(), 0x4AF5);
        let write = Fault { kind: AccessKind::Write, between: true, ..read };
        assert_eq!(write.status_word(), 0x4AED);
        for (exception, between) in [
            (Exception::Illegal, true),
            (Exception::Trace, true),
            (Exception::Interrupt(3), true),
            (Exception::BusError, true),
            (Exception::Trap(1), false),
            (Exception::Chk, false),
            (Exception::ZeroDivide, false),
        ] {
            assert_eq!(exception.between_instructions(), between, "{exception:?}");
        }
    }
}
