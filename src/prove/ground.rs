//! What an exploration stands on and does not change, and what it computes with.

use std::ops::RangeInclusive;

use super::Domain;
use super::logic::{Solver, Term, Terms, Unknown};
use super::plugged::Plugged;
use super::unknowns::{Source, Unknowns};
use crate::board::{BUS_MASK, RamArea, RamFill};
use crate::run::Rig;
use crate::suite::Harness;

/// Terms, the solver, and what the unknowns are.
#[derive(Default)]
pub struct Logic {
    /// The terms.
    pub terms: Terms,
    /// The solver.
    pub solver: Solver,
    /// The unknowns.
    pub unknowns: Unknowns,
}

impl Logic {
    /// The term of an unknown that was met.
    pub fn unknown(&mut self, unknown: Unknown) -> Term {
        self.terms.unknown(unknown, self.unknowns.width(unknown))
    }
}

/// What is unknown beside the attached image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Free {
    /// Of each port whether every read of it is unknown.
    pub ports: Vec<bool>,
    /// Of each RAM area the byte that it holds at power-on; nothing if it is unknown.
    pub ram: Vec<Option<u8>>,
    /// Further RAM that is unknown.
    pub ram_ranges: Vec<RangeInclusive<u32>>,
}

impl Free {
    /// What a harness leaves open: RAM with more than one content at power-on, or with noise.
    pub fn of(harness: &Harness) -> Self {
        let byte = |fills: &Vec<RamFill>| match fills[..] {
            [] | [RamFill::Zeros] => Some(0),
            [RamFill::Ones] => Some(0xFF),
            _ => None,
        };
        Self {
            ports: vec![false; harness.rig.map.ports().len()],
            ram: harness.power_on.iter().map(byte).collect(),
            ram_ranges: Vec::new(),
        }
    }
}

/// The machine that is explored, and what is plugged in.
pub struct Ground<'a> {
    /// The harness.
    pub harness: &'a Harness,
    /// What is plugged in.
    pub plugged: Plugged,
    /// What else is unknown.
    pub free: &'a Free,
}

impl Ground<'_> {
    /// Map, routine and branches.
    pub fn rig(&self) -> &Rig {
        &self.harness.rig
    }

    /// The overlay that shows at an address, the first of them; `showing` has one bit for each.
    pub fn overlay_at(&self, showing: u64, address: u32) -> Option<usize> {
        let overlays = self.rig().map.overlays().iter().enumerate();
        let mut shows =
            overlays.filter(|(index, overlay)| showing >> index & 1 == 1 && overlay.range.contains(&address));
        shows.next().map(|(index, _)| index)
    }

    /// The byte of an overlay at a bus address.
    pub fn overlay_byte(&self, overlay: usize, address: u32) -> Option<u8> {
        let overlay = &self.rig().map.overlays()[overlay];
        let mask = ((overlay.bytes.len() as u32).next_power_of_two() - 1) & BUS_MASK;
        overlay.bytes.get((address.wrapping_sub(*overlay.range.start()) & mask) as usize).copied()
    }

    /// What a byte of RAM holds at power-on.
    pub fn power_on(&self, logic: &mut Logic, area: usize, home: u32) -> Term {
        match self.free.ram[area] {
            Some(byte) if !self.is_free(area, home) => logic.terms.number(8, u64::from(byte)),
            _ => logic.unknowns.term(&mut logic.terms, Source::Ram(home), 8),
        }
    }

    /// Whether a byte of RAM lies, with any of its mirrors, where RAM is said to be unknown.
    fn is_free(&self, area: usize, home: u32) -> bool {
        let area = &self.rig().map.memory()[area];
        let ranges = self.free.ram_ranges.iter().filter(|range| area.range.contains(range.start()));
        ranges.into_iter().any(|range| {
            let behind = home.wrapping_sub(*range.start());
            let nearest = if repeats(area) { behind & (area.size - 1) } else { behind };
            nearest <= range.end() - range.start()
        })
    }

    /// The RAM area of an address.
    pub fn ram_area(&self, address: u32) -> Option<usize> {
        self.rig().map.memory().iter().position(|area| area.range.contains(&address))
    }

    /// The bus address of the first mirror of a byte of RAM.
    pub fn ram_home(&self, area: usize, address: u32) -> u32 {
        let area = &self.rig().map.memory()[area];
        let start = *area.range.start();
        if repeats(area) { start + ((address - start) & (area.size - 1)) } else { address }
    }
}

/// Whether an area of RAM is larger than what is in it, a power of two then.
fn repeats(area: &RamArea) -> bool {
    area.range.end() - area.range.start() >= area.size
}
