//! `keyway new`: a small harness and suite for a user's own ROM, tried before it is written.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use clap::Args;

use super::{Failure, exit};
use crate::cartridge::Attached;
use crate::check::Checker;
use crate::rom::{ByteOrder, HostRom, HostSource, ImageFiles};
use crate::suite::{Harness, case_schema, harness_schema, nearest};
use crate::verdict::ending;

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct NewArguments {
    /// The built host ROM: ELF, S-record or raw.
    rom: PathBuf,

    /// Where the detection routine starts: a symbol or an address (0x...).
    #[arg(long, value_name = "SYMBOL", default_value = "detect")]
    entry: String,

    /// A label at which the routine has committed to a branch; give one for each. Without any, the routine's return is
    /// the only branch.
    #[arg(long, value_name = "SYMBOL")]
    branch: Vec<String>,

    /// The folder in which `harness/` and `cases/` are made.
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    into: PathBuf,
}

/// The window of a 2 MB host, and the host's own range. Common practice, no published source.
const HOST_LAST: u32 = 0x1F_FFFF;

/// Runs the command.
pub fn run(arguments: &NewArguments) -> Result<u8, Failure> {
    // `harness/boot.yaml` reads better than `./harness/boot.yaml`.
    let into = arguments.into.strip_prefix(".").unwrap_or(&arguments.into);
    let stem = arguments.rom.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    let name: String = stem.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' }).collect();
    let plan = Plan {
        harness: into.join("harness").join(format!("{name}.yaml")),
        harness_schema: into.join("harness").join("harness.schema.json"),
        cases: into.join("cases").join("first.yaml"),
        case_schema: into.join("cases").join("case.schema.json"),
        name,
    };
    for file in plan.files() {
        if file.symlink_metadata().is_ok() {
            let message = format!("{} is there already; nothing has been written", file.display());
            return Err(Failure::Usage(message));
        }
    }
    let rom = load(&arguments.rom)?;
    check_symbol(&rom, &arguments.entry)?;
    for (index, label) in arguments.branch.iter().enumerate() {
        check_symbol(&rom, label)?;
        if arguments.branch[..index].contains(label) {
            return Err(Failure::Usage(format!("--branch {label} is given twice")));
        }
    }
    let texts = Texts { arguments, rom: &rom };
    let (branch, note) = texts.try_out()?;
    let image = relative(&arguments.rom, &arguments.into.join("harness"));
    write_all(&[
        (&plan.harness, texts.harness(&image)),
        (&plan.harness_schema, harness_schema()),
        (&plan.cases, texts.cases(&plan.name, branch.as_deref())),
        (&plan.case_schema, case_schema()),
    ])?;
    let mut out = io::stdout().lock();
    for file in plan.files() {
        writeln!(out, "wrote {}", file.display())?;
    }
    writeln!(out, "{note}")?;
    Ok(exit::HELD)
}

struct Plan {
    name: String,
    harness: PathBuf,
    harness_schema: PathBuf,
    cases: PathBuf,
    case_schema: PathBuf,
}

impl Plan {
    fn files(&self) -> [&PathBuf; 4] {
        [&self.harness, &self.harness_schema, &self.cases, &self.case_schema]
    }
}

fn load(path: &Path) -> Result<HostRom, Failure> {
    let source = HostSource {
        image: ImageFiles::One(path.to_owned()),
        format: None,
        byte_order: ByteOrder::Normal,
        origin: None,
        symbols: None,
        range: 0..=HOST_LAST,
    };
    HostRom::load(&source).map_err(|error| Failure::Usage(error.to_string()))
}

fn check_symbol(rom: &HostRom, symbol: &str) -> Result<(), Failure> {
    if symbol.starts_with("0x") || symbol == "reset" || rom.symbols().find(symbol).is_some() {
        return Ok(());
    }
    let near = nearest(symbol, rom.symbols().near(symbol));
    let help = match near.first() {
        Some(near) => format!("; did you mean `{near}`?"),
        None if rom.symbols().is_empty() => "; it has none at all: give an address (0x...)".to_owned(),
        None => "; name one with --entry or --branch".to_owned(),
    };
    Err(Failure::Usage(format!("the ROM has no symbol `{symbol}`{help}")))
}

