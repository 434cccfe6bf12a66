//! What an exploration has found, and what it may cost.

use std::collections::{BTreeMap, BTreeSet};

use super::ending::Ending;
use super::graph::Graph;
use super::logic::Term;
use super::scene::{PortEvent, Wrongdoing};

/// What an exploration may cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// Instructions run, over all states.
    pub steps: u64,
    /// Terms made.
    pub terms: usize,
}

impl Default for Budget {
    fn default() -> Self {
        Self { steps: 5_000_000, terms: 30_000_000 }
    }
}

/// Something that went wrong: what, at which instruction, at which address.
pub type Wrong = (Wrongdoing, u32, Option<u32>);

/// A way out of an instruction that had several, and the registers with which it was taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The values of D0 to D7 and A0 to A6, as far as they are numbers.
    pub registers: [Option<u32>; 15],
    /// For which inputs.
    pub guard: Term,
}

/// What an exploration has found.
#[derive(Clone, Debug, Default)]
pub struct Explored {
    /// How the paths end.
    pub endings: Vec<Ending>,
    /// What went wrong, and for which inputs.
    pub troubles: BTreeMap<Wrong, Vec<Term>>,
    /// The guards with which each instruction was reached.
    pub reached: BTreeMap<u32, Vec<Term>>,
    /// The ways out of instructions that had several.
    pub taken: BTreeMap<(u32, u32), Vec<Taken>>,
    /// Reads of unknown ports of which the number hangs on the inputs.
    pub events: Vec<PortEvent>,
    /// The window addresses that were read.
    pub looked: BTreeSet<u32>,
    /// Instructions run, over all states.
    pub steps: u64,
    /// The control flow.
    pub graph: Option<Graph>,
}
