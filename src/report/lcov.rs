//! LCOV: line, branch and function records, for editors and CI servers that show coverage beside the source.
//!
//! A section a harness and source file. Lines and branches of macros belong to where they are used, as the line table
//! has it. A line with several instructions ran as often as the one that ran most; the branches of a line have a block
//! each, in order of address, and in it direction 0 to the target and direction 1 to the next instruction.

use std::collections::{BTreeMap, HashSet};
use std::io::{self, Write};

use super::Reporter;
use crate::check::Summary;
use crate::coverage::{Coverage, Directions};
use crate::verdict::Spot;

/// Writes LCOV.
#[derive(Debug)]
pub struct Lcov<W> {
    out: W,
    names: HashSet<String>,
}

/// What is known of one source file.
#[derive(Default)]
struct File<'a> {
    functions: Vec<(u32, &'a str, u64)>,
    lines: BTreeMap<u32, u64>,
    /// Of each line the branches on it: whether they ran, and their directions.
    branches: BTreeMap<u32, Vec<(bool, &'a Directions)>>,
}

impl<W: Write> Lcov<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out, names: HashSet::new() }
    }

    /// The name of a test: letters, digits and underscores, and another one for each harness.
    fn test_name(&mut self, harness: &str) -> String {
        let name: String =
            harness.chars().map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '_' }).collect();
        let mut unique = name.clone();
        let mut number = 2;
        while !self.names.insert(unique.clone()) {
            unique = format!("{name}_{number}");
            number += 1;
        }
        unique
    }

    fn file(&mut self, test: &str, path: &str, file: &File) -> io::Result<()> {
        let out = &mut self.out;
        writeln!(out, "TN:{test}\nSF:{path}")?;
        for (line, name, _) in &file.functions {
            writeln!(out, "FN:{line},{name}")?;
        }
        for (_, name, runs) in &file.functions {
            writeln!(out, "FNDA:{runs},{name}")?;
        }
        let hit = file.functions.iter().filter(|(_, _, runs)| *runs > 0).count();
        writeln!(out, "FNF:{}\nFNH:{hit}", file.functions.len())?;
        let (mut found, mut hit) = (0, 0);
        for (line, branches) in &file.branches {
            for (block, (ran, directions)) in branches.iter().enumerate() {
                let both = [&directions.taken, &directions.fell_through];
                for (branch, direction) in both.into_iter().enumerate() {
                    let runs = if *ran { direction.runs.to_string() } else { "-".to_owned() };
                    writeln!(out, "BRDA:{line},{block},{branch},{runs}")?;
                    found += 1;
                    hit += u64::from(direction.runs > 0);
                }
            }
        }
        writeln!(out, "BRF:{found}\nBRH:{hit}")?;
        for (line, runs) in &file.lines {
            writeln!(out, "DA:{line},{runs}")?;
        }
        let hit = file.lines.values().filter(|runs| **runs > 0).count();
        writeln!(out, "LF:{}\nLH:{hit}\nend_of_record", file.lines.len())
    }
}

/// File and line of a spot; a path with a line break cannot be written down.
fn source(spot: &Spot) -> Option<(&str, u32)> {
    let (file, line) = spot.source.as_ref()?.rsplit_once(':')?;
    let line = line.parse().ok()?;
    (!file.contains(['\n', '\r'])).then_some((file, line))
}

fn files(coverage: &Coverage) -> BTreeMap<&str, File<'_>> {
    let mut files: BTreeMap<&str, File> = BTreeMap::new();
    for instruction in &coverage.listing {
        let Some((path, line)) = source(&instruction.at) else { continue };
        let file = files.entry(path).or_default();
        let runs = file.lines.entry(line).or_default();
        *runs = instruction.runs.max(*runs);
        if let Some(directions) = &instruction.directions {
            file.branches.entry(line).or_default().push((instruction.runs > 0, directions));
        }
    }
    for function in &coverage.functions {
        let Some((path, line)) = source(&function.at) else { continue };
        let name = function.name.as_str();
        if !name.contains([',', '\n', '\r']) {
            files.entry(path).or_default().functions.push((line, name, function.runs));
        }
    }
    files
}

impl<W: Write> Reporter for Lcov<W> {
    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        let test = self.test_name(&coverage.harness);
        files(coverage).into_iter().try_for_each(|(path, file)| self.file(&test, path, &file))
    }

    fn finished(&mut self, _: &Summary) -> io::Result<()> {
        self.out.flush()
    }
}
