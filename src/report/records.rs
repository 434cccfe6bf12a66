//! The lines of the JSON formats as types: what they hold, and the schema that says so.
//!
//! [`Record`] is a line of `check`, [`Told`] one of `explain`, [`Listed`] one of `list`. Their doc comments are the descriptions in the schemas.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Group, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;
use crate::explain::{Explanation, Ran};
use crate::run::BranchKind;
use crate::suite::Harness;

/// The version of the format; it grows when a field changes its meaning or goes away.
pub const FORMAT: u32 = 1;

/// One line of `keyway check --format json`.
///
/// Later versions of keyway may add keys and kinds of records; a reader passes over what it does not know.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum Record<'a> {
    /// The first line.
    Start(StartRecord),
    /// The cases of one harness begin.
    Harness(HarnessRecord),
    /// The result of one case.
    Case(&'a CaseResult),
    /// What the cases of the harness have tried; only where coverage was asked for.
    Coverage(&'a Coverage),
    /// The last line.
    Summary(&'a Summary),
}

/// What a run is about to do.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct StartRecord {
    /// The version of the format, which grows when a key changes its meaning or goes away.
    pub format: u32,
    /// `keyway`.
    pub tool: &'static str,
    /// The version of keyway.
    pub version: &'static str,
    /// The seed of all noise.
    pub seed: u64,
    /// Cases selected.
    pub cases: usize,
    /// Of these, derived from acceptance tables.
    pub derived: usize,
    /// Derived cartridges that the tables cannot decide; they are no cases.
    pub open: usize,
}

/// One harness of the run.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct HarnessRecord {
    /// Its name.
    pub name: String,
    /// Its file.
    pub file: String,
    /// The files of the host image.
    pub image: Vec<String>,
    /// How many bytes the host image has.
    pub size: usize,
    /// CRC-32 of the host image, in hexadecimal.
    pub crc32: String,
    /// SHA-256 of the host image, in hexadecimal.
    pub sha256: String,
    /// How many of its cases are selected.
    pub cases: usize,
}

impl From<&Start> for StartRecord {
    fn from(start: &Start) -> Self {
        let Start { cases, derived, open, seed } = *start;
        Self { format: FORMAT, tool: "keyway", version: env!("CARGO_PKG_VERSION"), seed, cases, derived, open }
    }
}

impl From<&Group<'_>> for HarnessRecord {
    fn from(group: &Group) -> Self {
        let host = group.harness.rig.map.host();
        Self {
            name: group.harness.name.clone(),
            file: group.harness.path.display().to_string(),
            image: host.files().iter().map(|file| file.display().to_string()).collect(),
            size: host.bytes().len(),
            crc32: format!("{:08X}", host.crc32()),
            sha256: host.sha256(),
            cases: group.cases,
        }
    }
}

/// One line of `keyway list --format json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum Listed {
    /// The first line.
    Start(LinesStart),
    /// The branches and cases of one harness begin.
    Harness(ListedHarness),
    /// A branch.
    Branch(ListedBranch),
    /// A case.
    Case(ListedCase),
}

/// One line of `keyway explain --format json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum Told<'a> {
    /// The first line.
    Start(LinesStart),
    /// A case explained.
    Explanation(Box<ToldCase<'a>>),
    /// An instruction of the case before, in order; only where that was asked for.
    Instruction(Ran),
    /// How many instructions more ran than are listed.
    Unlisted(Unlisted),
}

/// A case explained.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ToldCase<'a> {
    /// Its name.
    pub name: &'a str,
    /// The file in which it stands.
    pub file: String,
    /// The line in that file.
    pub line: usize,
    /// The file of its harness.
    pub harness: String,
    /// What is attached and which inputs are out of the ordinary.
    pub attached: &'a str,
    /// The run told as decisions.
    pub explanation: &'a Explanation,
}

/// The end of a listing that is cut.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Unlisted {
    /// Instructions.
    pub instructions: u64,
}

/// What the lines are.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct LinesStart {
    /// The version of the format, which grows when a key changes its meaning or goes away.
    pub format: u32,
    /// `keyway`.
    pub tool: &'static str,
    /// The version of keyway.
    pub version: &'static str,
}

impl Default for LinesStart {
    fn default() -> Self {
        Self { format: FORMAT, tool: "keyway", version: env!("CARGO_PKG_VERSION") }
    }
}

/// One harness.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ListedHarness {
    /// Its name.
    pub name: String,
    /// Its file.
    pub file: String,
    /// How many of its cases are selected.
    pub cases: usize,
}

/// A branch.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ListedBranch {
    /// Its name.
    pub name: String,
    /// What it means.
    pub kind: BranchKind,
    /// Its address; null if the routine returns.
    pub at: Option<u32>,
}

/// A case.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ListedCase {
    /// Its name.
    pub name: String,
    /// The file in which it stands.
    pub file: String,
    /// The line in that file.
    pub line: usize,
    /// What is attached and which inputs are out of the ordinary.
    pub attached: String,
    /// The branch or branches wanted, as a person says it.
    pub expected: String,
}

impl ListedHarness {
    /// A harness with so many cases.
    pub fn new(harness: &Harness, cases: usize) -> Self {
        Self { name: harness.name.clone(), file: harness.path.display().to_string(), cases }
    }
}
