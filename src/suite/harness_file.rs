//! The harness file as written: types that serde reads and the schema is made from. Nothing is resolved here.
//!
//! The doc comments of these types are the schema's descriptions.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::SeqAccess;

use super::collection::{Named, OneOrMany, some};
use super::forms::{Forms, forms};
use super::interrupt_file::InterruptSpec;
use super::place::{CellText, Place};
use super::rule_file::RuleSpec;
use super::scalar::{Clock, Count, Number, Range, Size, SumRange};
use crate::board::OpenBus;
use crate::rom::{ByteOrder, Format};
use crate::run::BranchKind;

/// A harness: the host ROM under test, the board it runs on, and what its routine ought to do.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct HarnessFile {
    /// A name for reports. Default: the file's name.
    pub name: Option<String>,
    /// Another harness file, relative to this one; every top-level key given here replaces that file's.
    pub extends: Option<String>,
    /// The host ROM: the built image under test.
    pub host: Option<HostSpec>,
    /// The CPU clock, like `8 MHz`; with it, cycles are also shown as time.
    pub clock: Option<Clock>,
    /// The pass-through socket.
    pub socket: Option<SocketSpec>,
    /// What an address that nothing answers for reads as. Default: floating.
    pub unmapped: Option<OpenBusWord>,
    /// RAM areas.
    pub memory: Option<Vec<MemorySpec>>,
    /// Ports.
    pub ports: Option<Vec<PortSpec>>,
    /// Memory that shows over the map while a port holds a value.
    pub overlays: Option<Vec<OverlaySpec>>,
    /// Devices that interrupt.
    pub interrupts: Option<Vec<InterruptSpec>>,
    /// Ranges in which every bus cycle takes longer; of those that overlap the first counts.
    pub wait_states: Option<Vec<WaitSpec>>,
    /// The detection routine: entry, preconditions, limit.
    pub routine: Option<RoutineSpec>,
    /// The header layout: named fields at offsets inside the attached image.
    pub header: Option<Named<FieldSpec>>,
    /// The branches, by name.
    pub branches: Option<Named<BranchSpec>>,
    /// What no run may do. Default: writes-outside-map, executes-outside-host, reads-ram-before-writing.
    pub forbid: Option<Vec<Forbidden>>,
    /// The acceptance table: the first rule that fits says which branch a cartridge ought to take.
    pub acceptance: Option<Vec<RuleSpec>>,
}

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

/// The detection routine.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct RoutineSpec {
    /// Where it starts: a symbol, symbol+offset, an address, or `reset` for the ROM's own reset vector.
    pub entry: Place,
    /// The stack pointer at the start. Default: the ROM's vector 0.
    pub stack: Option<Place>,
    /// The status register at the start. Default: 0x2700.
    pub status: Option<Number>,
    /// Registers at the start, by name (d0-d7, a0-a6). Default: 0.
    pub registers: Option<Named<Place>>,
    /// When a run is given up. Default: 1000000 instructions.
    pub limit: Option<LimitSpec>,
    /// Exceptions whose handlers run. TRAP, TRAPV and CHK always run theirs; all others end the run as a crash.
    pub handles: Option<Vec<HandledWord>>,
}

/// Limits of a run; the first one reached ends it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct LimitSpec {
    /// Most instructions.
    pub instructions: Option<Count>,
    /// Most clock cycles.
    pub cycles: Option<Count>,
}

/// An exception that a routine can handle itself.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HandledWord {
    /// Vector 2.
    BusError,
    /// Vector 3.
    AddressError,
    /// Vector 4.
    Illegal,
    /// Vector 5.
    ZeroDivide,
    /// Vector 8.
    Privilege,
    /// Vector 9.
    Trace,
    /// Vector 10.
    LineA,
    /// Vector 11.
    LineF,
}

/// A field of the header.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct FieldSpec {
    /// Offset inside the attached image.
    pub at: Number,
    /// Length in bytes. A checksum has 2.
    pub length: Option<Number>,
    /// What the field holds. Default: text, or a checksum where `sum16` is given.
    pub holds: Option<HoldsWord>,
    /// How a shorter text is filled up. Default: space.
    pub pad: Option<PadWord>,
    /// The field is the 16-bit sum of the big-endian words of this part of the image.
    pub sum16: Option<SumRange>,
}

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HoldsWord {
    /// Text.
    Text,
    /// A big-endian number of 1, 2 or 4 bytes.
    Number,
}

/// Padding of a text.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PadWord {
    /// Spaces.
    Space,
    /// Zero bytes.
    Zero,
}

/// A branch: a named outcome of the routine.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct BranchSpec {
    /// What it means.
    pub kind: BranchKind,
    /// The label that is reached: a symbol, symbol+offset or address; or `return`. Default: return.
    pub at: Option<Place>,
    /// What must hold there; tells branches with a common exit apart.
    pub when: Option<StateSpec>,
    /// Values that the branch leaves behind, by name, for `expect: {shows: ...}`.
    pub shows: Option<Named<CellText>>,
}

/// A cell that holds a value; give one of byte, word, long or register.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct StateSpec {
    /// The address of a byte.
    pub byte: Option<Place>,
    /// The address of a word.
    pub word: Option<Place>,
    /// The address of a long word.
    pub long: Option<Place>,
    /// A register, like d0 or d0.w.
    pub register: Option<CellText>,
    /// The value.
    pub is: Number,
}

/// Something that no run may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Forbidden {
    /// Writes that land nowhere: in ROM, in the socket, or where nothing is mapped.
    WritesOutsideMap,
    /// Reads where nothing is mapped.
    ReadsOutsideMap,
    /// Code that runs from anywhere but the host's own ROMs. Where nothing is mapped it never may.
    ExecutesOutsideHost,
    /// RAM that is read before anything was written there.
    ReadsRamBeforeWriting,
    /// Values written to a port that its `writes` does not list.
    UndeclaredPortWrites,
    /// Code under which its own write makes an overlay come or go.
    ExecutesRemapped,
}
