//! What is wrong with a part of a case, before it is known whether the part stands in the case or in the defaults.

use super::complaint::{Complaint, suggestion};
use super::document::{Document, KeyPath};

/// A complaint about a place below a key of a case.
pub struct Refusal {
    /// The place, below that key.
    pub path: KeyPath,
    /// Whether the last key itself is wrong, not its value.
    pub at_key: bool,
    /// What is wrong.
    pub message: String,
    /// What might be meant.
    pub help: Option<String>,
}

impl Refusal {
    /// The value at a place is wrong.
    pub fn new(path: KeyPath, message: impl Into<String>) -> Self {
        Self { path, at_key: false, message: message.into(), help: None }
    }

    /// The key at the end of a place is wrong.
    pub fn of_key(path: KeyPath, message: impl Into<String>) -> Self {
        Self { at_key: true, ..Self::new(path, message) }
    }

    /// A value names something that there is not.
    pub fn unknown<'a>(path: KeyPath, what: &str, name: &str, known: impl IntoIterator<Item = &'a str>) -> Self {
        Self { help: suggestion(name, known), ..Self::new(path, format!("there is no {what} `{name}`")) }
    }

    /// A key names something that there is not.
    pub fn unknown_key<'a>(path: KeyPath, what: &str, name: &str, known: impl IntoIterator<Item = &'a str>) -> Self {
        Self { at_key: true, ..Self::unknown(path, what, name, known) }
    }
    /// The complaint, for a place of a file.
    pub fn complain(self, document: &Document, path: &KeyPath) -> Complaint {
        let mut complaint = match self.at_key {
            true => document.complain_key(path, self.message),
            false => document.complain(path, self.message),
        };
        complaint.help = self.help;
        complaint
    }
}
