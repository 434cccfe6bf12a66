//! A corpus folder: one file for each trial that went a new way.
//!
//! A file is named after its content, so folders can be put together by copying, from any number of machines: the same
//! name is the same trial. Nothing is overwritten, and a file is whole or not there.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::promise::Promise;
use super::share::Share;
use super::trial::Trial;
use super::written::{EntryFile, Met, TrialFile};
use crate::suite::{Complaint, Harness};

/// Bytes of the hash that name a file.
const NAME_BYTES: usize = 10;

/// The largest file that is taken for an entry.
const LARGEST_FILE: u64 = 1 << 20;

/// The most trials of a batch.
pub const MOST_TRIALS: u64 = 8192;

/// What the names of progress files begin with.
const PROGRESS: &str = "progress-";

/// A folder.
#[derive(Clone, Debug)]
pub struct Corpus {
    folder: PathBuf,
}

/// An entry of the folder.
#[derive(Clone, Debug)]
pub struct Stored {
    /// Its file name, without the ending.
    pub name: String,
    /// When it was met.
    pub met: Met,
    /// The trial.
    pub trial: Trial,
}

/// How far the work of one part has come.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Progress {
    /// A number for the harness, the ROM and all that decides what is tried.
    pub plan: u64,
    /// The seed.
    pub seed: u64,
    /// The part.
    pub part: Share,
    /// Batches that are done.
    pub batches: u64,
    /// Trials in them.
    pub trials: u64,
    /// Instructions that these took.
    pub instructions: u64,
    /// Trials since something new was met.
    pub quiet: u64,
    /// Trials that were planned and have been tried.
    pub planned: u64,
    /// The names of the entries that were met, in order.
    pub entries: Vec<String>,
    /// What was found, in order.
    pub found: Vec<FoundFile>,
}

/// A finding, by what it takes to find it again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct FoundFile {
    /// The promise.
    pub promise: Promise,
    /// When it was met.
    pub met: Met,
    /// The reduced trial.
    pub trial: TrialFile,
}

/// The trials of a corpus, by name, for others to run; the folder must be there.
///
/// # Errors
/// The first file that is no entry for this harness.
pub fn corpus_trials(folder: &Path, harness: &Harness) -> Result<Vec<(String, Trial)>, Complaint> {
    let corpus = Corpus { folder: folder.to_owned() };
    Ok(corpus.load(harness)?.into_iter().map(|stored| (stored.name, stored.trial)).collect())
}

impl Corpus {
    /// A folder; it is made if it is not there.
    ///
    /// # Errors
    /// If it cannot be made.
    pub fn open(folder: &Path) -> Result<Self, Complaint> {
        let refuse = |error: std::io::Error| Complaint::about(folder, format!("the folder cannot be made: {error}"));
        fs::create_dir_all(folder).map_err(refuse)?;
        Ok(Self { folder: folder.to_owned() })
    }

    /// All entries, by name.
    ///
    /// # Errors
    /// The first file that is no entry for this harness.
    pub fn load(&self, harness: &Harness) -> Result<Vec<Stored>, Complaint> {
        let mut entries = Vec::new();
        for (name, path) in self.files()? {
            let file: EntryFile = read(&path)?;
            let trial = file.trial(harness).map_err(|why| Complaint::about(&path, why))?;
            entries.push(Stored { name, met: file.met, trial });
        }
        Ok(entries)
    }

