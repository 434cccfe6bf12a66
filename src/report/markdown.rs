//! A compatibility matrix in Markdown, for release notes: which cartridge takes which branch of exactly which ROM.
//!
//! The same run gives the same file; a date stands in it only if the caller gives one.

use std::io::{self, Write};

use super::records::HarnessRecord;
use super::words;
use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::run::BranchKind;
use crate::units;
use crate::verdict::Verdict;

/// Writes Markdown (with tables, as servers render it) when the run is over.
#[derive(Debug)]
pub struct Markdown<W> {
    out: W,
    date: Option<String>,
    seed: u64,
    open: usize,
    hosts: Vec<Host>,
}

/// What is written of one harness.
#[derive(Debug)]
struct Host {
    about: HarnessRecord,
    image: String,
    clock: bool,
    /// The rows of the tables, one table a kind of branch that is wanted.
    tables: [Vec<String>; TABLES.len()],
    failed: Vec<String>,
    undecided: Vec<String>,
    bugs: Vec<String>,
}

/// The tables of a harness, and the kind of branch that their cases want.
const TABLES: [(Option<BranchKind>, &str); 5] = [
    (Some(BranchKind::FullCombination), "joins the host"),
    (Some(BranchKind::Alternate), "joins in another mode"),
    (Some(BranchKind::Fallback), "is used for something less"),
    (Some(BranchKind::Rejected), "the host plays alone"),
    (None, "any branch of several kinds"),
];

impl<W: Write> Markdown<W> {
    /// Writes to `out`; `date` is whatever the caller wants to stand there.
    pub fn new(out: W, date: Option<&str>) -> Self {
        Self { out, date: date.map(str::to_owned), seed: 0, open: 0, hosts: Vec::new() }
    }

    fn head(&mut self, summary: &Summary) -> io::Result<()> {
        let mut names: Vec<&str> = self.hosts.iter().map(|host| host.about.name.as_str()).collect();
        names.dedup();
        writeln!(self.out, "# Compatibility of {}\n", escape(&names.join("; ")))?;
        writeln!(self.out, "{}.\n", judgement(summary))?;
        writeln!(self.out, "- {}", escape(&words::plain_count_line(summary, self.open)))?;
        writeln!(self.out, "- CRC-32 and SHA-256 are those of the image as it is burnt, gaps filled with 0xFF")?;
        writeln!(self.out, "- keyway {}, seed {}", env!("CARGO_PKG_VERSION"), self.seed)?;
        match &self.date {
            Some(date) => writeln!(self.out, "- date: {}", escape(date)),
            None => Ok(()),
        }
    }
}

impl<W: Write> Reporter for Markdown<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        (self.seed, self.open) = (start.seed, start.open);
        Ok(())
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        self.hosts.push(Host {
            about: group.into(),
            image: units::file_names(group.harness.rig.map.host().files()),
            clock: group.harness.clock.is_some(),
            tables: Default::default(),
            failed: Vec::new(),
            undecided: Vec::new(),
            bugs: Vec::new(),
        });
        Ok(())
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        let Some(host) = self.hosts.last_mut() else { return Ok(()) };
        let table = TABLES.iter().position(|(kind, _)| *kind == result.expected_kind).unwrap_or(TABLES.len() - 1);
        host.tables[table].push(row(result));
        let reason = words::reasons(result).into_iter().next().unwrap_or_default();
        match &result.verdict {
            Verdict::Held => {}
            Verdict::Failed { .. } | Verdict::BugGone { .. } => host.failed.push(item(result, &reason)),
            Verdict::Undecided { .. } => host.undecided.push(item(result, &reason)),
            Verdict::KnownBug { why, .. } => host.bugs.push(item(result, &format!("{why} ({reason})"))),
        }
        Ok(())
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        self.head(summary)?;
        for host in &self.hosts {
            host.write(&mut self.out)?;
        }
        self.out.flush()
    }
}

impl Host {
    fn write(&self, out: &mut impl Write) -> io::Result<()> {
        let about = &self.about;
        writeln!(out, "\n## {}\n", escape(&about.name))?;
        writeln!(out, "| ROM | size in bytes | CRC-32 | SHA-256 | harness |\n|---|--:|---|---|---|")?;
        let cells =
            [self.image.as_str(), &units::thousands(about.size as u64), &about.crc32, &about.sha256, &about.file];
        writeln!(out, "| {} |", cells.map(escape).join(" | "))?;
        for ((kind, meaning), rows) in TABLES.iter().zip(&self.tables).filter(|(_, rows)| !rows.is_empty()) {
            match kind {
                Some(kind) => writeln!(out, "\n### Wanted: {} ({meaning})\n", kind.name())?,
                None => writeln!(out, "\n### Wanted: {meaning}\n")?,
            }
            let (head, line) = if self.clock { (" ms |", "--:|") } else { ("", "") };
            writeln!(out, "| attached cartridge | case | wanted | taken | cycles |{head} verdict |")?;
            writeln!(out, "|---|---|---|---|--:|{line}---|")?;
            rows.iter().try_for_each(|row| writeln!(out, "{row}"))?;
        }
        for (title, items) in [("Failed", &self.failed), ("Undecided", &self.undecided), ("Known bugs", &self.bugs)] {
            if !items.is_empty() {
                writeln!(out, "\n### {title}\n")?;
                items.iter().try_for_each(|item| writeln!(out, "{item}"))?;
            }
        }
        Ok(())
    }
}

/// The one sentence that a reader looks for.
fn judgement(summary: &Summary) -> &'static str {
    match summary {
        Summary { failed: 1.., .. } => "**Not as wanted**: at least one case failed",
        Summary { undecided: 1.., .. } => "**Undecided**: at least one case reached a limit",
        Summary { known_bugs: 1.., .. } => "**As wanted**, but for the known bugs below: each other case held",
        _ => "**As wanted**: every case held",
    }
}

fn row(result: &CaseResult) -> String {
    let time = result.milliseconds.map(|milliseconds| format!("{milliseconds:.3}"));
    let wanted = words::wanted(result);
    let cycles = units::thousands(result.cycles);
    let mut cells = vec![&*result.attached, &result.name, &wanted, result.reached.short(), &cycles];
    cells.extend(time.as_deref());
    cells.push(result.verdict.word());
    let cells: Vec<String> = cells.into_iter().map(escape).collect();
    format!("| {} |", cells.join(" | "))
}

fn item(result: &CaseResult, why: &str) -> String {
    let place = format!("{}:{}", result.file, result.line);
    format!("- **{}** ({}): {}", escape(&result.name), escape(&place), escape(why))
}

/// A text as it is, whatever it means in Markdown or HTML; also for the cell of a table.
fn escape(text: &str) -> String {
    let text = units::tame(text);
    let mut escaped = String::with_capacity(text.len());
    for (index, letter) in text.char_indices() {
        let outer = index == 0 || index + letter.len_utf8() == text.len();
        match letter {
            // A table is split at bars before anything else is read.
            '|' => escaped.push_str("&#124;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '&' | '~' | '$' => {
                escaped.push('\\');
                escaped.push(letter);
            }
            // Blanks at the ends of a cell would be dropped.
            letter if outer && letter.is_whitespace() => escaped.push_str(&format!("&#{};", u32::from(letter))),
            letter => escaped.push(letter),
        }
    }
    escaped
}
