//! The routine as a listing: every reachable instruction with its counts, beside its source line.
//!
//! `!` stands before an instruction that no case reached, `?` before a branch of which a direction was never taken.

use std::collections::{BTreeMap, HashMap};
use std::io::{self, Write};

use super::Reporter;
use super::coverage::{entry, field, followed, stretch};
use crate::check::Summary;
use crate::coverage::{Coverage, Direction, Instruction};
use crate::units;
use crate::verdict::Spot;

/// A larger source file is not read.
const LARGEST: u64 = 16 << 20;

/// The column of the source text is so wide at most, and the instruction's.
const WIDEST: usize = 48;

/// Writes the listings of all harnesses, one after the other.
#[derive(Debug)]
pub struct Listing<W> {
    out: W,
    sources: Sources,
    begun: bool,
}

impl<W: Write> Listing<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out, sources: Sources::default(), begun: false }
    }

    fn instruction(&mut self, instruction: &Instruction) -> io::Result<()> {
        let source = self.sources.text(&instruction.at).map_or_else(String::new, |text| format!("  ; {text}"));
        let line = format!(
            "{} {}  {:<29}  {:>9} {:>7}  {:<WIDEST$}{source}",
            mark(instruction),
            units::address(instruction.at.address),
            instruction.hex,
            units::thousands(instruction.runs),
            units::thousands(instruction.cases),
            instruction.text,
        );
        writeln!(self.out, "{}", line.trim_end())?;
        if let Some(directions) = &instruction.directions {
            self.direction("to", &directions.taken)?;
            self.direction("on to", &directions.fell_through)?;
        }
        instruction.targets.iter().try_for_each(|target| self.direction("to", target))
    }

    /// What belongs to no instruction of the listing.
    fn rest(&mut self, coverage: &Coverage) -> io::Result<()> {
        let outside = coverage.outside.iter().map(|ran| ("outside the host's code:", stretch(ran)));
        let unresolved = coverage.unresolved.iter().map(|at| ("no target was seen of", at.to_string()));
        let entries = coverage.never_matched.iter().map(|never| ("nothing matched", entry(never)));
        let fields = coverage.fields.iter().filter(|field| field.never_varied);
        let fields = fields.map(|never| ("nothing else was tried in", field(never)));
        let followed = followed(coverage).map(|told| ("followed:", told));
        for (what, told) in outside.chain(unresolved).chain(entries).chain(fields).chain(followed) {
            writeln!(self.out, "\n{what} {}", units::tame(&told))?;
        }
        Ok(())
    }

    fn direction(&mut self, word: &str, direction: &Direction) -> io::Result<()> {
        let symbol = direction.to.symbol.as_ref().map_or_else(String::new, |symbol| format!(" <{symbol}>"));
        writeln!(
            self.out,
            "{:41}{:>9} {:>7}  {word:>6} {}{symbol}",
            "",
            units::thousands(direction.runs),
            units::thousands(direction.cases),
            units::address(direction.to.address)
        )
    }
}

impl<W: Write> Reporter for Listing<W> {
    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        if std::mem::replace(&mut self.begun, true) {
            writeln!(self.out)?;
        }
        writeln!(self.out, "{}, {}", coverage.harness, units::tame(&coverage.file))?;
        let plural = if coverage.cases == 1 { "" } else { "s" };
        writeln!(
            self.out,
            "{} case{plural}; instructions {}, directions {}",
            units::thousands(coverage.cases),
            coverage.instructions.percent(),
            coverage.directions.percent()
        )?;
        writeln!(self.out, "  {:<8}  {:<29}  {:>9} {:>7}  instruction", "address", "bytes", "runs", "cases")?;
        let mut next = None;
        for instruction in &coverage.listing {
            let at = &instruction.at;
            let label = at.symbol.as_ref().filter(|symbol| !symbol.contains('+'));
            match label {
                Some(label) => writeln!(self.out, "\n{label}:")?,
                // What stands between was not reached by any way.
                None if next.is_some_and(|next| next != at.address) => writeln!(self.out)?,
                None => {}
            }
            self.instruction(instruction)?;
            next = Some(at.address + instruction.hex.split(' ').count() as u32);
        }
        self.rest(coverage)
    }

    fn finished(&mut self, _: &Summary) -> io::Result<()> {
        self.out.flush()
    }
}

fn mark(instruction: &Instruction) -> char {
    let tried = |direction: &Direction| direction.cases > 0;
    match &instruction.directions {
        _ if instruction.cases == 0 => '!',
        Some(both) if !tried(&both.taken) || !tried(&both.fell_through) => '?',
        _ => ' ',
    }
}

/// The lines of source files, as far as they can be read.
#[derive(Debug, Default)]
struct Sources {
    files: HashMap<String, BTreeMap<usize, String>>,
}

impl Sources {
    /// The line of a spot: its number and its text, or only where it is.
    fn text(&mut self, spot: &Spot) -> Option<String> {
        let source = spot.source.as_ref()?;
        let Some((file, number)) = source.rsplit_once(':') else { return Some(source.clone()) };
        let lines = self.files.entry(file.to_owned()).or_insert_with(|| read(file));
        let text = number.parse().ok().and_then(|number: usize| lines.get(&number));
        let name = file.rsplit('/').next().unwrap_or(file);
        let place = units::tame(&format!("{name}:{number}")).into_owned();
        Some(text.map_or_else(|| place.clone(), |text| format!("{place}  {text}")))
    }
}

fn read(file: &str) -> BTreeMap<usize, String> {
    // Only a plain file: a device or a pipe would never end.
    let plain = std::fs::metadata(file).is_ok_and(|about| about.is_file() && about.len() <= LARGEST);
    let bytes = if plain { std::fs::read(file).unwrap_or_default() } else { Vec::new() };
    let text = String::from_utf8_lossy(&bytes);
    let line = |text: &str| units::tame(&text.trim().replace('\t', " ")).into_owned();
    text.lines().enumerate().map(|(index, text)| (index + 1, line(text))).collect()
}
