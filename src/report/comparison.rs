//! What is seen of a comparison: for people on a terminal, and as one JSON line.

use std::io::{self, Write};

use schemars::JsonSchema;
use serde::Serialize;

use super::proof::{facts, ways, write_doubts};
use super::records::FORMAT;
use super::words::{BAD, BOLD, DIM, GOOD, OPEN, write_fact};
use crate::compare::{Change, Comparison, Effect, Side, Tried};
use crate::prove::{Condition, WitnessAnswer};
use crate::units;

/// The line of `keyway compare --format json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum ComparisonRecord<'a> {
    /// The comparison.
    Comparison {
        /// The version of the format.
        format: u32,
        /// The comparison.
        comparison: &'a Comparison,
    },
}

/// The most cases that are listed.
const MOST: usize = 20;

/// Writes a comparison as a JSON line.
pub fn write_comparison_line(out: &mut impl Write, comparison: &Comparison) -> io::Result<()> {
    serde_json::to_writer(&mut *out, &ComparisonRecord::Comparison { format: FORMAT, comparison })?;
    out.write_all(b"\n")
}

/// Writes a comparison for people.
pub fn write_comparison(out: &mut impl Write, comparison: &Comparison) -> io::Result<()> {
    write_side(out, "old", &comparison.old)?;
    write_side(out, "new", &comparison.new)?;
    facts(out, "unknown", &comparison.scope.unknown)?;
    facts(out, "fixed", &comparison.scope.fixed)?;
    comparison.changes.iter().try_for_each(|change| write_change(out, change))?;
    comparison.effects.iter().try_for_each(|effect| write_effect(out, effect))?;
    write_same(out, comparison)?;
    if let Some(tried) = &comparison.tried {
        write_tried(out, tried)?;
    }
    write_verdict(out, comparison)
}

fn write_side(out: &mut impl Write, which: &'static str, side: &Side) -> io::Result<()> {
    let text = format!("{}, {}, CRC-32 {}", side.file, side.image, side.crc32);
    write_fact(out, &(which, units::tame(&text).into_owned()))
}

fn write_change(out: &mut impl Write, change: &Change) -> io::Result<()> {
    let (before, after) = (units::tame(&change.before), units::tame(&change.after));
    writeln!(out, "\n{BAD}CHANGED{BAD:#} {BOLD}{before} before, {after} now{BOLD:#}")?;
    write_which(out, change.condition.as_ref(), change.headers.as_ref(), &change.ways, &change.witness)
}

fn write_effect(out: &mut impl Write, effect: &Effect) -> io::Result<()> {
    let (branch, what) = (units::tame(&effect.branch), units::tame(&effect.what));
    writeln!(out, "\n{BAD}CHANGED{BAD:#} {BOLD}{branch} as before, but {what}{BOLD:#}")?;
    let values = format!("{} before, {} now, for the witness", effect.before, effect.after);
    write_fact(out, &("values", units::tame(&values).into_owned()))?;
    write_which(out, effect.condition.as_ref(), effect.headers.as_ref(), &effect.ways, &effect.witness)
}

fn write_which(
    out: &mut impl Write,
    condition: Option<&Condition>,
    headers: Option<&String>,
    attached: &[String],
    witness: &WitnessAnswer,
) -> io::Result<()> {
    let text = condition.map_or("a condition without a short form", |condition| &condition.text);
    write_fact(out, &("when", units::tame(text).into_owned()))?;
    if let Some(headers) = headers {
        write_fact(out, &("headers", headers.clone()))?;
    }
    write_fact(out, &("attached", ways(attached)))?;
    write_fact(out, &("witness", units::tame(&witness.label).into_owned()))
}

fn write_same(out: &mut impl Write, comparison: &Comparison) -> io::Result<()> {
    if comparison.same.is_empty() || !comparison.proved {
        return Ok(());
    }
    let names: Vec<String> = comparison.same.iter().map(|name| units::tame(name).into_owned()).collect();
    writeln!(out, "\n{GOOD}the same{GOOD:#}  {}", names.join(", "))?;
    writeln!(
        out,
        "  {DIM}no cartridge lost or won; the same writes to ports and values shown, and nothing else goes wrong{DIM:#}"
    )
}

fn write_tried(out: &mut impl Write, tried: &Tried) -> io::Result<()> {
    writeln!(
        out,
        "\n{OPEN}tried{OPEN:#}  {} cases and {} entries of the corpus were run on both builds: {} differ",
        units::thousands(tried.cases as u64),
        units::thousands(tried.entries as u64),
        units::thousands(tried.differs.len() as u64)
    )?;
    for differs in tried.differs.iter().take(MOST) {
        let name = units::tame(&differs.name);
        writeln!(out, "  {BAD}differs{BAD:#}  {name}: {} before, {} now", differs.before, differs.after)?;
    }
    match tried.differs.len().saturating_sub(MOST) {
        0 => Ok(()),
        more => writeln!(out, "  and {} more", units::thousands(more as u64)),
    }
}

fn write_verdict(out: &mut impl Write, comparison: &Comparison) -> io::Result<()> {
    let differs = comparison.changes.len() + comparison.effects.len();
    writeln!(out)?;
    match (comparison.proved, differs) {
        (true, 0) => writeln!(
            out,
            "{GOOD}proved{GOOD:#}: within the scope above every cartridge takes the same branch with the same visible effects"
        ),
        (true, 1) => writeln!(out, "{GOOD}proved{GOOD:#}: nothing else changed within the scope above"),
        (true, many) => {
            writeln!(out, "{GOOD}proved{GOOD:#}: beside these {many}, nothing changed within the scope above")
        }
        (false, _) => {
            let what = if differs == 0 { "nothing is proved" } else { "there may be more changes" };
            writeln!(out, "{OPEN}inconclusive{OPEN:#}: {what}")?;
            write_doubts(out, &comparison.doubts)
        }
    }
}
