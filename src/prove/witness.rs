//! Witnesses: inputs that do what is claimed. A model of the solver becomes a trial that is as near to an ordinary cartridge
//! as the claim lets it be, and is run on the machine: gate (e).

use std::sync::Arc;

use super::attach::Way;
use super::describe::same;
use super::ending::Ending;
use super::explored::Explored;
use super::gates::{Doubt, Replayed};
use super::ground::Logic;
use super::logic::{Answer, Model, Tape, Term, Unknown};
use super::unknowns::Source;
use crate::board::{Change, Schedule};
use crate::run::{Machine, Outcome, Setup, Timing};
use crate::suite::{Boundary, Harness};
use crate::trial::{Held, Trial};
use crate::verdict::short_ending;

/// Bytes that are tried where a claim asks for something else than the ordinary: digits, letters, a space.
const PLAIN: &[u8] = b"0 A1Z9a-";

/// So many bytes that are out of the ordinary are not worth a question.
const FEW_ODD: usize = 2;

/// A claim of so many operations is not too long for another question.
const SHORT: usize = 5_000;

/// So many ordinary cartridges are tried, the nearest first.
const NEAREST: usize = 4;

/// Inputs of a run.
#[derive(Clone, Debug)]
pub struct Witness {
    /// The values of the unknowns.
    pub model: Model,
    /// What a case can say of them.
    pub trial: Trial,
    /// RAM at power-on: bus address and byte.
    pub ram: Vec<(u32, u8)>,
    /// The part of it that the claim hangs on; no case can say it.
    pub needs: Vec<(u32, u8)>,
}

/// A model, and how many of its bytes are out of the ordinary.
type Near = (usize, Model);

/// Makes witnesses for one harness and runs them.
pub struct Replayer {
    harness: Arc<Harness>,
    machine: Machine,
    seed: u64,
    /// The image bytes of ordinary cartridges, by offset, the most ordinary first.
    ordinary: Vec<Vec<(u32, u8)>>,
}

impl Replayer {
    /// One for a harness.
    pub fn new(harness: &Arc<Harness>, seed: u64) -> Self {
        let layout = harness.layout.fields();
        let bytes = |fields: Vec<(usize, Vec<u8>)>| {
            let each = fields.into_iter().flat_map(|(index, bytes)| (layout[index].at..).zip(bytes));
            each.collect::<Vec<(u32, u8)>>()
        };
        let mut ordinary: Vec<Vec<(u32, u8)>> = Boundary::listed_cartridges(harness).into_iter().map(bytes).collect();
        ordinary.push(Vec::new());
        Self { machine: Machine::new(Arc::clone(&harness.rig)), harness: Arc::clone(harness), seed, ordinary }
    }

    /// The inputs of a model, moved towards an ordinary cartridge as far as `claim` goes on holding.
    pub fn witness(&self, logic: &mut Logic, explored: &Explored, way: &Way, claim: Term, model: &Model) -> Witness {
        let witness = self.nearest(logic, explored, way, claim, model);
        let needs = logic.terms.unknowns(claim).into_iter().filter_map(|unknown| {
            let Source::Ram(address) = logic.unknowns.source(unknown) else { return None };
            Some((address, witness.model.get(unknown) as u8))
        });
        Witness { needs: needs.collect(), ..witness }
    }

    fn nearest(&self, logic: &mut Logic, explored: &Explored, way: &Way, claim: Term, model: &Model) -> Witness {
        let mut tape = logic.terms.tape(&[claim]);
        let asked: Vec<Unknown> = tape.unknowns().collect();
        // The most ordinary one for which the claim holds as it is.
        for bytes in &self.ordinary {
            let plain: Model = logic.unknowns.all().map(|(unknown, source)| (unknown, usual(source, bytes))).collect();
            tape.load(&plain);
            if tape.holds() {
                return self.of_model(logic, explored, way, plain);
            }
        }
        // Those that have most in common with the model already.
        let alike = |bytes: &&Vec<(u32, u8)>| {
            let differs = |unknown: &&Unknown| usual(logic.unknowns.source(**unknown), bytes) != model.get(**unknown);
            asked.iter().filter(differs).count()
        };
        let mut near: Vec<&Vec<(u32, u8)>> = self.ordinary.iter().collect();
        near.sort_by_key(alike);
        near.truncate(NEAREST);
        let mut best: Option<(Near, &Vec<(u32, u8)>)> = None;
        for bytes in near {
            let found = towards(logic, &mut tape, model, &asked, bytes);
            if best.as_ref().is_none_or(|((odd, _), _)| found.0 < *odd) {
                best = Some((found, bytes));
            }
            if best.as_ref().is_some_and(|((odd, _), _)| *odd <= FEW_ODD) {
                break;
            }
        }
        let Some(((odd, mut model), bytes)) = best else {
            return self.of_model(logic, explored, way, model.clone());
        };
        // Where bytes hang together, one at a time does not get far.
        if odd > FEW_ODD
            && tape.length() <= SHORT
            && let Some(nearer) = nearest(logic, claim, &asked, bytes)
        {
            let (fewer, nearer) = towards(logic, &mut tape, &nearer, &asked, bytes);
            if fewer < odd {
                model = nearer;
            }
        }
        self.of_model(logic, explored, way, model)
    }