/// A path as seen from a folder that may not exist yet: as it is if absolute, else back to where both start.
fn relative(path: &Path, from: &Path) -> String {
    if path.is_absolute() || from.is_absolute() {
        let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        return absolute.display().to_string();
    }
    let up = from.components().filter(|part| matches!(part, std::path::Component::Normal(_))).count();
    format!("{}{}", "../".repeat(up), path.display())
}

/// Writes all files or none: what has been made is taken away again if one of them cannot be written.
fn write_all(files: &[(&PathBuf, String)]) -> Result<(), Failure> {
    let mut made = Made::default();
    for (path, text) in files {
        if let Err(error) = made.write(path, text) {
            made.undo();
            let message = format!("{} cannot be written: {error}; nothing has been written", path.display());
            return Err(Failure::Usage(message));
        }
    }
    Ok(())
}

/// What this command has made so far.
#[derive(Default)]
struct Made {
    folders: Vec<PathBuf>,
    files: Vec<PathBuf>,
}

impl Made {
    fn write(&mut self, path: &Path, text: &str) -> io::Result<()> {
        let folders = path.ancestors().skip(1).take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists());
        let folders: Vec<&Path> = folders.collect();
        for folder in folders.into_iter().rev() {
            fs::create_dir(folder)?;
            self.folders.push(folder.to_owned());
        }
        // `create_new` refuses a file that has come in between.
        let mut file = fs::File::options().write(true).create_new(true).open(path)?;
        self.files.push(path.to_owned());
        file.write_all(text.as_bytes())
    }

    fn undo(self) {
        // What cannot be taken away stays; the complaint about the write says more than one about this.
        self.files.iter().for_each(|file| drop(fs::remove_file(file)));
        self.folders.iter().rev().for_each(|folder| drop(fs::remove_dir(folder)));
    }
}

/// A symbol or address as it stands in YAML.
fn yaml_word(word: &str) -> String {
    let simple = word.starts_with(|first: char| first.is_ascii_alphabetic() || first == '_')
        && word.chars().all(|letter| letter.is_ascii_alphanumeric() || "_.".contains(letter));
    let taken = ["null", "true", "false", "yes", "no", "on", "off"];
    if simple && !taken.contains(&word.to_ascii_lowercase().as_str()) { word.to_owned() } else { quoted(word) }
}

/// A text in double quotes, as JSON and YAML have them.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

struct Texts<'a> {
    arguments: &'a NewArguments,
    rom: &'a HostRom,
}

