//! What a proof says, as data: reporters render it and compute nothing.

use schemars::JsonSchema;
use serde::Serialize;

use super::said::Condition;
use crate::run::BranchKind;
use crate::trial::Promise;
use crate::verdict::Spot;

/// Everything that was asked of one harness.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Answer {
    /// The harness: its name.
    pub harness: String,
    /// Its file.
    pub file: String,
    /// Whether every gate was passed. If not, nothing below is proved.
    pub proved: bool,
    /// Why not.
    pub doubts: Vec<DoubtAt>,
    /// What the proof is about.
    pub scope: Scope,
    /// What is plugged in, and what happens then.
    pub scenarios: Vec<Scenario>,
    /// Every declared branch, over all scenarios.
    pub branches: Vec<BranchAnswer>,
    /// The promises that are kept, whatever is plugged in.
    pub kept: Vec<Promise>,
    /// Those that are broken, each with a counterexample.
    pub violations: Vec<Violation>,
    /// The acceptance table, rule by rule; empty if the harness has none.
    pub rules: Vec<RuleAnswer>,
    /// What of the inputs the table leaves open.
    pub open: Option<OpenAnswer>,
    /// Instructions that no input reaches.
    pub dead: Vec<DeadCode>,
    /// Entries of tables in the ROM that no input finds.
    pub dead_entries: Vec<DeadEntry>,
    /// The header, field by field: which bytes can influence anything.
    pub influence: Vec<FieldInfluence>,
    /// The longest and shortest paths to a branch.
    pub paths: Paths,
    /// What it took.
    pub effort: Effort,
}

/// A reason why nothing is proved, and where.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DoubtAt {
    /// The reason.
    pub why: String,
    /// The instruction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Spot>,
}

/// What a proof is about.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Scope {
    /// What can be anything: bytes, ports, RAM.
    pub unknown: Vec<String>,
    /// The bits of the header that can be anything.
    pub header_bits: u32,
    /// The ways of being attached.
    pub ways: Vec<String>,
    /// What is fixed, and how.
    pub fixed: Vec<String>,
}

/// Ways of being attached that show the routine the same.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Scenario {
    /// The ways.
    pub ways: Vec<String>,
    /// Whether an image is attached.
    pub attached: bool,
    /// How the routine ends, and for which headers.
    pub ends: Vec<EndAnswer>,
}

/// An end in one scenario.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct EndAnswer {
    /// The branch, if it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub branch: Option<String>,
    /// In words.
    pub end: String,
    /// The exact condition; none if it has no short form.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// How many of all headers; none if they were not counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub headers: Option<String>,
    /// A cartridge that comes to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub witness: Option<WitnessAnswer>,
}

/// A declared branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct BranchAnswer {
    /// Its name.
    pub branch: String,
    /// What it means.
    pub kind: BranchKind,
    /// Whether any input comes to it. If not, that is proved.
    pub reachable: bool,
}

/// Inputs that do what is claimed, run on the machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct WitnessAnswer {
    /// What is attached and what ports read, in a few words.
    pub label: String,
    /// The case that runs it.
    pub case: String,
}

/// A broken promise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Violation {
    /// The promise.
    pub promise: Promise,
    /// What is attached, and what happens.
    pub name: String,
    /// The instruction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Spot>,
    /// For which headers; none if that has no short form.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// Why `keyway check` fails the case; empty if no case can say it.
    pub reasons: Vec<String>,
    /// The file in which the case stands; none if it was not written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Whether the file was there before.
    pub known: bool,
    /// The case file.
    pub case: String,
}

/// A rule of the acceptance table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct RuleAnswer {
    /// Its number, from 1.
    pub rule: usize,
    /// Its line in the harness.
    pub line: usize,
    /// The branch that it says.
    pub branch: String,
    /// Whether any input is decided by it.
    pub decides: bool,
    /// Whether the routine does what it says, for every input that it decides.
    pub holds: bool,
}

/// What the table leaves open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct OpenAnswer {
    /// Why, or that no rule fits.
    pub why: String,
}

/// Instructions that no input reaches.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DeadCode {
    /// The first one.
    pub at: Spot,
    /// Address of the last one.
    pub last: u32,
    /// How many.
    pub count: usize,
}

/// An entry of a table in the ROM that no input finds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DeadEntry {
    /// Where the entry stands.
    pub at: Spot,
    /// What stands there, as a text.
    pub text: String,
    /// The decision that it never passes.
    pub decision: Spot,
}

/// A field of the header.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct FieldInfluence {
    /// The field, or the bytes outside of all fields.
    pub field: String,
    /// Bytes of it.
    pub bytes: u32,
    /// Of these the ones that influence what the routine does, as ranges within the field.
    pub influence: String,
    /// How many those are.
    pub count: u32,
    /// How many of the others were read all the same.
    pub read_only: u32,
}

/// Extremes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Paths {
    /// The most cycles to a branch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub longest: Option<PathAnswer>,
    /// The fewest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shortest: Option<PathAnswer>,
    /// The most instructions to a branch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most_instructions: Option<PathAnswer>,
    /// The fewest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fewest_instructions: Option<PathAnswer>,
}

/// One of these.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PathAnswer {
    /// Clock cycles.
    pub cycles: u64,
    /// Instructions.
    pub instructions: u64,
    /// What is proved beyond which no header goes, where that is not the number itself: cycles or instructions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bound: Option<u64>,
    /// In milliseconds, if the harness gives a clock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub milliseconds: Option<String>,
    /// The branch.
    pub branch: String,
    /// The cartridge.
    pub witness: WitnessAnswer,
}

/// What it took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Effort {
    /// Instructions run on terms.
    pub steps: u64,
    /// Terms made.
    pub terms: usize,
    /// Explorations.
    pub explorations: usize,
    /// Witnesses run on the machine.
    pub witnesses: usize,
}
