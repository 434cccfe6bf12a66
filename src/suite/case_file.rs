//! The case file as written: types that serde reads and the schema is made from. Nothing is resolved here.
//!
//! Cases and cartridges are kept as YAML values until `for` lists and placeholders have been filled in; the types
//! below read them then, and describe them to the schema always.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{Error, SeqAccess};
use serde_yaml::Value as Yaml;

use super::board_file::{FillWord, OpenBusWord, ReadsSpec};
use super::collection::{Named, OneOrMany, some};
use super::forms::{Forms, forms};
use super::harness_file::Forbidden;
use super::interrupt_file::RequestsSpec;
use super::proof_file::DemandSpec;
use super::recipe_file::RecipeSchema;
use super::rule_file::Literal;
use super::scalar::{Count, Number, Time};
use crate::run::BranchKind;

/// A suite of cases for one harness.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct CaseFile {
    /// The harness file, relative to this one.
    pub harness: String,
    /// What every case of this file starts from: any key of a case but name, for, attach and known-bug.
    #[schemars(with = "Option<DefaultsSpec>")]
    pub defaults: Option<Yaml>,
    /// Cartridges by name, to be attached by several cases.
    #[serde(default)]
    #[schemars(with = "Named<RecipeSchema>")]
    pub cartridges: Named<Yaml>,
    /// The cases. A file without any must demand proofs.
    #[serde(default)]
    #[schemars(with = "Vec<CaseSchema>")]
    pub cases: Vec<Yaml>,
    /// What must be proved, for every header; `check --proofs` does it.
    #[serde(default)]
    pub prove: Vec<DemandSpec>,
}

/// What every case of a file starts from.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[allow(dead_code)] // Read only to be checked: the values are merged into each case as YAML.
pub struct DefaultsSpec {
    /// What the socket's window reads where no cartridge answers. Default: as the harness says.
    pub empty: Option<OpenBusWord>,
    /// What ports read, by name.
    pub ports: Option<Named<ReadsSpec>>,
    /// When devices interrupt, by name, instead of what the harness says.
    pub interrupts: Option<Named<RequestsSpec>>,
    /// Narrows what RAM holds at power-on.
    pub power_on: Option<OneOrMany<FillWord>>,
    /// What must happen.
    pub expect: Option<ExpectSpec>,
}

/// A case: one attached cartridge, the inputs, and what must happen.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct CaseSpec {
    pub name: String,
    pub attach: Yaml,
    pub empty: Option<OpenBusWord>,
    pub ports: Option<Named<ReadsSpec>>,
    pub interrupts: Option<Named<RequestsSpec>>,
    pub power_on: Option<OneOrMany<FillWord>>,
    pub expect: Option<ExpectSpec>,
    pub known_bug: Option<String>,
}

/// A case: one attached cartridge, the inputs, and what must happen.
#[derive(JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[allow(dead_code)] // Only its schema is used: the schema's twin of `CaseSpec`, with the forms of `attach`.
pub struct CaseSchema {
    /// Its name, unique in the file.
    name: String,
    /// Lists that multiply the case: every `{variable}` in it is replaced by each value in turn.
    #[serde(rename = "for")]
    variables: Option<Named<Vec<Literal>>>,
    /// What is plugged in: `nothing`, the name of a cartridge, or a recipe.
    attach: AttachSchema,
    /// What the socket's window reads where no cartridge answers. Default: as the harness says.
    empty: Option<OpenBusWord>,
    /// What ports read, by name.
    ports: Option<Named<ReadsSpec>>,
    /// When devices interrupt, by name, instead of what the harness says.
    interrupts: Option<Named<RequestsSpec>>,
    /// Narrows what RAM holds at power-on.
    power_on: Option<OneOrMany<FillWord>>,
    /// What must happen. Without a branch the harness's acceptance table says which one.
    expect: Option<ExpectSpec>,
    /// Why the case is known to fail. It must fail; a pass is reported.
    known_bug: Option<String>,
}

/// `nothing`, the name of a cartridge, or a recipe.
#[allow(dead_code)] // Only its schema is used.
pub struct AttachSchema;

impl JsonSchema for AttachSchema {
    fn schema_name() -> Cow<'static, str> {
        "Attach".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let recipe = generator.subschema_for::<RecipeSchema>();
        json_schema!({"anyOf": [{"type": "string"}, recipe]})
    }
}

