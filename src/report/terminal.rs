//! For people: a compatibility list a harness, then the failures with their evidence, then one line that counts.

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use unicode_width::UnicodeWidthStr;

use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::explain::{Compared, Decided, Evidence, Look};
use crate::units;
use crate::verdict::Verdict;

/// The widest column for the attached cartridge.
const WIDEST_LABEL: usize = 60;

/// How many failures are shown with their evidence; the rest are counted.
const MOST_FAILURES: usize = 50;

const DIM: Style = Style::new().dimmed();
const BOLD: Style = Style::new().bold();
const GOOD: Style = AnsiColor::Green.on_default();
const BAD: Style = AnsiColor::Red.on_default().bold();
const OPEN: Style = AnsiColor::Yellow.on_default();

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
        }
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

    fn failure(&mut self, result: &CaseResult) -> io::Result<()> {
        let style = style(&result.verdict);
        writeln!(self.out)?;
        writeln!(self.out, "{style}{}{style:#} {BOLD}{}{BOLD:#}", result.verdict.word(), result.name)?;
        self.fact("case", &format!("{}:{}", result.file, result.line))?;
        self.fact("attached", &result.attached)?;
        if let Verdict::BugGone { why } = &result.verdict {
            self.fact("why", &format!("it is marked `known-bug: {why}`, but it holds; remove the mark"))?;
        }
        for (index, reason) in result.verdict.reasons().iter().enumerate() {
            self.fact(if index == 0 { "why" } else { "" }, &reason.text)?;
        }
        if let Some(evidence) = &result.evidence {
            self.evidence(evidence)?;
        }
        self.fact("rerun", &result.rerun)
    }

    fn fact(&mut self, what: &str, text: &str) -> io::Result<()> {
        writeln!(self.out, "  {DIM}{what:<9}{DIM:#}  {}", units::tame(text))
    }

    fn evidence(&mut self, evidence: &Evidence) -> io::Result<()> {
        if let Some(decided) = &evidence.decided {
            self.fact("decided", &decision(decided))?;
        }
        if let Some(compared) = &evidence.compared {
            self.fact("compared", &comparison(compared))?;
        }
        for (index, look) in evidence.looked_at.iter().enumerate() {
            self.fact(if index == 0 { "looked at" } else { "" }, &stretch(look))?;
        }
        if evidence.looked_at.is_empty() {
            self.fact("looked at", "nothing in the window")?;
        }
        if !evidence.fill.is_empty() {
            self.fact("RAM", &evidence.fill)?;
        }
        Ok(())
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
        let host = harness.rig.map.host();
        let image: Vec<String> = host.files().iter().map(|file| file.display().to_string()).collect();
        writeln!(
            self.out,
            "{BOLD}{}{BOLD:#}  {DIM}{}, {}, CRC-32 {:08X}{DIM:#}",
            harness.name,
            units::tame(&harness.path.display().to_string()),
            units::tame(&image.join(" + ")),
            host.crc32()
        )?;
        if let Some(warning) = host.lines().warning() {
            writeln!(self.out, "{OPEN}  no source lines: {warning}{OPEN:#}")?;
        }
        self.head()
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        if self.file != result.file {
            self.file.clone_from(&result.file);
            writeln!(self.out, "{DIM}  {}{DIM:#}", units::tame(&result.file))?;
        }
        let style = style(&result.verdict);
        let kind = result.expected_kind.map_or_else(String::new, |kind| format!(" ({})", kind.name()));
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
            fit(&format!("{}{kind}", result.expected), self.expected),
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

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        for result in std::mem::take(&mut self.failures) {
            self.failure(&result)?;
        }
        if self.more_failures > 0 {
            let more = units::thousands(self.more_failures as u64);
            writeln!(self.out, "\n{OPEN}and {more} more like these; --name narrows, --format json has all{OPEN:#}")?;
        }
        writeln!(self.out)?;
        writeln!(self.out, "{}", count_line(summary, self.open))?;
        self.out.flush()
    }
}

/// The line that counts.
fn count_line(summary: &Summary, open: usize) -> String {
    let count = |count: usize| units::thousands(count as u64);
    let plural = if summary.cases == 1 { "" } else { "s" };
    let derived = match summary.derived {
        0 => String::new(),
        derived => format!(" ({} of them from the acceptance table)", count(derived)),
    };
    let mut parts = vec![format!("{GOOD}{} held{GOOD:#}", count(summary.held))];
    if summary.failed > 0 {
        parts.push(format!("{BAD}{} failed{BAD:#}", count(summary.failed)));
    }
    if summary.undecided > 0 {
        parts.push(format!("{OPEN}{} undecided{OPEN:#}", count(summary.undecided)));
    }
    if summary.known_bugs > 0 {
        let plural = if summary.known_bugs == 1 { "" } else { "s" };
        parts.push(format!("{OPEN}{} known bug{plural}{OPEN:#}", count(summary.known_bugs)));
    }
    if summary.not_run > 0 {
        parts.push(format!("{OPEN}{} not run{OPEN:#}", count(summary.not_run)));
    }
    let open = match open {
        0 => String::new(),
        open => format!("; the table leaves {} derived cartridges open", count(open)),
    };
    format!("{} case{plural}{derived}: {}{open}", count(summary.cases), parts.join(", "))
}

fn style(verdict: &Verdict) -> Style {
    match verdict {
        Verdict::Held => GOOD,
        Verdict::Failed { .. } | Verdict::BugGone { .. } => BAD,
        Verdict::Undecided { .. } | Verdict::KnownBug { .. } => OPEN,
    }
}

fn decision(decided: &Decided) -> String {
    let went = if decided.taken { "went to" } else { "went on to" };
    format!("{}  {}  {went} {}", decided.at, decided.instruction, decided.to)
}

fn comparison(compared: &Compared) -> String {
    let found = number(compared.found, compared.width);
    let with = match compared.with {
        Some(with) if compared.with_in == "zero" || compared.with_in == "the instruction" => {
            number(with, compared.width)
        }
        Some(with) => format!("{} in {}", number(with, compared.width), compared.with_in),
        None => compared.with_in.clone(),
    };
    let verb = if compared.with.is_none() { "tested for" } else { "compared with" };
    format!("{}  {}  {} held {found}, {verb} {with}", compared.at, compared.instruction, compared.found_in)
}

/// A value as hex and text.
fn number(value: u32, width: u32) -> String {
    let digits = 2 * width as usize;
    let bytes = &value.to_be_bytes()[4 - width as usize..];
    let text: String = bytes.iter().map(|byte| units::printable(*byte)).collect();
    if bytes.iter().all(|byte| (0x20..0x7F).contains(byte)) {
        format!("0x{value:0digits$X} {text:?}")
    } else {
        format!("0x{value:0digits$X}")
    }
}

fn stretch(look: &Look) -> String {
    let place = match (look.offset, &look.field) {
        (Some(offset), Some(field)) => format!("image 0x{offset:06X}, {field}"),
        (Some(offset), None) => format!("image 0x{offset:06X}"),
        (None, _) => "open bus".to_owned(),
    };
    format!("{} ({place})  {}  {:?}", units::address(look.address), look.hex, look.text)
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
