//! A YAML file: reading it safely, deserialising it, and finding the place of a key again when something is wrong.
//!
//! serde_yaml reads; the position-keeping parser is used only when an error must be located.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::de::DeserializeOwned;
use serde_path_to_error::Segment;

use super::complaint::{Complaint, Position, suggestion};
use super::{locate, strict};
use crate::cartridge::LARGEST_IMAGE;

/// The largest YAML file, in bytes.
const LARGEST: u64 = 8 << 20;

/// One step on the way to a key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Into a mapping.
    Key(String),
    /// Into a list.
    Index(usize),
}

impl Step {
    /// The key, if the step is one.
    pub fn as_key(&self) -> Option<&str> {
        match self {
            Step::Key(key) => Some(key),
            Step::Index(_) => None,
        }
    }
}

/// The way to a key or value.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeyPath(pub Vec<Step>);

impl KeyPath {
    /// The whole file.
    pub fn root() -> Self {
        Self::default()
    }

    /// One key further.
    pub fn key(&self, key: &str) -> Self {
        self.with(Step::Key(key.to_owned()))
    }

    /// One list element further.
    pub fn index(&self, index: usize) -> Self {
        self.with(Step::Index(index))
    }

    fn with(&self, step: Step) -> Self {
        let mut steps = self.0.clone();
        steps.push(step);
        Self(steps)
    }

    /// This path and then another one.
    pub fn join(&self, rest: &KeyPath) -> Self {
        Self(self.0.iter().chain(&rest.0).cloned().collect())
    }
}

impl std::fmt::Display for KeyPath {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let simple = |key: &str| key.chars().all(|letter| letter.is_alphanumeric() || "-_<".contains(letter));
        for (index, step) in self.0.iter().enumerate() {
            let dot = if index == 0 { "" } else { "." };
            match step {
                Step::Key(key) if simple(key) => write!(f, "{dot}{key}")?,
                Step::Key(key) => write!(f, "{dot}{key:?}")?,
                Step::Index(place) => write!(f, "[{place}]")?,
            }
        }
        Ok(())
    }
}

/// A YAML file that has been read.
#[derive(Clone, Debug)]
pub struct Document {
    /// Its path as the user would write it.
    pub path: PathBuf,
    /// Its text.
    pub text: Arc<str>,
}

impl Document {
    /// Reads a file.
    ///
    /// # Errors
    /// A file that is missing, unreadable, no regular file, empty, too large, or not UTF-8.
    pub fn read(path: &Path) -> Result<Self, Complaint> {
        let bytes = read_limited(path, LARGEST)?;
        let text = String::from_utf8(bytes).map_err(|error| not_utf8(path, &error))?;
        // Some editors begin a file with a byte order mark, which means nothing in UTF-8.
        let text = text.strip_prefix('\u{FEFF}').unwrap_or(&text);
        let document = Document { path: path.to_owned(), text: text.into() };
        if document.text.trim().is_empty() {
            return Err(Complaint::about(path, "the file is empty"));
        }
        match strict::check(&document.text) {
            None => Ok(document),
            Some(fault) => {
                let position = document.position(fault.bytes);
                let mut complaint = Complaint::about(path, fault.message);
                complaint.help = fault.help;
                Err(complaint.at(&document.text, Some(position), fault.path.to_string()))
            }
        }
    }

    /// Reads a file that this one names at a path. If the file itself cannot be had, the complaint is about the name.
    pub fn read_named(&self, path: &KeyPath, file: &Path) -> Result<Self, Complaint> {
        Self::read(file).map_err(|complaint| match complaint.position {
            Some(_) => complaint,
            None => self.complain(path, format!("{}: {}", file.display(), complaint.message)),
        })
    }

    /// Reads the bytes of an image file that this file names at a path.
    pub fn image(&self, path: &KeyPath, file: &Path) -> Result<Vec<u8>, Complaint> {
        let refuse = |message: &str| self.complain(path, format!("{}: {message}", file.display()));
        let bytes = read_limited(file, u64::from(LARGEST_IMAGE)).map_err(|error| refuse(&error.message))?;
        if bytes.is_empty() { Err(refuse("the file is empty")) } else { Ok(bytes) }
    }

