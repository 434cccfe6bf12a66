//! The work: two builds explored over the same unknowns, way by way.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::answer::{Change, Comparison, Effect, Side};
use super::differences::{Difference, Explored, WRITES, What, differences, name_of};
use crate::prove::compared::{
    Doubt, Evidence, Ground, Logic, Model, Replayer, Study, Term, always, describe_guard, doubt_at, end_words,
    scope_of, study_all, witness_case, witness_words,
};
use crate::prove::{Condition, Prove, Sealed, WitnessAnswer};
use crate::suite::{Complaint, Harness};
use crate::units;

/// Two builds to compare.
#[derive(Clone, Debug)]
pub struct Compare {
    old: Prove,
    new: Prove,
}

/// A pair of explorations that some ways of being attached lead to.
struct Pair {
    old: usize,
    new: usize,
    ways: Vec<(usize, usize)>,
    labels: Vec<String>,
}

impl Compare {
    /// Two questions that are about the same unknowns, one of each build.
    ///
    /// # Errors
    /// Harnesses whose ports or header differ: their inputs are not the same.
    pub fn new(old: Prove, new: Prove) -> Result<Self, Complaint> {
        let (left, right) = (old.harness(), new.harness());
        let ports = |harness: &Harness| -> Vec<_> {
            let ports = harness.rig.map.ports().iter();
            ports.map(|port| (port.name.clone(), port.at, port.reads.clone(), port.power_on)).collect()
        };
        let refuse = |what: &str| {
            let message = format!("{what} differ from those of {}: the inputs are not the same", left.path.display());
            Err(Complaint::about(&right.path, message))
        };
        if ports(left) != ports(right) {
            return refuse("the ports");
        }
        if left.layout != right.layout {
            return refuse("the header fields");
        }
        if left.rig.map.window() != right.rig.map.window() || left.empty != right.empty {
            return refuse("the socket's window or its open lines");
        }
        if left.rig.map.unmapped() != right.rig.map.unmapped() || left.power_on != right.power_on {
            return refuse("unmapped addresses or RAM at power-on");
        }
        Ok(Self { old, new })
    }

    /// Compares.
    pub fn run(&self) -> Sealed<Comparison> {
        let mut logic = Logic::default();
        let mut evidence = Evidence::default();
        let old = study_all(&mut logic, &mut evidence, &self.old);
        let new = study_all(&mut logic, &mut evidence, &self.new);
        let (left, right) = (Arc::clone(self.old.harness()), Arc::clone(self.new.harness()));
        let mut work = Work {
            compare: self,
            replayers: [Replayer::new(&left, self.old.noise_seed()), Replayer::new(&right, self.new.noise_seed())],
            logic,
            evidence,
            changed: BTreeSet::new(),
            ends: BTreeSet::new(),
        };
        let (mut changes, mut effects) = (Vec::new(), Vec::new());
        for pair in pairs(&old, &new, &mut work.evidence) {
            work.pair(&old, &new, &pair, &mut changes, &mut effects);
        }
        let side = |harness: &Harness| Side {
            file: harness.path.display().to_string(),
            image: units::file_names(harness.rig.map.host().files()),
            crc32: format!("{:08X}", harness.rig.map.host().crc32()),
        };
        let same = work.ends.difference(&work.changed).cloned().collect();
        let doubts = work.evidence.doubts().iter().map(|doubt| doubt_at(doubt, &right)).collect::<Vec<_>>();
        let comparison = Comparison {
            old: side(&left),
            new: side(&right),
            proved: doubts.is_empty(),
            doubts,
            scope: scope_of(&self.new, &new),
            changes,
            effects,
            same,
            tried: None,
        };
        work.evidence.seal(comparison)
    }
}

