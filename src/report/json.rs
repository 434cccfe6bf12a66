//! JSON lines: one object a line, the format's version in the first, each flushed as it comes.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::json;

use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;

/// The version of the format; it grows when a field changes its meaning or goes away.
pub const FORMAT: u32 = 1;

/// Writes JSON lines.
#[derive(Debug)]
pub struct JsonLines<W> {
    out: W,
}

impl<W: Write> JsonLines<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self { out }
    }

    fn record(&mut self, kind: &str, body: &impl Serialize) -> io::Result<()> {
        let mut object = serde_json::Map::new();
        object.insert("record".to_owned(), kind.into());
        if let serde_json::Value::Object(fields) = serde_json::to_value(body)? {
            object.extend(fields);
        }
        serde_json::to_writer(&mut self.out, &object)?;
        self.out.write_all(b"\n")?;
        self.out.flush()
    }
}

impl<W: Write> Reporter for JsonLines<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        let body = json!({
            "format": FORMAT,
            "tool": "keyway",
            "version": env!("CARGO_PKG_VERSION"),
            "seed": start.seed,
            "cases": start.cases,
            "derived": start.derived,
            "open": start.open,
        });
        self.record("start", &body)
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        let host = group.harness.rig.map.host();
        let body = json!({
            "name": group.harness.name,
            "file": group.harness.path,
            "image": host.files(),
            "crc32": format!("{:08X}", host.crc32()),
            "cases": group.cases,
        });
        self.record("harness", &body)
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        self.record("case", result)
    }

    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        self.record("coverage", coverage)
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        self.record("summary", summary)
    }
}
