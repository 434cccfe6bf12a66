//! Watches a run for what is new about it: the ways that its decisions went, how often, and the bytes that it read.
//!
//! [`Feedback`] is made for speed: an instruction of the host ROM has a number that is looked up once, and one that
//! leads to one place only costs a table look-up and nothing more.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use m68000::Registers;

use super::memo::Read;
use crate::board::{Access, BUS_MASK, Bus, Observer, Place, PortSize};
use crate::cpu::{Control, Exception, decode};
use crate::noise::mix;
use crate::run::Rig;

/// An instruction that was not met yet.
const UNKNOWN: u32 = 0;

/// An instruction that leads to one place only.
const PLAIN: u32 = 1;

/// Numbers of nodes begin here.
const FIRST: u32 = 2;

/// Bytes that an instruction may fetch from its address on: its own, and the prefetch queue.
const LONGEST_FETCH: u32 = 14;

/// The most different reads of a run that are remembered.
const MOST_READS: usize = 384;

/// Places in the table of addresses that were read; a power of two.
const RECENT: usize = 256;

/// A way out of a decision, or an end; see [`Way`] for how it is made up.
pub type WayKey = u64;

/// A way, and how often a run went there, in steps that double.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Feature {
    /// The way.
    pub way: WayKey,
    /// 0 for once, then 2, 3, 4 to 7, 8 to 15, 16 to 31, 32 to 127, more.
    pub often: u8,
}

/// What a way is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From a branch to its target or to the next instruction.
    Decision {
        /// The branch.
        at: u32,
        /// Where it went.
        to: u32,
    },
    /// From a computed jump, a return or an exception to where it led.
    Jump {
        /// Where it came from.
        at: u32,
        /// Where it led.
        to: u32,
    },
    /// How and where a run ended.
    End {
        /// The kind of end, or the number of the branch.
        code: u32,
        /// Where.
        at: u32,
    },
}

impl Way {
    /// The way as a number.
    pub fn key(self) -> WayKey {
        let (kind, left, right) = match self {
            Way::Decision { at, to } => (0, at, to),
            Way::Jump { at, to } => (1, at, to),
            Way::End { code, at } => (2, code, at),
        };
        kind << 48 | u64::from(left & BUS_MASK) << 24 | u64::from(right & BUS_MASK)
    }

    /// The way of a number.
    pub fn of(key: WayKey) -> Self {
        let (left, right) = ((key >> 24) as u32 & BUS_MASK, key as u32 & BUS_MASK);
        match key >> 48 {
            0 => Way::Decision { at: left, to: right },
            1 => Way::Jump { at: left, to: right },
            _ => Way::End { code: left, at: right },
        }
    }
}

/// An instruction that leads to more than one place.
#[derive(Clone, Copy, Debug)]
enum Node {
    /// Its ways have the numbers `way` (to the target) and `way + 1`.
    Branch { next: u32, way: u32 },
    /// Its ways are looked up; the last one is kept.
    Jump { at: u32, to: u32, way: u32 },
}

/// The observer.
#[derive(Clone, Debug)]
pub struct Feedback {
    rig: Arc<Rig>,
    origin: u32,
    /// Of each word of the host ROM the number of the instruction there.
    host: Vec<u32>,
    elsewhere: HashMap<u32, u32>,
    nodes: Vec<Node>,
    keys: Vec<WayKey>,
    numbers: HashMap<WayKey, u32>,
    /// Of each way: how often this run went there.
    counts: Vec<u32>,
    /// Of each way: the steps of "how often" that are known, one bit each.
    known: Vec<u8>,
    /// All features that are known; for ways that get their number later.
    all_known: HashSet<Feature>,
    /// The ways of this run.
    touched: Vec<u32>,
    node: u32,
    diverted: bool,
    /// What this run read from outside, each once.
    pub reads: Vec<Read>,
    /// Whether the reads do not tell the run: there were too many, or of a kind that cannot be looked up again.
    pub unsure: bool,
    recent: Box<[u32; RECENT]>,
}

