//! GitHub workflow commands: failures as annotations beside the case files, and one line that counts.
//!
//! A server shows only a few annotations a step, so there are at most ten, failures first; one notice counts the rest.
//! Each says by itself what was attached, wanted and taken.

use std::io::{self, Write};

use super::words::{self, count_line};
use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::units;
use crate::verdict::Verdict;

/// How many annotations there are at most; the rest is counted.
const MOST: usize = 10;

/// The longest title, in characters.
const LONGEST_TITLE: usize = 200;

/// Writes workflow commands when the run is over.
#[derive(Debug)]
pub struct Github<W> {
    out: W,
    errors: Vec<String>,
    warnings: Vec<String>,
    open: usize,
}

impl<W: Write> Github<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out, errors: Vec::new(), warnings: Vec::new(), open: 0 }
    }
}

impl<W: Write> Reporter for Github<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.open = start.open;
        Ok(())
    }

    fn group(&mut self, _: &Group) -> io::Result<()> {
        Ok(())
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        let (level, list) = match result.verdict {
            Verdict::Failed { .. } | Verdict::BugGone { .. } => ("error", &mut self.errors),
            Verdict::Undecided { .. } => ("warning", &mut self.warnings),
            Verdict::Held | Verdict::KnownBug { .. } => return Ok(()),
        };
        if list.len() < MOST {
            list.push(annotation(level, result));
        }
        Ok(())
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        for annotation in self.errors.iter().chain(&self.warnings).take(MOST) {
            writeln!(self.out, "{annotation}")?;
        }
        let failed = summary.failed - self.errors.len();
        let undecided = summary.undecided - self.warnings.len().min(MOST - self.errors.len());
        if failed + undecided > 0 {
            let more = [(failed, "failed"), (undecided, "undecided")].into_iter().filter(|(count, _)| *count > 0);
            let more: Vec<String> =
                more.map(|(count, word)| format!("{} {word}", units::thousands(count as u64))).collect();
            let text = format!("not annotated: {} more", more.join(" and "));
            writeln!(self.out, "::notice title=keyway::{}", data(&text))?;
        }
        writeln!(self.out, "{}", count_line(summary, self.open))?;
        self.out.flush()
    }
}

fn annotation(level: &str, result: &CaseResult) -> String {
    let name = units::tame(&result.name);
    let title = match result.verdict {
        Verdict::BugGone { .. } => format!("known bug gone: {name}"),
        _ => format!("wanted {}, took {}: {name}", words::wanted(result), result.reached.short()),
    };
    let facts = words::facts(result).into_iter();
    let lines = facts.map(|(what, text)| if what.is_empty() { text } else { format!("{what}: {text}") });
    let text: Vec<String> = [name.into_owned()].into_iter().chain(lines).collect();
    format!(
        "::{level} file={},line={},title={}::{}",
        property(&result.file),
        result.line,
        property(&cut(&title)),
        data(&text.join("\n"))
    )
}

fn cut(title: &str) -> String {
    match title.char_indices().nth(LONGEST_TITLE) {
        Some((at, _)) => format!("{}…", &title[..at]),
        None => title.to_owned(),
    }
}

/// A text after the last `::`.
fn data(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

/// The value of a property.
fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}
