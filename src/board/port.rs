//! Ports: what they read over time, and what was written to them.

use std::sync::Arc;

/// Width of a port or of a bus access.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PortSize {
    /// One byte.
    #[default]
    Byte,
    /// One word, at an even address.
    Word,
}

impl PortSize {
    /// Bytes covered.
    pub fn bytes(self) -> u32 {
        match self {
            PortSize::Byte => 1,
            PortSize::Word => 2,
        }
    }
}

/// What a port reads as time goes by.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Schedule {
    /// Always the same value.
    Constant(u16),
    /// One value a read; the last one stays.
    Sequence(Arc<[u16]>),
    /// One value at first, another one after the change.
    Changes {
        /// Value before the change.
        first: u16,
        /// Value after it.
        then: u16,
        /// When it changes.
        after: Change,
    },
}

/// When a port's value changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Change {
    /// After this many reads of the port.
    Reads(u32),
    /// After this many cycles of the run.
    Cycles(u64),
}

impl Schedule {
    /// The value of read number `count` (from 0) that starts at cycle `now`.
    pub fn value(&self, count: u32, now: u64) -> u16 {
        match self {
            Schedule::Constant(value) => *value,
            Schedule::Sequence(values) => {
                let last = values.len().saturating_sub(1);
                values.get((count as usize).min(last)).copied().unwrap_or(0)
            }
            Schedule::Changes { first, then, after } => {
                let changed = match after {
                    Change::Reads(reads) => count >= *reads,
                    Change::Cycles(cycles) => now >= *cycles,
                };
                if changed { *then } else { *first }
            }
        }
    }

    /// The one value the port reads throughout, or `None` if it changes.
    pub fn constant(&self) -> Option<u16> {
        match self {
            Schedule::Constant(value) => Some(*value),
            Schedule::Sequence(values) => {
                let first = *values.first()?;
                values.iter().all(|value| *value == first).then_some(first)
            }
            Schedule::Changes { first, then, .. } => (first == then).then_some(*first),
        }
    }

    /// From which read on the count makes no difference; reads beyond it need not be told apart.
    pub(crate) fn settles_after_reads(&self) -> u32 {
        match self {
            Schedule::Constant(_) => 0,
            Schedule::Sequence(values) => values.len() as u32,
            Schedule::Changes { after: Change::Reads(reads), .. } => *reads,
            Schedule::Changes { .. } => 0,
        }
    }

    /// From which cycle on time makes no difference.
    pub(super) fn settles_after_cycles(&self) -> u64 {
        match self {
            Schedule::Changes { after: Change::Cycles(cycles), .. } => *cycles,
            _ => 0,
        }
    }
}

/// The plan of a port.
#[derive(Clone, Debug)]
pub struct Port {
    /// Its name, unique in the harness.
    pub name: String,
    /// Bus address.
    pub at: u32,
    /// Width.
    pub size: PortSize,
    /// What it reads; `None` for a port that cannot be read (open bus).
    pub reads: Option<Schedule>,
    /// The values that may be written; `None` for a port that cannot be written.
    pub writes: Option<Vec<u16>>,
    /// The latched value before the first write.
    pub power_on: u16,
}

impl Port {
    /// Whether the port covers a bus address.
    #[inline]
    pub fn covers(&self, address: u32) -> bool {
        address.wrapping_sub(self.at) < self.size.bytes()
    }
}

/// A write to a port, as it happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PortWrite {
    /// Index of the port in the map.
    pub port: usize,
    /// The value latched.
    pub value: u16,
    /// Address of the instruction.
    pub pc: u32,
}

/// A port in action.
#[derive(Clone, Debug)]
pub(super) struct PortState {
    pub latched: u16,
    pub reads: u32,
}
