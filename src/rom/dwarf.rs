//! Source lines from the DWARF data (versions 2 to 5) of an ELF file.
//!
//! Every line program of the file is run once when the image is loaded. Debugging data are a
//! comfort, so damaged ones give a warning and no lines at all, never a failed load and never a
//! part of the truth.

use std::collections::{HashMap, HashSet};
use std::ops::Range;

use gimli::{
    BigEndian, CompleteLineProgram, EndianSlice, IncompleteLineProgram, LineInstruction, LineProgramHeader, LineRow,
    SectionId, Unit,
};

use super::lines::{Lines, LinesBuilder};
use super::symbols::{Region, on_bus};

type Bytes<'a> = EndianSlice<'a, BigEndian>;
type Dwarf<'a> = gimli::Dwarf<Bytes<'a>>;
type Header<'a> = LineProgramHeader<Bytes<'a>>;

/// More rows than any program for a 24-bit bus has: one for each second byte of 8 MiB.
const MOST_ROWS: usize = 4 << 20;
/// More source files than any such program has.
const MOST_FILES: usize = 1 << 16;
/// The longest path, in bytes, that is kept.
const LONGEST_PATH: usize = 4096;

/// Why the debugging data cannot be used, as a clause.
type Reason = String;

/// Extracts the line table. `section` gives the bytes of a section by name, empty if there is none,
/// or the reason why they cannot be had; sequences outside `regions` (the allocated sections) are
/// remains of what the linker dropped.
pub(super) fn lines<'a>(section: impl Fn(&str) -> Result<&'a [u8], Reason>, regions: &[Region]) -> Lines {
    let load = |id: SectionId| section(id.name()).map(|bytes| EndianSlice::new(bytes, BigEndian));
    match gimli::Dwarf::load(load).and_then(|dwarf| extract(dwarf, regions)) {
        Ok(lines) => lines,
        Err(reason) => Lines::unusable(format!("Source lines are not shown: {reason}.")),
    }
}

fn damaged(error: gimli::Error) -> Reason {
    format!("the DWARF data are damaged ({error})")
}

fn extract(mut dwarf: Dwarf<'_>, regions: &[Region]) -> Result<Lines, Reason> {
    dwarf.populate_abbreviations_cache(gimli::AbbreviationsCacheStrategy::Duplicates);
    let mut extraction = Extraction { dwarf: &dwarf, regions, lines: LinesBuilder::default() };
    let mut programs_seen = HashSet::new();
    let mut units = dwarf.units();
    while let Some(header) = units.next().map_err(damaged)? {
        let mut unit = dwarf.unit(header).map_err(damaged)?;
        let Some(program) = unit.line_program.take() else {
            continue;
        };
        // Units may share a line program; its rows are wanted once.
        if programs_seen.insert(program.header().offset().0) {
            extraction.run(&unit, program)?;
        }
    }
    Ok(extraction.lines.build())
}

struct Extraction<'d, 'a> {
    dwarf: &'d Dwarf<'a>,
    regions: &'d [Region],
    lines: LinesBuilder,
}

