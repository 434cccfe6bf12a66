//! What a comparison says, as data.

use schemars::JsonSchema;
use serde::Serialize;

use super::Tried;
use crate::prove::{Condition, DoubtAt, Scope, WitnessAnswer};

/// A comparison of two builds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Comparison {
    /// The old build.
    pub old: Side,
    /// The new one.
    pub new: Side,
    /// Whether every gate was passed. If not, nothing below is proved.
    pub proved: bool,
    /// Why not.
    pub doubts: Vec<DoubtAt>,
    /// What the comparison is about.
    pub scope: Scope,
    /// Cartridges whose end changed, by what changed.
    pub changes: Vec<Change>,
    /// Visible effects that changed while the branch stayed.
    pub effects: Vec<Effect>,
    /// Ends that both builds come to and that lost no cartridge and won none, effects included.
    pub same: Vec<String>,
    /// Cases that were run on both builds, where the proof is inconclusive.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tried: Option<Tried>,
}

impl Comparison {
    /// Whether any difference was found.
    pub fn differs(&self) -> bool {
        let tried = self.tried.as_ref().is_some_and(|tried| !tried.differs.is_empty());
        tried || !self.changes.is_empty() || !self.effects.is_empty()
    }
}

/// One of the builds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Side {
    /// The harness file.
    pub file: String,
    /// The image.
    pub image: String,
    /// Its CRC-32.
    pub crc32: String,
}

/// Cartridges that come to another end now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Change {
    /// The end before.
    pub before: String,
    /// The end now.
    pub after: String,
    /// The ways of being attached for which it is so.
    pub ways: Vec<String>,
    /// For which headers; none if that has no short form.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// How many headers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub headers: Option<String>,
    /// One of them, run on both machines.
    pub witness: WitnessAnswer,
}

/// A visible effect that is another now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Effect {
    /// The branch, which is the same.
    pub branch: String,
    /// What: `writes to ports`, or a name that the branch shows.
    pub what: String,
    /// Before, for the witness.
    pub before: String,
    /// Now, for the witness.
    pub after: String,
    /// The ways of being attached for which it is so.
    pub ways: Vec<String>,
    /// For which headers; none if that has no short form.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// How many headers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub headers: Option<String>,
    /// One of them, run on both machines.
    pub witness: WitnessAnswer,
}
