//! The control flow of a routine: what follows which instruction, as far as the code says it and as far as the exploration
//! has seen it go. An exploration that goes where the graph does not is begun again with the graph that it should have had,
//! so liveness and order never stand on less than what happens.

use std::collections::{BTreeMap, BTreeSet};

use crate::board::{BUS_MASK, RETURN_ADDRESS};
use crate::cpu::{Control, Decoded, decode};
use crate::run::{Entry, Exit, Rig};

/// An instruction of the routine.
#[derive(Clone, Copy, Debug)]
pub struct Node {
    /// The instruction.
    pub decoded: Decoded,
    /// Where it leads.
    pub control: Control,
}

impl Node {
    /// The address behind it.
    pub fn next(&self) -> u32 {
        self.decoded.instruction().pc.wrapping_add(self.decoded.length) & BUS_MASK
    }
}

/// What was seen beyond what the code says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// Steps from an instruction to another.
    pub edges: BTreeSet<(u32, u32)>,
    /// Where subroutines and handlers start.
    pub functions: BTreeSet<u32>,
}

/// The control flow.
#[derive(Clone, Debug)]
pub struct Graph {
    /// The instructions, by address.
    pub nodes: BTreeMap<u32, Node>,
    /// What was seen.
    pub seen: Seen,
    /// Where functions start, the routine first.
    pub functions: BTreeSet<u32>,
    exits: BTreeSet<u32>,
    /// How many ways lead to an instruction.
    into: BTreeMap<u32, usize>,
}

impl Graph {
    /// Follows the code from the entry and along what was seen.
    pub fn new(rig: &Rig, seen: Seen) -> Self {
        let entry = entry(rig);
        let exits = rig.branches.iter().filter_map(|branch| match branch.exit {
            Exit::At(address) => Some(address),
            Exit::Return => None,
        });
        let mut graph = Self {
            nodes: BTreeMap::new(),
            functions: seen.functions.iter().copied().chain([entry]).collect(),
            seen,
            exits: exits.collect(),
            into: BTreeMap::new(),
        };
        let mut waiting: Vec<u32> = graph.functions.iter().copied().collect();
        while let Some(at) = waiting.pop() {
            if graph.nodes.contains_key(&at) || graph.is_exit(at) || at & 1 != 0 || rig.map.code_word(at).is_none() {
                continue;
            }
            let decoded = decode(at, |at| rig.map.code_word(at).unwrap_or(0));
            let node = Node { decoded, control: decoded.control() };
            if let Control::Call(target) = node.control {
                graph.functions.insert(target);
            }
            graph.nodes.insert(at, node);
            waiting.extend(graph.successors(at));
            // Behind a call, if it comes back; that it does is seen.
            waiting.extend(graph.within(at));
        }
        let edges: Vec<u32> = graph.nodes.keys().flat_map(|at| graph.successors(*at)).collect();
        for to in edges.into_iter().chain(graph.functions.clone()) {
            *graph.into.entry(to).or_default() += 1;
        }
        graph
    }

    /// Whether a run ends at an address.
    pub fn is_exit(&self, address: u32) -> bool {
        self.exits.contains(&address)
    }

    /// Whether paths may come together before an instruction.
    pub fn joins(&self, address: u32) -> bool {
        self.into.get(&address).is_none_or(|ways| *ways > 1)
    }

    /// Where an instruction leads next, into subroutines too.
    pub fn successors(&self, at: u32) -> Vec<u32> {
        // Of code in RAM only what was seen is known.
        let Some(node) = self.nodes.get(&at) else { return self.seen_from(at).collect() };
        let mut to = match node.control {
            Control::Next | Control::Trap(_) | Control::MayTrap(_) | Control::Stop => vec![node.next()],
            Control::Branch(target) => vec![target, node.next()],
            Control::Jump(target) | Control::Call(target) => vec![target],
            Control::ComputedJump
            | Control::ComputedCall
            | Control::Return
            | Control::ExceptionReturn
            | Control::Raises(_) => Vec::new(),
        };
        for seen in self.seen_from(at) {
            if !to.contains(&seen) {
                to.push(seen);
            }
        }
        to
    }

    fn seen_from(&self, at: u32) -> impl Iterator<Item = u32> + '_ {
        self.seen.edges.range((at, 0)..=(at, u32::MAX)).map(|(_, to)| *to)
    }

    /// Where it leads within its function: behind a call once that has returned.
    pub fn within(&self, at: u32) -> Vec<u32> {
        let Some(node) = self.nodes.get(&at) else { return self.seen_from(at).collect() };
        match node.control {
            Control::Call(_) | Control::ComputedCall | Control::Trap(_) => vec![node.next()],
            Control::Return | Control::ExceptionReturn => Vec::new(),
            _ => self.successors(at),
        }
    }

    /// Whether an instruction that says where it leads was seen to lead elsewhere.
    pub fn strays(&self, at: u32) -> bool {
        let Some(node) = self.nodes.get(&at) else { return false };
        let (next, control) = (node.next(), node.control);
        self.seen_from(at).any(|to| match control {
            Control::Next | Control::Trap(_) | Control::MayTrap(_) | Control::Stop => to != next,
            Control::Branch(target) => to != next && to != target,
            Control::Jump(target) | Control::Call(target) => to != target,
            _ => false,
        })
    }

    /// Whether a step was foreseen.
    pub fn expects(&self, from: u32, to: u32) -> bool {
        self.successors(from).contains(&to)
    }
}

/// Where the routine starts.
pub fn entry(rig: &Rig) -> u32 {
    match rig.routine.entry {
        Entry::At(address) => address & BUS_MASK,
        Entry::Reset => rig.map.host().long(4).unwrap_or(0) & BUS_MASK,
    }
}

/// The address of a program counter in the graph: 24 bits, but the return address as it is.
pub fn place_of(pc: u32) -> u32 {
    if pc == RETURN_ADDRESS { pc } else { pc & BUS_MASK }
}
