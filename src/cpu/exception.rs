//! Exceptions of the 68000: names, vectors, times, and the entry into a handler.
//!
//! Sources, from memory: vector numbers from the M68000 Family Programmer's Reference Manual (PRM), table B-1; frames
//! and times from the MC68000 User's Manual (UM), section 6 and table 8-14.

use m68000::{MemoryAccess, Registers};
use serde::Serialize;

use super::Cpu;
use crate::board::{AccessKind, BusError};

/// An exception, by the name that the manuals give it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
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
    /// Vectors 32 to 47: TRAP #0 to #15.
    Trap(u8),
}

/// A fault while a fault was being stacked: the processor halts (UM 6.3.9).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DoubleFault;

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

    /// Its vector number.
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
            Exception::Trap(number) => format!("TRAP #{number}"),
        }
    }

    /// Clock periods of the exception processing (UM table 8-14), effective address times not included.
    pub fn cycles(self) -> u64 {
        match self {
            Exception::BusError | Exception::AddressError => 50,
            Exception::Chk => 40,
            Exception::ZeroDivide => 38,
            _ => 34,
        }
    }

    /// Whether the program asked for it (TRAP, TRAPV, CHK): its handler runs unless the harness says otherwise.
    pub fn asked_for(self) -> bool {
        matches!(self, Exception::Trap(_) | Exception::Trapv | Exception::Chk)
    }

    /// Whether the frame holds the address of the instruction itself and not of the next one (UM 6.3.6, 6.3.7).
    fn stacks_own_address(self) -> bool {
        matches!(self, Exception::Illegal | Exception::Privilege | Exception::LineA | Exception::LineF)
    }
}

impl Cpu {
    /// Enters the handler of an exception that the instruction at `at` raised: stacks the frame, loads the vector.
    ///
    /// # Errors
    /// [`DoubleFault`] if the supervisor stack or the vector cannot be accessed.
    pub fn enter<M: MemoryAccess>(
        &mut self,
        memory: &mut M,
        exception: Exception,
        at: u32,
        fault: Option<BusError>,
    ) -> Result<(), DoubleFault> {
        let status = self.status();
        let registers = &mut self.core.regs;
        registers.sr.t = false;
        registers.sr.s = true;
        self.core.stop = false;
        let registers = &mut self.core.regs;
        let stacked = if exception.stacks_own_address() { at } else { registers.pc.0 };
        push_long(registers, memory, stacked)?;
        push_word(registers, memory, status)?;
        if let Some(fault) = fault {
            let opcode = memory.get_word(at).unwrap_or(0);
            push_word(registers, memory, opcode)?;
            push_long(registers, memory, fault.address)?;
            push_word(registers, memory, status_word(opcode, status, fault))?;
        }
        let target = memory.get_long(u32::from(exception.vector()) * 4).ok_or(DoubleFault)?;
        registers.pc.0 = target;
        Ok(())
    }
}

/// The first word of a bus error frame: opcode bits, read flag, function code (UM figure 6-7).
fn status_word(opcode: u16, status: u16, fault: BusError) -> u16 {
    let supervisor = if status & 0x2000 != 0 { 4 } else { 0 };
    let space = if fault.kind == AccessKind::Fetch { 2 } else { 1 };
    let read = if fault.kind == AccessKind::Write { 0 } else { 0x10 };
    opcode & 0xFFE0 | read | supervisor | space
}

fn push_word<M: MemoryAccess>(registers: &mut Registers, memory: &mut M, value: u16) -> Result<(), DoubleFault> {
    registers.ssp -= 2;
    if registers.ssp.0 & 1 != 0 {
        return Err(DoubleFault);
    }
    memory.set_word(registers.ssp.0, value).ok_or(DoubleFault)
}

fn push_long<M: MemoryAccess>(registers: &mut Registers, memory: &mut M, value: u32) -> Result<(), DoubleFault> {
    push_word(registers, memory, value as u16)?;
    push_word(registers, memory, (value >> 16) as u16)
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
}
