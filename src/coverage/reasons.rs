//! Why to care about a direction that no case took: what lies behind it and only behind it.
//!
//! That is a question of dominance: of the code that no case reached, a direction answers for what can be entered
//! through it only. The graph has a root for all that was reached, a vertex for each direction never taken of a branch
//! that was reached, and one for each instruction that was not. Dominators after Cooper, Harvey and Kennedy, "A Simple,
//! Fast Dominance Algorithm" (2001), from memory.

use std::collections::{BTreeMap, BTreeSet};

use super::flow::Flow;
use super::gather::{Gathered, Stop, WayKey};
use super::model::NeverTaken;
use super::stretches;
use crate::cpu::Control;
use crate::run::Exit;
use crate::verdict::Names;

/// A vertex of the graph.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Vertex {
    Root,
    /// A direction never taken.
    Direction(u32, bool),
    /// An instruction that no case reached.
    Code(u32),
}

/// The directions that no case took, in order of address, the one to the target first.
pub fn never_taken(flow: &Flow, gathered: &Gathered, names: Names) -> Vec<NeverTaken> {
    let behind = behind(flow, gathered);
    let symbols = names.rig.map.host().symbols();
    let mut list = Vec::new();
    for (at, step) in &flow.steps {
        let Control::Branch(target) = step.control else { continue };
        for (taken, to) in [(true, target), (false, step.next())] {
            if is_taken(gathered, *at, taken) {
                continue;
            }
            let reached = gathered.spots.contains_key(at);
            let why = if reached {
                let none = BTreeSet::new();
                why(flow, gathered, to, behind.get(&(*at, taken)).unwrap_or(&none), names)
            } else {
                "no case reaches the branch itself".to_owned()
            };
            list.push(NeverTaken {
                at: names.spot(*at),
                instruction: step.decoded.text(symbols),
                taken,
                to: names.spot(to),
                reached,
                why,
            });
        }
    }
    list
}

fn is_taken(gathered: &Gathered, at: u32, taken: bool) -> bool {
    gathered.ways.get(&WayKey::Branch { at, taken }).is_some_and(|counts| counts.cases > 0)
}

fn why(flow: &Flow, gathered: &Gathered, to: u32, behind: &BTreeSet<u32>, names: Names) -> String {
    if !behind.is_empty() {
        let code = stretches::words(&stretches::of_flow(flow, behind.iter().copied(), names));
        let exits = behind.iter().filter_map(|at| flow.steps.get(at)).flat_map(|step| flow.successors(step));
        let exits: BTreeSet<u32> = exits.filter(|to| flow.is_exit(*to)).collect();
        let never = exits.iter().flat_map(|exit| branches_at(*exit, names)).filter(|index| !came_to(gathered, *index));
        let never: Vec<usize> = never.collect();
        let branches = match never.len() {
            0 => String::new(),
            _ => format!("; none takes {}", names.branches(&never)),
        };
        return format!("no case reaches {code}{branches}");
    }
    if flow.is_exit(to) {
        let there: Vec<usize> = branches_at(to, names).collect();
        return if there.iter().any(|index| came_to(gathered, *index)) {
            format!("{} is reached another way; this direction is not tried", names.branches(&there))
        } else {
            format!("no case takes {}", names.branches(&there))
        };
    }
    if gathered.spots.contains_key(&to) {
        return "its target is reached another way; this direction is not tried".to_owned();
    }
    if !to.is_multiple_of(2) {
        return "it leads to an odd address, which is an address error".to_owned();
    }
    match flow.steps.contains_key(&to) {
        true => "no case reaches its target, to which other directions lead too".to_owned(),
        false => "it leads out of the host's code".to_owned(),
    }
}

fn branches_at(exit: u32, names: Names) -> impl Iterator<Item = usize> {
    let branches = names.rig.branches.iter().enumerate();
    branches.filter(move |(_, branch)| branch.exit == Exit::At(exit)).map(|(index, _)| index)
}

fn came_to(gathered: &Gathered, branch: usize) -> bool {
    gathered.stops.contains_key(&Stop::Branch(branch))
}

