//! A copy of everything on a board that the future of a run depends on, to see whether a state comes back.

use super::ram::SavedRam;
use super::{Bus, Schedule};
use crate::noise::Noise;

/// A copy of a board's state, see [`Bus::save`].
#[derive(Clone, Debug, Default)]
pub struct SavedBus {
    settled: bool,
    rams: Vec<SavedRam>,
    ports: Vec<(u16, u32)>,
    noise: Option<Noise>,
    last: [u8; 2],
}

impl Bus {
    /// Whether time no longer changes what the board answers.
    fn settled(&self) -> bool {
        (0..self.ports.len()).all(|port| self.schedule(port).is_none_or(|plan| self.now >= plan.settles_after_cycles()))
    }

    /// Copies everything that the program can change or see into `saved`.
    pub fn save(&self, saved: &mut SavedBus) {
        saved.settled = self.settled();
        saved.rams.resize_with(self.rams.len(), SavedRam::default);
        for (ram, copy) in self.rams.iter().zip(&mut saved.rams) {
            ram.save(copy);
        }
        saved.ports.clear();
        saved.ports.extend((0..self.ports.len()).map(|port| self.port_position(port)));
        saved.noise = Some(self.noise.clone());
        saved.last = self.last;
    }

    /// Whether the board is exactly in the state saved. Time is no part of the state, so a state saved while a port still
    /// waited for a cycle is like no later one.
    pub fn same(&self, saved: &mut SavedBus) -> bool {
        saved.settled
            && saved.last == self.last
            && saved.noise.as_ref() == Some(&self.noise)
            && (0..self.ports.len()).all(|port| saved.ports.get(port) == Some(&self.port_position(port)))
            && self.rams.iter().zip(&mut saved.rams).all(|(ram, copy)| ram.same(copy))
    }

    /// The latched value and how far the port's schedule has come; reads past its end count no more.
    fn port_position(&self, port: usize) -> (u16, u32) {
        let state = &self.ports[port];
        let settled = self.schedule(port).map_or(0, Schedule::settles_after_reads);
        (state.latched, state.reads.min(settled))
    }
}