/// The explorations that belong together, each pair once.
fn pairs(old: &[Study], new: &[Study], evidence: &mut Evidence) -> Vec<Pair> {
    let find = |studies: &[Study], label: &str| {
        studies
            .iter()
            .enumerate()
            .find_map(|(study, found)| Some((study, found.ways.iter().position(|way| way.label == label)?)))
    };
    let mut pairs: Vec<Pair> = Vec::new();
    for study in new {
        for way in &study.ways {
            let (Some((before, old_way)), Some((after, new_way))) = (find(old, &way.label), find(new, &way.label))
            else {
                evidence.doubt(Doubt::Open(format!("{} is a way of being attached in one build only", way.label)));
                continue;
            };
            match pairs.iter_mut().find(|pair| (pair.old, pair.new) == (before, after)) {
                Some(pair) => {
                    pair.ways.push((old_way, new_way));
                    pair.labels.push(way.label.clone());
                }
                None => pairs.push(Pair {
                    old: before,
                    new: after,
                    ways: vec![(old_way, new_way)],
                    labels: vec![way.label.clone()],
                }),
            }
        }
    }
    pairs
}

struct Work<'a> {
    compare: &'a Compare,
    replayers: [Replayer; 2],
    logic: Logic,
    evidence: Evidence,
    /// Names of ends that lost or won cartridges, or whose effects changed.
    changed: BTreeSet<String>,
    /// Names of all ends.
    ends: BTreeSet<String>,
}

