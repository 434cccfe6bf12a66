//! Coverage for people: two shares, then what was not tried, each with its reason.

use std::fmt::Display;
use std::io::{self, Write};

use anstyle::Style;

use super::words::{GOOD, OPEN};
use crate::coverage::{Coverage, FieldUse, NeverTaken, Share, Stretch, TableEntry};
use crate::units;

/// How many lines of one kind are shown; the rest are counted.
const MOST: usize = 20;

const DIM: Style = Style::new().dimmed();
const BOLD: Style = Style::new().bold();

/// Writes the summary.
pub fn write(out: &mut dyn Write, coverage: &Coverage) -> io::Result<()> {
    let cases = units::counted(coverage.cases, "case");
    writeln!(out, "{BOLD}tried by {cases}{BOLD:#}  {}  {DIM}{}{DIM:#}", coverage.harness, units::tame(&coverage.file))?;
    share(out, "instructions", coverage.instructions)?;
    share(out, "directions", coverage.directions)?;
    never_taken(out, &coverage.never_taken)?;
    list(out, "not reached", coverage.unreached.iter().map(stretch))?;
    list(out, "outside", coverage.outside.iter().map(|ran| format!("{}; not counted above", stretch(ran))))?;
    let unresolved = coverage.unresolved.iter();
    list(out, "unresolved", unresolved.map(|at| format!("{at}  no target was seen: what lies behind is not counted")))?;
    list(out, "no match", coverage.never_matched.iter().map(entry))?;
    list(out, "not varied", coverage.fields.iter().filter(|field| field.never_varied).map(field))?;
    list(out, "followed", followed(coverage).into_iter())
}

/// How far entries and header bytes can be relied on, if not every path was followed for them.
pub fn followed(coverage: &Coverage) -> Option<String> {
    let (paths, followed) = (coverage.paths, coverage.paths_followed);
    let rest = "what is said of table entries, and of decisions on header bytes, is of these";
    (followed < paths).then(|| format!("{} of {}; {rest}", units::thousands(followed), units::counted(paths, "path")))
}

fn share(out: &mut dyn Write, what: &str, share: Share) -> io::Result<()> {
    let style = if share.covered == share.total { GOOD } else { OPEN };
    let numbers = format!("{} of {}", units::thousands(share.covered), units::thousands(share.total));
    writeln!(out, "  {DIM}{what:<12}{DIM:#}  {numbers:<16}{style}{:>7}{style:#}", share.percent())
}

/// Those of branches that were reached, with their reasons; the others follow from these.
fn never_taken(out: &mut dyn Write, all: &[NeverTaken]) -> io::Result<()> {
    let line = |way: &NeverTaken| {
        let went = if way.taken { "never went to" } else { "never went on to" };
        format!("{}  {}  {went} {}\n{:16}{}", way.at, way.instruction, way.to, "", way.why)
    };
    list(out, "not taken", all.iter().filter(|way| way.reached).map(line))?;
    match all.iter().filter(|way| !way.reached).count() as u64 {
        0 => Ok(()),
        1 => writeln!(out, "{:16}and 1 direction of a branch that no case reaches", ""),
        more => writeln!(out, "{:16}and {} directions of branches that no case reaches", "", units::thousands(more)),
    }
}

fn list(out: &mut dyn Write, what: &str, lines: impl Iterator<Item = impl Display>) -> io::Result<()> {
    let mut more = 0;
    for (index, line) in lines.enumerate() {
        if index < MOST {
            let line = line.to_string();
            // The second line of an entry has its own place.
            let line = line.split('\n').map(units::tame).collect::<Vec<_>>().join("\n");
            writeln!(out, "  {DIM}{:<12}{DIM:#}  {line}", if index == 0 { what } else { "" })?;
        } else {
            more += 1;
        }
    }
    if more > 0 {
        writeln!(out, "{:16}{OPEN}and {} more; --listing has all{OPEN:#}", "", units::thousands(more))?;
    }
    Ok(())
}

/// A stretch on one line.
pub fn stretch(stretch: &Stretch) -> String {
    let symbol = stretch.at.symbol.as_ref().map_or_else(String::new, |symbol| format!(" <{symbol}>"));
    let source = stretch.source.as_ref().map_or_else(String::new, |source| format!("  {source}"));
    let range = format!("{}-{}", units::address(stretch.at.address), units::address(stretch.last));
    format!("{range}{symbol}{source}  {}", units::counted(stretch.instructions, "instruction"))
}

/// An entry that never matched, on one line.
pub fn entry(entry: &TableEntry) -> String {
    let source = entry.source.as_ref().map_or_else(String::new, |source| format!("  {source}"));
    format!("{}{source}  {:?}, compared by {}", entry.whose, entry.text, units::counted(entry.cases, "case"))
}

/// A field that never varied, on one line.
pub fn field(field: &FieldUse) -> String {
    let last = field.at + field.length.max(1) - 1;
    let same = if field.contents == 0 { "no case attaches any" } else { "the same in every image" };
    let range = format!("0x{:06X}-0x{last:06X}", field.at);
    format!("{} (image {range}), read by {}: {same}", field.name, units::counted(field.read_by, "case"))
}
