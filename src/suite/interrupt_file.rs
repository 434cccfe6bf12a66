//! Interrupts as written, in harness and case files. Nothing is resolved here.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;

use super::forms::{Forms, forms};
use super::rule_file::Literal;
use super::scalar::{Count, Number};

/// A device that interrupts.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct InterruptSpec {
    /// Its name.
    pub name: String,
    /// Its level, 1 to 7.
    pub level: Number,
    /// The vector number that it gives, 0 to 255. Default: the autovector of its level, 24 plus the level.
    pub vector: Option<Number>,
    /// The cycle of the run at which it first requests. Default: after one period.
    pub after_cycles: Option<Number>,
    /// Its period in clock cycles. Without it there is one request.
    pub every_cycles: Option<Count>,
}

/// When a device interrupts in one case.
#[derive(Clone, Copy, Debug)]
pub enum RequestsSpec {
    /// Not at all.
    Never,
    /// At these times.
    At(RequestTimes),
}

/// When a device requests.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct RequestTimes {
    /// The cycle of the run at which it first requests. Default: after one period.
    pub after_cycles: Option<Number>,
    /// Its period in clock cycles. Without it there is one request.
    pub every_cycles: Option<Count>,
}

impl Forms for RequestsSpec {
    const EXPECTED: &'static str = "`never`, or {after-cycles:, every-cycles:}";
    type One = Literal;
    type Keys = RequestTimes;

    fn one(word: Literal) -> Option<Self> {
        (word == Literal::Text("never".to_owned())).then_some(RequestsSpec::Never)
    }

    fn mapping(times: RequestTimes) -> Result<Self, String> {
        Ok(RequestsSpec::At(times))
    }
}
forms!(RequestsSpec);

impl JsonSchema for RequestsSpec {
    fn schema_name() -> Cow<'static, str> {
        "Requests".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let times = generator.subschema_for::<RequestTimes>();
        json_schema!({"description": "when a device interrupts in this case", "anyOf": [{"const": "never"}, times]})
    }
}