    /// The inputs of a model as they are.
    pub fn of_model(&self, logic: &Logic, explored: &Explored, way: &Way, model: Model) -> Witness {
        let mut trial = way.trial.clone();
        let mut ram = Vec::new();
        for (unknown, source) in logic.unknowns.all() {
            let value = model.get(unknown) as u8;
            match source {
                Source::Image(offset) => {
                    if let Some(plug) = &mut trial.plug {
                        plug.put(offset, value, &self.harness.layout);
                    }
                }
                Source::Ram(address) => ram.push((address, value)),
                Source::OtherRam(_) | Source::Port { .. } | Source::PortSomewhen { .. } | Source::Open(_) => {}
            }
        }
        if let Some(plug) = &mut trial.plug {
            // What holds what an erased cartridge holds needs no saying.
            let fill = plug.fill;
            for held in &mut plug.fields {
                let erased = matches!(held, Held::Bytes(bytes) if bytes.iter().all(|byte| Some(*byte) == fill));
                if erased {
                    *held = Held::Absent;
                }
            }
            plug.raw.retain(|(_, byte)| Some(*byte) != fill);
        }
        for (port, own) in trial.ports.iter_mut().enumerate() {
            let reads = reads(logic, explored, port, &model);
            if !reads.is_empty() {
                *own = Some(schedule(&reads));
            }
        }
        Witness { model, trial, ram, needs: Vec::new() }
    }

    /// Runs a witness.
    pub fn run(&mut self, witness: &Witness) -> &Outcome {
        let mut setup = Setup::default();
        let mut trial = witness.trial.clone();
        // Proofs are for a routine that nobody interrupts.
        trial.interrupts.fill(Some(Timing::default()));
        trial.set_up(&mut setup, &self.harness, self.seed);
        self.machine.hold_ram(&witness.ram);
        let fills = Harness::fills(&self.harness.power_on);
        let none = Vec::new();
        self.machine.run(&setup, fills.first().unwrap_or(&none))
    }

    /// What a run of a counterexample has shown: that it breaks what it was to break, or a doubt.
    pub fn judged(breaks: bool, what: impl FnOnce() -> String) -> Result<Replayed, Doubt> {
        if breaks { Ok(Replayed(())) } else { Err(Doubt::Replay(what())) }
    }

    /// Runs a witness and compares: the end, the time, the writes to ports, what the branch shows.
    ///
    /// # Errors
    /// What differs.
    pub fn replay(&mut self, logic: &mut Logic, ending: &Ending, witness: &Witness) -> Result<Replayed, Doubt> {
        let unreplayable =
            logic.terms.unknowns(ending.guard()).into_iter().map(|unknown| logic.unknowns.source(unknown));
        if unreplayable.into_iter().any(|source| matches!(source, Source::Open(_))) {
            return Err(Doubt::Replay("it hangs on noise of open lines, which cannot be chosen".to_owned()));
        }
        let harness = Arc::clone(&self.harness);
        let outcome = self.run(witness);
        let ended = short_ending(outcome, harness.names());
        if !ending.close.agrees(outcome.end, outcome.last) {
            return Err(Doubt::Replay(format!("{:?} was claimed, it came to {ended}", ending.close)));
        }
        let hung = matches!(ending.close, super::ending::Close::Hung(..));
        let mut claims: Vec<(&str, Term, u64)> = Vec::new();
        if !hung {
            let cycles = ending.state.held.cycles.term(&mut logic.terms);
            let steps = ending.state.steps.term(&mut logic.terms);
            claims.push(("cycles", cycles, outcome.cycles));
            claims.push(("instructions", steps, outcome.instructions));
            if ending.state.held.writes.len() != outcome.writes.len() {
                return Err(Doubt::Replay("it writes to ports another number of times".to_owned()));
            }
            for ((port, value), write) in ending.state.held.writes.iter().zip(&outcome.writes) {
                if *port != write.port {
                    return Err(Doubt::Replay("it writes to another port".to_owned()));
                }
                claims.push(("a write to a port", *value, u64::from(write.value)));
            }
        }
        for (what, term, found) in claims {
            let claimed = logic.terms.evaluate(term, &witness.model);
            if claimed != found {
                return Err(Doubt::Replay(format!("{what}: {claimed} was claimed, {found} was found")));
            }
        }
        Ok(Replayed(()))
    }
}