impl Feedback {
    /// An observer for runs of a rig.
    pub fn new(rig: &Arc<Rig>) -> Self {
        let host = rig.map.host();
        Self {
            rig: Arc::clone(rig),
            origin: host.origin(),
            host: vec![UNKNOWN; host.bytes().len().div_ceil(2)],
            elsewhere: HashMap::new(),
            nodes: Vec::new(),
            keys: Vec::new(),
            numbers: HashMap::new(),
            counts: Vec::new(),
            known: Vec::new(),
            all_known: HashSet::new(),
            touched: Vec::new(),
            node: PLAIN,
            diverted: false,
            reads: Vec::with_capacity(MOST_READS),
            unsure: false,
            recent: Box::new([u32::MAX; RECENT]),
        }
    }

    /// A trial begins. Its runs under several RAM fills count as one.
    pub fn begin(&mut self) {
        for way in self.touched.drain(..) {
            self.counts[way as usize] = 0;
        }
        self.reads.clear();
        self.recent.fill(u32::MAX);
        self.unsure = false;
        self.begin_run();
    }

    /// One of its runs begins.
    pub fn begin_run(&mut self) {
        self.node = PLAIN;
        self.diverted = false;
    }

    /// A run is over.
    pub fn end_run(&mut self, end: Way) {
        let way = self.number(end.key());
        self.take(way);
    }

    /// These features are known from now on.
    pub fn learn(&mut self, features: &[Feature]) {
        for feature in features {
            self.all_known.insert(*feature);
            if let Some(number) = self.numbers.get(&feature.way) {
                self.known[*number as usize] |= 1 << feature.often;
            }
        }
    }

    /// Whether the trial went a way that is not known, or not so often.
    pub fn novel(&self) -> bool {
        self.touched.iter().any(|way| self.known[*way as usize] & 1 << often(self.counts[*way as usize]) == 0)
    }

    /// All that the trial did.
    pub fn features(&self) -> Vec<Feature> {
        let feature = |way: &u32| Feature { way: self.keys[*way as usize], often: often(self.counts[*way as usize]) };
        let mut features: Vec<Feature> = self.touched.iter().map(feature).collect();
        features.sort_unstable();
        features
    }

    /// A hash of the ways that the trial went, however often and in whatever order.
    pub fn ways(&self) -> u64 {
        self.touched.iter().fold(0, |hash, way| hash ^ mix(self.keys[*way as usize]))
    }

    #[inline]
    fn take(&mut self, way: u32) {
        let count = &mut self.counts[way as usize];
        if *count == 0 {
            self.touched.push(way);
        }
        *count = count.saturating_add(1);
    }

    /// The number of a way.
    fn number(&mut self, key: WayKey) -> u32 {
        if let Some(number) = self.numbers.get(&key) {
            return *number;
        }
        let number = self.keys.len() as u32;
        let known = (0..8).filter(|often| self.all_known.contains(&Feature { way: key, often: *often }));
        self.known.push(known.fold(0, |bits, often| bits | 1 << often));
        self.keys.push(key);
        self.counts.push(0);
        self.numbers.insert(key, number);
        number
    }

    #[cold]
    fn find(&mut self, at: u32, bus: &Bus) -> u32 {
        // What runs outside of the host may have come through the window, and what runs right before the window is
        // prefetched from there; nobody has told which bytes.
        let place = at.wrapping_sub(self.origin) as usize / 2;
        let window = *self.rig.map.window().start();
        let before = at < window && at + LONGEST_FETCH > window;
        let outside = at < self.origin || place >= self.host.len() || before;
        self.unsure |= outside;
        if let Some(number) = self.elsewhere.get(&at) {
            return *number;
        }
        let number = self.classify(at, bus);
        if outside {
            self.elsewhere.insert(at, number);
        } else {
            self.host[place] = number;
        }
        number
    }