    /// Deserialises the whole file.
    pub fn parse<T: DeserializeOwned>(&self) -> Result<T, Complaint> {
        let deserializer = serde_yaml::Deserializer::from_str(&self.text);
        serde_path_to_error::deserialize(deserializer).map_err(|error| {
            let path = key_path(error.path());
            let inner = error.into_inner();
            let location = inner.location();
            let mut complaint = self.translate(&KeyPath::root(), path, &inner.to_string());
            // Broken YAML has no keys to find; the reader then knows best where it stopped.
            if let (None, Some(location)) = (&complaint.position, location) {
                let at = location.index().min(self.text.len());
                complaint.position = Some(self.position(at..at));
            }
            complaint
        })
    }

    /// Deserialises a part of the file that stands at `base`.
    pub fn parse_value<T: DeserializeOwned>(&self, value: &serde_yaml::Value, base: &KeyPath) -> Result<T, Complaint> {
        serde_path_to_error::deserialize(value.clone()).map_err(|error| {
            let path = key_path(error.path());
            self.translate(base, path, &error.into_inner().to_string())
        })
    }

    /// A complaint about the value at a path.
    pub fn complain(&self, path: &KeyPath, message: impl Into<String>) -> Complaint {
        self.complaint(path, locate::Part::Value, message.into())
    }

    /// A complaint about the key itself at the end of a path.
    pub fn complain_key(&self, path: &KeyPath, message: impl Into<String>) -> Complaint {
        self.complaint(path, locate::Part::Key, message.into())
    }

    fn complaint(&self, path: &KeyPath, part: locate::Part, message: String) -> Complaint {
        let found = locate::find(&self.text, path, part);
        let spelled = found.as_ref().map_or(path, |found| &found.path).to_string();
        let position = found.map(|found| self.position(found.bytes));
        Complaint::about(&self.path, message).at(&self.text, position, spelled)
    }

    /// The line (from 1) of the value at a path; 0 if it cannot be found.
    pub fn line(&self, path: &KeyPath) -> usize {
        locate::find(&self.text, path, locate::Part::Value).map_or(0, |found| self.position(found.bytes).line)
    }

    /// The lines (from 1) of the elements of the list at a path. One walk, where asking for each would be as many.
    pub fn element_lines(&self, list: &KeyPath) -> Vec<usize> {
        locate::element_lines(&self.text, list)
    }

    fn position(&self, bytes: std::ops::Range<usize>) -> Position {
        let mut start = bytes.start.min(self.text.len());
        while !self.text.is_char_boundary(start) {
            start -= 1;
        }
        let mut end = bytes.end.clamp(start, self.text.len());
        while !self.text.is_char_boundary(end) {
            end += 1;
        }
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Position {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            bytes: start..end,
        }
    }

    /// serde's message in our words, at the right place.
    fn translate(&self, base: &KeyPath, path: KeyPath, message: &str) -> Complaint {
        let message = message.split(" at line ").next().unwrap_or(message);
        // serde_yaml repeats the path, or the path without its last step, before some messages.
        let shorter = &path.0[..path.0.len().saturating_sub(1)];
        let without = |steps: &[Step]| message.strip_prefix(&spelled(steps))?.strip_prefix(": ");
        let message = without(&path.0).or_else(|| without(shorter)).unwrap_or(message);
        let full = base.join(&path);
        let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
        if let Some((wrong, known)) = quoted.split_first()
            && (message.starts_with("unknown field") || message.starts_with("unknown variant"))
        {
            let is_key = message.starts_with("unknown field");
            let (part, what) = if is_key { (locate::Part::Key, "key") } else { (locate::Part::Value, "word") };
            let at =
                if is_key && full.0.last() != Some(&Step::Key((*wrong).to_owned())) { full.key(wrong) } else { full };
            let mut complaint = self.complaint(&at, part, format!("unknown {what} `{wrong}`"));
            complaint.help = self.other_kind(&at, known).or_else(|| suggestion(wrong, known.iter().copied()));
            return complaint;
        }
        if let Some(key) = quoted.first().filter(|_| message.starts_with("missing field")) {
            return self.complaint(&full, locate::Part::Value, format!("the key `{key}` is missing"));
        }
        if let Some(key) =
            quoted.first().filter(|_| message.starts_with("duplicate field") || message.ends_with("is given twice"))
        {
            let at = if full.0.last() == Some(&Step::Key((*key).to_owned())) { full } else { full.key(key) };
            return self.complaint(&at, locate::Part::SecondKey, format!("`{key}` is given twice"));
        }
        let part = if message.starts_with("expected an offset") { locate::Part::Key } else { locate::Part::Value };
        let mut complaint = self.complaint(&full, part, plain(message));
        if message.ends_with("expected a string") && !message.contains("sequence") && !message.contains("map") {
            complaint.help = Some("put it in quotes".to_owned());
        }
        complaint
    }

