//! The acceptance table as written: rules, conditions, and what fields and ports must hold.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, SeqAccess, Visitor};

use super::collection::{Named, some};
use super::forms::{Forms, forms};
use super::scalar::{FromScalar, Number, Scalar, scalar};

/// A rule of the acceptance table; a rule without conditions fits every cartridge.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct RuleSpec {
    /// All of these must hold.
    pub when: Option<ConditionSpec>,
    /// Not all of these may hold.
    pub unless: Option<ConditionSpec>,
    /// The branch that the cartridge ought to take.
    pub branch: String,
}

/// Conditions on what shows in the window: header fields by name, and `ports`.
#[derive(Clone, Debug, Default)]
pub struct ConditionSpec {
    /// Header fields.
    pub fields: Vec<(String, MatchSpec)>,
    /// Port values.
    pub ports: Vec<(String, PortMatchSpec)>,
}

impl<'de> Deserialize<'de> for ConditionSpec {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Conditions;

        impl<'de> Visitor<'de> for Conditions {
            type Value = ConditionSpec;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a mapping of header fields to what they hold")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<ConditionSpec, A::Error> {
                let mut spec = ConditionSpec::default();
                while let Some(key) = access.next_key::<String>()? {
                    if key == "ports" {
                        spec.ports = access.next_value::<Named<PortMatchSpec>>()?.0;
                    } else if spec.fields.iter().any(|(name, _)| *name == key) {
                        return Err(A::Error::custom(format!("`{key}` is given twice")));
                    } else {
                        spec.fields.push((key, access.next_value()?));
                    }
                }
                if spec.fields.is_empty() && spec.ports.is_empty() {
                    return Err(A::Error::custom("there is no condition; leave the key out instead"));
                }
                Ok(spec)
            }
        }

        deserializer.deserialize_map(Conditions)
    }
}

impl JsonSchema for ConditionSpec {
    fn schema_name() -> Cow<'static, str> {
        "Conditions".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let ports = generator.subschema_for::<Named<PortMatchSpec>>();
        let field = generator.subschema_for::<MatchSpec>();
        json_schema!({
            "type": "object",
            "description": "header fields and what they hold, and `ports` with the values they read",
            "properties": {"ports": ports},
            "additionalProperties": field,
            "minProperties": 1
        })
    }
}

/// What a port must read.
#[derive(Clone, Debug)]
pub enum PortMatchSpec {
    /// One of these values.
    OneOf(Vec<Number>),
    /// Some bits of it.
    Bits(BitsSpec),
}

/// Some bits of a port's value.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct BitsSpec {
    /// The bits that count.
    pub mask: Number,
    /// Their value.
    pub is: Number,
}

impl Forms for PortMatchSpec {
    const EXPECTED: &'static str = "a value, a list of values, or {mask:, is:}";
    type One = Number;
    type Keys = BitsSpec;

    fn one(value: Number) -> Option<Self> {
        Some(PortMatchSpec::OneOf(vec![value]))
    }

    fn mapping(bits: BitsSpec) -> Result<Self, String> {
        Ok(PortMatchSpec::Bits(bits))
    }

    fn list<'de, A: SeqAccess<'de>>(access: A) -> Result<Self, A::Error> {
        some(access).map(PortMatchSpec::OneOf)
    }
}
forms!(PortMatchSpec);

impl JsonSchema for PortMatchSpec {
    fn schema_name() -> Cow<'static, str> {
        "PortMatch".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<Number>();
        let bits = generator.subschema_for::<BitsSpec>();
        json_schema!({"anyOf": [value, {"type": "array", "items": value, "minItems": 1}, bits]})
    }
}

/// What a header field must hold.
#[derive(Clone, Debug)]
pub enum MatchSpec {
    /// One of these texts (padded) or numbers.
    OneOf(Vec<Literal>),
    /// Part of a text.
    Part(PartSpec),
}

/// A text or a number.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Literal {
    /// Text.
    Text(String),
    /// Number.
    Number(u32),
}

/// Part of a text, or a range of numbers; all that are given must hold.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct PartSpec {
    /// The text starts with this.
    pub starts: Option<String>,
    /// The text, without its padding, ends with this.
    pub ends: Option<String>,
    /// The text contains this.
    pub contains: Option<String>,
    /// The number is this or more.
    pub at_least: Option<Number>,
    /// The number is this or less.
    pub at_most: Option<Number>,
}

impl FromScalar for Literal {
    const EXPECTED: &'static str = "a text or a number";
    const QUOTES: &'static str = "; put a text in quotes";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        match scalar {
            Scalar::Text(text) => Some(Literal::Text(text)),
            Scalar::Number(value) => u32::try_from(value).ok().map(Literal::Number),
        }
    }

    fn schema() -> Schema {
        json_schema!({"type": ["string", "integer"], "minimum": 0, "maximum": u32::MAX})
    }
}
scalar!(Literal);

impl Forms for MatchSpec {
    const EXPECTED: &'static str =
        "a text, a number, a list of them, or {starts:, ends:, contains:, at-least:, at-most:}";
    type One = Literal;
    type Keys = PartSpec;

    fn one(value: Literal) -> Option<Self> {
        Some(MatchSpec::OneOf(vec![value]))
    }

    fn mapping(part: PartSpec) -> Result<Self, String> {
        let texts = [&part.starts, &part.ends, &part.contains];
        let numbers = [part.at_least, part.at_most];
        if texts.iter().all(|text| text.is_none()) && numbers.iter().all(Option::is_none) {
            return Err("there is no condition: give starts, ends, contains, at-least or at-most".to_owned());
        }
        Ok(MatchSpec::Part(part))
    }

    fn list<'de, A: SeqAccess<'de>>(access: A) -> Result<Self, A::Error> {
        some(access).map(MatchSpec::OneOf)
    }
}
forms!(MatchSpec);

impl JsonSchema for MatchSpec {
    fn schema_name() -> Cow<'static, str> {
        "Match".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let literal = generator.subschema_for::<Literal>();
        let part = generator.subschema_for::<PartSpec>();
        json_schema!({"anyOf": [literal, {"type": "array", "items": literal, "minItems": 1}, part]})
    }
}
