//! Which addresses end a run: a table for the quick "no", and the branches of each exit for the rest.

use std::ops::Range;

use super::{Branch, Exit};

/// The exits of a rig.
#[derive(Clone, Debug)]
pub(super) struct Exits {
    /// First address of `ordinary`.
    first: u32,
    /// Whether an even address of the host's code is no exit.
    ordinary: Box<[bool]>,
    /// Exits at addresses, with the branches that leave there, in order.
    at: Vec<(u32, Vec<usize>)>,
    /// The branches that leave by returning.
    returns: Vec<usize>,
}

impl Exits {
    /// The exits of these branches; `code` is where instructions lie in the host ROM with all their words.
    pub fn new(branches: &[Branch], code: &Range<u32>) -> Self {
        let mut at: Vec<(u32, Vec<usize>)> = Vec::new();
        let mut returns = Vec::new();
        for (index, branch) in branches.iter().enumerate() {
            match branch.exit {
                Exit::Return => returns.push(index),
                Exit::At(address) => match at.iter_mut().find(|(exit, _)| *exit == address) {
                    Some((_, list)) => list.push(index),
                    None => at.push((address, vec![index])),
                },
            }
        }
        let first = code.start;
        let mut ordinary = vec![true; code.len() / 2];
        for (exit, _) in at.iter().filter(|(exit, _)| code.contains(exit)) {
            ordinary[((exit - first) / 2) as usize] = false;
        }
        Self { first, ordinary: ordinary.into(), at, returns }
    }

    /// Whether an instruction at this program counter lies wholly in the host ROM, and is no exit.
    #[inline]
    pub fn ordinary(&self, pc: u32) -> bool {
        // An odd address becomes a place far beyond the table.
        let place = pc.wrapping_sub(self.first).rotate_right(1);
        self.ordinary.get(place as usize).copied().unwrap_or(false)
    }

    /// Whether an address (24 bits) is an exit.
    pub fn hit(&self, address: u32) -> bool {
        self.at.iter().any(|(exit, _)| *exit == address)
    }

    /// The branches that leave at an address.
    pub fn at(&self, address: u32) -> &[usize] {
        self.at.iter().find(|(exit, _)| *exit == address).map_or(&[], |(_, list)| list)
    }

    /// The branches that leave by returning.
    pub fn returns(&self) -> &[usize] {
        &self.returns
    }
}
