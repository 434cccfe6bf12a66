//! A cartridge as written in a case file: types that serde reads and the schema is made from.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor};

use super::board_file::OrderWord;
use super::collection::OneOrMany;
use super::forms::{Forms, forms};
use super::rule_file::Literal;
use super::scalar::{Hex, ImageFill, Number, Offset, Size};

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
pub(super) struct PlacedHeader {
    /// Offset in the image.
    at: Number,
    /// The bytes.
    hex: Hex,
}

impl Forms for HeaderSpec {
    const EXPECTED: &'static str = "bytes in hexadecimal, in quotes, or {at:, hex:}";
    type One = Hex;
    type Keys = PlacedHeader;

    fn one(hex: Hex) -> Option<Self> {
        Some(HeaderSpec { at: None, hex })
    }

    fn mapping(placed: PlacedHeader) -> Result<Self, String> {
        Ok(HeaderSpec { at: Some(placed.at), hex: placed.hex })
    }
}
forms!(HeaderSpec);

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
                while let Some(Offset(at)) = access.next_key()? {
                    let hex: Hex = access.next_value()?;
                    let (start, end) = (u64::from(at), u64::from(at) + hex.0.len() as u64);
                    let overlaps = |(other, taken): &&(u32, Hex)| {
                        u64::from(*other) < end && start < u64::from(*other) + taken.0.len() as u64
                    };
                    if let Some((other, _)) = bytes.iter().find(overlaps) {
                        let message = format!("the bytes at 0x{at:X} overlap those at 0x{other:X}");
                        return Err(A::Error::custom(message));
                    }
                    bytes.push((at, hex));
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
