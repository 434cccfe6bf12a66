//! The order in which states are run: loops before what follows them, calls before what follows them, so that paths have
//! come together where they can. A poor order costs time and never soundness.

use std::collections::{BTreeMap, BTreeSet};

use super::graph::Graph;
use super::live::{Live, Location};

/// How deep loops are told apart.
const DEEPEST: usize = 32;

/// The most calls within each other that are told apart.
const MOST_FRAMES: usize = 64;

/// Where an instruction stands in its function.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Place {
    /// The heads of the loops around it, the outermost first, by their index.
    loops: Vec<u32>,
    index: u32,
    /// The registers that DBcc counts down in these loops.
    counters: Live,
}

/// The order of the instructions of each function.
#[derive(Clone, Debug, Default)]
pub struct Order {
    functions: BTreeMap<u32, BTreeMap<u32, Place>>,
}

/// A function that has been entered and not left.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Frame {
    function: u32,
    /// Where it returns to; the outermost returns nowhere.
    back: Option<u32>,
    /// The loops it is in: the index of each head, and how often that was come back to.
    loops: Vec<(u32, u32)>,
    index: u32,
}

/// Where a state stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position(Vec<Frame>);

/// How one instruction led to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Within a function.
    Within,
    /// Into a subroutine or a handler that returns there.
    Into {
        /// The return address.
        back: u32,
    },
    /// A return.
    Back,
}

impl Order {
    /// The order of a graph.
    pub fn new(graph: &Graph) -> Self {
        let functions = graph.functions.iter().map(|function| (*function, order_of(graph, *function)));
        Self { functions: functions.collect() }
    }

    fn place(&self, function: u32, pc: u32) -> Option<&Place> {
        self.functions.get(&function)?.get(&pc)
    }

    /// The registers that count the loops in which a state stands.
    pub fn counters(&self, position: &Position, pc: u32) -> Live {
        let place = position.0.last().and_then(|frame| self.place(frame.function, pc));
        place.map_or(Live::default(), |place| place.counters)
    }

    /// Whether a step leads out of every loop that the instruction is in.
    pub fn leaves_all_loops(&self, from: u32, to: u32) -> bool {
        self.functions.values().any(|places| {
            places.get(&from).is_some_and(|place| {
                !place.loops.is_empty() && places.get(&to).is_none_or(|other| other.loops.is_empty())
            })
        })
    }

    /// The start of the routine.
    pub fn start(&self, entry: u32) -> Position {
        let mut position = Position(Vec::new());
        position.enter(self, entry, None);
        position
    }
}

impl Position {
    /// What states are sorted by.
    pub fn key(&self) -> Vec<u32> {
        let mut key = Vec::with_capacity(8);
        for frame in &self.0 {
            key.extend(frame.loops.iter().flat_map(|(head, turn)| [*head, *turn]));
            key.push(frame.index);
        }
        key
    }

    /// Goes on to an instruction. Whether a loop was closed, and how often its head has been come back to.
    pub fn go(&mut self, order: &Order, to: u32, how: Move) -> Option<u32> {
        match how {
            Move::Into { back } if self.0.len() < MOST_FRAMES => {
                self.enter(order, to, Some(back));
                return None;
            }
            Move::Back if self.0.len() > 1 && self.0.last().is_some_and(|frame| frame.back == Some(to)) => {
                self.0.pop();
            }
            _ => {}
        }
        let frame = self.0.last_mut()?;
        let place = order.place(frame.function, to)?;
        let mut closed = None;
        let kept = frame.loops.iter().zip(&place.loops).take_while(|((head, _), other)| head == *other).count();
        frame.loops.truncate(kept);
        // The head of the innermost loop that it was in already: one turn more.
        if let Some((head, turn)) = frame.loops.last_mut()
            && *head == place.index
            && kept == place.loops.len()
        {
            *turn += 1;
            closed = Some(*turn);
        }
        frame.loops.extend(place.loops[kept..].iter().map(|head| (*head, 0)));
        frame.index = place.index;
        closed
    }

    fn enter(&mut self, order: &Order, function: u32, back: Option<u32>) {
        let place = order.place(function, function).cloned().unwrap_or_default();
        let loops = place.loops.iter().map(|head| (*head, 0)).collect();
        self.0.push(Frame { function, back, loops, index: place.index });
    }
}