impl<'a> Extraction<'_, 'a> {
    fn run(&mut self, unit: &Unit<Bytes<'a>>, program: IncompleteLineProgram<Bytes<'a>>) -> Result<(), Reason> {
        check(program.header()).map_err(damaged)?;
        let (program, sequences): (CompleteLineProgram<_>, _) = program.sequences().map_err(damaged)?;
        let mut numbers = HashMap::new();
        for sequence in &sequences {
            let Some(addresses) = self.placed(sequence.start..sequence.end) else {
                continue;
            };
            let length = addresses.end - addresses.start;
            let mut rows = Vec::new();
            let mut reader = program.resume_from(sequence);
            while let Some((header, row)) = reader.next_row().map_err(damaged)? {
                if row.end_sequence() {
                    break;
                }
                let file = match numbers.get(&row.file_index()) {
                    Some(&number) => number,
                    None => self.file(unit, header, row)?,
                };
                numbers.insert(row.file_index(), file);
                // Addresses only ascend in a sequence; should they not, the row loses its bytes.
                let offset = row.address().saturating_sub(sequence.start).min(u64::from(length)) as u32;
                let line = row.line().map_or(0, |line| u32::try_from(line.get()).unwrap_or(0));
                rows.push((addresses.start + offset, file, line));
                if self.lines.rows() + rows.len() > MOST_ROWS {
                    return Err(format!("the line table has more than {MOST_ROWS} rows"));
                }
            }
            self.lines.sequence(&rows, addresses.end);
        }
        Ok(())
    }

    /// The sequence's addresses on the bus, if it lies within one allocated section.
    fn placed(&self, sequence: Range<u64>) -> Option<Range<u32>> {
        let start = on_bus(u32::try_from(sequence.start).ok()?);
        let length = u32::try_from(sequence.end.checked_sub(sequence.start)?).ok()?;
        let end = start.checked_add(length)?;
        let inside = |region: &Region| region.addresses.start <= start && end <= region.addresses.end;
        self.regions.iter().any(inside).then_some(start..end)
    }

    fn file(&mut self, unit: &Unit<Bytes<'a>>, header: &Header<'a>, row: &LineRow) -> Result<u32, Reason> {
        let path = match row.file(header) {
            Some(file) => self.path(unit, header, file).map_err(damaged)?,
            None => {
                return Err("the line table names a source file that it does not list".to_owned());
            }
        };
        if path.len() > LONGEST_PATH {
            return Err(format!("the path of a source file is longer than {LONGEST_PATH} bytes"));
        }
        if self.lines.files() >= MOST_FILES {
            return Err(format!("there are more than {MOST_FILES} source files"));
        }
        Ok(self.lines.file(path))
    }

    /// The path as the file says it: relative names joined to their directory, and that to the
    /// directory of the compilation. Before version 5, directory 0 is the directory of the
    /// compilation itself; from version 5 on it stands in the table like the others, and is written
    /// out in full.
    fn path(
        &self,
        unit: &Unit<Bytes<'a>>,
        header: &Header<'a>,
        file: &gimli::FileEntry<Bytes<'a>>,
    ) -> gimli::Result<String> {
        let text = |value| -> gimli::Result<String> {
            Ok(self.dwarf.attr_string(unit, value)?.to_string_lossy().into_owned())
        };
        let name = text(file.path_name())?;
        let directory = file.directory(header).map(text).transpose()?.unwrap_or_default();
        let compilation = match (file.directory_index(), &unit.comp_dir) {
            (0, _) | (_, None) => String::new(),
            (_, Some(directory)) => directory.to_string_lossy().into_owned(),
        };
        Ok(join(&join(&compilation, &directory), &name))
    }
}

/// Looks at every instruction of a line program before it is run.
///
/// The library that runs it negates the operand of an `advance_line`, which overflows for the one
/// number that has no negative. No line table holds it, so a program that does is damaged.
fn check(header: &Header<'_>) -> gimli::Result<()> {
    let mut instructions = header.instructions();
    while let Some(instruction) = instructions.next_instruction(header)? {
        if matches!(instruction, LineInstruction::AdvanceLine(i64::MIN)) {
            return Err(gimli::Error::BadSignedLeb128);
        }
    }
    Ok(())
}

/// Joins two parts of a path, the second of which may be absolute; a leading `./` of either says
/// nothing.
fn join(directory: &str, name: &str) -> String {
    let (directory, name) = (without_dot(directory), without_dot(name));
    if directory.is_empty() || is_absolute(name) {
        name.to_owned()
    } else if name.is_empty() {
        directory.to_owned()
    } else {
        format!("{}/{name}", directory.trim_end_matches('/'))
    }
}

fn without_dot(mut path: &str) -> &str {
    while let Some(rest) = path.strip_prefix("./") {
        path = rest;
    }
    if path == "." { "" } else { path }
}

/// Absolute on any system, as the file may have been built on another than this one.
fn is_absolute(path: &str) -> bool {
    path.starts_with(['/', '\\']) || path.as_bytes().get(1) == Some(&b':')
}
