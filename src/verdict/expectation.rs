//! What a case wants, checked and resolved: branches by index, cells as probes.

use std::ops::Range;

use super::{Decision, Forbid};
use crate::run::BranchKind;

/// Which branches are wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Any one of these, by index.
    Branches(Vec<usize>),
    /// Any branch of a kind.
    Kind(BranchKind),
    /// The one that the acceptance table says.
    Specified,
    /// None in particular; the case's other expectations say what must hold.
    Any,
}

/// Everything that a case wants. The probes of the case's setup are numbered as they are named here.
#[derive(Clone, Debug)]
pub struct Expectation {
    /// The branch.
    pub branch: Wanted,
    /// What the acceptance table says of this cartridge.
    pub specified: Decision,
    /// Values that the branch shows.
    pub shows: Vec<Shows>,
    /// Port writes.
    pub writes: Vec<Writes>,
    /// Cells and what they must hold: probe number, the cell as the case writes it, value.
    pub cells: Vec<(usize, String, u32)>,
    /// Limits.
    pub within: Within,
    /// What ports must hold at the end, by index; counts before what the branch says.
    pub leaves: Vec<(usize, u16)>,
    /// What is forbidden beside what the harness forbids.
    pub forbid: Forbid,
    /// Branches that must not be taken.
    pub never: Vec<usize>,
    /// Offsets of the attached image outside of which nothing may be read.
    pub reads: Option<Vec<Range<u32>>>,
}

/// A value that a branch shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shows {
    /// Its name.
    pub name: String,
    /// The value wanted.
    pub value: u32,
    /// For each branch that shows it, by index: the probe number.
    pub probes: Vec<(usize, usize)>,
    /// Whether the harness says what the RAM there holds at power-on, so that it need not be written to be known.
    pub cleared: bool,
}

/// Port writes that must happen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Writes {
    /// To one port.
    Port {
        /// Index of the port.
        port: usize,
        /// What is written.
        writes: PortWrites,
    },
    /// In order across ports; writes to other ports do not count.
    InOrder(Vec<(usize, u16)>),
}

/// What must be written to one port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortWrites {
    /// Exactly these, in order.
    Values(Vec<u16>),
    /// So many.
    Count(u32),
}

/// Limits of a case, inclusive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Within {
    /// Instructions.
    pub instructions: Option<u64>,
    /// Clock cycles.
    pub cycles: Option<u64>,
    /// Nanoseconds, and the clock in hertz to tell them by.
    pub time: Option<(u64, u64)>,
}
