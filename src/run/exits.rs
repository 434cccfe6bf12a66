//! Which addresses end a run: a bitmap for the quick "no", and the branches of each exit for the rest.

use super::{Branch, Exit};

/// The exits of a rig.
#[derive(Clone, Debug)]
pub(super) struct Exits {
    first: u32,
    bits: Box<[u64]>,
    /// Exits at addresses, with the branches that leave there, in order.
    at: Vec<(u32, Vec<usize>)>,
    /// The branches that leave by returning.
    returns: Vec<usize>,
}

impl Exits {
    pub fn new(branches: &[Branch]) -> Self {
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
        let first = at.iter().map(|(address, _)| *address).min().unwrap_or(0);
        let last = at.iter().map(|(address, _)| *address).max().unwrap_or(0);
        let mut bits = vec![0u64; ((last - first) / 64 + 1) as usize];
        for (address, _) in &at {
            let place = address - first;
            bits[(place / 64) as usize] |= 1 << (place % 64);
        }
        Self { first, bits: bits.into(), at, returns }
    }

    /// Whether an address (24 bits) is an exit.
    #[inline]
    pub fn hit(&self, address: u32) -> bool {
        let place = address.wrapping_sub(self.first);
        self.bits.get((place / 64) as usize).is_some_and(|bits| bits >> (place % 64) & 1 == 1)
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
