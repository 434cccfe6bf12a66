//! What can be seen of a run, as terms: how it ends, what it writes to ports, what it leaves there, and what its branch
//! shows.

use std::collections::BTreeMap;

use super::Domain;
use super::ending::{Close, Ending};
use super::ground::{Ground, Logic};
use super::logic::Term;
use super::scene::Scene;
use super::script::Script;
use super::state::Facts;
use super::study::Study;
use super::unknowns::any;
use crate::suite::Harness;

/// Everything that the outside can see, as terms: which end, with writes to which ports; the values written, and those that
/// are left to be seen; what goes wrong. A value counts for the inputs that come to it.
pub fn effects(logic: &mut Logic, harness: &Harness, ground: &Ground, study: &Study) -> Vec<Term> {
    /// An end, the ports written on the way, and what it is a value of.
    type Seen = (Close, Vec<usize>, String);
    let truth = logic.terms.bit(true);
    let mut seen: BTreeMap<Seen, BTreeMap<Term, Vec<Term>>> = BTreeMap::new();
    for ending in &study.explored.endings {
        let writes = &ending.state.held.writes;
        let ports: Vec<usize> = writes.iter().map(|(port, _)| *port).collect();
        let mut values = vec![("the end".to_owned(), truth)];
        values.extend(writes.iter().enumerate().map(|(place, (_, value))| (format!("write {place}"), *value)));
        values.extend(remains(logic, ground, harness, ending));
        for (name, value) in values {
            let guards = seen.entry((ending.close.clone(), ports.clone(), name)).or_default();
            guards.entry(value).or_default().push(ending.guard());
        }
    }
    let mut effects: Vec<Term> = seen.into_values().map(|values| chosen(logic, values)).collect();
    effects.extend(study.explored.troubles.values().flatten());
    effects
}

/// One term out of values and the guards under which each holds; 0 where none does.
fn chosen(logic: &mut Logic, values: BTreeMap<Term, Vec<Term>>) -> Term {
    let mut chosen = None;
    for (value, guards) in values {
        let width = logic.terms.width(value);
        let others = chosen.unwrap_or_else(|| logic.terms.number(width, 0));
        let when = any(&mut logic.terms, guards);
        chosen = Some(logic.terms.either(when, value, others));
    }
    chosen.unwrap_or_else(|| logic.terms.bit(false))
}

/// The values that can be seen when a run has come to an ending, by name.
pub fn remains(logic: &mut Logic, ground: &Ground, harness: &Harness, ending: &Ending) -> Vec<(String, Term)> {
    let ports = harness.rig.map.ports().iter().zip(&ending.state.held.latched);
    let written = ports.filter(|(port, _)| port.writes.is_some());
    let held = written.map(|(port, value)| (format!("what `{}` holds at the end", port.name), *value));
    shown(logic, ground, harness, ending).into_iter().chain(held).collect()
}

/// The values that the branch of an ending shows, by name. Of other endings nothing.
fn shown(logic: &mut Logic, ground: &Ground, harness: &Harness, ending: &Ending) -> Vec<(String, Term)> {
    let Some(branch) = ending.close.branch().map(|branch| &harness.rig.branches[branch]) else { return Vec::new() };
    let mut held = ending.state.held.clone();
    let (mut script, mut looked) = (Script::default(), std::collections::BTreeSet::new());
    let mut scene = Scene {
        logic,
        ground,
        held: &mut held,
        guard: ending.guard(),
        facts: Facts::default(),
        script: &mut script,
        taken: Vec::new(),
        undo: Vec::new(),
        troubles: Vec::new(),
        events: Vec::new(),
        looked: &mut looked,
        at: 0,
    };
    let values = branch.shows.iter().map(|(name, cell)| {
        let value = scene.cell(&ending.state.core, *cell).ok()?;
        Some((name.clone(), value))
    });
    values.collect::<Vec<_>>().into_iter().flatten().collect()
}