impl Texts<'_> {
    /// Runs the routine once with nothing attached: the branch it took, and a sentence about it.
    fn try_out(&self) -> Result<(Option<String>, String), Failure> {
        let folder = trial_folder()?;
        let file = folder.join("trial.yaml");
        let absolute = std::path::absolute(&self.arguments.rom).context("the ROM's path")?;
        fs::write(&file, self.harness(&absolute.display().to_string()))?;
        let harness = Harness::load(&file);
        fs::remove_dir_all(&folder)?;
        // The trial file is gone, so its lines say nothing; the keys do.
        let harness = harness.map_err(|complaint| {
            let rom = self.arguments.rom.display();
            Failure::Usage(format!("no harness for {rom} can be made so: {}: {}", complaint.path, complaint.message))
        })?;
        let harness = Arc::new(harness);
        let case = harness.case("trial", Attached::nothing());
        let mut checker = Checker::new(Arc::clone(&harness));
        let outcome = checker.run(&case);
        let ending = ending(outcome, harness.names());
        let branch = outcome.branch().map(|index| harness.rig.branches[index].name.clone());
        let note = match &branch {
            Some(branch) => format!("with nothing attached the routine takes `{branch}`; now try `keyway check`"),
            None => format!("with nothing attached the routine {ending}; edit the harness, then try `keyway check`"),
        };
        Ok((branch, note))
    }

    fn stack(&self) -> u32 {
        self.rom.long(0).unwrap_or(0) & 0xFF_FFFF
    }

    /// The 64 KiB of RAM around the ROM's own stack.
    fn ram(&self) -> (u32, u32) {
        let below = self.stack().wrapping_sub(4) & 0xFF_FFFF;
        if below > 0x3F_FFFF { (below & 0xFF_0000, below | 0xFFFF) } else { (0xE0_0000, 0xE0_FFFF) }
    }

    fn harness(&self, image: &str) -> String {
        let (first, last) = self.ram();
        let stack = if (first..=last).contains(&self.stack().wrapping_sub(4)) {
            "  # stack: the ROM's own (vector 0), since none is given".to_owned()
        } else {
            format!("  stack: 0x{last:06X}", last = last - 0x1FF)
        };
        let branches: String = match &self.arguments.branch[..] {
            [] => "  returned: {kind: fallback, at: return}   # the routine's own rts; add a branch for each label\n"
                .to_owned(),
            labels => labels
                .iter()
                .map(|label| yaml_word(label))
                .map(|label| format!("  {label}: {{kind: fallback, at: {label}}}\n"))
                .collect(),
        };
        let entry = yaml_word(&self.arguments.entry);
        let image = quoted(image);
        format!(
            "# yaml-language-server: $schema=harness.schema.json
#
# What keyway must know of the host ROM and its board. Every key is explained in
# harness/README.md of keyway, or by your editor from the schema.

host: {{image: {image}}}

# clock: 8 MHz                      # with it, cycles are also shown as time

# The pass-through socket, and what its window reads where no cartridge answers:
# ones, zeros, floating, noise or bus-error.
socket: {{window: 0x200000-0x3FFFFF, empty: floating}}

# RAM; every case runs with each of these contents at power-on.
memory:
  - {{name: work ram, range: 0x{first:06X}-0x{last:06X}, power-on: [zeros, ones, noise]}}

# ports:
#   - {{name: latch, at: 0xB00001, writes: [0, 1]}}
#   - {{name: button, at: 0xB00003, reads: 0x00}}

routine:
  entry: {entry}
{stack}
  limit: {{instructions: 500000}}

# The fields of an attached cartridge's header: offsets inside its image.
header:
  signature: {{at: 0x100, length: 16, pad: space}}
  product:   {{at: 0x180, length: 14, pad: space}}

# How the routine can end: kinds are full-combination, alternate, fallback and rejected.
branches:
{branches}
# Which cartridge ought to take which branch: the first rule that fits. With it, cases need
# not name their branch, and `keyway check --boundary` tries the near misses of every text.
# acceptance:
#   - {{unless: {{signature: \"MAKER'S SIGNATURE\"}}, branch: ...}}
#   - {{when: {{product: XX-0000-00}}, branch: ...}}
#   - {{branch: ...}}
"
        )
    }

    fn cases(&self, name: &str, branch: Option<&str>) -> String {
        let fallback = self.arguments.branch.first().map_or("returned", String::as_str);
        let expected = yaml_word(branch.unwrap_or(fallback));
        format!(
            "# yaml-language-server: $schema=case.schema.json
#
# Cases: one attached cartridge each, and what must happen.

harness: ../harness/{name}.yaml

cartridges:
  example: {{signature: \"A SIGNATURE\", product: \"XX-0000-{{rev}}\", size: 1 MiB}}

cases:
  - name: nothing attached
    attach: nothing
    expect: {{branch: {expected}}}

  # - name: every pressing of the example
  #   for: {{rev: [\"00\", \"01\"]}}
  #   attach: example
  #   expect: {{branch: {expected}, within: {{cycles: 20000}}}}
"
        )
    }
}

/// A folder of our own for the trial.
fn trial_folder() -> Result<PathBuf, Failure> {
    let base = std::env::temp_dir();
    for number in 0..1000 {
        let folder = base.join(format!("keyway-{}-{number}", std::process::id()));
        match fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error.into()),
        }
    }
    Err(anyhow::anyhow!("no temporary folder can be made in {}", base.display()).into())
}
