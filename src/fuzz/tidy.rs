//! Tidying a corpus: as few entries as go every way that all of them go, the small ones first.

use std::collections::HashSet;

use super::corpus::Corpus;
use super::deed::Prober;
use super::feedback::Feature;
use super::plan::Fuzz;
use super::promise::Promises;
use super::written::TrialFile;
use crate::suite::Complaint;

/// What came of tidying.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tidied {
    /// Entries that stay.
    pub kept: usize,
    /// Entries that were removed.
    pub removed: usize,
}

impl Fuzz {
    /// Removes the entries of the corpus that go no way of their own. The same folder gives the same again.
    ///
    /// # Errors
    /// A folder that cannot be read or written, or a file there that does not fit the harness.
    pub fn tidy(&self) -> Result<Tidied, Complaint> {
        let Some(folder) = &self.corpus else { return Ok(Tidied { kept: 0, removed: 0 }) };
        if !folder.is_dir() {
            return Err(Complaint::about(folder, "there is no such folder"));
        }
        let corpus = Corpus::open(folder)?;
        let mut prober = Prober::new(&self.harness, Promises::all(), self.seed);
        let mut entries = Vec::new();
        for stored in corpus.load(&self.harness)? {
            let tried = prober.run(&stored.trial);
            let written = serde_json::to_string(&TrialFile::new(&stored.trial, &self.harness)).unwrap_or_default();
            entries.push((written.len(), tried.deed.instructions, stored.name, prober.features()));
        }
        entries.sort();
        let mut known: HashSet<Feature> = HashSet::new();
        let mut removed = Vec::new();
        let mut kept = 0;
        while let Some(best) = best(&entries, &known) {
            let (_, _, _, features) = entries.remove(best);
            known.extend(features);
            kept += 1;
        }
        removed.extend(entries.into_iter().map(|(_, _, name, _)| name));
        for name in &removed {
            corpus.remove(name)?;
        }
        corpus.forget_progress()?;
        Ok(Tidied { kept, removed: removed.len() })
    }
}

/// The entry with the most ways that are not known, the first of several; `None` if none has any.
fn best(entries: &[(usize, u64, String, Vec<Feature>)], known: &HashSet<Feature>) -> Option<usize> {
    let new = |features: &[Feature]| features.iter().filter(|feature| !known.contains(feature)).count();
    let counts = entries.iter().map(|(_, _, _, features)| new(features)).enumerate();
    counts
        .filter(|(_, count)| *count > 0)
        .max_by_key(|(index, count)| (*count, std::cmp::Reverse(*index)))
        .map(|(index, _)| index)
}
