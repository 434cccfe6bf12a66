//! What a run did: how it ended, where, and everything a case can ask about.

use m68000::Registers;
use serde::Serialize;

use super::Probe;
use crate::board::{AccessKind, Place, PortWrite, Troubles};
use crate::cpu::Exception;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// In a declared branch, by index.
    Branch(usize),
    /// At an exit of which no branch's condition holds; `None` for the return.
    NoBranch(Option<u32>),
    /// It returned, and no branch is declared for that.
    Returned,
    /// An exception that no handler of the routine takes.
    Crashed(Crash),
    /// A fault while an exception was being entered: the processor halts.
    Halted(Exception),
    /// A STOP with nothing to wake it.
    Stopped,
    /// It left the host's code for this address.
    LeftHost {
        /// Where it went.
        to: u32,
        /// What is there.
        place: Place,
    },
    /// The same state was seen again: it would go round for ever.
    Hung {
        /// Lowest address of an instruction of the loop.
        first: u32,
        /// Highest one.
        last: u32,
        /// Instructions from one sight of the state to the next.
        period: u64,
    },
    /// It was given up: neither a pass nor a crash.
    Limit(Limit),
}

/// Which limit ended the run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// The instruction limit.
    Instructions,
    /// The cycle limit.
    Cycles,
}

/// A crash, named by its exception.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crash {
    /// The exception.
    pub exception: Exception,
    /// The access that raised it, for bus and address errors.
    pub access: Option<(u32, AccessKind)>,
    /// What is wrong with its handler.
    pub handler: Wrong,
}

/// Why an exception's handler did not run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The harness does not say that the routine handles this exception.
    NotHandled,
    /// The vector holds no address in the host's code; its value.
    NoHandler(u32),
    /// The same of an interrupt.
    NoServiceRoutine {
        /// Who interrupted, by index.
        device: usize,
        /// What the vector holds.
        value: u32,
    },
}

/// Everything about one run.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// How it ended.
    pub end: End,
    /// Address of the last instruction that ran (or failed).
    pub last: u32,
    /// The program counter at the end.
    pub pc: u32,
    /// Instructions that ran.
    pub instructions: u64,
    /// Clock cycles they took.
    pub cycles: u64,
    /// The registers at the end.
    pub registers: Registers,
    /// Writes to ports, in order.
    pub writes: Vec<PortWrite>,
    /// What each port holds at the end, by index: what was written last, or the value at power-on if nothing was or a
    /// RESET instruction came after it.
    pub held: Vec<u16>,
    /// What went astray.
    pub troubles: Troubles,
    /// A device whose request waits behind the interrupt mask, by index.
    pub held_back: Option<usize>,
    /// The cells that the setup asks for, in its order.
    pub probes: Vec<Probe>,
    /// Whether anything looked at depends on the power-on contents of RAM. If not, the run is the same for every fill.
    pub fill_matters: bool,
}

impl Default for Outcome {
    fn default() -> Self {
        Self {
            end: End::Limit(Limit::Instructions),
            last: 0,
            pc: 0,
            instructions: 0,
            cycles: 0,
            registers: Registers::default(),
            writes: Vec::new(),
            held: Vec::new(),
            troubles: Troubles::default(),
            held_back: None,
            probes: Vec::new(),
            fill_matters: false,
        }
    }
}

impl Outcome {
    /// The branch reached, by index.
    pub fn branch(&self) -> Option<usize> {
        match self.end {
            End::Branch(index) => Some(index),
            _ => None,
        }
    }
}
