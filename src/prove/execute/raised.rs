//! What a step ends with: exceptions whose frames may hold values.

use crate::board::AccessKind;
use crate::cpu::{Exception, FunctionCode};

/// The access of a bus or address error, as its frame describes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault<V> {
    /// The address, 32 bits.
    pub address: V,
    /// What was tried.
    pub kind: AccessKind,
    /// Its function code.
    pub code: FunctionCode,
    /// The instruction register, 16 bits: the opcode, or the next one if that was already taken from the queue.
    pub instruction: V,
    /// Whether it happened while an exception of group 0 or 1 was being entered, and not in an instruction.
    pub between: bool,
}

/// An exception that was raised and not yet entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raised<V> {
    /// Which one.
    pub exception: Exception,
    /// The program counter that its frame holds.
    pub pc: u32,
    /// The access, for bus and address errors.
    pub fault: Option<Fault<V>>,
}

/// What one step did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step<V> {
    /// An instruction ran.
    Ran,
    /// An exception was raised; its frame is not yet stacked, see [`super::Core::enter`]. A trace comes after its
    /// instruction has run.
    Raised(Raised<V>),
}

/// What became of the entry into a handler.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entered<V> {
    /// The handler's first instruction is next, unless [`super::Core::trace_due`] has a trace.
    Handler,
    /// Stacking the frame or loading the vector met this error, which is to be entered in its place.
    Instead(Raised<V>),
    /// The same while a bus or address error was being entered: the processor halts.
    DoubleFault,
}
