//! The board as a harness file writes it: host ROM, socket, RAM, ports, overlays, wait states.
//!
//! The doc comments of these types are the schema's descriptions.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::SeqAccess;

use super::collection::{OneOrMany, some};
use super::forms::{Forms, forms};
use super::scalar::{Number, Range, Size};
use crate::board::OpenBus;
use crate::rom::{ByteOrder, Format};

/// The host image: one file, or even and odd halves.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct HostSpec {
    /// The image file, relative to the harness file.
    pub image: Option<String>,
    /// The file with the bytes of even addresses; needs `odd`.
    pub even: Option<String>,
    /// The file with the bytes of odd addresses; needs `even`.
    pub odd: Option<String>,
    /// The format of the image. Default: told from its content.
    pub format: Option<FormatWord>,
    /// Whether the two bytes of every word of a raw file are exchanged. Default: normal.
    pub byte_order: Option<OrderWord>,
    /// Bus address of a raw image's first byte. Default: the start of `range`.
    pub origin: Option<Number>,
    /// A text file in the form of POSIX `nm -P`, with more symbols.
    pub symbols: Option<String>,
    /// The addresses for which the host answers. Default: 0 up to the socket's window.
    pub range: Option<Range>,
}

/// Format of a host image.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FormatWord {
    /// ELF32, big-endian, for the 68000.
    Elf,
    /// The bytes as they are.
    Raw,
    /// Motorola S-records.
    SRecord,
}

impl From<FormatWord> for Format {
    fn from(word: FormatWord) -> Self {
        match word {
            FormatWord::Elf => Format::Elf,
            FormatWord::Raw => Format::Raw,
            FormatWord::SRecord => Format::SRecord,
        }
    }
}

/// Order of the bytes in a word.
#[derive(Clone, Copy, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OrderWord {
    /// As the 68000 has them.
    #[default]
    Normal,
    /// Each pair of bytes exchanged.
    Swapped,
}

impl From<OrderWord> for ByteOrder {
    fn from(word: OrderWord) -> Self {
        match word {
            OrderWord::Normal => ByteOrder::Normal,
            OrderWord::Swapped => ByteOrder::Swapped,
        }
    }
}

/// What open bus reads as.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OpenBusWord {
    /// All ones.
    Ones,
    /// All zeros.
    Zeros,
    /// The last word that was on the bus.
    Floating,
    /// Seeded noise.
    Noise,
    /// Nothing acknowledges: a bus error.
    BusError,
}

impl From<OpenBusWord> for OpenBus {
    fn from(word: OpenBusWord) -> Self {
        match word {
            OpenBusWord::Ones => OpenBus::Ones,
            OpenBusWord::Zeros => OpenBus::Zeros,
            OpenBusWord::Floating => OpenBus::Floating,
            OpenBusWord::Noise => OpenBus::Noise,
            OpenBusWord::BusError => OpenBus::BusError,
        }
    }
}

/// The pass-through socket.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct SocketSpec {
    /// The addresses at which the attached cartridge shows.
    pub window: Range,
    /// What the window reads where no cartridge answers. Default: floating.
    pub empty: Option<OpenBusWord>,
}

/// A RAM area.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct MemorySpec {
    /// Its name.
    pub name: String,
    /// Its addresses.
    pub range: Range,
    /// Bytes of RAM, if it repeats through a larger range. Default: the whole range.
    pub size: Option<Size>,
    /// What it may hold at power-on; every case runs under each. Default: zeros, ones and noise.
    pub power_on: Option<OneOrMany<FillWord>>,
}

/// Contents of RAM at power-on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FillWord {
    /// All zeros.
    Zeros,
    /// All ones.
    Ones,
    /// Seeded noise.
    Noise,
}

/// A port.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct PortSpec {
    /// Its name.
    pub name: String,
    /// Its address.
    pub at: Number,
    /// Its width. Default: byte.
    pub size: Option<PortWidth>,
    /// What it reads: a value, a list of values by read count (the last one stays), or a change. Without it the port
    /// cannot be read.
    pub reads: Option<ReadsSpec>,
    /// The values that may be written. Without it the port cannot be written.
    pub writes: Option<OneOrMany<Number>>,
    /// The latched value before the first write. Default: 0.
    pub power_on: Option<Number>,
}

/// Width of a port.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PortWidth {
    /// 8 bits.
    Byte,
    /// 16 bits.
    Word,
}

/// What a port reads.
#[derive(Clone, Debug)]
pub enum ReadsSpec {
    /// Always this.
    Constant(Number),
    /// These, one a read.
    Sequence(Vec<Number>),
    /// One value, then another.
    Changes(ChangeSpec),
}

/// A port value that changes once.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ChangeSpec {
    /// The value at first.
    pub first: Number,
    /// The value after the change.
    pub then: Number,
    /// Change after this many reads of the port.
    pub after_reads: Option<Number>,
    /// Change after this many cycles of the run.
    pub after_cycles: Option<Number>,
}

impl Forms for ReadsSpec {
    const EXPECTED: &'static str = "a value, a list of values, or {first:, then:, after-reads: or after-cycles:}";
    type One = Number;
    type Keys = ChangeSpec;

    fn one(value: Number) -> Option<Self> {
        Some(ReadsSpec::Constant(value))
    }

    fn mapping(change: ChangeSpec) -> Result<Self, String> {
        Ok(ReadsSpec::Changes(change))
    }

    fn list<'de, A: SeqAccess<'de>>(access: A) -> Result<Self, A::Error> {
        some(access).map(ReadsSpec::Sequence)
    }
}
forms!(ReadsSpec);

impl JsonSchema for ReadsSpec {
    fn schema_name() -> Cow<'static, str> {
        "Reads".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<Number>();
        let change = generator.subschema_for::<ChangeSpec>();
        json_schema!({
            "description": "a value, a list of values by read count (the last one stays), or a change",
            "anyOf": [value, {"type": "array", "items": value, "minItems": 1}, change]
        })
    }
}

/// Memory that shows over the map while a port holds a value.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct OverlaySpec {
    /// Its name.
    pub name: String,
    /// The image file (raw bytes), relative to the harness file.
    pub image: String,
    /// Where it shows.
    pub range: Range,
    /// When it shows.
    #[serde(rename = "while")]
    pub condition: WhileSpec,
}

/// The port value for which an overlay shows.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct WhileSpec {
    /// The name of a port that can be written.
    pub port: String,
    /// The latched value.
    pub is: Number,
}

/// A range in which every bus cycle takes longer.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct WaitSpec {
    /// The addresses.
    pub range: Range,
    /// Clock cycles added to each bus cycle, at most 1000.
    pub clocks: Number,
}
