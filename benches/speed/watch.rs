//! What a fuzzer wants to see of a run: counted edges and reads of the window. Both sides record it with this code.

use keyway::board::{Access, Observer, Place};

/// Counters of the edge map, a power of two: enough that the few hundred edges of a routine seldom share one.
const COUNTERS: usize = 4096;

/// Edges by hash, and the addresses read in the window, in order.
#[derive(Clone, PartialEq, Eq)]
pub struct Watch {
    edges: Box<[u8; COUNTERS]>,
    reads: Vec<u32>,
}

impl Default for Watch {
    fn default() -> Self {
        Self { edges: Box::new([0; COUNTERS]), reads: Vec::new() }
    }
}

impl Watch {
    /// Forgets the last run.
    pub fn clear(&mut self) {
        self.edges.fill(0);
        self.reads.clear();
    }

    /// Counts an edge.
    #[inline]
    pub fn edge(&mut self, from: u32, to: u32) {
        let place = (from.rotate_left(5) ^ to) as usize % COUNTERS;
        self.edges[place] = self.edges[place].wrapping_add(1);
    }

    /// Notes a byte read in the window.
    #[inline]
    pub fn window_read(&mut self, address: u32) {
        self.reads.push(address);
    }

    /// How many bytes of the window were read.
    pub fn reads(&self) -> usize {
        self.reads.len()
    }
}

impl Observer for Watch {
    #[inline]
    fn read(&mut self, access: &Access) {
        if access.place == Place::Window {
            for byte in 0..access.size.bytes() {
                self.window_read(access.address + byte);
            }
        }
    }

    #[inline]
    fn edge(&mut self, from: u32, to: u32) {
        Watch::edge(self, from, to);
    }
}