/// For each direction never taken of a branch that was reached: the unreached instructions only behind it.
fn behind(flow: &Flow, gathered: &Gathered) -> BTreeMap<(u32, bool), BTreeSet<u32>> {
    let (order, idom) = dominators(&edges(flow, gathered));
    // In this order a vertex comes after the one that dominates it, so each knows by then which direction answers for
    // it. A direction hangs on the root only, so there is at most one.
    let mut answers: Vec<Option<(u32, bool)>> = Vec::with_capacity(order.len());
    let mut behind: BTreeMap<(u32, bool), BTreeSet<u32>> = BTreeMap::new();
    for (vertex, idom) in order.iter().zip(idom) {
        let answer = match vertex {
            Vertex::Root => None,
            Vertex::Direction(at, taken) => Some((*at, *taken)),
            Vertex::Code(at) => {
                let answer = answers.get(idom).copied().flatten();
                if let Some(direction) = answer {
                    behind.entry(direction).or_default().insert(*at);
                }
                answer
            }
        };
        answers.push(answer);
    }
    behind
}

/// The edges of the graph.
fn edges(flow: &Flow, gathered: &Gathered) -> BTreeMap<Vertex, Vec<Vertex>> {
    let unreached = |at: &u32| flow.steps.contains_key(at) && !gathered.spots.contains_key(at);
    let mut edges: BTreeMap<Vertex, Vec<Vertex>> = BTreeMap::new();
    for (at, step) in &flow.steps {
        let to: Vec<u32> = flow.successors(step).into_iter().filter(unreached).collect();
        let from = if unreached(at) { Vertex::Code(*at) } else { Vertex::Root };
        match step.control {
            Control::Branch(target) if from == Vertex::Root => {
                for (taken, to) in [(true, target), (false, step.next())] {
                    let direction = Vertex::Direction(*at, taken);
                    let never = !is_taken(gathered, *at, taken);
                    let source = if never { direction } else { Vertex::Root };
                    if never {
                        edges.entry(Vertex::Root).or_default().push(direction);
                    }
                    edges.entry(source).or_default().extend(unreached(&to).then_some(Vertex::Code(to)));
                }
            }
            _ => edges.entry(from).or_default().extend(to.into_iter().map(Vertex::Code)),
        }
    }
    let starts = flow.starts().filter(unreached).map(Vertex::Code);
    edges.entry(Vertex::Root).or_default().extend(starts);
    edges
}

/// The vertices in reverse postorder from the root, and of each the place of the one that dominates it at once.
fn dominators(edges: &BTreeMap<Vertex, Vec<Vertex>>) -> (Vec<Vertex>, Vec<usize>) {
    let order = reverse_postorder(edges);
    let place: BTreeMap<Vertex, usize> = order.iter().enumerate().map(|(place, vertex)| (*vertex, place)).collect();
    let mut before: Vec<Vec<usize>> = vec![Vec::new(); order.len()];
    for (from, vertex) in order.iter().enumerate() {
        for to in edges.get(vertex).into_iter().flatten() {
            before[place[to]].push(from);
        }
    }
    let unknown = usize::MAX;
    let mut idom = vec![unknown; order.len()];
    idom[0] = 0;
    let mut changed = true;
    while changed {
        changed = false;
        for vertex in 1..order.len() {
            let known = before[vertex].iter().copied().filter(|from| idom[*from] != unknown);
            let common = known.reduce(|left, right| intersect(&idom, left, right)).unwrap_or(0);
            if idom[vertex] != common {
                idom[vertex] = common;
                changed = true;
            }
        }
    }
    (order, idom)
}

fn intersect(idom: &[usize], mut left: usize, mut right: usize) -> usize {
    while left != right {
        while left > right {
            left = idom[left];
        }
        while right > left {
            right = idom[right];
        }
    }
    left
}

fn reverse_postorder(edges: &BTreeMap<Vertex, Vec<Vertex>>) -> Vec<Vertex> {
    let to = |vertex: Vertex| edges.get(&vertex).map_or(&[][..], Vec::as_slice);
    let mut seen = BTreeSet::from([Vertex::Root]);
    let mut order = Vec::new();
    let mut open = vec![(Vertex::Root, 0)];
    while let Some((vertex, next)) = open.last_mut() {
        match to(*vertex).get(*next) {
            Some(to) => {
                *next += 1;
                if seen.insert(*to) {
                    open.push((*to, 0));
                }
            }
            None => {
                order.push(*vertex);
                open.pop();
            }
        }
    }
    order.reverse();
    order
}
