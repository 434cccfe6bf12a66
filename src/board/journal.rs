//! The journal of accesses: every bus cycle of a run in its order, for tests and for people who look closely.

use super::{Access, Observer};

/// An observer that keeps every bus cycle: prefetches, operands, frames and vectors alike.
///
/// It grows by an entry for each of them, so clear it between runs, and do not let a run of millions of instructions
/// write one.
#[derive(Clone, Debug, Default)]
pub struct Journal {
    accesses: Vec<Access>,
}

impl Journal {
    /// The bus cycles so far, in order.
    pub fn accesses(&self) -> &[Access] {
        &self.accesses
    }

    /// Forgets them.
    pub fn clear(&mut self) {
        self.accesses.clear();
    }
}

impl Observer for Journal {
    const WATCHES_PASSING: bool = true;

    fn passing(&mut self, access: &Access) {
        self.accesses.push(*access);
    }

    fn read(&mut self, access: &Access) {
        self.accesses.push(*access);
    }

    fn write(&mut self, access: &Access) {
        self.accesses.push(*access);
    }
}
