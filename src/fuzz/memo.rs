//! What is known of earlier runs: a run that reads the same bytes does the same.
//!
//! A run is deterministic: what it reads first is always the same, and what it reads next hangs on what it has read so
//! far. So the runs make a tree, and a trial that finds its way through the tree to a leaf need not run at all. The tree
//! is exact: it compares bytes, never hashes.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use super::deed::Deed;
use super::trial::Trial;
use crate::board::{BUS_MASK, Inputs, OpenBus, shown_offset};
use crate::cartridge::{Image, Segment};
use crate::noise::mix;
use crate::suite::Harness;

/// The most nodes of a tree; a full one is thrown away and grows anew.
const MOST_NODES: usize = 1 << 18;

/// Bytes that open bus shows, in a label.
const OPEN: u32 = 0x100;

/// Something that a run reads from outside: a bus address in the window with its width, or a port.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Read(pub u32);

impl Read {
    const WORD: u32 = 1 << 24;
    const PORT: u32 = 1 << 25;

    /// A read of the window.
    pub fn window(address: u32, word: bool) -> Self {
        Self(address & BUS_MASK | if word { Self::WORD } else { 0 })
    }

    /// A read of a port.
    pub fn port(port: usize) -> Self {
        Self(Self::PORT | port as u32)
    }

    /// The addresses in the window; none for a port.
    pub fn addresses(self) -> std::ops::Range<u32> {
        let start = self.0 & BUS_MASK;
        match self.0 {
            what if what & Self::PORT != 0 => 0..0,
            what if what & Self::WORD != 0 => start & !1..(start & !1) + 2,
            _ => start..start + 1,
        }
    }

    /// What a trial has there; `None` if it cannot be told.
    fn found(self, trial: &Trial, harness: &Harness, shown: &mut Shown) -> Option<u32> {
        if self.0 & Self::PORT != 0 {
            let port = (self.0 & !Self::PORT) as usize;
            let Some(schedule) = trial.schedule(port, harness) else { return Some(OPEN) };
            return schedule.constant().map(u32::from);
        }
        Some(self.addresses().fold(0, |label, address| label << 16 | shown.byte(address)))
    }
}

/// A node: what is read there, or what came of it.
#[derive(Clone, Copy, Debug)]
enum Node {
    /// Nothing is known yet.
    Open,
    /// This is read next.
    Reads(Read),
    /// All is read; the number of the deed.
    Done(u32),
}

/// The tree.
#[derive(Clone, Debug, Default)]
pub struct Memo {
    roots: HashMap<u64, u32>,
    nodes: Vec<Node>,
    children: HashMap<(u32, u32), u32, BuildHasherDefault<Mixer>>,
    deeds: Vec<Deed>,
}

impl Memo {
    /// What a trial does, if a run has read the same before.
    pub fn look_up(&self, trial: &Trial, inputs: &Inputs, harness: &Harness) -> Option<&Deed> {
        let mut node = *self.roots.get(&root(trial, inputs)?)?;
        let mut shown = Shown::of(inputs);
        loop {
            match self.nodes[node as usize] {
                Node::Open => return None,
                Node::Done(deed) => return self.deeds.get(deed as usize),
                Node::Reads(read) => node = *self.children.get(&(node, read.found(trial, harness, &mut shown)?))?,
            }
        }
    }

    /// Remembers what a trial did that read these.
    pub fn remember(&mut self, trial: &Trial, inputs: &Inputs, harness: &Harness, reads: &[Read], deed: Deed) {
        let Some(root) = root(trial, inputs) else { return };
        if self.nodes.len() + reads.len() > MOST_NODES {
            *self = Self::default();
        }
        let mut node = match self.roots.get(&root) {
            Some(node) => *node,
            None => {
                let node = self.grow();
                self.roots.insert(root, node);
                node
            }
        };
        let mut shown = Shown::of(inputs);
        for read in reads {
            // A port whose value changes cannot be looked up.
            let Some(label) = read.found(trial, harness, &mut shown) else { return };
            match self.nodes[node as usize] {
                Node::Open => self.nodes[node as usize] = Node::Reads(*read),
                Node::Reads(next) if next == *read => {}
                // The runs part without having read anything else: then this is no tree of runs, and is not kept.
                Node::Reads(_) | Node::Done(_) => return,
            }
            let next = self.nodes.len() as u32;
            let child = *self.children.entry((node, label)).or_insert(next);
            if child == next {
                self.nodes.push(Node::Open);
            }
            node = child;
        }
        match self.nodes[node as usize] {
            Node::Open => {
                self.nodes[node as usize] = Node::Done(self.deeds.len() as u32);
                self.deeds.push(deed);
            }
            Node::Done(known) => self.deeds[known as usize] = deed,
            Node::Reads(_) => {}
        }
    }

    fn grow(&mut self) -> u32 {
        self.nodes.push(Node::Open);
        self.nodes.len() as u32 - 1
    }
}

/// What a run hangs on beside what it reads; `None` if that is too much to look up.
fn root(trial: &Trial, inputs: &Inputs) -> Option<u64> {
    if trial.plug.as_ref().is_some_and(|plug| !plug.contacts.good()) {
        return None;
    }
    let empty = match inputs.empty {
        OpenBus::Ones => 0,
        OpenBus::Zeros => 1,
        OpenBus::Floating => 2,
        OpenBus::Noise => 3,
        OpenBus::BusError => return None,
    };
    // A bus error is a read that nobody is told of.
    trial.interrupts.iter().all(Option::is_none).then_some(empty)
}

/// What shows of an image, and the stretch of it that was looked at last.
struct Shown<'a> {
    image: Option<&'a Image>,
    segment: Segment,
}

impl<'a> Shown<'a> {
    fn of(inputs: &'a Inputs) -> Self {
        Self { image: inputs.attached.image.as_deref(), segment: Segment::default() }
    }

    fn byte(&mut self, address: u32) -> u32 {
        let Some((image, offset)) = self.image.and_then(|image| Some((image, shown_offset(address, image.size())?)))
        else {
            return OPEN;
        };
        if image.swapped() {
            return image.byte(offset).map_or(OPEN, u32::from);
        }
        if !self.segment.offsets.contains(&offset) {
            self.segment = image.segment(offset);
        }
        u32::from(image.in_segment(&self.segment, offset))
    }
}

/// A hasher for the two small numbers of a child.
#[derive(Clone, Debug, Default)]
pub struct Mixer(u64);

impl Hasher for Mixer {
    fn finish(&self) -> u64 {
        mix(self.0)
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = self.0.rotate_left(8) ^ u64::from(*byte);
        }
    }

    fn write_u32(&mut self, value: u32) {
        self.0 = self.0.rotate_left(32) ^ u64::from(value);
    }
}