/// The order of a function: its strongly connected parts in the order of flow, each with its head first and then ordered
/// again without the way back to it.
fn order_of(graph: &Graph, function: u32) -> BTreeMap<u32, Place> {
    let mut members = BTreeSet::new();
    let mut waiting = vec![function];
    while let Some(at) = waiting.pop() {
        if members.insert(at) && !graph.is_exit(at) {
            waiting.extend(graph.within(at));
        }
    }
    let mut arranger = Arranger { graph, next: 0, loops: Vec::new(), places: BTreeMap::new() };
    arranger.arrange(&members, &[function], Live::default());
    arranger.places
}

/// Gives each instruction of a function its place.
struct Arranger<'a> {
    graph: &'a Graph,
    next: u32,
    loops: Vec<u32>,
    places: BTreeMap<u32, Place>,
}

impl Arranger<'_> {
    /// Orders a part of a function; `starts` are where the flow comes in.
    fn arrange(&mut self, members: &BTreeSet<u32>, starts: &[u32], counters: Live) {
        for mut part in components(self.graph, members, starts) {
            // Deep in loops any order will do.
            if self.loops.len() == DEEPEST {
                part.drain(..).for_each(|at| self.put(at, counters));
                continue;
            }
            let head = part[0];
            let turns = part.len() > 1 || self.graph.within(head).contains(&head);
            if !turns {
                self.put(head, counters);
                continue;
            }
            let counters = part.iter().filter_map(|at| counter(self.graph, *at)).fold(counters, Live::with);
            self.loops.push(self.next);
            self.put(head, counters);
            let inner: BTreeSet<u32> = part[1..].iter().copied().collect();
            self.arrange(&inner, &self.graph.within(head), counters);
            self.loops.pop();
        }
    }

    fn put(&mut self, at: u32, counters: Live) {
        self.places.insert(at, Place { loops: self.loops.clone(), index: self.next, counters });
        self.next += 1;
    }
}

/// The register that a DBcc counts down.
fn counter(graph: &Graph, at: u32) -> Option<Location> {
    let opcode = graph.nodes.get(&at)?.decoded.instruction().opcode;
    (opcode & 0xF0F8 == 0x50C8).then(|| Location::Data((opcode & 7).into()))
}

/// The strongly connected parts, in the order of flow; of each the instruction that the search met first stands first.
/// Tarjan's algorithm with a stack of its own.
fn components(graph: &Graph, members: &BTreeSet<u32>, starts: &[u32]) -> Vec<Vec<u32>> {
    let mut search = Search { graph, members, met: BTreeMap::new(), open: Vec::new(), found: Vec::new() };
    for start in starts.iter().chain(members) {
        search.from(*start);
    }
    search.found.reverse();
    search.found
}

/// One search for components.
struct Search<'a> {
    graph: &'a Graph,
    members: &'a BTreeSet<u32>,
    /// When an instruction was met, the earliest one that it leads back to, and whether its part is still open.
    met: BTreeMap<u32, (u32, u32, bool)>,
    open: Vec<u32>,
    found: Vec<Vec<u32>>,
}

impl Search<'_> {
    fn from(&mut self, start: u32) {
        let mut path: Vec<(u32, Vec<u32>)> = Vec::new();
        self.meet(start, &mut path);
        while let Some((at, left)) = path.last_mut() {
            let at = *at;
            let Some(to) = left.pop() else {
                path.pop();
                self.leave(at, path.last().map(|(before, _)| *before));
                continue;
            };
            match self.met.get(&to) {
                None => self.meet(to, &mut path),
                Some((when, _, true)) => {
                    let when = *when;
                    self.lower(at, when);
                }
                Some(_) => {}
            }
        }
    }

    fn meet(&mut self, at: u32, path: &mut Vec<(u32, Vec<u32>)>) {
        if !self.members.contains(&at) || self.met.contains_key(&at) {
            return;
        }
        let when = self.met.len() as u32;
        self.met.insert(at, (when, when, true));
        self.open.push(at);
        let mut to = if self.graph.is_exit(at) { Vec::new() } else { self.graph.within(at) };
        to.retain(|to| self.members.contains(to));
        path.push((at, to));
    }

    fn lower(&mut self, at: u32, to: u32) {
        if let Some((_, low, _)) = self.met.get_mut(&at) {
            *low = (*low).min(to);
        }
    }

    fn leave(&mut self, at: u32, before: Option<u32>) {
        let Some((when, low, _)) = self.met.get(&at).copied() else { return };
        if when == low {
            // The one met first stands first: `open` is in the order of meeting.
            let from = self.open.iter().rposition(|open| *open == at).unwrap_or(0);
            let part = self.open.split_off(from);
            for member in &part {
                if let Some((_, _, open)) = self.met.get_mut(member) {
                    *open = false;
                }
            }
            self.found.push(part);
        } else if let Some(before) = before {
            self.lower(before, low);
        }
    }
}
