//! Findings: a promise that was broken, as small and as plain as it gets, and as a case that anybody can run.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

use super::case_text::{Wanted, case_text};
use super::promise::{Promise, unbalanced};
use super::reduce::{Reduced, Target};
use super::share::Share;
use super::told::{happens, stem, subject};
use super::written::Met;
use super::{Fuzz, reduce::Reducer};
use crate::check::Checker;
use crate::explain::Evidence;
use crate::suite::{Case, Complaint, DEFAULT_SEED, Harness, Suite};
use crate::verdict::{Decision, Spot, short_ending};

/// The most files of one name, numbered.
const MOST_NAMESAKES: usize = 99;

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
        let stem = stem(target, &harness);
        let file = self.fuzz.found.as_ref().map(|folder| self.place(folder, &stem)).transpose()?;
        let (file, known) = file.map_or((None, false), |(file, known)| (Some(file), known));
        let folder = self.fuzz.found.clone().unwrap_or_else(|| PathBuf::from("."));
        std::fs::create_dir_all(&folder).map_err(|error| unwritable(&folder, &error))?;
        let spot = target.at.map(|at| harness.names().spot(at));
        let comments = self.comments(target.promise, spot.as_ref(), file.as_deref(), met);
        let case = case_text(&name, &comments, &reduced.trial, &wanted, &harness, &folder);
        let (reasons, evidence) = self.confirm(&case, &folder, file.as_deref().filter(|_| !known))?;
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

    /// Where a finding goes, and whether a case that fails stands there already. A file whose cases hold, which is for
    /// another harness, or which is no case file, is somebody else's: it stays, and the finding gets a number.
    fn place(&mut self, folder: &Path, stem: &str) -> Result<(PathBuf, bool), Complaint> {
        for number in 1..=MOST_NAMESAKES {
            let end = if number == 1 { String::new() } else { format!("-{number}") };
            let file = folder.join(format!("{stem}{end}.yaml"));
            if file.symlink_metadata().is_err() {
                return Ok((file, false));
            }
            if self.fails(&file) {
                return Ok((file, true));
            }
        }
        Err(Complaint::about(folder, format!("there are {MOST_NAMESAKES} files called {stem} already")))
    }

    /// Whether a file is for this harness, and any of its cases fails or is not decided.
    fn fails(&mut self, file: &Path) -> bool {
        let Ok(suite) = Suite::load_with(file, self.fuzz.seed, &mut HashMap::new()) else { return false };
        let real = |path: &Path| path.canonicalize().ok();
        if real(&suite.harness.path) != real(&self.fuzz.harness.path) {
            return false;
        }
        suite.cases().flatten().any(|case| !self.checker.check(&case).verdict.reasons().is_empty())
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
        Wanted { promise: target.promise, branch, leaves: leaves.flatten().map(|(port, _, must)| (port, must)) }
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

    /// Reads the case back and checks it; then puts the file in its place, unless there is one. The reasons for which the
    /// case fails, and their evidence.
    fn confirm(
        &mut self,
        text: &str,
        folder: &Path,
        file: Option<&Path>,
    ) -> Result<(Vec<String>, Option<Evidence>), Complaint> {
        let refuse = |error: &dyn std::fmt::Display| unwritable(folder, error);
        let place = if self.fuzz.found.is_some() { folder.to_owned() } else { std::env::temp_dir() };
        let mut temporary = tempfile::Builder::new()
            .prefix(".found")
            .suffix(".yaml")
            .tempfile_in(&place)
            .map_err(|error| refuse(&error))?;
        temporary.write_all(text.as_bytes()).map_err(|error| refuse(&error))?;
        let case = self.read_back(temporary.path())?;
        let result = self.checker.check(&case);
        let reasons: Vec<String> = result.verdict.reasons().iter().map(|reason| reason.text.clone()).collect();
        if reasons.is_empty() {
            let message = format!("a finding does not fail when it is checked; this is a fault of keyway:\n{text}");
            return Err(Complaint::about(&self.fuzz.harness.path, message));
        }
        if let Some(file) = file {
            match temporary.persist_noclobber(file) {
                Ok(_) => {}
                Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(refuse(&error.error)),
            }
        }
        Ok((reasons, result.evidence))
    }

    fn read_back(&self, path: &Path) -> Result<Case, Complaint> {
        Suite::load_for(path, self.fuzz.seed, &self.fuzz.harness)?.case(0)
    }
}

fn unwritable(folder: &Path, error: &dyn std::fmt::Display) -> Complaint {
    Complaint::about(folder, format!("no file can be written here: {error}"))
}

/// How the first run of a trial ended, in a word or two.
pub(super) fn short(reducer: &mut Reducer, trial: &super::trial::Trial, harness: &Harness) -> String {
    reducer.prober.look(trial, |outcome| Some(short_ending(outcome, harness.names()))).unwrap_or_default()
}

/// Whether findings can be written into a folder, which need not be there yet: found out before the first trial.
pub(super) fn check_writable(folder: &Path) -> Result<(), Complaint> {
    let there = folder.ancestors().find(|folder| folder.exists());
    // What is left of a relative path is the folder that one is in.
    let there = there.filter(|there| !there.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !there.is_dir() {
        return Err(Complaint::about(there, "findings are written into a folder, and this is none"));
    }
    tempfile::tempfile_in(there).map(|_| ()).map_err(|error| unwritable(folder, &error))
}
