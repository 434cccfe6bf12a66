//! Findings: a promise that was broken, as small and as plain as it gets, and as a case that anybody can run.

use std::path::Path;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use super::case_text::{Wanted, case_text, happens};
use super::promise::{Promise, unbalanced};
use super::reduce::{Reduced, Target};
use super::share::Share;
use super::told::subject;
use super::written::Met;
use super::{Fuzz, reduce::Reducer};
use crate::check::Checker;
use crate::explain::Evidence;
use crate::suite::{Complaint, DEFAULT_SEED, Harness};
use crate::trial::{Shelf, Shelved, file_stem};
use crate::verdict::{Decision, Spot, short_ending};

/// A promise that was broken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Finding {
    /// The promise.
    pub promise: Promise,
    /// The name of its case: what is attached, and what happens.
    pub name: String,
    /// Why `keyway check` fails the case.
    pub reasons: Vec<String>,
    /// The instruction that decided, or did it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Spot>,
    /// What decided last, what it compared, and what was looked at before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
    /// The file in which the case stands; none if findings are not written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Whether the file was there before.
    pub known: bool,
    /// The case file.
    pub case: String,
    /// The seed of the work that met it.
    pub seed: u64,
    /// The part of the work.
    pub part: String,
    /// The batch in which it was met.
    pub batch: u64,
    /// The trial in its batch.
    pub trial: u64,
}

/// What makes findings of reduced trials.
pub(super) struct Writer<'a> {
    pub fuzz: &'a Fuzz,
    pub checker: &'a mut Checker,
}

impl Writer<'_> {
    /// Makes a finding, and writes it. The case is read back and checked: what is told can be run again.
    pub fn write(&mut self, reduced: &Reduced, target: &Target, met: Met, ends: &str) -> Result<Finding, Complaint> {
        let harness = Arc::clone(&self.fuzz.harness);
        let wanted = self.wanted(reduced, target);
        let happens = happens(target.promise, ends, wanted.branch, &harness);
        let name = format!("{} {happens}", subject(reduced, &self.fuzz.ordinary, &harness));
        let shelf = Shelf { harness: Arc::clone(&harness), folder: self.fuzz.found.clone(), seed: self.fuzz.seed };
        let stem = file_stem(target.promise, target.at, &harness);
        let file = shelf.file(self.checker, &stem)?;
        let (file, known) = file.map_or((None, false), |(file, known)| (Some(file), known));
        let spot = target.at.map(|at| harness.names().spot(at));
        let comments = self.comments(target.promise, spot.as_ref(), file.as_deref(), met);
        let case = case_text(&name, &comments, &reduced.trial, &wanted, &harness, &shelf.place());
        let Shelved { reasons, evidence } = shelf.put(self.checker, &case, file.as_deref().filter(|_| !known))?;
        if reasons.is_empty() {
            let message = format!("a finding does not fail when it is checked; this is a fault of keyway:\n{case}");
            return Err(Complaint::about(&harness.path, message));
        }
        Ok(Finding {
            promise: target.promise,
            name,
            reasons,
            at: spot,
            evidence,
            file: file.map(|file| file.display().to_string()),
            known,
            case,
            seed: met.seed,
            part: met.part.to_string(),
            batch: met.batch,
            trial: met.trial,
        })
    }

    /// What the case expects.
    fn wanted(&mut self, reduced: &Reduced, target: &Target) -> Wanted {
        let harness = &self.fuzz.harness;
        let mut setup = crate::run::Setup::default();
        reduced.trial.set_up(&mut setup, harness, self.fuzz.seed);
        let branch = match harness.decide(&setup.inputs) {
            Decision::Branch { branch, .. } => Some(branch),
            Decision::Unclear(_) | Decision::Silent => None,
        };
        let leaves = (target.promise == Promise::Latches).then(|| {
            let mut prober = super::deed::Prober::new(harness, super::promise::Promises::all(), self.fuzz.seed);
            prober.look(&reduced.trial, |outcome| unbalanced(outcome, harness))
        });
        Wanted { promise: Some(target.promise), branch, leaves: leaves.flatten().map(|(port, _, must)| (port, must)) }
    }

    fn comments(&self, promise: Promise, spot: Option<&Spot>, file: Option<&Path>, met: Met) -> Vec<String> {
        let Met { seed, part, batch, trial, .. } = met;
        let share = if part == Share::default() { String::new() } else { format!(" --part {part}") };
        let (harness, options) = (self.fuzz.harness.path.display(), self.fuzz.options());
        let noise = if seed == DEFAULT_SEED { String::new() } else { format!(" --seed {seed}") };
        let mut comments = vec![
            format!("Found by keyway fuzz. The routine breaks a promise: it {}.", promise.text()),
            format!(
                "Met with seed {seed}, batch {batch}, trial {trial}: keyway fuzz {harness} --seed {seed}{share}{options}"
            ),
        ];
        if let Some(spot) = spot {
            comments.push(format!("Where: {spot}"));
        }
        if let Some(file) = file {
            comments.push(format!("Why: keyway explain{noise} {}", file.display()));
        }
        comments
    }
}

/// How the first run of a trial ended, in a word or two.
pub(super) fn short(reducer: &mut Reducer, trial: &super::trial::Trial, harness: &Harness) -> String {
    reducer.prober.look(trial, |outcome| Some(short_ending(outcome, harness.names()))).unwrap_or_default()
}
