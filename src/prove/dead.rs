//! What no input reaches: instructions of the routine, and entries of tables in the ROM.

use std::collections::{BTreeMap, BTreeSet};

use super::answer::{DeadCode, DeadEntry};
use super::explored::Taken;
use super::gates::Evidence;
use super::ground::Logic;
use super::logic::{Model, Tape, Term};
use super::order::Order;
use super::study::Study;
use super::unknowns::any;
use crate::suite::Harness;

/// The longest text of an entry that is shown.
const SHOWN: usize = 16;

/// Finds out of many guards which are possible. Models that are known answer most questions at once.
struct Possible<'a> {
    logic: &'a mut Logic,
    evidence: &'a mut Evidence,
    guards: Vec<Term>,
    tape: Tape,
    /// The guards that hold under some model.
    alive: BTreeSet<Term>,
}

impl<'a> Possible<'a> {
    fn new(logic: &'a mut Logic, evidence: &'a mut Evidence, guards: BTreeSet<Term>, models: &[Model]) -> Self {
        let guards: Vec<Term> = guards.into_iter().collect();
        let tape = logic.terms.tape(&guards);
        let mut possible = Self { logic, evidence, guards, tape, alive: BTreeSet::new() };
        models.iter().for_each(|model| possible.learn(model));
        possible
    }

    fn learn(&mut self, model: &Model) {
        self.tape.load(model);
        self.tape.run();
        let holding = self.guards.iter().zip(self.tape.numbers()).filter(|(_, number)| *number == 1);
        self.alive.extend(holding.map(|(guard, _)| *guard));
    }

    /// Whether any of these guards can hold.
    fn any(&mut self, guards: &[Term]) -> bool {
        if guards.iter().any(|guard| self.alive.contains(guard)) {
            return true;
        }
        let some = any(&mut self.logic.terms, guards.iter().copied());
        match self.evidence.never(self.logic, &[some]) {
            Some(Ok(_)) => false,
            Some(Err(model)) => {
                self.learn(&model);
                true
            }
            None => true,
        }
    }
}

/// Instructions that the code leads to and no input reaches.
pub fn dead_code(
    logic: &mut Logic,
    evidence: &mut Evidence,
    harness: &Harness,
    studies: &[Study],
    models: &[Model],
) -> Vec<DeadCode> {
    let mut nodes: BTreeMap<u32, u32> = BTreeMap::new();
    let mut reached: BTreeMap<u32, Vec<Term>> = BTreeMap::new();
    for study in studies {
        if let Some(graph) = &study.explored.graph {
            nodes.extend(graph.nodes.iter().map(|(at, node)| (*at, node.next())));
        }
        for (at, guards) in &study.explored.reached {
            reached.entry(*at).or_default().extend(guards);
        }
    }
    let guards = reached.values().flatten().copied().collect();
    let mut possible = Possible::new(logic, evidence, guards, models);
    let mut known: BTreeMap<Vec<Term>, bool> = BTreeMap::new();
    let mut list: Vec<DeadCode> = Vec::new();
    let mut behind = None;
    for (at, next) in nodes {
        let alive = match reached.get(&at) {
            None => false,
            Some(guards) => *known.entry(guards.clone()).or_insert_with(|| possible.any(guards)),
        };
        if alive {
            continue;
        }
        match list.last_mut().filter(|_| behind == Some(at)) {
            Some(stretch) => {
                stretch.last = at;
                stretch.count += 1;
            }
            None => list.push(DeadCode { at: harness.names().spot(at), last: at, count: 1 }),
        }
        behind = Some(next);
    }
    list
}

/// Entries of tables that are walked and never found: of a way out of the walk that others take with another pointer.
pub fn dead_entries(
    logic: &mut Logic,
    evidence: &mut Evidence,
    harness: &Harness,
    studies: &[Study],
    models: &[Model],
) -> Vec<DeadEntry> {
    let mut taken: BTreeMap<(u32, u32), Vec<Taken>> = BTreeMap::new();
    for study in studies {
        let Some(graph) = &study.explored.graph else { continue };
        let order = Order::new(graph);
        for ((from, to), ways) in &study.explored.taken {
            if order.leaves_all_loops(*from, *to) {
                taken.entry((*from, *to)).or_default().extend(ways.iter().cloned());
            }
        }
    }
    let guards = taken.values().flatten().map(|way| way.guard).collect();
    let mut possible = Possible::new(logic, evidence, guards, models);
    let mut list: Vec<DeadEntry> = Vec::new();
    for ((from, _), ways) in taken {
        let Some(pointers) = pointers(harness, &ways) else { continue };
        let found: Vec<(u32, bool)> =
            pointers.into_iter().map(|(pointer, guards)| (pointer, possible.any(&guards))).collect();
        if !found.iter().any(|(_, alive)| *alive) {
            continue;
        }
        for (pointer, _) in found.iter().filter(|(_, alive)| !alive) {
            let names = harness.names();
            let entry =
                DeadEntry { at: names.spot(*pointer), text: text(harness, *pointer), decision: names.spot(from) };
            if !list.contains(&entry) {
                list.push(entry);
            }
        }
    }
    list
}

/// The values of the register that walks the table, with the guards of each; nothing if none does.
fn pointers(harness: &Harness, ways: &[Taken]) -> Option<BTreeMap<u32, Vec<Term>>> {
    let host = harness.rig.map.host();
    let mut best: Option<BTreeMap<u32, Vec<Term>>> = None;
    // The last one in order of registers that is as good: what a walk keeps is set up before what it counts up.
    for register in 0..15 {
        let mut values: BTreeMap<u32, Vec<Term>> = BTreeMap::new();
        for way in ways {
            let Some(value) = way.registers[register].filter(|value| host.byte(*value).is_some() && *value >= 0x100)
            else {
                values.clear();
                break;
            };
            values.entry(value).or_default().push(way.guard);
        }
        let better = best.as_ref().is_none_or(|best| {
            (values.len(), std::cmp::Reverse(values.keys().next()))
                > (best.len(), std::cmp::Reverse(best.keys().next()))
        });
        if values.len() > 1 && better {
            best = Some(values);
        }
    }
    best
}

fn text(harness: &Harness, at: u32) -> String {
    let host = harness.rig.map.host();
    let bytes: Vec<u8> = (at..).map_while(|address| host.byte(address)).take(SHOWN).collect();
    let plain = bytes.iter().take_while(|byte| (0x20..0x7F).contains(*byte)).count();
    if plain >= 4 {
        format!("{:?}", String::from_utf8_lossy(&bytes[..plain]).trim_end())
    } else {
        bytes.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
    }
}
