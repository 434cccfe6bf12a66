//! What a run over many files says: counts a category, a table of mismatches a file, the first failures in detail.

use std::fmt::Write as _;

use super::compare::{Kind, Mismatch, flags};
use super::format::{PC, SR, State, Vector};
use super::meaning::Category;

/// Failures that a file shows in detail.
const SHOWN: usize = 3;

/// What became of a file.
#[derive(Default)]
pub struct FileResult {
    pub name: String,
    /// Vectors run and failed, by [`Category`].
    pub run: [usize; 4],
    pub failed: [usize; 4],
    /// Vectors with a mismatch of the kind.
    pub kinds: [usize; Kind::ALL.len()],
    pub details: Vec<String>,
    /// Why the file was not run to its end.
    pub broken: Option<String>,
}

impl FileResult {
    pub fn add(&mut self, vector: &Vector, mismatches: &[Mismatch]) {
        let category = vector.category();
        self.run[category as usize] += 1;
        if mismatches.is_empty() {
            return;
        }
        self.failed[category as usize] += 1;
        for (count, (kind, _)) in self.kinds.iter_mut().zip(Kind::ALL) {
            *count += usize::from(mismatches.iter().any(|mismatch| mismatch.kind == kind));
        }
        if self.details.len() < SHOWN {
            self.details.push(detail(&self.name, vector, mismatches));
        }
    }

    pub fn good(&self) -> bool {
        self.broken.is_none() && self.failed == [0; 4]
    }
}

fn detail(file: &str, vector: &Vector, mismatches: &[Mismatch]) -> String {
    let mut text = format!("{file}: {} [{}]", vector.name, vector.category().name());
    if let Some(vector) = vector.exception() {
        let _ = write!(text, " [takes vector {vector}]");
    }
    let State { values, queue: [first, second], .. } = &vector.before;
    let (at, status) = (values[PC].wrapping_sub(4), flags(values[SR]));
    let _ = write!(text, "\n    before   at {at:06X}: {first:04X} {second:04X}  SR {status}");
    for mismatch in mismatches {
        let _ = write!(text, "\n    {}", mismatch.text.replace('\n', "\n    "));
    }
    text
}

/// One line a category.
pub fn counts(results: &[FileResult]) -> String {
    let mut text = format!("published vectors, {} files:", results.len());
    for category in Category::ALL {
        let sum = |of: fn(&FileResult) -> &[usize; 4]| {
            results.iter().map(|result| of(result)[category as usize]).sum::<usize>()
        };
        let (run, failed) = (sum(|result| &result.run), sum(|result| &result.failed));
        let _ = write!(text, "\n  {:<16} {run:>7} run, {failed:>7} failed", category.name());
    }
    text
}

/// Everything about the files that failed.
pub fn failures(results: &[FileResult]) -> String {
    let bad: Vec<&FileResult> = results.iter().filter(|result| !result.good()).collect();
    let mut text = String::new();
    for result in &bad {
        for detail in &result.details {
            let _ = writeln!(text, "{detail}");
        }
    }
    let _ =
        write!(text, "\nvectors with a mismatch, by what differs (idle: only if the bus cycles agree):\n{:<14}", "");
    let _ = write!(text, "{:>7}{:>8}", "run", "failed");
    for (_, name) in Kind::ALL {
        let _ = write!(text, "{name:>8}");
    }
    let mut total = FileResult { name: "all".to_owned(), ..FileResult::default() };
    for result in results {
        for category in 0..4 {
            total.run[category] += result.run[category];
            total.failed[category] += result.failed[category];
        }
        for (sum, count) in total.kinds.iter_mut().zip(result.kinds) {
            *sum += count;
        }
    }
    for result in bad.into_iter().chain([&total]) {
        let (run, failed): (usize, usize) = (result.run.iter().sum(), result.failed.iter().sum());
        let _ = write!(text, "\n{:<14}{run:>7}{failed:>8}", result.name);
        for count in result.kinds {
            let count = if count == 0 { "-".to_owned() } else { count.to_string() };
            let _ = write!(text, "{count:>8}");
        }
        if let Some(broken) = &result.broken {
            let _ = write!(text, "  {broken}");
        }
    }
    text
}
