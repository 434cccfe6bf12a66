//! The report as one page for a browser, which loads nothing from anywhere: the cases as a matrix, each with its
//! explanation, and what they tried of the routine as a decision map, a header map and a listing. [`Html`] collects
//! results and writes the page at the end. What the page does with them is in `page/`. The page of a proof has the same
//! look: [`write_proof_page`].

mod blocks;
mod document;
mod intern;
mod layout;
mod markup;
mod proof;
mod rows;

pub use self::proof::write_proof_page;

use std::io::{self, Write};

use serde_json::{Value, json};

use self::document::{Block, document};
use self::intern::Table;
use self::layout::lay_out;
use self::rows::Rows;
use super::{Group, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;
use crate::units;

/// Writes the page.
#[derive(Debug)]
pub struct Html<W> {
    out: W,
    start: Option<Start>,
    harnesses: Vec<Value>,
    /// By harness, where it was measured.
    coverage: Vec<Option<Value>>,
    rows: Rows,
    details: Table,
    /// By case: the number of what is told about it.
    told: Vec<usize>,
}

impl<W: Write> Html<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        Self {
            out,
            start: None,
            harnesses: Vec::new(),
            coverage: Vec::new(),
            rows: Rows::default(),
            details: Table::default(),
            told: Vec::new(),
        }
    }

    fn head(&self, summary: &Summary) -> Value {
        let start = self.start.map(|start| json!({"seed": start.seed, "selected": start.cases, "open": start.open}));
        json!({
            "version": env!("CARGO_PKG_VERSION"),
            "start": start,
            "summary": summary,
            "harnesses": self.harnesses,
        })
    }

    /// What the matrix needs.
    fn first(&self, summary: &Summary) -> [Block; 2] {
        [("head".to_owned(), self.head(summary).to_string()), ("rows".to_owned(), self.rows.json())]
    }

    /// Everything else: the most of it.
    fn rest(&self) -> Vec<Block> {
        let told = Value::from(self.told.as_slice());
        let details = format!(
            "{{\"shapes\":{},\n\"values\":{},\n\"cases\":{told}}}",
            self.details.shapes(),
            self.details.values()
        );
        let coverage = self.coverage.iter().enumerate().filter_map(|(index, coverage)| {
            coverage.as_ref().map(|coverage| (format!("coverage-{index}"), coverage.to_string()))
        });
        coverage.chain([("details".to_owned(), details)]).collect()
    }
}

impl<W: Write> Reporter for Html<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.start = Some(*start);
        Ok(())
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        let (harness, rig) = (group.harness, &group.harness.rig);
        let host = rig.map.host();
        let branches: Vec<Value> =
            rig.branches.iter().map(|branch| json!({"name": branch.name, "kind": branch.kind.name()})).collect();
        let files: Vec<String> = host.files().iter().map(|file| file.display().to_string()).collect();
        self.harnesses.push(tamed(json!({
            "name": harness.name,
            "file": harness.path.display().to_string(),
            "images": files,
            "crc32": format!("{:08X}", host.crc32()),
            "bytes": host.bytes().len(),
            "clock": harness.clock,
            "branches": branches,
            "first": self.rows.len(),
        })));
        self.coverage.push(None);
        Ok(())
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        self.rows.add(result);
        let number = self.details.add(rows::detail(result)?);
        self.told.push(number);
        Ok(())
    }

    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        if let Some(last) = self.coverage.last_mut() {
            *last = Some(json!({"coverage": tamed(serde_json::to_value(coverage)?), "layout": lay_out(&coverage.map)}));
        }
        Ok(())
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        let names: Vec<&str> = self.harnesses.iter().filter_map(|harness| harness["name"].as_str()).collect();
        let title = format!("{}: what the cases say", names.join(", "));
        let page = document(&title, &self.first(summary), &self.rest());
        self.out.write_all(page.as_bytes())?;
        self.out.flush()
    }
}

/// The same without characters that would act on what stands around them.
fn tamed(value: Value) -> Value {
    match value {
        Value::String(text) => units::tame(&text).into(),
        Value::Array(items) => items.into_iter().map(tamed).collect(),
        Value::Object(fields) => fields.into_iter().map(|(key, value)| (key, tamed(value))).collect(),
        other => other,
    }
}
