//! A small project in a folder that vanishes with the test, and the table of what is broken in it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pretty_assertions::assert_eq;
use tempfile::TempDir;

/// A harness that is right, on the demo ROM.
pub const HARNESS: &str = r#"name: Aria Workshop
host: {image: aria.elf}
clock: 8 MHz
socket: {window: 0x200000-0x3FFFFF, empty: floating}
memory:
  - {name: work ram, range: 0xE00000-0xE0FFFF, power-on: [zeros, ones]}
ports:
  - {name: latch, at: 0xB00001, writes: [0, 1]}
  - {name: pedal, at: 0xB00003, reads: 0x00}
overlays:
  - {name: format patch, image: patch.bin, range: 0x280000-0x2BFFFF, while: {port: latch, is: 1}}
routine:
  entry: detect
  stack: 0xE0FE00
  limit: {instructions: 500000}
header:
  signature: {at: 0x100, length: 16, pad: space}
  product:   {at: 0x180, length: 14, pad: space}
  checksum:  {at: 0x1A0, sum16: 0x200-end}
branches:
  combination: {kind: full-combination, at: mode_combination}
  patched:     {kind: alternate, at: mode_patched}
  noise:       {kind: fallback, at: mode_noise, shows: {preset: word preset}}
  refused:     {kind: rejected, at: mode_refused}
  alone:       {kind: rejected, at: mode_alone}
acceptance:
  - {unless: {signature: "PARLOR16 SYSTEM "}, branch: alone}
  - {when: {product: AW-3200-00}, branch: combination}
  - {when: {product: [AW-2100-00, AW-2100-01]}, branch: patched}
  - {when: {product: {starts: AW-}, ports: {pedal: {mask: 0x01, is: 0x01}}}, branch: noise}
  - {when: {product: {starts: AW-}}, branch: refused}
  - {branch: noise}
"#;

/// A case file that is right.
pub const CASES: &str = r#"harness: h.yaml
defaults: {empty: ones}
cartridges:
  drums: {signature: "PARLOR16 SYSTEM ", product: "AW-2100-{rev}", size: 1 MiB, checksum: right}
  choir: {signature: "PARLOR16 SYSTEM ", product: "AW-3200-00"}
cases:
  - name: one
    for: {rev: ["00", "01"]}
    attach: drums
    expect: {branch: patched, writes: {latch: [1, 0]}, within: {cycles: 20000}}
  - name: two
    attach: choir
    ports: {pedal: 1}
    expect: {branch: combination, memory: {word mode: 1}}
"#;

/// A folder with the project.
pub struct Project(TempDir);

impl Project {
    /// The project as it is right.
    pub fn new() -> Self {
        let project = Self(TempDir::new().expect("a temporary folder"));
        for file in ["aria.elf", "patch.bin"] {
            let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("harness").join(file);
            fs::copy(from, project.path(file)).expect("the demo ROM");
        }
        project.write("h.yaml", HARNESS);
        project.write("c.yaml", CASES);
        project
    }

    /// The path of a file.
    pub fn path(&self, file: &str) -> PathBuf {
        self.0.path().join(file)
    }

    /// Writes a file, and the folders on the way to it.
    pub fn write(&self, file: &str, content: impl AsRef<[u8]>) {
        let path = self.path(file);
        fs::create_dir_all(path.parent().expect("a folder")).expect("folders");
        fs::write(path, content).expect("a file");
    }

    /// Replaces a text of a file; the text must be there.
    pub fn replace(&self, file: &str, from: &str, to: &str) {
        let text = fs::read_to_string(self.path(file)).expect("a file");
        assert!(text.contains(from), "{file} has no {from:?}");
        self.write(file, text.replacen(from, to, 1));
    }

    /// Runs the program in the folder.
    pub fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
        command.args(arguments).current_dir(self.0.path()).env_remove("CLICOLOR_FORCE").output().expect("keyway runs")
    }

    /// Every file below the folder with its length, every folder without one.
    pub fn listing(&self) -> BTreeMap<PathBuf, Option<u64>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.0.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).expect("a folder").flatten() {
                let about = entry.path().symlink_metadata().expect("an entry");
                if about.is_dir() {
                    folders.push(entry.path());
                }
                found.insert(entry.path(), about.is_file().then_some(about.len()));
            }
        }
        found
    }

    /// Runs the program, which must refuse and write nothing; the lines of what it says.
    pub fn refused(&self, what: &str, arguments: &[&str], code: i32) -> Vec<String> {
        let before = self.listing();
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{what}: exit code; it said:\n{said}");
        assert_eq!(String::from_utf8_lossy(&output.stdout), "", "{what}: standard output");
        assert_eq!(self.listing(), before, "{what}: files were written");
        assert_eq!(said.matches("error: ").count(), 1, "{what}: one error, not\n{said}");
        assert!(!said.contains('\u{1b}'), "{what}: no escape sequences\n{said}");
        said.lines().map(str::to_owned).collect()
    }

    /// `check` must complain about this place and path, with a message that contains this text.
    pub fn complains(&self, what: &str, at: &str, path: &str, message: &str) {
        let said = self.refused(what, &["check", "c.yaml"], 2);
        let text = said.join("\n");
        let lead = if path.is_empty() { "error: ".to_owned() } else { format!("error: {path}: ") };
        assert!(said[0].starts_with(&lead), "{what}: the path is to be {path:?}\n{text}");
        assert!(text.contains(message), "{what}: it is to say {message:?}\n{text}");
        let place = said.iter().find_map(|line| line.trim_start().strip_prefix("--> "));
        assert_eq!(place, Some(at), "{what}: the place\n{text}");
    }
}

/// One way to break a file: what to replace in it, and the complaint that must come of it.
pub struct Break {
    /// The text to replace.
    pub from: &'static str,
    /// What to put there.
    pub to: &'static str,
    /// Line and column.
    pub at: &'static str,
    /// The path to the key.
    pub path: &'static str,
    /// A part of the message.
    pub message: &'static str,
}

/// A line of a table of breaks.
pub const fn broken(
    from: &'static str,
    to: &'static str,
    at: &'static str,
    path: &'static str,
    message: &'static str,
) -> Break {
    Break { from, to, at, path, message }
}

/// Every break of a table, each in a project of its own.
pub fn try_all(file: &str, table: &[Break]) {
    for line in table {
        let project = Project::new();
        project.replace(file, line.from, line.to);
        let what = format!("{:?} for {:?}", line.to, line.from);
        project.complains(&what, &format!("{file}:{}", line.at), line.path, line.message);
    }
}
