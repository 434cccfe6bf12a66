//! A harness file and what it extends, as one: each top-level key with the file it comes from.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::complaint::{Complaint, suggestion};
use super::document::{Document, KeyPath};
use super::harness_file::HarnessFile;
use super::place::Place;
use crate::rom::HostRom;

/// The merged harness file.
pub struct Sections {
    /// The values.
    pub file: HarnessFile,
    /// The file that was asked for.
    main: Arc<Document>,
    /// For each top-level key, the file in which it stands.
    origins: BTreeMap<&'static str, Arc<Document>>,
    /// The file that was asked for and what it extends.
    pub read: Vec<PathBuf>,
}

/// The longest chain of `extends`.
const LONGEST_CHAIN: usize = 16;

/// Takes each key from `$base` unless `$file` has it, and remembers where it stands.
macro_rules! merge {
    ($sections:expr, $document:expr, $file:expr, [$($key:literal => $field:ident),* $(,)?]) => {
        $(
            if $sections.file.$field.is_none() && $file.$field.is_some() {
                $sections.file.$field = $file.$field;
                $sections.origins.insert($key, Arc::clone(&$document));
            }
        )*
    };
}

impl Sections {
    /// Reads a harness file and everything it extends.
    pub fn read(path: &Path) -> Result<Self, Complaint> {
        let main = Arc::new(Document::read(path)?);
        let (file, origins) = (HarnessFile::default(), BTreeMap::new());
        let mut sections = Self { file, main: Arc::clone(&main), origins, read: vec![path.to_owned()] };
        let mut seen = vec![canonical(path)];
        let mut document = main;
        loop {
            let file: HarnessFile = document.parse()?;
            let next = file.extends.clone();
            merge!(sections, document, file, [
                "name" => name, "host" => host, "clock" => clock, "socket" => socket, "unmapped" => unmapped,
                "memory" => memory, "ports" => ports, "overlays" => overlays, "interrupts" => interrupts,
                "wait-states" => wait_states, "routine" => routine, "header" => header, "branches" => branches,
                "forbid" => forbid, "acceptance" => acceptance,
            ]);
            let Some(next) = next else { return Ok(sections) };
            let key = KeyPath::root().key("extends");
            let next = beside(&document.path, &next);
            if seen.contains(&canonical(&next)) {
                return Err(document.complain(&key, format!("{} extends itself in the end", next.display())));
            }
            if seen.len() == LONGEST_CHAIN {
                return Err(document.complain(&key, format!("the chain of `extends` is longer than {LONGEST_CHAIN}")));
            }
            seen.push(canonical(&next));
            document = Arc::new(document.read_named(&key, &next)?);
            sections.read.push(next);
        }
    }

    /// The file in which a path stands.
    pub fn document(&self, path: &KeyPath) -> &Document {
        let key = path.0.first().and_then(|step| match step {
            super::document::Step::Key(key) => self.origins.get(key.as_str()),
            super::document::Step::Index(_) => None,
        });
        key.unwrap_or(&self.main)
    }

    /// A complaint about the value at a path.
    pub fn complain(&self, path: &KeyPath, message: impl Into<String>) -> Complaint {
        self.document(path).complain(path, message)
    }

    /// A complaint about a key.
    pub fn complain_key(&self, path: &KeyPath, message: impl Into<String>) -> Complaint {
        self.document(path).complain_key(path, message)
    }

    /// A complaint that a needed key is missing.
    pub fn missing(&self, key: &str) -> Complaint {
        self.main.complain(&KeyPath::root(), format!("the key `{key}` is missing"))
    }

    /// A file named at a path, relative to the file that names it.
    pub fn file(&self, path: &KeyPath, name: &str) -> PathBuf {
        beside(&self.document(path).path, name)
    }

    /// The address of a place.
    pub fn address(&self, path: &KeyPath, place: &Place, host: &HostRom) -> Result<u32, Complaint> {
        match place {
            Place::Address(address) => Ok(*address),
            Place::Symbol(name, offset) => match host.symbols().find(name) {
                Some(address) => Ok(address.wrapping_add(*offset)),
                None => Err(self.unknown_symbol(path, name, host)),
            },
        }
    }

    fn unknown_symbol(&self, path: &KeyPath, name: &str, host: &HostRom) -> Complaint {
        let mut complaint = self.complain(path, format!("the host image has no symbol `{name}`"));
        complaint.help = symbol_help(name, host);
        complaint
    }
}

/// What a missing symbol might be.
pub fn symbol_help(name: &str, host: &HostRom) -> Option<String> {
    if host.symbols().is_empty() {
        return Some("it has no symbols at all; give a text file in `nm -P` form as `host: {symbols: ...}`".to_owned());
    }
    let near = host.symbols().near(name);
    if near.is_empty() { None } else { suggestion(name, near) }
}

/// A file named in another one.
pub fn beside(file: &Path, name: &str) -> PathBuf {
    let mut path = file.parent().map(Path::to_path_buf).unwrap_or_default();
    // `../harness/aria.yaml` beside `cases/drums.yaml` reads better as `harness/aria.yaml`.
    for part in Path::new(name).components() {
        let last_is_name =
            path.components().next_back().is_some_and(|last| matches!(last, std::path::Component::Normal(_)));
        match part {
            std::path::Component::ParentDir if last_is_name => {
                path.pop();
            }
            std::path::Component::CurDir => {}
            part => path.push(part),
        }
    }
    if path.as_os_str().is_empty() { PathBuf::from(".") } else { path }
}

fn canonical(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_owned())
}