impl Work<'_> {
    fn pair(
        &mut self,
        old: &[Study],
        new: &[Study],
        pair: &Pair,
        changes: &mut Vec<Change>,
        effects: &mut Vec<Effect>,
    ) {
        let (left, right) = (Arc::clone(self.compare.old.harness()), Arc::clone(self.compare.new.harness()));
        let (before, after) = (&old[pair.old], &new[pair.new]);
        let grounds: [Ground; 2] =
            [before.ground(&left, self.compare.old.free()), after.ground(&right, self.compare.new.free())];
        let sides = [
            Explored { harness: &left, study: before, ground: &grounds[0] },
            Explored { harness: &right, study: after, ground: &grounds[1] },
        ];
        let within = always(&mut self.logic);
        let found = differences(&mut self.logic, &mut self.evidence, &sides[0], &sides[1], within);
        for difference in found {
            self.difference(&sides, pair, &difference, changes, effects);
        }
        self.confirm_same(&sides, pair);
    }

    fn difference(
        &mut self,
        sides: &[Explored; 2],
        pair: &Pair,
        difference: &Difference,
        changes: &mut Vec<Change>,
        effects: &mut Vec<Effect>,
    ) {
        let (witness, model) = self.witness(sides, pair, difference.claim, &difference.model);
        let bits = 8 * sides[1].study.way().plugged.originals().count() as u32;
        let (condition, headers) = describe_guard(&mut self.logic, sides[1].harness, difference.claim, bits);
        let ways = pair.labels.clone();
        match &difference.what {
            What::End(was, is) => {
                self.changed.insert(name_of(was, sides[0].harness));
                self.changed.insert(name_of(is, sides[1].harness));
                let (before, after) = (end_words(was, sides[0].harness), end_words(is, sides[1].harness));
                add_change(changes, Change { before, after, ways, condition, headers, witness });
            }
            What::Effect(close, what, was, is) => {
                let branch = name_of(close, sides[1].harness);
                self.changed.insert(branch.clone());
                let (before, after) = match what.as_str() {
                    WRITES => self.writes(sides, &model),
                    _ => (self.value(was, is, &model, 0), self.value(was, is, &model, 1)),
                };
                let what = what.clone();
                add_effect(effects, Effect { branch, what, before, after, ways, condition, headers, witness });
            }
            What::Wrong(what, was, is) => {
                let ending = sides[1].study.ending(&self.logic, &model).map(|ending| ending.close.clone());
                let branch = ending.map_or_else(String::new, |close| name_of(&close, sides[1].harness));
                self.changed.insert(branch.clone());
                let (before, after) = (self.yes_or_no(*was, &model), self.yes_or_no(*is, &model));
                let what = (*what).to_owned();
                add_effect(effects, Effect { branch, what, before, after, ways, condition, headers, witness });
            }
        }
    }

    /// Whether something goes wrong under a model, before or now.
    fn yes_or_no(&self, wrong: Term, model: &Model) -> String {
        if self.logic.terms.evaluate(wrong, model) == 1 { "it does" } else { "it does not" }.to_owned()
    }

    /// A witness of a difference, run on both machines: gate (e).
    fn witness(&mut self, sides: &[Explored; 2], pair: &Pair, claim: Term, model: &Model) -> (WitnessAnswer, Model) {
        let (old_way, new_way) = pair.ways[0];
        let (before, after) = (sides[0].study, sides[1].study);
        let now = self.replayers[1].witness(&mut self.logic, &after.explored, &after.ways[new_way], claim, model);
        let was = self.replayers[0].of_model(&self.logic, &before.explored, &before.ways[old_way], now.model.clone());
        for (side, witness) in [(0, &was), (1, &now)] {
            let replayed = match sides[side].study.ending(&self.logic, &witness.model) {
                Some(ending) if ending.close.is_end() => self.replayers[side].replay(&mut self.logic, ending, witness),
                Some(_) => continue,
                None => Err(Doubt::Lost),
            };
            self.evidence.witness(replayed);
        }
        let label = witness_words(&now, sides[1].harness);
        let case = witness_case(&now.trial, sides[1].harness, &label);
        (WitnessAnswer { label, case }, now.model)
    }

    /// The writes to ports of a model before and now.
    fn writes(&self, sides: &[Explored; 2], model: &Model) -> (String, String) {
        let told = |side: &Explored| {
            let Some(ending) = side.study.ending(&self.logic, model) else { return String::new() };
            let ports = side.harness.rig.map.ports();
            let writes = ending.state.held.writes.iter().map(|(port, value)| {
                format!("{} 0x{:02X}", ports[*port].name, self.logic.terms.evaluate(*value, model))
            });
            let writes: Vec<String> = writes.collect();
            if writes.is_empty() { "none".to_owned() } else { writes.join(", ") }
        };
        (told(&sides[0]), told(&sides[1]))
    }

    /// The value of an effect under a model: of the pair of endings in which the two differ.
    fn value(&self, was: &[Term], is: &[Term], model: &Model, side: usize) -> String {
        let pairs = was
            .iter()
            .zip(is)
            .map(|(was, is)| [self.logic.terms.evaluate(*was, model), self.logic.terms.evaluate(*is, model)]);
        let pairs: Vec<[u64; 2]> = pairs.collect();
        let pair = pairs.iter().find(|[was, is]| was != is).or(pairs.first());
        pair.map_or_else(String::new, |pair| format!("0x{:02X}", pair[side]))
    }

    /// Runs one cartridge of every end that both builds share on both machines.
    fn confirm_same(&mut self, sides: &[Explored; 2], pair: &Pair) {
        for close in sides[1].study.closes() {
            let name = name_of(&close, sides[1].harness);
            let before = sides[0].study.closes().into_iter().find(|was| name_of(was, sides[0].harness) == name);
            let Some(before) = before.filter(|_| close.is_end()) else { continue };
            let (was, is) =
                (sides[0].study.guard(&mut self.logic, &before), sides[1].study.guard(&mut self.logic, &close));
            let both = {
                use crate::prove::Domain;
                self.logic.terms.and(was, is)
            };
            if let Some(Err(model)) = self.evidence.never(&mut self.logic, &[both]) {
                self.witness(sides, pair, both, &model);
                self.ends.insert(name);
            }
        }
    }
}

/// The same change for other ways of being attached is one change.
fn add_change(changes: &mut Vec<Change>, change: Change) {
    let key = |change: &Change| (change.before.clone(), change.after.clone(), text(&change.condition));
    match changes.iter_mut().find(|known| key(known) == key(&change)) {
        Some(known) => known.ways.extend(change.ways),
        None => changes.push(change),
    }
}

fn add_effect(effects: &mut Vec<Effect>, effect: Effect) {
    let key = |effect: &Effect| (effect.branch.clone(), effect.what.clone(), text(&effect.condition));
    match effects.iter_mut().find(|known| key(known) == key(&effect)) {
        Some(known) => known.ways.extend(effect.ways),
        None => effects.push(effect),
    }
}

fn text(condition: &Option<Condition>) -> Option<String> {
    condition.as_ref().map(|condition| condition.text.clone())
}
