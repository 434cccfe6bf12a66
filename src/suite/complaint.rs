//! What is wrong with an input file, said once: file, line, column, path to the key, and the nearest right word.

use std::fmt;
use std::ops::{Deref, DerefMut, Range};
use std::path::PathBuf;
use std::sync::Arc;

/// A position in a file. Lines and columns count from 1, columns in characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    /// Line.
    pub line: usize,
    /// Column.
    pub column: usize,
    /// The bytes to point at.
    pub bytes: Range<usize>,
}

/// One problem with one input file. Boxed, since almost every function of this room may return one.
#[derive(Clone, Debug)]
pub struct Complaint(Box<Details>);

/// What a [`Complaint`] says.
#[derive(Clone, Debug)]
pub struct Details {
    /// The file.
    pub file: PathBuf,
    /// The whole text of the file, if it could be read as text.
    pub text: Arc<str>,
    /// Where in the file.
    pub position: Option<Position>,
    /// The path to the key, like `cases[0].expect.branch`; empty for the whole file.
    pub path: String,
    /// What is wrong.
    pub message: String,
    /// What might be meant, or what to do.
    pub help: Option<String>,
}

impl Complaint {
    /// A complaint about a file as a whole. The message becomes one line, whatever texts of the file it quotes.
    pub fn about(file: impl Into<PathBuf>, message: impl Into<String>) -> Self {
        let mut message = message.into();
        if message.contains(char::is_control) {
            message = message.trim_end().replace(['\n', '\r'], " ").replace(char::is_control, "\u{FFFD}");
        }
        Self(Box::new(Details {
            file: file.into(),
            text: "".into(),
            position: None,
            path: String::new(),
            message,
            help: None,
        }))
    }

    /// Says where in the file, whose text is `text`.
    pub fn at(mut self, text: &Arc<str>, position: Option<Position>, path: impl Into<String>) -> Self {
        self.text = Arc::clone(text);
        self.position = position;
        self.path = path.into();
        self
    }

    /// Adds what might be meant.
    pub fn with_help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

impl Deref for Complaint {
    type Target = Details;

    fn deref(&self) -> &Details {
        &self.0
    }
}

impl DerefMut for Complaint {
    fn deref_mut(&mut self) -> &mut Details {
        &mut self.0
    }
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(position) = &self.position {
            write!(f, ":{}:{}", position.line, position.column)?;
        }
        write!(f, ": ")?;
        if !self.path.is_empty() {
            write!(f, "{}: ", self.path)?;
        }
        f.write_str(&self.message)?;
        if let Some(help) = &self.help {
            write!(f, "; {help}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Complaint {}

/// The known words nearest to a wrong one, best first, at most three.
pub fn nearest<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let lower = wrong.to_lowercase();
    let mut scored: Vec<(f64, f64, &str)> = known
        .into_iter()
        .map(|word| {
            let near = strsim::jaro_winkler(&lower, &word.to_lowercase());
            let typo = strsim::damerau_levenshtein(&lower, &word.to_lowercase()) <= 2;
            // Of words that differ in upper and lower case only, the one spelled alike comes first.
            (if typo { near.max(0.9) } else { near }, strsim::jaro_winkler(wrong, word), word)
        })
        .filter(|(score, ..)| *score > 0.8)
        .collect();
    scored.sort_by(|left, right| right.0.total_cmp(&left.0).then(right.1.total_cmp(&left.1)));
    scored.into_iter().map(|(.., word)| word).take(3).collect()
}

/// "did you mean `a` or `b`?", or the whole list of known words if it is short, or nothing.
pub fn suggestion<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let known: Vec<&str> = known.into_iter().collect();
    let near = nearest(wrong, known.iter().copied());
    let quote = |words: &[&str]| words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>();
    if !near.is_empty() {
        return Some(format!("did you mean {}?", quote(&near).join(" or ")));
    }
    match known.len() {
        0 => None,
        1..=16 => Some(format!("known here: {}", quote(&known).join(", "))),
        _ => None,
    }
}
