//! The words that several reporters share: the facts about a failure, one a line, and the line that counts.

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};

use crate::check::{CaseResult, Summary};
use crate::explain::{Compared, Decided, Evidence, Look};
use crate::suite::Harness;
use crate::units;
use crate::verdict::Verdict;

/// How many failures are shown with their evidence; the rest are counted.
pub const MOST_FAILURES: usize = 50;

/// For what leads to something.
pub const DIM: Style = Style::new().dimmed();
/// For heads.
pub const BOLD: Style = Style::new().bold();
/// For what held.
pub const GOOD: Style = AnsiColor::Green.on_default();
/// For what failed.
pub const BAD: Style = AnsiColor::Red.on_default().bold();
/// For what is open.
pub const OPEN: Style = AnsiColor::Yellow.on_default();

/// One fact: what it is about, empty if the one before is still told, and a line of text that no terminal acts on.
pub type Fact = (&'static str, String);

/// Everything that is known about a case that did not hold, its name left out.
pub fn facts(result: &CaseResult) -> Vec<Fact> {
    let mut facts = vec![("case", format!("{}:{}", result.file, result.line)), ("attached", result.attached.clone())];
    for (index, reason) in reasons(result).into_iter().enumerate() {
        facts.push((if index == 0 { "why" } else { "" }, reason));
    }
    if let Some(evidence) = &result.evidence {
        facts.extend(told(evidence));
    }
    if !result.rerun.is_empty() {
        facts.push(("rerun", result.rerun.clone()));
    }
    facts.into_iter().map(|(what, text)| (what, units::tame(&text).into_owned())).collect()
}

/// Writes a case that did not hold, as people read it: its name, then the facts.
pub fn write_failure(out: &mut impl Write, result: &CaseResult) -> io::Result<()> {
    head(out, result)?;
    facts(result).iter().try_for_each(|fact| write_fact(out, fact))
}

/// The same with the whole explanation in place of the evidence, where there is one.
pub fn write_explained(out: &mut impl Write, result: &CaseResult) -> io::Result<()> {
    let Some(explanation) = &result.explanation else { return write_failure(out, result) };
    head(out, result)?;
    let facts = facts(&CaseResult { evidence: None, explanation: None, ..result.clone() });
    let (rerun, first): (Vec<&Fact>, Vec<&Fact>) = facts.iter().partition(|(what, _)| *what == "rerun");
    first.into_iter().try_for_each(|fact| write_fact(out, fact))?;
    super::write_explanation(out, explanation)?;
    rerun.into_iter().try_for_each(|fact| write_fact(out, fact))
}

fn head(out: &mut impl Write, result: &CaseResult) -> io::Result<()> {
    let style = style(&result.verdict);
    let name = units::tame(&result.name);
    writeln!(out, "\n{style}{}{style:#} {BOLD}{name}{BOLD:#}", result.verdict.word())
}

/// Writes what is tested: the harness, its files, and what its ROM lacks.
pub fn write_harness(out: &mut impl Write, harness: &Harness) -> io::Result<()> {
    let host = harness.rig.map.host();
    writeln!(
        out,
        "{BOLD}{}{BOLD:#}  {DIM}{}, {}, CRC-32 {:08X}{DIM:#}",
        harness.name,
        units::tame(&harness.path.display().to_string()),
        units::tame(&units::file_names(host.files())),
        host.crc32()
    )?;
    match host.lines().warning() {
        Some(warning) => writeln!(out, "{OPEN}  no source lines: {warning}{OPEN:#}"),
        None => Ok(()),
    }
}

/// Writes a fact on a line of its own.
pub fn write_fact(out: &mut impl Write, (what, text): &Fact) -> io::Result<()> {
    writeln!(out, "  {DIM}{what:<9}{DIM:#}  {text}")
}

/// The style of a verdict.
pub fn style(verdict: &Verdict) -> Style {
    match verdict {
        Verdict::Held => GOOD,
        Verdict::Failed { .. } | Verdict::BugGone { .. } => BAD,
        Verdict::Undecided { .. } | Verdict::KnownBug { .. } => OPEN,
    }
}

/// Every reason, the mark of a known bug that is gone among them.
pub fn reasons(result: &CaseResult) -> Vec<String> {
    let gone = match &result.verdict {
        Verdict::BugGone { why } => Some(format!("it is marked `known-bug: {why}`, but it holds; remove the mark")),
        _ => None,
    };
    gone.into_iter().chain(result.verdict.reasons().iter().map(|reason| reason.text.clone())).collect()
}

/// What was wanted, with its kind.
pub fn wanted(result: &CaseResult) -> String {
    let kind = result.expected_kind.map_or_else(String::new, |kind| format!(" ({})", kind.name()));
    format!("{}{kind}", result.expected)
}

/// The evidence of a failure.
pub fn told(evidence: &Evidence) -> Vec<Fact> {
    let mut facts = Vec::new();
    facts.extend(evidence.decided.as_ref().map(|decided| ("decided", decision(decided))));
    facts.extend(evidence.compared.as_ref().map(|compared| ("compared", comparison(compared))));
    for (index, look) in evidence.looked_at.iter().enumerate() {
        facts.push((if index == 0 { "looked at" } else { "" }, stretch(look)));
    }
    if evidence.looked_at.is_empty() {
        facts.push(("looked at", "nothing in the window".to_owned()));
    }
    if !evidence.fill.is_empty() {
        facts.push(("RAM", evidence.fill.clone()));
    }
    facts
}

/// The line that counts, without colours.
pub fn plain_count_line(summary: &Summary, open: usize) -> String {
    anstream::adapter::strip_str(&count_line(summary, open)).to_string()
}

/// The line that counts.
pub fn count_line(summary: &Summary, open: usize) -> String {
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
