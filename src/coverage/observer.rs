//! Watches the runs of one checker and counts: instructions, directions, jumps, what of the header was read.
//!
//! [`CoverageObserver`] is told where a case and each of its runs begin and end. Everything has a number that is looked
//! up once, when it is first met: an instruction of the host ROM by its place in a dense table, any other by a map. A
//! case is counted once however many RAM fills it runs under: each counter remembers the case that it counted last.

use std::collections::HashMap;
use std::sync::Arc;

use m68000::Registers;

use super::gather::{CaseNumber, Counts, Followed, Gathered, Goal, PathSeen, Stop, WayKey};
use super::header::{HeaderWatch, Stamped, mix};
use crate::board::{Access, Bus, Observer, Place, PortSize};
use crate::cartridge::{Image, Layout};
use crate::cpu::{Control, Exception, decode};
use crate::run::{End, Outcome, Rig};
use crate::verdict::{Names, short_ending};

/// An instruction that leads to one place only.
const PLAIN: u32 = u32::MAX;

/// A return from a handler.
const HANDLER_RETURN: u32 = u32::MAX - 1;

/// What leads somewhere without being a decision: returns, and all code in RAM, which may change.
const LEADS: u32 = u32::MAX - 2;

/// Ends have numbers from here on, nodes lower ones.
const ENDS: u32 = 1 << 31;

/// Handlers within handlers that are followed.
const NESTED: usize = 16;

/// An instruction that ran.
#[derive(Clone, Copy, Debug)]
struct Slot {
    at: u32,
    /// Its node, [`PLAIN`], [`LEADS`] or [`HANDLER_RETURN`].
    node: u32,
    count: Counter,
}

/// How often something happened, and in how many cases.
#[derive(Clone, Copy, Debug, Default)]
struct Counter {
    runs: u64,
    cases: Stamped,
}

impl Counter {
    const NONE: Self = Self { runs: 0, cases: Stamped::NONE };

    #[inline]
    fn count(&mut self, stamp: u32) {
        self.runs += 1;
        self.cases.count(stamp);
    }

    fn counts(&self) -> Counts {
        Counts { runs: self.runs, cases: self.cases.cases }
    }
}

/// An instruction that decides where the run goes on.
#[derive(Clone, Copy, Debug)]
struct Node {
    at: u32,
    /// The ways that leave it: two of a branch, the one to the target first; one of a computed jump.
    way: u32,
    kind: NodeKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum NodeKind {
    Branch { target: u32, next: u32 },
    Computed,
}

/// A way out of a node, or into the routine or a handler.
#[derive(Clone, Copy, Debug)]
struct Way {
    count: Counter,
    /// The node or end that it led to the last time, the number of that link, and the case that it was counted for.
    to: u32,
    link: u32,
    linked: u32,
}

impl Way {
    const NEW: Self = Self { count: Counter::NONE, to: u32::MAX, link: 0, linked: 0 };
}

/// From a way to the next node.
#[derive(Clone, Copy, Debug)]
struct Link {
    way: u32,
    to: u32,
    cases: Stamped,
}

/// A path of runs.
#[derive(Clone, Copy, Debug)]
struct Path {
    cases: Stamped,
    first: CaseNumber,
}

/// The observer.
#[derive(Clone, Debug)]
pub struct CoverageObserver {
    rig: Arc<Rig>,
    layout: Layout,
    origin: u32,
    /// Of each word of the host ROM the number of the instruction there; 0 for none yet.
    host: Vec<u32>,
    /// The same of all other addresses.
    elsewhere: HashMap<u32, u32>,
    /// The first one is none.
    slots: Vec<Slot>,
    nodes: Vec<Node>,
    ways: Vec<Way>,
    /// What each way is.
    way_keys: Vec<WayKey>,
    links: Vec<Link>,
    link_numbers: HashMap<(u32, u32), u32>,
    /// From computed jumps to their targets.
    targets: HashMap<(u32, u32), Counter>,
    handlers: HashMap<(u8, u32), u32>,
    ends: Vec<(Stop, Counter)>,
    paths: HashMap<u64, Path>,
    header: HeaderWatch,
    cases: u64,
    case: CaseNumber,
    stamp: u32,
    /// The decisions of the run, and its accesses.
    path: u64,
    accesses: u64,
    /// The node of the instruction that runs; [`PLAIN`] when it is done.
    node: u32,
    /// The exception that a node has raised, and where the program would have gone on.
    diverted: Option<(Exception, u32)>,
    /// The way that was taken last.
    last: u32,
    /// Of each handler that runs, what `last` was before an interrupt; [`PLAIN`] for other exceptions, which are taken
    /// for calls.
    entered: Vec<u32>,
}

impl CoverageObserver {
    /// An observer for runs of a rig.
    pub fn new(rig: &Arc<Rig>, layout: &Layout) -> Self {
        let host = rig.map.host();
        let none = Slot { at: 0, node: PLAIN, count: Counter::default() };
        Self {
            rig: Arc::clone(rig),
            layout: layout.clone(),
            origin: host.origin(),
            host: vec![0; host.bytes().len().div_ceil(2)],
            elsewhere: HashMap::new(),
            slots: vec![none],
            nodes: Vec::new(),
            ways: vec![Way::NEW],
            way_keys: vec![WayKey::Entry],
            links: Vec::new(),
            link_numbers: HashMap::new(),
            targets: HashMap::new(),
            handlers: HashMap::new(),
            ends: Vec::new(),
            paths: HashMap::new(),
            header: HeaderWatch::new(layout),
            cases: 0,
            case: CaseNumber::default(),
            stamp: 0,
            path: 0,
            accesses: 0,
            node: PLAIN,
            diverted: None,
            last: 0,
            entered: Vec::with_capacity(NESTED),
        }
    }