    fn classify(&mut self, at: u32, bus: &Bus) -> u32 {
        let map = Arc::clone(&self.rig.map);
        let decoded = decode(at, |at| map.code_word(at).unwrap_or_else(|| bus.peek_word(at)));
        // The code in RAM may change under the same address.
        let fixed = map.code_word(at).is_some();
        let node = match decoded.control() {
            Control::Branch(target) if fixed => {
                let next = at.wrapping_add(decoded.length) & BUS_MASK;
                let way = self.number(Way::Decision { at, to: target }.key());
                let other = self.number(Way::Decision { at, to: next }.key());
                if other != way + 1 {
                    return self.jump(at);
                }
                Node::Branch { next, way }
            }
            Control::Next | Control::Jump(_) | Control::Call(_) if fixed => return PLAIN,
            _ => return self.jump(at),
        };
        self.nodes.push(node);
        FIRST + self.nodes.len() as u32 - 1
    }

    fn jump(&mut self, at: u32) -> u32 {
        self.nodes.push(Node::Jump { at, to: u32::MAX, way: 0 });
        FIRST + self.nodes.len() as u32 - 1
    }

    #[inline(never)]
    fn leave(&mut self, to: u32) {
        let index = (self.node - FIRST) as usize;
        match self.nodes[index] {
            Node::Branch { next, way } => self.take(way + u32::from(to == next)),
            Node::Jump { to: last, way, .. } if last == to => self.take(way),
            Node::Jump { at, .. } => {
                let way = self.number(Way::Jump { at, to }.key());
                self.nodes[index] = Node::Jump { at, to, way };
                self.take(way);
            }
        }
    }

    /// Notes a read, once for each address and width.
    fn note(&mut self, read: Read) {
        let place = mix(u64::from(read.0)) as usize % RECENT;
        if self.recent[place] == read.0 || self.unsure {
            return;
        }
        self.recent[place] = read.0;
        if self.reads.len() == MOST_READS {
            self.unsure = true;
            return;
        }
        self.reads.push(read);
    }
}

impl Observer for Feedback {
    #[inline]
    fn fetch(&mut self, at: u32, _: &Registers, bus: &Bus) {
        let place = at.wrapping_sub(self.origin) as usize / 2;
        let number = self.host.get(place).copied().unwrap_or(UNKNOWN);
        self.node = if number == UNKNOWN { self.find(at, bus) } else { number };
    }

    #[inline]
    fn read(&mut self, access: &Access) {
        match access.place {
            Place::Window => self.note(Read::window(access.address, access.size == PortSize::Word)),
            Place::Port(port) => self.note(Read::port(port)),
            _ => {}
        }
    }

    fn write(&mut self, access: &Access) {
        // Some instructions read before they write, and nobody is told.
        let reads = |port: usize| self.rig.map.ports()[port].reads.is_some();
        match access.place {
            Place::Window => self.unsure = true,
            Place::Port(port) => self.unsure |= reads(port),
            _ => {}
        }
    }

    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        // Where an interrupt comes in between is chance; that it came is not.
        let interrupt = matches!(exception, Exception::Interrupt(_));
        let way = self.number(Way::Jump { at: if interrupt { BUS_MASK } else { from }, to }.key());
        self.take(way);
        self.diverted = !interrupt;
    }

    #[inline]
    fn edge(&mut self, _: u32, to: u32) {
        if self.node != PLAIN {
            if !self.diverted {
                self.leave(to);
            }
            self.diverted = false;
            self.node = PLAIN;
        }
    }
}

/// The step of a count.
fn often(count: u32) -> u8 {
    match count {
        0..=1 => 0,
        2 => 1,
        3 => 2,
        4..=7 => 3,
        8..=15 => 4,
        16..=31 => 5,
        32..=127 => 6,
        _ => 7,
    }
}
