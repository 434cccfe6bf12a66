//! The cases as columns, so that ten thousand of them are read at once in the browser, and what a case says when it is
//! opened.

use serde_json::{Value, json};

use super::intern::Table;
use crate::check::{CaseResult, Reached};

/// What the matrix shows, by column; texts are numbers in a table of their own.
#[derive(Debug, Default)]
pub struct Rows {
    texts: Table,
    columns: [Vec<u64>; COLUMNS.len()],
}

/// The columns; `kind` is that of the branch that was taken, empty for another end.
const COLUMNS: [&str; 10] =
    ["name", "file", "line", "attached", "wanted", "kind", "taken", "instructions", "cycles", "verdict"];

impl Rows {
    /// Adds a case.
    pub fn add(&mut self, result: &CaseResult) {
        let kind = match &result.reached {
            Reached::Branch { kind, .. } => kind.name(),
            Reached::Other { .. } => "",
        };
        let wanted = match result.expected_kind {
            Some(kind) => format!("{} ({})", result.expected, kind.name()),
            None => result.expected.clone(),
        };
        let mut text = |text: &str| self.texts.text(text) as u64;
        let row = [
            text(&result.name),
            text(&result.file),
            result.line as u64,
            text(&result.attached),
            text(&wanted),
            text(kind),
            text(result.reached.short()),
            result.instructions,
            result.cycles,
            text(result.verdict.word()),
        ];
        for (column, value) in self.columns.iter_mut().zip(row) {
            column.push(value);
        }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.columns[0].len()
    }

    /// All of them as JSON.
    pub fn json(&self) -> String {
        let columns: Vec<String> =
            COLUMNS.iter().zip(&self.columns).map(|(name, column)| format!("\"{name}\":{}", json!(column))).collect();
        format!("{{\"texts\":{},\n{}}}", self.texts.values(), columns.join(",\n"))
    }
}

/// What is shown of a case once it is opened, without what the matrix has.
pub fn detail(result: &CaseResult) -> serde_json::Result<Value> {
    let mut value = serde_json::to_value(result)?;
    if let Value::Object(fields) = &mut value {
        for known in ["name", "file", "line", "attached", "expected", "expected-kind", "instructions", "cycles"] {
            fields.shift_remove(known);
        }
    }
    Ok(value)
}