/// What must happen.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ExpectSpec {
    /// The branch, or any one of several.
    pub branch: Option<OneOrMany<String>>,
    /// The kind of branch.
    pub kind: Option<BranchKind>,
    /// Values that the branch shows, by the names of the harness's `shows`.
    pub shows: Option<Named<Number>>,
    /// What is written to ports.
    pub writes: Option<WritesSpec>,
    /// What memory holds at the end, by cell (`word 0xE00010`).
    pub memory: Option<Named<Number>>,
    /// What registers hold at the end, by name (`d0`, `d0.w`).
    pub registers: Option<Named<Number>>,
    /// Limits that the run must stay within.
    pub within: Option<WithinSpec>,
    /// What ports hold at the end, by name: the value written last, or the one at power-on. Counts before what the branch
    /// says.
    pub leaves: Option<Named<Number>>,
    /// What this case forbids beside what the harness forbids.
    #[schemars(with = "Option<OneOrMany<CaseForbidden>>")]
    pub forbid: Option<OneOrMany<Forbidden>>,
    /// Branches that must not be taken.
    pub never: Option<OneOrMany<String>>,
    /// Header fields (by name) and image offsets (as ranges) outside of which the cartridge must not be read.
    pub reads: Option<OneOrMany<String>>,
}

/// What a case can forbid: the harness's words, less the one that is about the plan of the routine.
struct CaseForbidden;

impl JsonSchema for CaseForbidden {
    fn schema_name() -> Cow<'static, str> {
        "CaseForbidden".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = Forbidden::json_schema(generator);
        if let Some(words) = schema.get_mut("oneOf").and_then(|words| words.as_array_mut()) {
            words.retain(|word| word.get("const").is_none_or(|word| word != "executes-outside-host"));
        }
        schema
    }
}

/// What is written to ports.
#[derive(Clone, Debug)]
pub enum WritesSpec {
    /// By port.
    ByPort(Vec<(String, PortWritesSpec)>),
    /// In order across ports.
    InOrder(Vec<(String, Number)>),
}

/// What is written to one port.
#[derive(Clone, Debug)]
pub enum PortWritesSpec {
    /// These values, in order, and no others.
    Values(Vec<Number>),
    /// So many values.
    Count(u32),
}

/// How many values are written.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) struct WriteCount {
    /// How many.
    count: Number,
}

impl Forms for PortWritesSpec {
    const EXPECTED: &'static str = "a list of values, or {count:}";
    type One = Number;
    type Keys = WriteCount;

    fn one(value: Number) -> Option<Self> {
        Some(PortWritesSpec::Values(vec![value]))
    }

    fn mapping(count: WriteCount) -> Result<Self, String> {
        Ok(PortWritesSpec::Count(count.count.0))
    }

    fn list<'de, A: SeqAccess<'de>>(mut access: A) -> Result<Self, A::Error> {
        // An empty list means that nothing is written.
        let mut values = Vec::new();
        while let Some(value) = access.next_element()? {
            values.push(value);
        }
        Ok(PortWritesSpec::Values(values))
    }
}
forms!(PortWritesSpec);

impl JsonSchema for PortWritesSpec {
    fn schema_name() -> Cow<'static, str> {
        "PortWrites".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<Number>();
        let count = generator.subschema_for::<WriteCount>();
        json_schema!({"anyOf": [value, {"type": "array", "items": value}, count]})
    }
}

impl Forms for WritesSpec {
    const EXPECTED: &'static str =
        "values by port, like {latch: [1, 0]}, or a list in order, like [{latch: 1}, {latch: 0}]";
    type One = Literal;
    type Keys = Named<PortWritesSpec>;

    fn one(_: Literal) -> Option<Self> {
        None
    }

    fn mapping(ports: Named<PortWritesSpec>) -> Result<Self, String> {
        Ok(WritesSpec::ByPort(ports.0))
    }

    fn list<'de, A: SeqAccess<'de>>(access: A) -> Result<Self, A::Error> {
        let list: Vec<Named<Number>> = some(access)?;
        let single = |named: Named<Number>| <[(String, Number); 1]>::try_from(named.0).map(|[pair]| pair);
        let pairs: Result<Vec<_>, _> = list.into_iter().map(single).collect();
        pairs.map(WritesSpec::InOrder).map_err(|_| A::Error::custom("each step of the list names one port"))
    }
}
forms!(WritesSpec);

impl JsonSchema for WritesSpec {
    fn schema_name() -> Cow<'static, str> {
        "Writes".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let by_port = generator.subschema_for::<Named<PortWritesSpec>>();
        let step = generator.subschema_for::<Named<Number>>();
        json_schema!({"anyOf": [by_port, {"type": "array", "items": step, "minItems": 1}]})
    }
}

/// Limits that a run must stay within, inclusive.
#[derive(Clone, Copy, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct WithinSpec {
    /// Most instructions.
    pub instructions: Option<Count>,
    /// Most clock cycles.
    pub cycles: Option<Count>,
    /// Longest time, like `2 ms`; needs the harness's `clock`.
    pub time: Option<Time>,
}