    /// Writes an entry unless it is there.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn add(&self, trial: &Trial, met: Met, harness: &Harness) -> Result<(), Complaint> {
        let path = self.folder.join(format!("{}.json", name(trial, harness)));
        if path.exists() {
            return Ok(());
        }
        write(&path, &EntryFile::new(trial, met, harness), false)
    }

    /// Removes an entry.
    ///
    /// # Errors
    /// If it cannot be removed.
    pub fn remove(&self, name: &str) -> Result<(), Complaint> {
        let path = self.folder.join(format!("{name}.json"));
        fs::remove_file(&path).map_err(|error| Complaint::about(&path, format!("the file cannot be removed: {error}")))
    }

    /// How far a part has come, if it was begun.
    ///
    /// # Errors
    /// If the file is none of progress.
    pub fn progress(&self, seed: u64, part: Share) -> Result<Option<Progress>, Complaint> {
        let path = self.progress_path(seed, part);
        if !path.exists() {
            return Ok(None);
        }
        let progress: Progress = read(&path)?;
        let most = progress.batches.saturating_mul(MOST_TRIALS);
        if progress.trials > most || progress.planned > progress.trials || progress.quiet > progress.trials {
            return Err(Complaint::about(&path, "these numbers of batches and trials do not go together")
                .with_help("remove the file; the work then starts anew from the corpus"));
        }
        Ok(Some(progress))
    }

    /// Writes down how far a part has come.
    ///
    /// # Errors
    /// If that cannot be written.
    pub fn set_progress(&self, progress: &Progress) -> Result<(), Complaint> {
        write(&self.progress_path(progress.seed, progress.part), progress, true)
    }

    /// Forgets how far any part has come.
    ///
    /// # Errors
    /// If a file cannot be removed.
    pub fn forget_progress(&self) -> Result<(), Complaint> {
        for (_, path) in self.named(|stem| stem.starts_with(PROGRESS))? {
            let refuse = |error| Complaint::about(&path, format!("the file cannot be removed: {error}"));
            fs::remove_file(&path).map_err(refuse)?;
        }
        Ok(())
    }

    fn progress_path(&self, seed: u64, Share { part, of }: Share) -> PathBuf {
        self.folder.join(format!("{PROGRESS}{seed}-{part}-of-{of}.json"))
    }

    /// The files of entries by name, in order.
    fn files(&self) -> Result<BTreeMap<String, PathBuf>, Complaint> {
        self.named(|stem| !stem.starts_with(PROGRESS))
    }

    /// The JSON files with such names, by name.
    fn named(&self, wanted: impl Fn(&str) -> bool) -> Result<BTreeMap<String, PathBuf>, Complaint> {
        let refuse =
            |error: std::io::Error| Complaint::about(&self.folder, format!("the folder cannot be read: {error}"));
        let mut files = BTreeMap::new();
        for entry in fs::read_dir(&self.folder).map_err(refuse)? {
            let path = entry.map_err(refuse)?.path();
            let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default().to_owned();
            let json = path.extension().is_some_and(|ending| ending == "json");
            if json && path.is_file() && !stem.starts_with('.') && wanted(&stem) {
                files.insert(stem, path);
            }
        }
        Ok(files)
    }
}

/// The name of a trial: a hash of what it is.
pub fn name(trial: &Trial, harness: &Harness) -> String {
    // Types made of numbers, texts and maps always become JSON.
    let text = serde_json::to_string(&TrialFile::new(trial, harness)).unwrap_or_default();
    Sha256::digest(text)[..NAME_BYTES].iter().map(|byte| format!("{byte:02x}")).collect()
}

fn read<T: for<'de> Deserialize<'de>>(path: &Path) -> Result<T, Complaint> {
    let refuse = |why: String| Complaint::about(path, why);
    let size = fs::metadata(path).map_err(|error| refuse(format!("the file cannot be read: {error}")))?.len();
    if size > LARGEST_FILE {
        return Err(refuse(format!("the file has {size} bytes, more than any entry of a corpus")));
    }
    let text = fs::read_to_string(path).map_err(|error| refuse(format!("the file cannot be read: {error}")))?;
    serde_json::from_str(&text).map_err(|error| {
        refuse(format!("this is no file of a corpus: {error}")).with_help("remove the file, or name another folder")
    })
}

/// Writes a file as a whole; `replace` says whether one that is there is replaced or left as it is.
fn write(path: &Path, content: &impl Serialize, replace: bool) -> Result<(), Complaint> {
    let refuse = |error: &dyn std::fmt::Display| Complaint::about(path, format!("the file cannot be written: {error}"));
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new().prefix(".").tempfile_in(folder).map_err(|error| refuse(&error))?;
    let mut text = serde_json::to_string_pretty(content).map_err(|error| refuse(&error))?;
    text.push('\n');
    file.write_all(text.as_bytes()).map_err(|error| refuse(&error))?;
    let placed = if replace { file.persist(path) } else { file.persist_noclobber(path) };
    match placed {
        Ok(_) => Ok(()),
        Err(error) if !replace && error.error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        Err(error) => Err(refuse(&error.error)),
    }
}
