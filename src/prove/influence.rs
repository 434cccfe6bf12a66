//! Which bytes of the header can influence anything: what no effect speaks of cannot, and what does is shown to by two
//! headers that differ in it alone.

use std::collections::{BTreeMap, BTreeSet};

use super::Domain;
use super::answer::FieldInfluence;
use super::attach::Way;
use super::effects::effects;
use super::ground::{Ground, Logic};
use super::logic::{Answer, Model, Solver, Term, Unknown};
use super::study::Study;
use super::unknowns::{Source, any};
use crate::suite::Harness;

/// Conflicts that the question for an example may take.
const CONFLICTS: u64 = 1000;

/// What is known of the header's bytes, by offset.
#[derive(Default)]
struct Known {
    /// Those that influence something: an example was found.
    shown: BTreeSet<u32>,
    /// Those that may.
    unsure: BTreeSet<u32>,
    /// Those that were read.
    read: BTreeSet<u32>,
}

/// The header, field by field, and what lies outside of all fields.
pub fn influence(
    logic: &mut Logic,
    harness: &Harness,
    ground: &[Ground],
    studies: &[Study],
    models: &[(usize, Model)],
) -> Vec<FieldInfluence> {
    let mut known = Known::default();
    for (index, study) in studies.iter().enumerate() {
        let effects = effects(logic, harness, &ground[index], study);
        let models = models.iter().filter(|(of, _)| *of == index).map(|(_, model)| model);
        known.learn(logic, &effects, models);
        known.read.extend(offsets_read(study.way(), study));
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
        let can: Vec<u32> = offsets.iter().copied().filter(|offset| known.can(offset)).collect();
        let unsure = can.iter().filter(|offset| !known.shown.contains(offset)).count();
        let mut influence = ranges(can.iter().map(|offset| offset - base));
        if unsure > 0 {
            influence.push_str(&format!(" (of {unsure} of them no example was found)"));
        }
        let read_only = offsets.iter().filter(|offset| known.read.contains(offset) && !known.can(offset)).count();
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

impl Known {
    fn can(&self, offset: &u32) -> bool {
        self.shown.contains(offset) || self.unsure.contains(offset)
    }

    /// What the effects of one exploration say; these models come to its ends.
    fn learn<'m>(&mut self, logic: &mut Logic, effects: &[Term], models: impl Iterator<Item = &'m Model>) {
        let mut spoken: BTreeSet<(u32, Unknown)> = BTreeSet::new();
        for unknown in effects.iter().flat_map(|effect| logic.terms.unknowns(*effect)) {
            if let Source::Image(offset) = logic.unknowns.source(unknown) {
                spoken.insert((offset, unknown));
            }
        }
        for model in models {
            self.shown.extend(flipped(logic, effects, &spoken, &self.shown, model));
        }
        let mut solver = Solver::new().budget(CONFLICTS);
        for (offset, unknown) in &spoken {
            if self.shown.contains(offset) {
                continue;
            }
            let changes = changes(logic, effects, *unknown);
            match solver.ask(&logic.terms, &[changes]) {
                Answer::Possible(model) => {
                    self.shown.insert(*offset);
                    self.shown.extend(flipped(logic, effects, &spoken, &self.shown, &model));
                }
                Answer::Impossible(_) => {}
                Answer::Open(_) => {
                    self.unsure.insert(*offset);
                }
            }
        }
    }
}

/// One bit: whether another value of a byte changes an effect. From one value to another lead changes of single bits, so
/// one of these changes it too.
fn changes(logic: &mut Logic, effects: &[Term], unknown: Unknown) -> Term {
    let byte = logic.unknown(unknown);
    let spoken: Vec<Term> =
        effects.iter().copied().filter(|effect| logic.terms.unknowns(*effect).contains(&unknown)).collect();
    let mut differ = Vec::new();
    for bit in 0..8 {
        let flip = logic.terms.number(8, 1 << bit);
        let other = BTreeMap::from([(unknown, logic.terms.xor(byte, flip))]);
        for effect in &spoken {
            let changed = logic.terms.rename(*effect, &other);
            let same = logic.terms.equal(*effect, changed);
            differ.push(logic.terms.not(same));
        }
    }
    any(&mut logic.terms, differ)
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
