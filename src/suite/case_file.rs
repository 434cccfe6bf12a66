//! The case file as written: types that serde reads and the schema is made from. Nothing is resolved here.
//!
//! Cases and cartridges are kept as YAML values until `for` lists and placeholders have been filled in; the types
//! below read them then, and describe them to the schema always.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_yaml::Value as Yaml;

use super::collection::{Named, OneOrMany, some};
use super::harness_file::{FillWord, OpenBusWord, OrderWord, ReadsSpec};
use super::rule_file::Literal;
use super::scalar::{Count, Hex, ImageFill, Number, Size, Time};
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
    /// The cases.
    #[schemars(with = "Vec<CaseSchema>")]
    pub cases: Vec<Yaml>,
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

/// A cartridge: the keys below, any header field of the harness by name, and values for placeholders.
#[allow(dead_code)] // Only its schema is used: `RecipeSpec` plus the keys that only the harness knows.
pub struct RecipeSchema;

impl JsonSchema for RecipeSchema {
    fn schema_name() -> Cow<'static, str> {
        "Recipe".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = RecipeSpec::json_schema(generator);
        schema.insert("additionalProperties".to_owned(), Literal::json_schema(generator).into());
        schema.insert(
            "description".to_owned(),
            "A cartridge: these keys, any header field of the harness by name, and values for placeholders.".into(),
        );
        schema
    }
}

/// The keys of a recipe that every harness has.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct RecipeSpec {
    /// Another cartridge of this file to start from; keys given here replace its keys.
    #[allow(dead_code)] // Resolved before the other keys are read.
    pub with: Option<String>,
    /// Size of the image, 1 byte to 16 MiB. Default: 1 MiB, or the size of `file`.
    pub size: Option<Size>,
    /// What stands where nothing is put. Default: 0xFF, as in an erased EPROM.
    pub fill: Option<ImageFill>,
    /// An image file (raw bytes), relative to the case file, laid at offset 0.
    pub file: Option<String>,
    /// Raw header bytes, at the lowest header field's offset or at `at`.
    pub header: Option<HeaderSpec>,
    /// Bytes at offsets, over everything but checksums.
    pub bytes: Option<BytesSpec>,
    /// Offsets at which the header stands once more.
    pub header_copy: Option<OneOrMany<Number>>,
    /// Whether each pair of bytes shows exchanged. Default: normal.
    pub byte_order: Option<OrderWord>,
    /// Faulty contacts between socket and cartridge.
    pub contacts: Option<Vec<ContactSpec>>,
}

/// The keys of [`RecipeSpec`], which no header field may be called.
pub const RECIPE_KEYS: [&str; 9] =
    ["with", "size", "fill", "file", "header", "bytes", "header-copy", "byte-order", "contacts"];

/// Raw header bytes.
#[derive(Clone, Debug)]
pub struct HeaderSpec {
    /// Where; `None` for the lowest header field.
    pub at: Option<Number>,
    /// The bytes.
    pub hex: Hex,
}

/// Raw header bytes at an offset.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct PlacedHeader {
    /// Offset in the image.
    at: Number,
    /// The bytes.
    hex: Hex,
}

impl<'de> Deserialize<'de> for HeaderSpec {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Header;

        impl<'de> Visitor<'de> for Header {
            type Value = HeaderSpec;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("bytes in hexadecimal, in quotes, or {at:, hex:}")
            }

            fn visit_str<E: Error>(self, value: &str) -> Result<HeaderSpec, E> {
                let hex = Hex::deserialize(serde::de::value::StrDeserializer::<E>::new(value))?;
                Ok(HeaderSpec { at: None, hex })
            }

            fn visit_map<A: MapAccess<'de>>(self, access: A) -> Result<HeaderSpec, A::Error> {
                let placed = PlacedHeader::deserialize(MapAccessDeserializer::new(access))?;
                Ok(HeaderSpec { at: Some(placed.at), hex: placed.hex })
            }
        }

        deserializer.deserialize_any(Header)
    }
}

impl JsonSchema for HeaderSpec {
    fn schema_name() -> Cow<'static, str> {
        "Header".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let hex = generator.subschema_for::<Hex>();
        let placed = generator.subschema_for::<PlacedHeader>();
        json_schema!({"anyOf": [hex, placed]})
    }
}

