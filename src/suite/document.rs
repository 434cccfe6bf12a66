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
use super::locate;

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
        for (index, step) in self.0.iter().enumerate() {
            match step {
                Step::Key(key) if index == 0 => f.write_str(key)?,
                Step::Key(key) => write!(f, ".{key}")?,
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
        let text = String::from_utf8(bytes).map_err(|error| {
            let good = error.utf8_error().valid_up_to();
            let text = String::from_utf8_lossy(error.as_bytes()).into_owned();
            let document = Document { path: path.to_owned(), text: text.into() };
            let position = document.position(good..good + 1);
            let mut complaint = Complaint::about(path, "the file is not UTF-8 text from here on");
            complaint.position = Some(position);
            complaint
        })?;
        let document = Document { path: path.to_owned(), text: text.into() };
        if document.text.trim().is_empty() {
            return Err(Complaint::about(path, "the file is empty"));
        }
        Ok(document)
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
        let position = locate::find(&self.text, path, part).map(|bytes| self.position(bytes));
        Complaint::about(&self.path, message).at(&self.text, position, path.to_string())
    }

    /// The line (from 1) of the value at a path; 0 if it cannot be found.
    pub fn line(&self, path: &KeyPath) -> usize {
        locate::find(&self.text, path, locate::Part::Value).map_or(0, |bytes| self.position(bytes).line)
    }

    fn position(&self, bytes: std::ops::Range<usize>) -> Position {
        let mut start = bytes.start.min(self.text.len());
        while !self.text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Position {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            bytes: start..bytes.end.clamp(start, self.text.len()),
        }
    }

    /// serde's message in our words, at the right place.
    fn translate(&self, base: &KeyPath, path: KeyPath, message: &str) -> Complaint {
        let message = message.split(" at line ").next().unwrap_or(message);
        // serde_yaml repeats the path before some messages.
        let message = message.strip_prefix(&format!("{path}: ")).unwrap_or(message);
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
            complaint.help = suggestion(wrong, known.iter().copied());
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
        self.complaint(&full, locate::Part::Value, plain(message))
    }
}

/// serde's words for types, in the user's.
fn plain(message: &str) -> String {
    let mut text = message.to_owned();
    let swaps = [
        ("invalid type: ", "wrong type: "),
        ("unit value", "nothing"),
        ("floating point `", "number `"),
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
