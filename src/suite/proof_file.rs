//! Demands on proofs as a case file writes them: what must hold for every header.
//!
//! The doc comments of these types are the schema's descriptions.

use schemars::JsonSchema;
use serde::Deserialize;

use super::case_file::WithinSpec;
use super::collection::OneOrMany;
use super::rule_file::ConditionSpec;
use crate::trial::Promise;

/// Something that must be proved, for every header and every way of being attached. `check --proofs` does it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct DemandSpec {
    /// Its name, unique in the file. Default: what it says.
    pub name: Option<String>,
    /// What can be anything beside the header: ports and memories by name, image offsets or RAM addresses as ranges.
    pub unknown: Option<OneOrMany<String>>,
    /// The branch of which something is demanded.
    pub branch: Option<String>,
    /// The branch is taken if these conditions hold, and never otherwise.
    pub exactly_when: Option<ConditionSpec>,
    /// The branch is taken at most if these conditions hold.
    pub only_when: Option<ConditionSpec>,
    /// The branch is taken always if these conditions hold.
    pub always_when: Option<ConditionSpec>,
    /// Promises that nothing may break (`crash`, `hang`, `stray-writes` and so on, as `keyway fuzz` names them), or branches
    /// that nothing may reach.
    pub never: Option<OneOrMany<String>>,
    /// Limits within which every header comes to its branch.
    pub within: Option<WithinSpec>,
}

impl DemandSpec {
    /// The promise of a name.
    pub fn promise(name: &str) -> Option<Promise> {
        Promise::ALL.into_iter().find(|promise| promise.name() == name)
    }
}