/// Bytes at offsets.
#[derive(Clone, Debug)]
pub struct BytesSpec(pub Vec<(u32, Hex)>);

impl<'de> Deserialize<'de> for BytesSpec {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Bytes;

        impl<'de> Visitor<'de> for Bytes {
            type Value = BytesSpec;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a mapping of offsets to bytes, like {0x1F0: \"4A 4B\"}")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<BytesSpec, A::Error> {
                let mut bytes: Vec<(u32, Hex)> = Vec::new();
                while let Some(Number(at)) = access.next_key()? {
                    if bytes.iter().any(|(other, _)| *other == at) {
                        return Err(A::Error::custom(format!("offset 0x{at:X} is given twice")));
                    }
                    bytes.push((at, access.next_value()?));
                }
                Ok(BytesSpec(bytes))
            }
        }

        deserializer.deserialize_map(Bytes)
    }
}

impl JsonSchema for BytesSpec {
    fn schema_name() -> Cow<'static, str> {
        "Bytes".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let hex = generator.subschema_for::<Hex>();
        json_schema!({
            "type": "object",
            "propertyNames": {"pattern": "^(0[xX][0-9A-Fa-f_]+|[0-9]+)$"},
            "additionalProperties": hex
        })
    }
}

/// A faulty contact: a data line or an address line.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ContactSpec {
    /// A data line, 0 to 15 (15-8 carry the bytes at even addresses).
    pub data: Option<Number>,
    /// An address line, 1 to 23.
    pub address: Option<Number>,
    /// What is wrong with it. An address line cannot be open.
    pub is: FlawWord,
}

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FlawWord {
    /// Always 1.
    High,
    /// Always 0.
    Low,
    /// Not connected.
    Open,
    /// Right or wrong at random, seeded.
    Flickering,
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
    /// Branches that must not be taken.
    pub never: Option<OneOrMany<String>>,
    /// Header fields (by name) and image offsets (as ranges) outside of which the cartridge must not be read.
    pub reads: Option<OneOrMany<String>>,
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
struct WriteCount {
    /// How many.
    count: Number,
}

impl<'de> Deserialize<'de> for PortWritesSpec {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Writes;

        impl<'de> Visitor<'de> for Writes {
            type Value = PortWritesSpec;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list of values, or {count:}")
            }

            fn visit_u64<E: Error>(self, value: u64) -> Result<PortWritesSpec, E> {
                let value = u32::try_from(value).map_err(|_| E::custom("the value does not fit a port"))?;
                Ok(PortWritesSpec::Values(vec![Number(value)]))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<PortWritesSpec, A::Error> {
                // An empty list means that nothing is written.
                let mut values = Vec::new();
                while let Some(value) = access.next_element()? {
                    values.push(value);
                }
                Ok(PortWritesSpec::Values(values))
            }

            fn visit_map<A: MapAccess<'de>>(self, access: A) -> Result<PortWritesSpec, A::Error> {
                let count = WriteCount::deserialize(MapAccessDeserializer::new(access))?;
                Ok(PortWritesSpec::Count(count.count.0))
            }
        }

        deserializer.deserialize_any(Writes)
    }
}

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

impl<'de> Deserialize<'de> for WritesSpec {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Writes;

        impl<'de> Visitor<'de> for Writes {
            type Value = WritesSpec;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("values by port, like {latch: [1, 0]}, or a list in order, like [{latch: 1}, {latch: 0}]")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, access: A) -> Result<WritesSpec, A::Error> {
                let list: Vec<Named<Number>> = some(access)?;
                let single = |named: Named<Number>| <[(String, Number); 1]>::try_from(named.0).map(|[pair]| pair);
                let pairs: Result<Vec<_>, _> = list.into_iter().map(single).collect();
                pairs.map(WritesSpec::InOrder).map_err(|_| A::Error::custom("each step of the list names one port"))
            }

            fn visit_map<A: MapAccess<'de>>(self, access: A) -> Result<WritesSpec, A::Error> {
                Named::deserialize(MapAccessDeserializer::new(access)).map(|named| WritesSpec::ByPort(named.0))
            }
        }

        deserializer.deserialize_any(Writes)
    }
}

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
