//! What coverage says, as data: reporters render it and compute nothing.

use schemars::JsonSchema;
use serde::Serialize;

use crate::verdict::Spot;

/// How much of the routine the cases of one harness have tried.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Coverage {
    /// The harness: its name and its file.
    pub harness: String,
    /// Its file.
    pub file: String,
    /// Cases that ran.
    pub cases: u64,
    /// Instructions reached, of all that the entry can reach.
    pub instructions: Share,
    /// Directions taken, of all those of conditional branches (two each).
    pub directions: Share,
    /// Every reachable instruction, in order of address.
    pub listing: Vec<Instruction>,
    /// Functions of the symbol table among them.
    pub functions: Vec<Function>,
    /// Stretches of reachable code that no case reached.
    pub unreached: Vec<Stretch>,
    /// What ran outside the host's code, in RAM say; it is not counted above.
    pub outside: Vec<Stretch>,
    /// Directions that no case took, with a reason to care.
    pub never_taken: Vec<NeverTaken>,
    /// Jumps to computed addresses of which no target was seen: what lies behind them is not counted.
    pub unresolved: Vec<Spot>,
    /// Different paths that runs went by.
    pub paths: u64,
    /// Of these, how many were followed as a whole for the entries of tables and the decisions on header bytes: all but in
    /// the largest suites and the longest runs.
    pub paths_followed: u64,
    /// Entries of host tables that were compared with something and never agreed.
    pub never_matched: Vec<TableEntry>,
    /// The header's fields.
    pub fields: Vec<FieldUse>,
    /// The header, byte by byte.
    pub header: Vec<HeaderByte>,
    /// The decisions as a graph.
    pub map: DecisionMap,
}

/// So many of so many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Share {
    /// Covered.
    pub covered: u64,
    /// Of.
    pub total: u64,
}

impl Share {
    /// Whether it reaches a part of all, given in millionths. Nothing of nothing is all.
    pub fn reaches(self, millionths: u64) -> bool {
        u128::from(self.covered) * 1_000_000 >= u128::from(self.total) * u128::from(millionths)
    }

    /// As percent, rounded down to a tenth so that only all of them are 100.0.
    pub fn percent(self) -> String {
        let tenths = match self.total {
            0 => 1000,
            total => (u128::from(self.covered) * 1000 / u128::from(total)) as u64,
        };
        format!("{}.{}%", tenths / 10, tenths % 10)
    }
}

/// One instruction of the routine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Instruction {
    /// Where.
    pub at: Spot,
    /// Its bytes, in hexadecimal.
    pub hex: String,
    /// Its text.
    pub text: String,
    /// How often it ran, over all cases.
    pub runs: u64,
    /// In how many cases it ran.
    pub cases: u64,
    /// For a conditional branch, both directions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub directions: Option<Directions>,
    /// For a computed jump or call, where it went.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub targets: Vec<Direction>,
}

/// A function of the host ROM.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Function {
    /// Where it starts.
    pub at: Spot,
    /// Its name.
    pub name: String,
    /// How often it was entered at its start, over all cases.
    pub runs: u64,
}

/// Instructions without a gap between them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Stretch {
    /// The first one.
    pub at: Spot,
    /// Address of the last byte.
    pub last: u32,
    /// Source file and lines, first to last: `harness/aria.s:112-118`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// How many.
    pub instructions: u64,
}

/// Both directions of a conditional branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Directions {
    /// To the target.
    pub taken: Direction,
    /// To the next instruction.
    pub fell_through: Direction,
}

/// One direction.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Direction {
    /// Where it leads.
    pub to: Spot,
    /// How often it was taken, over all cases.
    pub runs: u64,
    /// In how many cases.
    pub cases: u64,
}

/// A direction that no case took.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct NeverTaken {
    /// The conditional branch.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// Whether it is the direction to the target.
    pub taken: bool,
    /// Where it leads.
    pub to: Spot,
    /// Whether the branch itself was reached by any case.
    pub reached: bool,
    /// Why to care: "no case reaches 0x0002AE-0x0002BE, harness/aria.s:112-118".
    pub why: String,
}

/// An entry of a host table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct TableEntry {
    /// Its address, with its symbol: `0x000342 <our_products+16>`.
    pub whose: String,
    /// Its address.
    pub address: u32,
    /// Source file and line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// As much of it as was ever compared, as text.
    pub text: String,
    /// Cases that compared something with it; one that went by several paths, under several RAM fills, counts for each.
    pub cases: u64,
}

/// What the cases did with a header field.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct FieldUse {
    /// Its name.
    pub name: String,
    /// Offset in the image.
    pub at: u32,
    /// Length in bytes.
    pub length: u32,
    /// Cases that read any of it.
    pub read_by: u64,
    /// Different contents among the attached images.
    pub contents: u64,
    /// Whether the routine reads it and every case has the same content there.
    pub never_varied: bool,
}

/// What the cases did with a byte of the header.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct HeaderByte {
    /// Image offset.
    pub offset: u32,
    /// Cases that read it.
    pub read_by: u64,
    /// How many different branches and jumps, by their address, hung on it over all cases.
    pub decisions: u64,
    /// The values tried there, in order.
    pub values: Vec<u8>,
}

/// The routine's decisions as a graph from the entry to the ends.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DecisionMap {
    /// Its nodes; the first is the entry.
    pub nodes: Vec<MapNode>,
    /// Its edges.
    pub edges: Vec<MapEdge>,
}

/// A node of the decision map.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct MapNode {
    /// What it is.
    pub kind: NodeKind,
    /// A short name: a symbol, a branch.
    pub name: String,
    /// Where it stands, if it stands anywhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Spot>,
    /// The instruction that decides.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instruction: Option<String>,
    /// Cases that came through it.
    pub cases: u64,
}

/// What a node of the decision map is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NodeKind {
    /// Where the routine starts.
    Entry,
    /// Where the handler of an interrupt starts.
    Handler,
    /// A conditional branch.
    Decision,
    /// A jump to a computed address.
    Jump,
    /// A declared branch of the routine.
    Branch,
    /// Any other end: a crash, a hang, a limit.
    Other,
}

/// An edge of the decision map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct MapEdge {
    /// Index of the node it leaves.
    pub from: usize,
    /// Index of the node it leads to.
    pub to: usize,
    /// For a conditional branch: whether it is the direction to the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<bool>,
    /// Cases that took it; 0 for one that none took.
    pub cases: u64,
}