/// A model that has, of every unknown, what an ordinary cartridge has there if the claim lets it; of how many it does not.
fn towards(logic: &Logic, tape: &mut Tape, model: &Model, asked: &[Unknown], ordinary: &[(u32, u8)]) -> Near {
    let mut near = Model::default();
    for (unknown, source) in logic.unknowns.all() {
        near.set(unknown, usual(source, ordinary));
    }
    for unknown in asked {
        near.set(*unknown, model.get(*unknown));
    }
    tape.load(&near);
    let mut odd = 0;
    for unknown in asked {
        let source = logic.unknowns.source(*unknown);
        let (found, wanted) = (model.get(*unknown), usual(source, ordinary));
        if found == wanted {
            continue;
        }
        // A letter or a digit is as good as another.
        let odd_byte = matches!(source, Source::Image(_)) && !(0x20..0x7F).contains(&found);
        let plain = PLAIN.iter().map(|byte| u64::from(*byte)).filter(|_| odd_byte);
        let tried = [wanted].into_iter().chain(plain);
        let mut kept = None;
        for (place, value) in tried.enumerate() {
            tape.set(*unknown, value);
            if tape.holds() {
                kept = Some(place);
                near.set(*unknown, value);
                break;
            }
        }
        odd += usize::from(kept != Some(0));
        if kept.is_none() {
            tape.set(*unknown, model.get(*unknown));
        }
    }
    (odd, near)
}

/// A model in which as many unknowns as can be are what an ordinary cartridge has: those that cannot all be so are let go
/// one by one, the last one first.
fn nearest(logic: &mut Logic, claim: Term, asked: &[Unknown], ordinary: &[(u32, u8)]) -> Option<Model> {
    let mut kept: Vec<Term> = Vec::with_capacity(asked.len());
    for unknown in asked {
        let value = usual(logic.unknowns.source(*unknown), ordinary);
        kept.push(same(logic, *unknown, value));
    }
    loop {
        let mut question = kept.clone();
        question.push(claim);
        match logic.solver.ask(&logic.terms, &question) {
            Answer::Possible(model) => return Some(model),
            Answer::Impossible(refutation) => {
                let last = refutation.core().iter().filter(|place| **place < kept.len()).max().copied()?;
                kept.remove(last);
            }
            Answer::Open(_) => return None,
        }
    }
}

/// What an unknown is in an ordinary run.
fn usual(source: Source, ordinary: &[(u32, u8)]) -> u64 {
    match source {
        Source::Image(offset) => {
            u64::from(ordinary.iter().find(|(at, _)| *at == offset).map_or(0xFF, |(_, byte)| *byte))
        }
        _ => 0,
    }
}

/// What an unknown port reads under a model, read by read.
fn reads(logic: &Logic, explored: &Explored, port: usize, model: &Model) -> Vec<u16> {
    let mut reads: Vec<(u64, u16)> = Vec::new();
    for (unknown, source) in logic.unknowns.all() {
        if let Source::Port { port: other, read } = source
            && other == port
        {
            reads.push((u64::from(read), model.get(unknown) as u16));
        }
    }
    for event in explored.events.iter().filter(|event| event.port == port) {
        let [guard, count, value] = logic.terms.evaluate_all(&[event.guard, event.count, event.value], model)[..]
        else {
            continue;
        };
        if guard == 1 {
            reads.push((count, value as u16));
        }
    }
    let last = reads.iter().map(|(read, _)| *read).max();
    let mut list = vec![0; last.map_or(0, |last| last as usize + 1)];
    for (read, value) in reads {
        list[read as usize] = value;
    }
    list
}

/// A schedule in the shortest words.
fn schedule(reads: &[u16]) -> Schedule {
    let first = reads[0];
    let change = reads.iter().position(|value| *value != first);
    match change {
        None => Schedule::Constant(first),
        Some(change) if reads[change..].iter().all(|value| *value == reads[change]) => {
            Schedule::Changes { first, then: reads[change], after: Change::Reads(change as u32) }
        }
        Some(_) => Schedule::Sequence(reads.into()),
    }
}
