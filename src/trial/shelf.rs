//! Where findings are put: each an ordinary case file that is read back, and failed by `check`, before it is told.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Promise;
use crate::check::Checker;
use crate::explain::Evidence;
use crate::suite::{Case, Complaint, Harness, Suite};

/// The most files of one name, numbered.
const MOST_NAMESAKES: usize = 99;

/// The longest name of a file, without its ending.
const LONGEST_STEM: usize = 120;

/// A folder for findings, or none.
#[derive(Clone, Debug)]
pub struct Shelf {
    /// The harness of all of them.
    pub harness: Arc<Harness>,
    /// The folder; none if findings are not written.
    pub folder: Option<PathBuf>,
    /// The seed of all noise.
    pub seed: u64,
}

/// What became of a finding.
#[derive(Clone, Debug)]
pub struct Shelved {
    /// Why `keyway check` fails the case.
    pub reasons: Vec<String>,
    /// What decided last, and what it compared.
    pub evidence: Option<Evidence>,
}

impl Shelf {
    /// The folder in which files are relative to each other.
    pub fn place(&self) -> PathBuf {
        self.folder.clone().unwrap_or_else(|| PathBuf::from("."))
    }

    /// Whether findings can be written, into a folder that need not be there yet.
    ///
    /// # Errors
    /// The folder, if they cannot.
    pub fn check_writable(folder: &Path) -> Result<(), Complaint> {
        let there = folder.ancestors().find(|folder| folder.exists());
        // What is left of a relative path is the folder that one is in.
        let there = there.filter(|there| !there.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !there.is_dir() {
            return Err(Complaint::about(there, "findings are written into a folder, and this is none"));
        }
        tempfile::tempfile_in(there).map(|_| ()).map_err(|error| unwritable(folder, &error))
    }

    /// Where a finding goes, and whether a case that fails stands there already. A file whose cases hold, which is for
    /// another harness, or which is no case file, is somebody else's: it stays, and the finding gets a number.
    ///
    /// # Errors
    /// A folder that cannot be made, or too many files of this name.
    pub fn file(&self, checker: &mut Checker, stem: &str) -> Result<Option<(PathBuf, bool)>, Complaint> {
        let Some(folder) = &self.folder else { return Ok(None) };
        // The case names its harness relative to the folder, which therefore has to be there.
        std::fs::create_dir_all(folder).map_err(|error| unwritable(folder, &error))?;
        for number in 1..=MOST_NAMESAKES {
            let end = if number == 1 { String::new() } else { format!("-{number}") };
            let file = folder.join(format!("{stem}{end}.yaml"));
            if file.symlink_metadata().is_err() {
                return Ok(Some((file, false)));
            }
            if self.fails(checker, &file) {
                return Ok(Some((file, true)));
            }
        }
        Err(Complaint::about(folder, format!("there are {MOST_NAMESAKES} files called {stem} already")))
    }

    /// Whether a file is for this harness, and any of its cases fails or is not decided.
    fn fails(&self, checker: &mut Checker, file: &Path) -> bool {
        let Ok(suite) = Suite::load_with(file, self.seed, &mut HashMap::new()) else { return false };
        let real = |path: &Path| path.canonicalize().ok();
        if real(&suite.harness.path) != real(&self.harness.path) {
            return false;
        }
        suite.cases().flatten().any(|case| !checker.check(&case).verdict.reasons().is_empty())
    }

    /// Reads a case back and checks it; then puts the file in its place, unless there is one. The reasons are empty if the
    /// case does not fail; then nothing is written.
    ///
    /// # Errors
    /// What cannot be written or read.
    pub fn put(&self, checker: &mut Checker, text: &str, file: Option<&Path>) -> Result<Shelved, Complaint> {
        let folder = self.place();
        let refuse = |error: &dyn std::fmt::Display| unwritable(&folder, error);
        std::fs::create_dir_all(&folder).map_err(|error| refuse(&error))?;
        let place = if self.folder.is_some() { folder.clone() } else { std::env::temp_dir() };
        let mut temporary = tempfile::Builder::new()
            .prefix(".found")
            .suffix(".yaml")
            .tempfile_in(&place)
            .map_err(|error| refuse(&error))?;
        temporary.write_all(text.as_bytes()).map_err(|error| refuse(&error))?;
        let case = self.read_back(temporary.path())?;
        let result = checker.check(&case);
        let reasons: Vec<String> = result.verdict.reasons().iter().map(|reason| reason.text.clone()).collect();
        if let Some(file) = file.filter(|_| !reasons.is_empty()) {
            match temporary.persist_noclobber(file) {
                Ok(_) => {}
                Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(refuse(&error.error)),
            }
        }
        Ok(Shelved { reasons, evidence: result.evidence })
    }

    fn read_back(&self, path: &Path) -> Result<Case, Complaint> {
        Suite::load_for(path, self.seed, &self.harness)?.case(0)
    }
}

fn unwritable(folder: &Path, error: &dyn std::fmt::Display) -> Complaint {
    Complaint::about(folder, format!("no file can be written here: {error}"))
}

/// The name of the file of a finding: the same for the same defect.
pub fn file_stem(promise: Promise, at: Option<u32>, harness: &Harness) -> String {
    let mut words = vec![promise.name().to_owned()];
    if let Some(at) = at {
        let spot = harness.names().spot(at);
        words.push(format!("at-{}", spot.symbol.unwrap_or_else(|| format!("{at:06x}"))));
    }
    let plain = |letter: char| if letter.is_ascii_alphanumeric() || letter == '_' { letter } else { '-' };
    words.join("-").chars().map(plain).take(LONGEST_STEM).collect()
}
