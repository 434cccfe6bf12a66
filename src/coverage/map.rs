//! The decisions as a graph: what the runs did, and what they could have done.
//!
//! Edges that were taken are those that the observer saw, from one decision to the next. Edges that are possible only
//! come from the static flow, over straight code and through calls: a subroutine that decides nothing is stepped over,
//! any other one is entered. Its return leads to what stands behind its calls, as far as no case has been there; to
//! the places where cases have been, the runs have shown which way leads. (Were all of them drawn, each end of a common
//! subroutine would be tied to each of its calls.) Only where that leaves a decision without any way on, all are drawn.
//! Handlers of interrupts start graphs of their own; those of other exceptions are called by what raises them.

use std::collections::{BTreeMap, BTreeSet};

use super::flow::{Flow, Step};
use super::gather::{Gathered, Goal, Stop, WayKey};
use super::model::{DecisionMap, MapEdge, MapNode, NodeKind};
use crate::board::BUS_MASK;
use crate::cpu::{Control, Exception};
use crate::run::{Entry, Exit};
use crate::units;
use crate::verdict::Names;

/// What a node stands for; the order is that of the list.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    Entry,
    Handler { level: u8, at: u32 },
    Node(u32),
    Stop(Stop),
}

/// Makes the map.
pub fn decision_map(flow: &Flow, gathered: &Gathered, names: Names) -> DecisionMap {
    let statics = Statics::new(flow, gathered, names);
    let mut edges: BTreeMap<(Key, Order, Key), u64> = BTreeMap::new();
    for ((way, goal), cases) in &gathered.links {
        *edges.entry((leaves(way), order(way), leads(goal))).or_default() += cases;
    }
    let mut keys: BTreeSet<Key> = BTreeSet::from([Key::Entry]);
    keys.extend(flow.steps.iter().filter(|(_, step)| decides(step)).map(|(at, _)| Key::Node(*at)));
    keys.extend((0..names.rig.branches.len()).map(|index| Key::Stop(Stop::Branch(index))));
    for (way, starts) in statics.ways() {
        for goal in statics.goals(&starts) {
            edges.entry((leaves(&way), order(&way), leads(&goal))).or_insert(0);
        }
        keys.insert(leaves(&way));
    }
    keys.extend(edges.keys().flat_map(|(from, _, to)| [from.clone(), to.clone()]));
    let places: BTreeMap<&Key, usize> = keys.iter().enumerate().map(|(place, key)| (key, place)).collect();
    let edge = |((from, order, to), cases): (&(Key, Order, Key), &u64)| MapEdge {
        from: places[from],
        to: places[to],
        taken: order.0.map(|fell| !fell),
        cases: *cases,
    };
    DecisionMap {
        nodes: keys.iter().map(|key| node(key, flow, gathered, names)).collect(),
        edges: edges.iter().map(edge).collect(),
    }
}

/// Whether the way falls through, if it is one of two: so the one to the target comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Order(Option<bool>);

fn order(way: &WayKey) -> Order {
    match way {
        WayKey::Branch { taken, .. } => Order(Some(!taken)),
        _ => Order(None),
    }
}

fn leaves(way: &WayKey) -> Key {
    match *way {
        WayKey::Entry => Key::Entry,
        WayKey::Branch { at, .. } | WayKey::Jump { at } => Key::Node(at),
        WayKey::Handler { level, at } => Key::Handler { level, at },
    }
}

fn leads(goal: &Goal) -> Key {
    match goal {
        Goal::Node(at) => Key::Node(*at),
        Goal::Stop(stop) => Key::Stop(stop.clone()),
    }
}

fn decides(step: &Step) -> bool {
    matches!(step.control, Control::Branch(_) | Control::ComputedJump | Control::ComputedCall)
}

fn node(key: &Key, flow: &Flow, gathered: &Gathered, names: Names) -> MapNode {
    let name_at = |at: u32| names.spot(at).symbol.unwrap_or_else(|| units::address(at));
    let here =
        |kind, name: String, at: u32, cases| MapNode { kind, name, at: Some(names.spot(at)), instruction: None, cases };
    let cases_at = |at: &u32| gathered.spots.get(at).map_or(0, |counts| counts.cases);
    match key {
        Key::Entry => here(NodeKind::Entry, name_at(flow.entry), flow.entry, gathered.cases),
        Key::Handler { level, at } => {
            let way = WayKey::Handler { level: *level, at: *at };
            let cases = gathered.ways.get(&way).map_or(0, |counts| counts.cases);
            here(NodeKind::Handler, Exception::Interrupt(*level).name(), *at, cases)
        }
        Key::Node(at) => {
            let computed = gathered.ways.contains_key(&WayKey::Jump { at: *at });
            let step = flow.steps.get(at);
            let branch = step.map_or(!computed, |step| matches!(step.control, Control::Branch(_)));
            let kind = if branch { NodeKind::Decision } else { NodeKind::Jump };
            let text = step.map(|step| step.decoded.text(names.rig.map.host().symbols()));
            MapNode { instruction: text, ..here(kind, name_at(*at), *at, cases_at(at)) }
        }
        Key::Stop(stop) => {
            let cases = gathered.stops.get(stop).map_or(0, |counts| counts.cases);
            match stop {
                Stop::Branch(index) => {
                    let branch = &names.rig.branches[*index];
                    let at = match branch.exit {
                        Exit::At(address) => Some(names.spot(address)),
                        Exit::Return => None,
                    };
                    MapNode { kind: NodeKind::Branch, name: branch.name.clone(), at, instruction: None, cases }
                }
                Stop::Other(words) => {
                    MapNode { kind: NodeKind::Other, name: words.clone(), at: None, instruction: None, cases }
                }
            }
        }
    }
}

