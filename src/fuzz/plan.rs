//! What a work of fuzzing is about: the harness, what is varied, what must hold, and when it is over.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use clap::ValueEnum;
use sha2::{Digest, Sha256};

use super::ground::Part;
use super::ordinary::{Ordinary, of_case, ordinary};
use super::promise::{Promise, Promises};
use super::share::Share;
use super::trial::Trial;
use crate::suite::{Case, DEFAULT_SEED, Harness};

/// Trials without anything new after which a work is over, unless a limit is given.
pub const PLATEAU: u64 = 1_000_000;

/// Changes whenever the same numbers would make other trials than before.
const MOVES: u64 = 1;

/// A work of fuzzing, planned.
///
/// The same plan does the same, trial for trial, whatever the number of threads; only a limit of time ends it anywhere.
#[derive(Clone, Debug)]
pub struct Fuzz {
    pub(super) harness: Arc<Harness>,
    pub(super) seed: u64,
    pub(super) share: Share,
    pub(super) only: Vec<Part>,
    pub(super) pinned: Vec<usize>,
    pub(super) promises: Promises,
    pub(super) most_trials: Option<u64>,
    pub(super) time: Option<Duration>,
    pub(super) plateau: Option<u64>,
    pub(super) corpus: Option<PathBuf>,
    pub(super) found: Option<PathBuf>,
    pub(super) ordinary: Vec<Ordinary>,
    /// What the user's cases attach.
    pub(super) given: Vec<Trial>,
    /// How many of their cases are not varied.
    pub(super) not_varied: usize,
    /// Where these came from.
    pub(super) from: Vec<String>,
}

impl Fuzz {
    /// A work on a harness: everything is varied, every promise counts, nothing is written.
    pub fn new(harness: &Arc<Harness>) -> Self {
        Self {
            harness: Arc::clone(harness),
            seed: DEFAULT_SEED,
            share: Share::default(),
            only: Vec::new(),
            pinned: Vec::new(),
            promises: Promises::all(),
            most_trials: None,
            time: None,
            plateau: None,
            corpus: None,
            found: None,
            ordinary: ordinary(harness),
            given: Vec::new(),
            not_varied: 0,
            from: Vec::new(),
        }
    }

    /// Another seed: other trials.
    #[must_use]
    pub fn seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// One part of several that together make up the work.
    #[must_use]
    pub fn part(self, share: Share) -> Self {
        Self { share, ..self }
    }

    /// Varies these parts only; all of them if the list is empty.
    #[must_use]
    pub fn only(self, parts: &[Part]) -> Self {
        Self { only: parts.to_vec(), ..self }
    }

    /// Leaves a header field as it stands; `false` if the harness has no such field.
    pub fn pin(&mut self, field: &str) -> bool {
        let index = self.harness.layout.fields().iter().position(|other| other.name == field);
        self.pinned.extend(index);
        index.is_some()
    }

    /// Takes no notice of a promise.
    #[must_use]
    pub fn without(self, promise: Promise) -> Self {
        Self { promises: self.promises.without(promise), ..self }
    }

    /// Is over after the batch in which so many trials are made, those of earlier sittings with the same corpus included.
    #[must_use]
    pub fn trials(self, most: u64) -> Self {
        Self { most_trials: Some(most), ..self }
    }

    /// Is over after this time.
    #[must_use]
    pub fn time(self, time: Duration) -> Self {
        Self { time: Some(time), ..self }
    }

    /// Is over when so many trials have brought nothing new. Without any limit this is a million.
    #[must_use]
    pub fn plateau(self, trials: u64) -> Self {
        Self { plateau: Some(trials), ..self }
    }

    /// Starts from the trials in a folder, keeps there what goes a new way, and takes up what was interrupted.
    #[must_use]
    pub fn corpus(self, folder: impl AsRef<Path>) -> Self {
        Self { corpus: Some(folder.as_ref().to_owned()), ..self }
    }

    /// Writes findings into a folder, as case files. What is there is never overwritten.
    #[must_use]
    pub fn found(self, folder: impl AsRef<Path>) -> Self {
        Self { found: Some(folder.as_ref().to_owned()), ..self }
    }

    /// Starts from what this case attaches, too; `false` if it has parts that are not varied, such as an image file.
    pub fn start_from(&mut self, case: &Case) -> bool {
        let trial = of_case(case, &self.harness, self.seed);
        let varied = trial.is_some();
        match trial {
            Some(trial) if !self.given.contains(&trial) => self.given.push(trial),
            Some(_) => {}
            None => self.not_varied += 1,
        }
        varied
    }

    /// How many cases to start from have parts that are not varied.
    pub fn not_varied(&self) -> usize {
        self.not_varied
    }

    /// The options that decide what is tried, seed and part left out.
    pub(super) fn options(&self) -> String {
        let names = |names: Vec<String>, option: &str| match &names[..] {
            [] => String::new(),
            names => format!(" {option} {}", names.join(",")),
        };
        let fields = self.harness.layout.fields();
        let word = |part: &Part| part.to_possible_value().map_or_else(String::new, |word| word.get_name().to_owned());
        let without = Promise::ALL.into_iter().filter(|promise| !self.promises.has(*promise));
        let from: String = self.from.iter().map(|what| format!(" --from {what}")).collect();
        names(self.only.iter().map(word).collect(), "--only")
            + &names(self.pinned.iter().map(|index| fields[*index].name.clone()).collect(), "--pin")
            + &names(without.map(|promise| promise.name().to_owned()).collect(), "--without")
            + &from
    }

    /// Says where the cases came from that were started from, for the command that findings name.
    #[must_use]
    pub fn from(self, what: &[String]) -> Self {
        Self { from: what.to_vec(), ..self }
    }

    /// Whether no promise is left that could be broken.
    pub fn promises_nothing(&self) -> bool {
        self.promises.is_empty()
    }

    /// When the work is over for want of anything new.
    pub(super) fn quiet_limit(&self) -> u64 {
        let limited = self.most_trials.is_some() || self.time.is_some();
        self.plateau.unwrap_or(if limited { u64::MAX } else { PLATEAU })
    }

    /// A number for all that decides what is tried, seed and part left out: the files of the harness, and the options.
    pub(super) fn number(&self) -> u64 {
        let mut hash = Sha256::new();
        for file in &self.harness.files {
            // A file that is gone has been read all the same; its name counts.
            let content = std::fs::read(file).unwrap_or_else(|_| file.as_os_str().as_encoded_bytes().to_vec());
            hash.update((content.len() as u64).to_be_bytes());
            hash.update(content);
        }
        hash.update(MOVES.to_be_bytes());
        // Promises do not decide what is tried. But what a work has left out it must not be thought to have looked for.
        hash.update(format!("{:?} {:?} {:?} {:?}", self.only, self.pinned, self.given, self.promises));
        let digest = hash.finalize();
        digest[..8].iter().fold(0, |number, byte| number << 8 | u64::from(*byte))
    }
}
