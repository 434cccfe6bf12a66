//! For people: a compatibility list a harness, then the failures with their evidence, then one line that counts.

use std::io::{self, Write};

use unicode_width::UnicodeWidthStr;

use super::words::{self, BOLD, DIM, MOST_FAILURES, OPEN, style, write_harness};
use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;
use crate::units;
use crate::verdict::Verdict;

/// The widest column for the attached cartridge.
const WIDEST_LABEL: usize = 60;

/// Writes for people; the writer strips the colours where they are not wanted.
#[derive(Debug)]
pub struct Terminal<W> {
    out: W,
    label: usize,
    expected: usize,
    reached: usize,
    clock: bool,
    file: String,
    failures: Vec<CaseResult>,
    more_failures: usize,
    open: usize,
    /// The summary of coverage, where it is wanted.
    explained: bool,
    coverage: Option<Vec<u8>>,
}

impl<W: Write> Terminal<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self {
            out,
            label: 0,
            expected: 0,
            reached: 0,
            clock: false,
            file: String::new(),
            failures: Vec::new(),
            more_failures: 0,
            open: 0,
            explained: false,
            coverage: None,
        }
    }

    /// Tells failures with the whole explanation.
    pub fn with_explanations(self, wanted: bool) -> Self {
        Self { explained: wanted, ..self }
    }

    /// Also says what the cases have tried.
    pub fn with_coverage(self, wanted: bool) -> Self {
        Self { coverage: wanted.then(Vec::new), ..self }
    }

    fn head(&mut self) -> io::Result<()> {
        let (label, expected, reached) = (self.label, self.expected, self.reached);
        let time = if self.clock { format!("{:>9}  ", "ms") } else { String::new() };
        writeln!(
            self.out,
            "{BOLD}  {:<label$}  {:<expected$}  {:<reached$}  {:>9}  {:>10}  {time}verdict{BOLD:#}",
            "attached cartridge", "expected", "reached", "instr", "cycles"
        )
    }
}

impl<W: Write> Reporter for Terminal<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.open = start.open;
        Ok(())
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        let harness = group.harness;
        let branches = &harness.rig.branches;
        self.label = group.widest_label.clamp("attached cartridge".len(), WIDEST_LABEL);
        let widest = branches.iter().map(|branch| branch.name.width() + branch.kind.name().len() + 3).max();
        self.expected = widest.unwrap_or(0).max("expected".len());
        self.reached = branches.iter().map(|branch| branch.name.width()).max().unwrap_or(0).max("address error".len());
        self.clock = harness.clock.is_some();
        self.file.clear();
        write_harness(&mut self.out, harness)?;
        self.head()
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        if self.file != result.file {
            self.file.clone_from(&result.file);
            writeln!(self.out, "{DIM}  {}{DIM:#}", units::tame(&result.file))?;
        }
        let style = style(&result.verdict);
        let time = match result.milliseconds {
            Some(milliseconds) => format!("{milliseconds:>9.3}  "),
            None => String::new(),
        };
        let mark = match result.fills_run {
            0 | 1 => String::new(),
            fills => format!(" {DIM}x{fills}{DIM:#}"),
        };
        writeln!(
            self.out,
            "  {}  {}  {}  {:>9}  {:>10}  {time}{style}{}{style:#}{mark}",
            fit(&result.attached, self.label),
            fit(&words::wanted(result), self.expected),
            fit(result.reached.short(), self.reached),
            units::thousands(result.instructions),
            units::thousands(result.cycles),
            result.verdict.word()
        )?;
        if result.verdict != Verdict::Held && !matches!(result.verdict, Verdict::KnownBug { .. }) {
            if self.failures.len() < MOST_FAILURES {
                self.failures.push(result.clone());
            } else {
                self.more_failures += 1;
            }
        }
        Ok(())
    }

    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        // It comes after the failures, and these after all harnesses.
        let Some(text) = &mut self.coverage else { return Ok(()) };
        writeln!(text)?;
        super::coverage::write(text, coverage)
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        for result in std::mem::take(&mut self.failures) {
            match self.explained {
                true => words::write_explained(&mut self.out, &result)?,
                false => words::write_failure(&mut self.out, &result)?,
            }
        }
        if self.more_failures > 0 {
            let more = units::thousands(self.more_failures as u64);
            writeln!(self.out, "\n{OPEN}and {more} more like these; --name narrows, --format json has all{OPEN:#}")?;
        }
        if let Some(coverage) = self.coverage.take() {
            self.out.write_all(&coverage)?;
        }
        writeln!(self.out)?;
        writeln!(self.out, "{}", words::count_line(summary, self.open))?;
        self.out.flush()
    }
}

/// A text padded or cut to a width.
fn fit(text: &str, width: usize) -> String {
    let text = &*units::tame(text);
    let mut fitted = String::new();
    let mut used = 0;
    if text.width() <= width {
        fitted.push_str(text);
        used = text.width();
    } else {
        for letter in text.chars() {
            let next = unicode_width::UnicodeWidthChar::width(letter).unwrap_or(0);
            if used + next + 1 > width {
                break;
            }
            fitted.push(letter);
            used += next;
        }
        fitted.push('…');
        used += 1;
    }
    fitted.extend(std::iter::repeat_n(' ', width.saturating_sub(used)));
    fitted
}
