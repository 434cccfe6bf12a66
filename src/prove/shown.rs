//! What a branch shows at its end, as terms.

use super::ending::Ending;
use super::ground::{Ground, Logic};
use super::logic::Term;
use super::scene::Scene;
use super::script::Script;
use super::state::Facts;
use crate::suite::Harness;

/// The values that the branch of an ending shows, by name. Of other endings nothing.
pub fn shown(logic: &mut Logic, ground: &Ground, harness: &Harness, ending: &Ending) -> Vec<(String, Term)> {
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
