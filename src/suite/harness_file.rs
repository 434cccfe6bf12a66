//! The harness file as written: types that serde reads and the schema is made from. Nothing is resolved here.
//!
//! The doc comments of these types are the schema's descriptions.

use schemars::JsonSchema;
use serde::Deserialize;

use super::board_file::{HostSpec, MemorySpec, OpenBusWord, OverlaySpec, PortSpec, SocketSpec, WaitSpec};
use super::collection::Named;
use super::interrupt_file::InterruptSpec;
use super::place::{CellText, Place};
use super::rule_file::RuleSpec;
use super::scalar::{Clock, Count, Number, SumRange};
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
    /// What ports hold when this branch is taken, by name: the value written last, or the one at power-on.
    pub leaves: Option<Named<Number>>,
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
