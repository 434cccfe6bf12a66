//! Which bytes of the header can influence anything: what no guard and no effect speaks of cannot, and what does is shown to
//! by two headers that differ in it alone.

use std::collections::BTreeSet;

use super::answer::FieldInfluence;
use super::attach::Way;
use super::ground::{Ground, Logic};
use super::logic::{Model, Term, Unknown};
use super::study::Study;
use super::unknowns::Source;
use crate::suite::Harness;

/// The header, field by field, and what lies outside of all fields.
pub fn influence(
    logic: &mut Logic,
    harness: &Harness,
    ground: &[Ground],
    studies: &[Study],
    models: &[(usize, Model)],
) -> Vec<FieldInfluence> {
    let mut spoken: BTreeSet<u32> = BTreeSet::new();
    let mut shown: BTreeSet<u32> = BTreeSet::new();
    let mut read: BTreeSet<u32> = BTreeSet::new();
    for (index, study) in studies.iter().enumerate() {
        let effects = effects(logic, harness, &ground[index], study);
        let mut here = BTreeSet::new();
        for effect in &effects {
            for unknown in logic.terms.unknowns(*effect) {
                if let Source::Image(offset) = logic.unknowns.source(unknown) {
                    here.insert((offset, unknown));
                }
            }
        }
        for (_, model) in models.iter().filter(|(of, _)| *of == index) {
            shown.extend(flipped(logic, &effects, &here, &shown, model));
        }
        spoken.extend(here.into_iter().map(|(offset, _)| offset));
        read.extend(offsets_read(study.way(), study));
    }
    let unknown: BTreeSet<u32> = studies.iter().flat_map(|study| study.way().plugged.originals()).collect();
    let mut list = Vec::new();
    let mut fields: Vec<(String, Vec<u32>)> = harness
        .layout
        .fields()
        .iter()
        .map(|field| (field.name.clone(), field.range().filter(|offset| unknown.contains(offset)).collect()))
        .collect();
    let outside = unknown.iter().copied().filter(|offset| harness.layout.at(*offset).is_none()).collect();
    fields.push(("outside of all fields".to_owned(), outside));
    for (field, offsets) in fields.into_iter().filter(|(_, offsets)| !offsets.is_empty()) {
        let base = harness.layout.find(&field).map_or(0, |field| field.at);
        let can: Vec<u32> = offsets.iter().copied().filter(|offset| spoken.contains(offset)).collect();
        let sure = can.iter().filter(|offset| shown.contains(offset)).count();
        let unsure = can.len() - sure;
        let mut influence = ranges(can.iter().map(|offset| offset - base));
        if unsure > 0 {
            influence.push_str(&format!(" (of {unsure} of them no example was found)"));
        }
        let read_only = offsets.iter().filter(|offset| read.contains(offset) && !spoken.contains(offset)).count();
        list.push(FieldInfluence {
            field,
            bytes: offsets.len() as u32,
            influence,
            count: can.len() as u32,
            read_only: read_only as u32,
        });
    }
    list
}

/// Everything that the outside can see: ends, writes to ports, what branches show, and what goes wrong.
pub fn effects(logic: &mut Logic, harness: &Harness, ground: &Ground, study: &Study) -> Vec<Term> {
    let mut effects: Vec<Term> = study.closes().iter().map(|close| study.guard(logic, close)).collect();
    for ending in &study.explored.endings {
        effects.extend(ending.state.held.writes.iter().map(|(_, value)| *value));
        effects.extend(super::shown::shown(logic, ground, harness, ending).into_iter().map(|(_, value)| value));
    }
    effects.extend(study.explored.troubles.values().flatten());
    effects
}

/// The offsets of which another byte changes an effect, as far as a model shows it.
fn flipped(
    logic: &Logic,
    effects: &[Term],
    here: &BTreeSet<(u32, Unknown)>,
    known: &BTreeSet<u32>,
    model: &Model,
) -> Vec<u32> {
    let mut tape = logic.terms.tape(effects);
    tape.load(model);
    tape.run();
    let before: Vec<u64> = tape.numbers().collect();
    let mut changes = |unknown: Unknown| {
        let held = model.get(unknown);
        let changed = (0..8).any(|bit| {
            tape.set(unknown, held ^ 1 << bit);
            tape.run();
            !tape.numbers().eq(before.iter().copied())
        });
        tape.set(unknown, held);
        changed
    };
    here.iter()
        .filter(|(offset, _)| !known.contains(offset))
        .filter(|(_, unknown)| changes(*unknown))
        .map(|(offset, _)| *offset)
        .collect()
}

/// The offsets of unknown bytes that were read.
fn offsets_read(way: &Way, study: &Study) -> Vec<u32> {
    let read = study.explored.looked.iter().filter_map(|address| way.plugged.original_at(*address));
    read.collect()
}

/// `0-9, 12`.
fn ranges(offsets: impl Iterator<Item = u32>) -> String {
    let offsets: Vec<u32> = offsets.collect();
    let runs = offsets.chunk_by(|left, right| left + 1 == *right);
    let words = runs.map(|run| match run {
        [one] => one.to_string(),
        run => format!("{}-{}", run[0], run[run.len() - 1]),
    });
    words.collect::<Vec<_>>().join(", ")
}