/// What is needed to follow the static flow from decision to decision.
struct Statics<'a> {
    flow: &'a Flow,
    gathered: &'a Gathered,
    names: Names<'a>,
    /// Of each return the places behind the calls of its subroutines.
    returns: BTreeMap<u32, BTreeSet<u32>>,
    /// Returns to the routine's caller.
    last_returns: BTreeSet<u32>,
    /// Subroutines in which no decision stands, those that they call included.
    plain: BTreeSet<u32>,
}

impl<'a> Statics<'a> {
    fn new(flow: &'a Flow, gathered: &'a Gathered, names: Names<'a>) -> Self {
        let mut behind: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
        for subroutine in flow.subroutines() {
            behind.entry(subroutine).or_default().extend(flow.behind_calls(subroutine));
        }
        for (at, step) in flow.steps.iter().filter(|(_, step)| step.control == Control::ComputedCall) {
            for target in flow.seen(*at) {
                behind.entry(target).or_default().insert(step.next());
            }
        }
        let returns_of = |start: u32| {
            let body = flow.walk(start, |_| {});
            body.into_iter().filter(|at| flow.steps[at].control == Control::Return)
        };
        let mut returns: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
        for (subroutine, places) in &behind {
            for at in returns_of(*subroutine) {
                returns.entry(at).or_default().extend(places);
            }
        }
        let called = names.rig.routine.entry != Entry::Reset;
        let last_returns = if called { returns_of(flow.entry).collect() } else { BTreeSet::new() };
        let plain = plain(flow, behind.keys().copied());
        Self { flow, gathered, names, returns, last_returns, plain }
    }

    /// Every way, with the addresses to which it leads at once.
    fn ways(&self) -> Vec<(WayKey, Vec<u32>)> {
        let mut ways = vec![(WayKey::Entry, vec![self.flow.entry])];
        for device in &self.names.rig.interrupts {
            let vector = self.names.rig.map.host().long(u32::from(device.vector()) * 4);
            let handler = vector.map(|at| at & BUS_MASK).filter(|at| self.flow.steps.contains_key(at));
            ways.extend(handler.map(|at| (WayKey::Handler { level: device.level, at }, vec![at])));
        }
        for (at, step) in &self.flow.steps {
            let at = *at;
            match step.control {
                Control::Branch(target) => {
                    ways.push((WayKey::Branch { at, taken: true }, vec![target]));
                    ways.push((WayKey::Branch { at, taken: false }, vec![step.next()]));
                }
                Control::ComputedJump | Control::ComputedCall => {
                    ways.push((WayKey::Jump { at }, self.flow.seen(at).collect()));
                }
                _ => {}
            }
        }
        ways
    }

    /// The decisions and branches to which these addresses lead.
    fn goals(&self, starts: &[u32]) -> BTreeSet<Goal> {
        let goals = self.follow(starts, false);
        if goals.is_empty() { self.follow(starts, true) } else { goals }
    }

    fn follow(&self, starts: &[u32], everywhere: bool) -> BTreeSet<Goal> {
        let mut goals = BTreeSet::new();
        let mut seen = BTreeSet::new();
        let mut waiting = starts.to_vec();
        while let Some(at) = waiting.pop() {
            if !seen.insert(at) {
                continue;
            }
            if self.flow.is_exit(at) {
                goals.extend(self.branches(Exit::At(at)));
                continue;
            }
            let Some(step) = self.flow.steps.get(&at) else { continue };
            match step.control {
                _ if decides(step) => {
                    goals.insert(Goal::Node(at));
                }
                Control::Call(target) if self.plain.contains(&target) => waiting.extend(self.flow.within(step)),
                Control::Call(target) => waiting.push(target),
                Control::Return => {
                    let behind = self.returns.get(&at).into_iter().flatten();
                    waiting.extend(behind.filter(|to| everywhere || !self.gathered.spots.contains_key(to)));
                    if self.last_returns.contains(&at) {
                        goals.extend(self.branches(Exit::Return));
                    }
                }
                _ => waiting.extend(self.flow.successors(step)),
            }
        }
        goals
    }

    fn branches(&self, exit: Exit) -> impl Iterator<Item = Goal> {
        let branches = self.names.rig.branches.iter().enumerate();
        branches.filter(move |(_, branch)| branch.exit == exit).map(|(index, _)| Goal::Stop(Stop::Branch(index)))
    }
}

/// The subroutines in which no decision stands.
fn plain(flow: &Flow, subroutines: impl Iterator<Item = u32>) -> BTreeSet<u32> {
    let bodies: BTreeMap<u32, BTreeSet<u32>> = subroutines.map(|at| (at, flow.walk(at, |_| {}))).collect();
    let mut deciding: BTreeSet<u32> = BTreeSet::new();
    loop {
        let decides = |at: &u32| match flow.steps[at].control {
            Control::Call(target) => deciding.contains(&target),
            // A handler may decide.
            Control::Trap(_) | Control::MayTrap(_) | Control::Raises(_) => true,
            _ => decides(&flow.steps[at]),
        };
        let more = bodies.iter().filter(|(at, body)| !deciding.contains(at) && body.iter().any(decides));
        let more: Vec<u32> = more.map(|(at, _)| *at).collect();
        if more.is_empty() {
            return bodies.into_keys().filter(|at| !deciding.contains(at)).collect();
        }
        deciding.extend(more);
    }
}
