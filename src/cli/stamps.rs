//! Notices that files change, by looking at them again and again.
//!
//! [`Stamps`] is what was seen of some files. Looking works on every file system and through every way of writing: in
//! place, by a rename over the old file, in a folder that is made anew.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::select::{CASES, Selection, yaml_files};
use crate::suite::files_named;

/// How often files are looked at, and how long they must have been quiet.
const PAUSE: Duration = Duration::from_millis(100);

/// What was seen of each file; nothing of one that is not there.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stamps(BTreeMap<PathBuf, Option<Stamp>>);

/// What tells one state of a file from another without reading it.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Stamp {
    length: u64,
    modified: Option<SystemTime>,
    /// The file's number, and when it was last renamed or written: editors and linkers keep times.
    #[cfg(unix)]
    node: (u64, i64, i64),
}

impl Stamp {
    fn of(path: &Path) -> Option<Self> {
        let about = std::fs::metadata(path).ok()?;
        Some(Self {
            length: about.len(),
            modified: about.modified().ok(),
            #[cfg(unix)]
            node: {
                use std::os::unix::fs::MetadataExt;
                (about.ino(), about.ctime(), about.ctime_nsec())
            },
        })
    }
}

impl Stamps {
    /// Looks at files.
    pub fn of(files: impl IntoIterator<Item = PathBuf>) -> Self {
        Self(files.into_iter().map(|file| (file.clone(), Stamp::of(&file))).collect())
    }

    /// Looks at further files; what was seen of others stays.
    pub fn add(&mut self, files: impl IntoIterator<Item = PathBuf>) {
        for file in files {
            self.0.entry(file.clone()).or_insert_with(|| Stamp::of(&file));
        }
    }

    /// How many files there are.
    pub fn len(&self) -> usize {
        self.0.values().flatten().count()
    }

    /// Looks again at the same files, and at those that the selection has now.
    fn again(&self, selection: &Selection) -> Self {
        Self::of(self.0.keys().cloned().chain(chosen(selection)).collect::<BTreeSet<_>>())
    }

    /// Waits until one of the files has changed, or the selection has others, and all have been quiet for a while.
    pub fn wait(&self, selection: &Selection) {
        let mut last = self.clone();
        loop {
            std::thread::sleep(PAUSE);
            let now = self.again(selection);
            if now == last && now != *self {
                return;
            }
            last = now;
        }
    }
}

/// The case files of a selection, as far as they can be told without reading them.
fn chosen(selection: &Selection) -> Vec<PathBuf> {
    let folder = |folder: &Path| yaml_files(folder).unwrap_or_default();
    if selection.what.is_empty() {
        return folder(Path::new(CASES));
    }
    let files = |what: &String| {
        let path = Path::new(what);
        if path.is_dir() {
            return folder(path);
        }
        let file = what.match_indices(':').map(|(at, _)| Path::new(&what[..at])).find(|file| file.is_file());
        match file {
            _ if path.exists() => vec![path.to_owned()],
            Some(file) => vec![file.to_owned()],
            // A file that is gone, or the name of a case.
            None => [path.to_owned()].into_iter().chain(folder(Path::new(CASES))).collect(),
        }
    };
    selection.what.iter().flat_map(files).collect()
}

/// The files of a selection and all that they name.
pub fn named(selection: &Selection) -> BTreeSet<PathBuf> {
    chosen(selection).iter().flat_map(|file| files_named(file)).collect()
}
