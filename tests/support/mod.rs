//! What several topics need: the built program in a folder of its own, and small ROMs.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The repository's root.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A folder of a user's own, with `harness/` and `cases/`.
pub struct Project {
    folder: tempfile::TempDir,
}

/// What a run of the program printed.
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Project {
    /// An empty project.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a temporary folder") }
    }

    /// A project whose `harness/` is the demo's.
    pub fn demo() -> Self {
        let project = Self::new();
        let harnesses = ["aria.yaml", "blanks.yaml", "convert.yaml", "convert-warned.yaml"];
        for file in harnesses.into_iter().chain(["aria.elf", "patch.bin"]) {
            let bytes = std::fs::read(root().join("harness").join(file)).expect("the demo harness");
            project.write(&format!("harness/{file}"), bytes);
        }
        project
    }

    /// A project with the ROM `words` at address 0 and a harness that has `extra` keys; labels come from `symbols`.
    pub fn with_rom(words: &[u16], symbols: &[(&str, u32)], extra: &str) -> Self {
        let project = Self::new();
        let bytes: Vec<u8> = words.iter().flat_map(|word| word.to_be_bytes()).collect();
        project.write("harness/rom.bin", bytes);
        let names: String = symbols.iter().map(|(name, address)| format!("{name} T {address:x}\n")).collect();
        project.write("harness/rom.nm", names);
        project.write(
            "harness/rom.yaml",
            format!(
                "host: {{image: rom.bin, format: raw, symbols: rom.nm}}\n\
                 socket: {{window: 0x200000-0x3FFFFF, empty: ones}}\n\
                 memory: [{{name: ram, range: 0xE00000-0xE0FFFF}}]\n\
                 {extra}"
            ),
        );
        project
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file; folders are made.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(&path, content).expect("a file");
        path
    }

    /// Runs the program here.
    pub fn run(&self, arguments: &[&str]) -> Ran {
        run(self.path(), arguments)
    }
}

/// Runs the program in a folder.
pub fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
    command.current_dir(folder).args(arguments).env("NO_COLOR", "1").env("CI", "1");
    let Output { status, stdout, stderr } = command.output().expect("the program runs");
    Ran {
        code: status.code().unwrap_or(-1),
        out: String::from_utf8(stdout).expect("UTF-8"),
        err: String::from_utf8(stderr).expect("UTF-8"),
    }
}

/// Xorshift with 64 bits of state, so that every failure can be repeated.
pub struct Random(pub u64);

impl Random {
    /// The next 64 bits.
    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// A number below `limit`, or 0.
    pub fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit.max(1) as u64) as usize
    }
}