    /// A case file where a harness is wanted, or the other way round.
    fn other_kind(&self, at: &KeyPath, known: &[&str]) -> Option<String> {
        let has = |key: &str| self.text.lines().any(|line| line.starts_with(key));
        let text = match known {
            _ if at.0.len() != 1 => return None,
            known if known.contains(&"routine") && has("cases:") => {
                "this is a case file; a harness file is wanted here"
            }
            known if known.contains(&"cases") && (has("routine:") || has("host:") || has("extends:")) => {
                "this is a harness file; a case file is wanted here (check --boundary takes both)"
            }
            _ => return None,
        };
        Some(text.to_owned())
    }
}

fn not_utf8(path: &Path, error: &std::string::FromUtf8Error) -> Complaint {
    let good = error.utf8_error().valid_up_to();
    let text: Arc<str> = String::from_utf8_lossy(error.as_bytes()).into();
    let document = Document { path: path.to_owned(), text };
    let position = document.position(good..good + 1);
    let wide = error.as_bytes().starts_with(&[0xFF, 0xFE]) || error.as_bytes().starts_with(&[0xFE, 0xFF]);
    let message = if wide { "the file is UTF-16; UTF-8 is wanted" } else { "the file is not UTF-8 text from here on" };
    Complaint::about(path, message).at(&document.text, Some(position), "")
}

/// A path as serde_yaml spells it.
fn spelled(steps: &[Step]) -> String {
    let mut text = String::new();
    for step in steps {
        match step {
            Step::Key(key) if text.is_empty() => text.push_str(key),
            Step::Key(key) => text.push_str(&format!(".{key}")),
            Step::Index(place) => text.push_str(&format!("[{place}]")),
        }
    }
    text
}

/// serde's words for types, in the user's.
fn plain(message: &str) -> String {
    let mut text = message.to_owned();
    let swaps = [
        ("invalid type: ", "wrong type: "),
        ("unit value", "nothing"),
        ("floating point `", "number `"),
        ("integer `", "number `"),
        ("boolean `", "truth value `"),
        ("string \"", "text \""),
        ("field identifier", "one of the known keys"),
        ("a sequence", "a list"),
        ("sequence", "a list"),
        ("map,", "a mapping,"),
        ("expected map", "expected a mapping"),
        ("expected string", "expected text"),
        ("expected a string", "expected text"),
    ];
    for (from, to) in swaps {
        text = text.replace(from, to);
    }
    if let Some(at) = text.find("expected struct ") {
        text.truncate(at);
        text.push_str("expected a mapping");
    }
    if let Some(at) = text.find("expected enum ") {
        text.truncate(at);
        text.push_str("expected one word");
    }
    text
}

fn key_path(path: &serde_path_to_error::Path) -> KeyPath {
    let steps = path.iter().filter_map(|segment| match segment {
        Segment::Seq { index } => Some(Step::Index(*index)),
        Segment::Map { key } => Some(Step::Key(key.clone())),
        Segment::Enum { .. } | Segment::Unknown => None,
    });
    KeyPath(steps.collect())
}

/// Reads a whole file of at most `limit` bytes.
///
/// # Errors
/// A file that is missing, unreadable, no regular file, or too large.
pub fn read_limited(path: &Path, limit: u64) -> Result<Vec<u8>, Complaint> {
    let refuse = |reason: String| Complaint::about(path, reason);
    let metadata = std::fs::metadata(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => refuse("there is no such file".to_owned()),
        _ => refuse(format!("the file cannot be read: {error}")),
    })?;
    if metadata.is_dir() {
        return Err(refuse("this is a directory, not a file".to_owned()));
    }
    if !metadata.is_file() {
        return Err(refuse("this is no regular file".to_owned()));
    }
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(|error| refuse(format!("the file cannot be read: {error}")))?;
    file.take(limit + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| refuse(format!("the file cannot be read: {error}")))?;
    if bytes.len() as u64 > limit {
        return Err(refuse(format!("the file is larger than {} bytes", crate::units::thousands(limit))));
    }
    Ok(bytes)
}