    /// A case begins; its number is for finding it again.
    pub fn begin_case(&mut self, job: usize, case: u32) {
        self.stamp += 1;
        self.cases += 1;
        self.case = CaseNumber { job, case, fill: 0 };
    }

    /// A run of the case begins, under its RAM fill of this index.
    pub fn begin_run(&mut self, fill: usize) {
        self.case.fill = fill;
        (self.path, self.accesses) = (0, 0);
        self.node = PLAIN;
        self.diverted = None;
        self.last = 0;
        self.ways[0].count.count(self.stamp);
        self.entered.clear();
    }

    /// The run is over.
    pub fn finish_run(&mut self, outcome: &Outcome) {
        self.settle_fault();
        self.path = mix(self.path, u64::from(outcome.last) << 32 | u64::from(outcome.pc));
        let number = self.end(outcome);
        self.ends[number as usize].1.count(self.stamp);
        self.link(ENDS + number);
        let path = self.path();
        let path = self.paths.entry(path).or_insert(Path { cases: Stamped::default(), first: self.case });
        path.cases.count(self.stamp);
        path.first = path.first.min(self.case);
    }

    /// All runs of the case are over; `image` was attached.
    pub fn finish_case(&mut self, image: Option<&Image>) {
        self.header.finish_case(image, self.stamp);
    }

    /// A hash of all that the last run did: where each decision, return and exception led, where it ended, and each
    /// access with its address, its place in the attached image, and what it wrote to a port. What stands between
    /// follows from these. Runs of one path differ in values only.
    pub fn path(&self) -> u64 {
        mix(self.path, self.accesses)
    }

    /// What was seen so far.
    pub fn gathered(&self) -> Gathered {
        let spots = self.slots.iter().skip(1).map(|slot| (slot.at, slot.count.counts()));
        let ways = self.way_keys.iter().zip(&self.ways).map(|(key, way)| (*key, way.count.counts()));
        let links = self.links.iter().map(|link| {
            let to = match link.to.checked_sub(ENDS) {
                Some(end) => Goal::Stop(self.ends[end as usize].0.clone()),
                None => Goal::Node(self.nodes[link.to as usize].at),
            };
            ((self.way_keys[link.way as usize], to), link.cases.cases)
        });
        let targets = self.targets.iter().map(|((node, to), counter)| {
            let from = self.nodes[*node as usize].at;
            ((from, *to), counter.counts())
        });
        let paths = self.paths.iter();
        Gathered {
            cases: self.cases,
            spots: spots.collect(),
            ways: ways.collect(),
            links: links.collect(),
            targets: targets.collect(),
            stops: self.ends.iter().map(|(stop, counter)| (stop.clone(), counter.counts())).collect(),
            paths: paths.map(|(hash, path)| (*hash, PathSeen { cases: path.cases.cases, first: path.first })).collect(),
            followed: Followed::default(),
            header: self.header.gathered(),
        }
    }

