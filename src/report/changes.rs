//! What changed since the last run, for people who watch: first what fails newly, with its evidence.

use std::io::{self, Write};

use anstyle::Style;

use super::words::{BOLD, DIM, GOOD, MOST_FAILURES, OPEN, count_line, write_failure};
use crate::check::{CaseResult, Changes, Pair, Summary};
use crate::units;
use crate::verdict::Verdict;

/// How many cases of each other kind are listed; the rest are counted.
const MOST: usize = 50;

/// Writes the first run: what failed, and how many did what.
pub fn write_first(out: &mut impl Write, results: &[CaseResult], summary: &Summary, open: usize) -> io::Result<()> {
    let bad = |case: &&CaseResult| !matches!(case.verdict, Verdict::Held | Verdict::KnownBug { .. });
    failures(out, &results.iter().filter(bad).collect::<Vec<_>>())?;
    writeln!(out, "{}", count_line(summary, open))
}

/// Writes what a later run changed, and how many did what.
pub fn write_changes(out: &mut impl Write, changes: &Changes, summary: &Summary, open: usize) -> io::Result<()> {
    if changes.is_empty() {
        return writeln!(out, "nothing changed: {}", count_line(summary, open));
    }
    failures(out, &changes.newly_failing)?;
    list(out, "now held", GOOD, &changes.newly_held, |pair| format!("took {}", pair.now.reached.short()))?;
    list(out, "changed", OPEN, &changes.otherwise, difference)?;
    list(out, "new", BOLD, &changes.new, |case| case.verdict.word().to_owned())?;
    list(out, "gone", DIM, &changes.gone, |case| format!("was {}", case.verdict.word()))?;
    if let [first, ..] = &changes.times[..] {
        let (before, now) = (units::thousands(first.before.cycles), units::thousands(first.now.cycles));
        let text = match changes.times.len() {
            1 => format!("{} took {before} cycles, takes {now}", units::tame(&first.now.name)),
            count => format!("{} cases take another number of cycles", units::thousands(count as u64)),
        };
        writeln!(out, "  {DIM}times{DIM:#}      {text}")?;
    }
    writeln!(out, "{}", count_line(summary, open))
}

fn failures(out: &mut impl Write, cases: &[&CaseResult]) -> io::Result<()> {
    cases.iter().take(MOST_FAILURES).try_for_each(|case| write_failure(out, case))?;
    if cases.len() > MOST_FAILURES {
        let more = units::thousands((cases.len() - MOST_FAILURES) as u64);
        writeln!(out, "\n{OPEN}and {more} more like these; `keyway check --format json` has all{OPEN:#}")?;
    }
    if cases.is_empty() { Ok(()) } else { writeln!(out) }
}

/// Something that has the name of a case.
trait Named {
    fn name(&self) -> &str;
}

impl Named for &CaseResult {
    fn name(&self) -> &str {
        &self.name
    }
}

impl Named for Pair<'_> {
    fn name(&self) -> &str {
        &self.now.name
    }
}

fn list<T: Named>(
    out: &mut impl Write,
    word: &str,
    style: Style,
    cases: &[T],
    tell: impl Fn(&T) -> String,
) -> io::Result<()> {
    for case in cases.iter().take(MOST) {
        writeln!(out, "  {style}{word:<9}{style:#}  {}: {}", units::tame(case.name()), units::tame(&tell(case)))?;
    }
    if cases.len() > MOST {
        writeln!(out, "  {:<9}  and {} more", "", units::thousands((cases.len() - MOST) as u64))?;
    }
    Ok(())
}

/// What differs in a case that does not begin or cease to fail.
fn difference(pair: &Pair) -> String {
    let Pair { before, now } = pair;
    let mut parts = Vec::new();
    if before.verdict.word() != now.verdict.word() {
        parts.push(format!("was {}, is {}", before.verdict.word(), now.verdict.word()));
    }
    if before.reached != now.reached {
        parts.push(format!("took {}, takes {}", before.reached.short(), now.reached.short()));
    }
    if before.expected != now.expected {
        parts.push(format!("wanted {}, wants {}", before.expected, now.expected));
    }
    if before.attached != now.attached {
        parts.push(format!("attached {}, attaches {}", before.attached, now.attached));
    }
    if let [first, ..] = now.verdict.reasons()
        && before.verdict.reasons().first() != Some(first)
    {
        parts.push(first.text.clone());
    }
    if parts.is_empty() {
        // The same first reason, but others after it.
        parts.push("other reasons".to_owned());
    }
    parts.join("; ")
}
