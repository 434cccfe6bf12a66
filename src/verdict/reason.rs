//! One way in which an outcome is not what was wanted.

use schemars::JsonSchema;
use serde::Serialize;

/// What kind of reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Another branch than wanted, or none.
    Branch,
    /// A branch that must never be taken.
    Never,
    /// The case and the acceptance table want different branches.
    Specification,
    /// A value that the branch shows.
    Shows,
    /// Port writes.
    Writes,
    /// What ports hold at the end.
    Leaves,
    /// A memory or register value.
    Value,
    /// A limit that the case sets.
    Within,
    /// A read of the attached image outside of what the case allows.
    Reads,
    /// Something that the harness or the case forbids.
    Forbidden,
    /// The result depends on what RAM holds at power-on.
    PowerOn,
    /// The run was given up at a limit: neither a pass nor a crash.
    Limit,
}

/// A reason, with its sentence.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Reason {
    /// What kind.
    pub why: Why,
    /// What happened, for people.
    pub text: String,
}

impl Reason {
    /// A reason.
    pub fn new(why: Why, text: impl Into<String>) -> Self {
        Self { why, text: text.into() }
    }
}
