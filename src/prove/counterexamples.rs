//! Counterexamples: what breaks a promise, run on the machine, and written as a case.

use std::sync::Arc;

use super::answer::Violation;
use super::breaches::Candidate;
use super::logic::Model;
use super::proof::Work;
use super::study::Study;
use super::told::describe_guard;
use super::witness::{Replayer, Witness};
use super::words::witness_words;
use crate::suite::Complaint;
use crate::trial::case_text::{Wanted, case_text};
use crate::trial::promise::{against_table, broken, unbalanced};
use crate::trial::{Promise, Promises, file_stem};
use crate::verdict::Decision;

impl Work<'_> {
    /// The counterexamples, one for each promise and instruction, and the rules that do not hold.
    pub fn violations(
        &mut self,
        list: &[Candidate],
        studies: &[Study],
    ) -> Result<(Vec<Violation>, Vec<usize>), Complaint> {
        let (mut found, mut rules) = (Vec::new(), Vec::new());
        let mut told: Vec<(Promise, Option<u32>, Option<usize>)> = Vec::new();
        for candidate in list {
            let known = (candidate.promise, candidate.at, candidate.rule);
            if told.contains(&known) {
                continue;
            }
            let Some(Err(model)) = self.evidence.never(&mut self.logic, &[candidate.claim]) else { continue };
            told.push(known);
            rules.extend(candidate.rule);
            let study = &studies[candidate.study];
            if let Some(violation) = self.violation(candidate, study, &model)? {
                found.push(violation);
            }
        }
        Ok((found, rules))
    }

    fn violation(
        &mut self,
        candidate: &Candidate,
        study: &Study,
        model: &Model,
    ) -> Result<Option<Violation>, Complaint> {
        let harness = Arc::clone(&self.harness);
        let way = &study.ways[candidate.way];
        let witness = self.replayer.witness(&mut self.logic, &study.explored, way, candidate.claim, model);
        let (confirmed, ends, decision) = self.confirm(candidate.promise, &witness);
        self.witnesses += 1;
        self.evidence.witness(Replayer::judged(confirmed, || {
            format!("{} at {:?}: {ends}", candidate.promise.text(), candidate.at)
        }));
        if !confirmed {
            return Ok(None);
        }
        let branch = if let Decision::Branch { branch, .. } = decision { Some(branch) } else { None };
        let happens = crate::trial::case_text::happens(candidate.promise, &ends, branch, &harness);
        let name = format!("{} {happens}", witness_words(&witness, &harness));
        let spot = candidate.at.map(|at| harness.names().spot(at));
        let leaves = self.leaves(candidate.promise, &witness);
        let wanted = Wanted { promise: Some(candidate.promise), branch, leaves };
        let mut comments =
            vec![format!("Found by keyway prove. The routine breaks a promise: it {}.", candidate.promise.text())];
        comments.extend(spot.as_ref().map(|spot| format!("Where: {spot}")));
        let shelf = self.shelf();
        let file = shelf.file(&mut self.checker, &file_stem(candidate.promise, candidate.at, &harness))?;
        let (file, known) = file.map_or((None, false), |(file, known)| (Some(file), known));
        comments.extend(file.as_ref().map(|file| format!("Why: keyway explain {}", file.display())));
        let case = case_text(&name, &comments, &witness.trial, &wanted, &harness, &shelf.place());
        let shelved = shelf.put(&mut self.checker, &case, file.as_deref().filter(|_| !known))?;
        let written = !shelved.reasons.is_empty();
        let (condition, _) = describe_guard(&mut self.logic, &harness, candidate.claim, 0);
        Ok(Some(Violation {
            promise: candidate.promise,
            name,
            at: spot,
            condition,
            reasons: shelved.reasons,
            file: file.filter(|_| written).map(|file| file.display().to_string()),
            known,
            case,
        }))
    }

    /// Runs a counterexample: whether it breaks the promise, how it ends, and what the table says of it.
    fn confirm(&mut self, promise: Promise, witness: &Witness) -> (bool, String, Decision) {
        let harness = Arc::clone(&self.harness);
        let mut setup = crate::run::Setup::default();
        witness.trial.set_up(&mut setup, &harness, self.prove.seed);
        let decision = harness.decide(&setup.inputs);
        let outcome = self.replayer.run(witness);
        let against = against_table(outcome.end, &decision, &harness.rig.branches);
        let mut promises: Promises = broken(outcome, &harness).with(promise, against == Some(promise));
        let ends = crate::verdict::short_ending(outcome, harness.names());
        if promise == Promise::PowerOn {
            promises = promises.with(promise, outcome.fill_matters);
        }
        (promises.has(promise), ends, decision)
    }

    fn leaves(&mut self, promise: Promise, witness: &Witness) -> Option<(usize, u16)> {
        let harness = Arc::clone(&self.harness);
        let outcome = (promise == Promise::Latches).then(|| self.replayer.run(witness))?;
        unbalanced(outcome, &harness).map(|(port, _, must)| (port, must))
    }
}