    /// The number of the instruction at an address that the dense table does not know.
    #[cold]
    fn find(&mut self, at: u32, bus: &Bus) -> u32 {
        if let Some(number) = self.elsewhere.get(&at) {
            return *number;
        }
        let number = self.slots.len() as u32;
        let place = at.wrapping_sub(self.origin) as usize / 2;
        match self.host.get_mut(place) {
            Some(entry) if at >= self.origin => *entry = number,
            _ => {
                self.elsewhere.insert(at, number);
            }
        }
        let node = self.classify(at, bus);
        self.slots.push(Slot { at, node, count: Counter::default() });
        number
    }

    fn classify(&mut self, at: u32, bus: &Bus) -> u32 {
        let map = Arc::clone(&self.rig.map);
        let decoded = decode(at, |at| map.code_word(at).unwrap_or_else(|| bus.peek_word(at)));
        let kind = match decoded.control() {
            Control::Branch(target) => NodeKind::Branch { target, next: at.wrapping_add(decoded.length) },
            Control::ComputedJump | Control::ComputedCall => NodeKind::Computed,
            Control::ExceptionReturn => return HANDLER_RETURN,
            Control::Return => return LEADS,
            _ if map.code_word(at).is_none() => return LEADS,
            _ => return PLAIN,
        };
        let way = match kind {
            NodeKind::Branch { .. } => {
                let way = self.way(WayKey::Branch { at, taken: true });
                self.way(WayKey::Branch { at, taken: false });
                way
            }
            NodeKind::Computed => self.way(WayKey::Jump { at }),
        };
        self.nodes.push(Node { at, way, kind });
        self.nodes.len() as u32 - 1
    }

    fn way(&mut self, from: WayKey) -> u32 {
        self.ways.push(Way::NEW);
        self.way_keys.push(from);
        self.ways.len() as u32 - 1
    }

    /// The number of an end.
    fn end(&mut self, outcome: &Outcome) -> u32 {
        let stop = match outcome.end {
            End::Branch(index) => Stop::Branch(index),
            _ => Stop::Other(short_ending(outcome, Names { rig: &self.rig, layout: &self.layout })),
        };
        let known = self.ends.iter().position(|(other, _)| *other == stop);
        let number = known.unwrap_or_else(|| {
            self.ends.push((stop, Counter::default()));
            self.ends.len() - 1
        });
        number as u32
    }

    /// The way taken last leads to this node or end.
    #[inline]
    fn link(&mut self, to: u32) {
        let last = &self.ways[self.last as usize];
        if last.to != to || last.linked != self.stamp {
            self.link_anew(to);
        }
    }

    /// The same for a case that has not gone there yet, or not the last time.
    #[inline(never)]
    fn link_anew(&mut self, to: u32) {
        let last = &mut self.ways[self.last as usize];
        if last.to != to {
            let next = self.links.len() as u32;
            let link = *self.link_numbers.entry((self.last, to)).or_insert(next);
            if link == next {
                self.links.push(Link { way: self.last, to, cases: Stamped::default() });
            }
            (last.to, last.link) = (to, link);
        }
        last.linked = self.stamp;
        self.links[last.link as usize].cases.count(self.stamp);
    }

    #[inline]
    fn take(&mut self, way: u32) {
        self.ways[way as usize].count.count(self.stamp);
        self.last = way;
    }

