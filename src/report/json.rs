//! JSON lines: one object a line, the format's version in the first, each flushed as it comes.

use std::io::{self, Write};

use super::records::Record;
use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;

/// Writes JSON lines.
#[derive(Debug)]
pub struct JsonLines<W> {
    out: W,
    explained: bool,
}

impl<W: Write> JsonLines<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out, explained: false }
    }

    /// Writes explanations too, which make long lines.
    pub fn with_explanations(self, wanted: bool) -> Self {
        Self { explained: wanted, ..self }
    }

    fn record(&mut self, record: &Record) -> io::Result<()> {
        serde_json::to_writer(&mut self.out, record)?;
        self.out.write_all(b"\n")?;
        self.out.flush()
    }
}

impl<W: Write> Reporter for JsonLines<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.record(&Record::Start(start.into()))
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        self.record(&Record::Harness(group.into()))
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        match self.explained || result.explanation.is_none() {
            true => self.record(&Record::Case(result)),
            false => self.record(&Record::Case(&CaseResult { explanation: None, ..result.clone() })),
        }
    }

    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        self.record(&Record::Coverage(coverage))
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        self.record(&Record::Summary(summary))
    }
}