    /// A node was left for an address.
    #[inline(never)]
    fn turn(&mut self, number: u32, to: u32) {
        self.link(number);
        let Node { at, way, kind } = self.nodes[number as usize];
        self.path = mix(self.path, u64::from(at) << 32 | u64::from(to));
        match kind {
            NodeKind::Branch { next, .. } => self.take(way + u32::from(to == next)),
            NodeKind::Computed => {
                self.take(way);
                self.targets.entry((number, to)).or_default().count(self.stamp);
            }
        }
    }

    /// An instruction is done that does not lead to one place only.
    #[inline]
    fn leave(&mut self, from: u32, to: u32) {
        if self.node < LEADS && self.diverted.is_none() {
            return self.turn(self.node, to);
        }
        self.leave_otherwise(from, to);
    }

    #[inline(never)]
    fn leave_otherwise(&mut self, from: u32, to: u32) {
        self.path = mix(self.path, u64::from(from) << 32 | u64::from(to));
        match self.node {
            LEADS | PLAIN => {}
            HANDLER_RETURN => self.last = self.entered.pop().filter(|last| *last != PLAIN).unwrap_or(self.last),
            node => {
                if let Some((exception, from)) = self.diverted.take() {
                    self.divert(node, exception, from);
                }
            }
        }
    }

    /// Mixes an access into the path.
    #[inline]
    fn access(&mut self, access: &Access, value: u16) {
        let offset = access.offset.map_or(0, |offset| u64::from(offset) + 1);
        let value = u64::from(value) << 25;
        self.accesses = mix(self.accesses, u64::from(access.address) << 40 ^ value ^ offset);
    }

    /// The run ended within an instruction.
    fn settle_fault(&mut self) {
        if self.node < LEADS {
            self.fail(self.node);
        }
    }

    /// A node was not left in the ordinary way. A branch to an odd address fails only if it is taken; a computed jump
    /// has no target that could be named.
    fn fail(&mut self, number: u32) {
        self.link(number);
        let Node { way, kind, .. } = self.nodes[number as usize];
        match kind {
            NodeKind::Branch { target, .. } if target.is_multiple_of(2) => {}
            NodeKind::Branch { .. } | NodeKind::Computed => self.take(way),
        }
    }

    /// A node has raised an exception: after a trace it is where the program would have gone on that counts.
    #[cold]
    fn divert(&mut self, number: u32, exception: Exception, from: u32) {
        if exception == Exception::Trace { self.turn(number, from) } else { self.fail(number) }
    }
}

impl Observer for CoverageObserver {
    #[inline]
    fn fetch(&mut self, at: u32, _: &Registers, bus: &Bus) {
        let place = at.wrapping_sub(self.origin) as usize / 2;
        let number = match self.host.get(place) {
            Some(number) if *number != 0 => *number,
            _ => self.find(at, bus),
        };
        let slot = &mut self.slots[number as usize];
        slot.count.count(self.stamp);
        self.node = slot.node;
    }

    #[inline]
    fn read(&mut self, access: &Access) {
        self.access(access, 0);
        if let Some(offset) = access.offset {
            let bytes = if access.size == PortSize::Word { 2 } else { 1 };
            self.header.read(offset, bytes, self.stamp);
        }
    }

    #[inline]
    fn write(&mut self, access: &Access) {
        // What is written to a latch decides which code shows.
        let value = if let Place::Port(_) = access.place { access.value } else { 0 };
        self.access(access, value);
    }

    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        self.path = mix(self.path, u64::from(from) << 32 | u64::from(to));
        if self.entered.len() == NESTED {
            self.entered.remove(0);
        }
        let Exception::Interrupt(level) = exception else {
            self.entered.push(PLAIN);
            if self.node < LEADS {
                self.diverted.get_or_insert((exception, from));
            }
            return;
        };
        self.entered.push(self.last);
        let known = self.handlers.get(&(level, to)).copied();
        let way = known.unwrap_or_else(|| self.way(WayKey::Handler { level, at: to }));
        self.handlers.insert((level, to), way);
        self.take(way);
    }

    #[inline]
    fn edge(&mut self, from: u32, to: u32) {
        if self.node != PLAIN {
            self.leave(from, to);
            self.node = PLAIN;
        }
    }
}
