//! What an explanation says, as data: reporters render it and compute nothing.

use schemars::JsonSchema;
use serde::Serialize;

use crate::verdict::Spot;

/// A run told as decisions.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Explanation {
    /// What decided, in the order in which it happened.
    pub steps: Vec<Step>,
    /// How the run ended, as a sentence: "took patched (alternate)".
    pub ended: String,
    /// The smallest changes found that end otherwise. Each was tried.
    pub nearest: Vec<Nearby>,
    /// Everything from outside that a decision, an address or a port write hung on. What is not listed had no influence.
    pub influence: Influence,
    /// The RAM fill of this run.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub fill: String,
}

/// One thing that happened in the run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "step")]
pub enum Step {
    /// Two texts were compared, piece by piece.
    Compare(TextCompare),
    /// One text was compared with the entries of a table, one after the other.
    Scan(Scan),
    /// A value was tested, once or again and again.
    Test(Test),
    /// The way on was taken from a value: a jump table, a computed address.
    Jump(Jump),
    /// A value chose the address of something that was read or written.
    Lookup(Lookup),
    /// A port was written.
    Write(PortStep),
    /// An exception was taken by a handler.
    Exception(ExceptionStep),
    /// The branch at the exit was told by a cell.
    Told(Told),
    /// Steps that are left out here.
    Omitted(Omitted),
}

/// A text of the attached cartridge beside the text with which it was compared.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct TextCompare {
    /// Where the compare stands.
    pub at: Spot,
    /// The compare.
    pub instruction: String,
    /// What was found.
    pub found: Text,
    /// What it was compared with.
    pub with: Text,
    /// How many bytes agreed before the first difference.
    pub matched: usize,
    /// How many bytes were compared; both texts may go on behind them, to the end of the header field.
    pub compared: usize,
    /// Whether all that was compared agreed.
    pub equal: bool,
    /// The name of the byte at the first difference: `product[9]`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<String>,
    /// What the image holds at the first difference, if a contact fault made something else of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stored: Option<u8>,
    /// The decision that ended it.
    pub went: Went,
}

/// A stretch of bytes and whose they are.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Text {
    /// Whose: `product[0]`, `0x000342 <our_products+16>`, `the instruction`.
    pub whose: String,
    /// Bus address of the first byte; absent if the bytes are part of instructions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub address: Option<u32>,
    /// Its image offset, for bytes of the attached image.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset: Option<u32>,
    /// The source file and line of the label before it, for bytes of the host whose source can be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The bytes, in hexadecimal: `41 57`.
    pub hex: String,
    /// The bytes as text; a dot for what cannot be printed.
    pub text: String,
}

/// A text compared with entry after entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Scan {
    /// Its entries, in order.
    pub entries: Vec<TextCompare>,
    /// The entry that agreed, counted from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub matched: Option<usize>,
}

/// A test of a value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Test {
    /// Where the instruction stands that set the condition codes.
    pub at: Spot,
    /// That instruction.
    pub instruction: String,
    /// What was found.
    pub found: Value,
    /// What it was compared with; absent where the instruction tests one value alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with: Option<Value>,
    /// Everything from outside that the decision hung on, if that is more than the two values do: flags of an earlier
    /// instruction, say, or what the same test found the other times.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub by: Vec<Origin>,
    /// The bits that were tested, if not all of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mask: Option<u32>,
    /// Width in bytes.
    pub width: u32,
    /// How often it was made in a row with the same way on; the rest is that of the last time.
    pub times: u64,
    /// Where it went.
    pub went: Went,
}

/// A value and where it comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Value {
    /// The value.
    pub value: u32,
    /// The place it was in, as a person says it: `port pedal`, `d1`, `product[12]`.
    pub held_in: String,
    /// What from outside it hangs on.
    pub from: Vec<Origin>,
}

/// Something from outside the host ROM that a value hangs on.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "origin")]
pub enum Origin {
    /// Bytes of the attached image.
    Image {
        /// First offset.
        first: u32,
        /// Last offset.
        last: u32,
        /// The field or fields, as a person says it: `product[0..13]`.
        #[serde(skip_serializing_if = "Option::is_none")]
        field: Option<String>,
        /// What the image holds there, in hexadecimal; absent for more than eight bytes.
        #[serde(skip_serializing_if = "Option::is_none")]
        holds: Option<String>,
    },
    /// A port was read.
    Port {
        /// Its name.
        port: String,
    },
    /// RAM that nothing had written.
    Ram {
        /// First address.
        first: u32,
        /// Last address.
        last: u32,
    },
    /// An interrupt: that it came, and when.
    Interrupt {
        /// The device, or the level where several share one.
        device: String,
    },
    /// The window where no cartridge answers, or nothing at all.
    OpenBus {
        /// First address.
        first: u32,
        /// Last address.
        last: u32,
    },
}

/// Which way a conditional branch went, or what a condition was kept as.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Went {
    /// Where it stands.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// Whether it branched, or whether the condition held.
    pub taken: bool,
    /// Where it went on.
    pub to: Spot,
    /// Whether it did not branch, but kept the answer for later (Scc, MOVE from SR).
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub kept: bool,
}

/// A jump to a computed address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Jump {
    /// Where.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// Where it went.
    pub to: Spot,
    /// What the address hangs on.
    pub by: Vec<Origin>,
}

/// An access whose address hangs on something from outside.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Lookup {
    /// Where.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// The address, with its name: `0x0002F2 <preset_table+4>`.
    pub place: String,
    /// The address.
    pub address: u32,
    /// Width in bytes; 0 if the access failed.
    pub width: u32,
    /// Whether it was written to.
    pub writes: bool,
    /// What was read there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<u32>,
    /// What the address hangs on.
    pub by: Vec<Origin>,
    /// How often in a row; the rest is that of the last time.
    pub times: u64,
}

/// A write to a port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PortStep {
    /// Where.
    pub at: Spot,
    /// The port.
    pub port: String,
    /// What was written.
    pub value: u32,
    /// What that did: "format patch shows at 0x280000-0x2BFFFF".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effect: Option<String>,
    /// What the value hangs on, if on anything from outside.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<Origin>,
}

/// An exception that a handler took, or one that an instruction could have raised and did not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ExceptionStep {
    /// Its name.
    pub name: String,
    /// The instruction that raised it; for an interrupt or a trace, where the program would have gone on.
    pub from: Spot,
    /// Whether it was raised.
    pub raised: bool,
    /// Its handler; absent if none took it and the run ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<Spot>,
    /// How often in a row.
    pub times: u64,
    /// What it hangs on, if on anything from outside (a divisor, say).
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub by: Vec<Origin>,
}

/// A branch told by the value of a cell.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Told {
    /// The branch whose `when` it is.
    pub branch: String,
    /// The cell and what it held.
    pub found: Value,
    /// What it must hold for that branch.
    pub is: u32,
}

/// Steps left out of a long run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Omitted {
    /// How many decisions.
    pub decisions: u64,
}

/// A small change of the attached cartridge or of a port that ends otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Nearby {
    /// What to change, bytes in order of their offset.
    pub changes: Vec<Change>,
    /// What it would have done, as a person says it: "would have matched 0x000342 <our_products+16>".
    pub would: String,
    /// The branch it takes then, or one or two words for another end.
    pub ends: String,
}

/// One thing changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "change")]
pub enum Change {
    /// A byte of the attached image.
    Byte {
        /// Image offset.
        offset: u32,
        /// The header field: `product[12]`.
        #[serde(skip_serializing_if = "Option::is_none")]
        field: Option<String>,
        /// What it is.
        is: u8,
        /// What it would have to be.
        instead: u8,
        /// Whether it belongs to a text.
        text: bool,
    },
    /// What a port reads, all through the run.
    Port {
        /// Its name.
        port: String,
        /// What it would have to read.
        instead: u32,
    },
}

/// Everything from outside on which the way of a run hung.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Influence {
    /// By origin, in order.
    pub of: Vec<Origin>,
    /// The decisions that hung on each byte of the attached header, by offset; bytes without any are left out.
    pub decisions: Vec<ByteDecisions>,
}

/// The decisions that hung on a byte.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ByteDecisions {
    /// Image offset.
    pub offset: u32,
    /// The branches and jumps, by their address.
    pub at: Vec<u32>,
}

/// The decision that counted most, in short: the last one that hung on something from outside.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Evidence {
    /// Where the routine decided.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided: Option<Decided>,
    /// What was compared for that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compared: Option<Compared>,
    /// The last bytes of the attached image that it looked at before.
    pub looked_at: Vec<Look>,
    /// The RAM fill of this run.
    pub fill: String,
}

/// The conditional branch that decided.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Decided {
    /// Where.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// Where it went on.
    pub to: Spot,
    /// Whether it branched.
    pub taken: bool,
}

/// A stretch of the attached image that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Look {
    /// Bus address of the first byte.
    pub address: u32,
    /// Its image offset; absent for open bus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset: Option<u32>,
    /// The header field of the first byte.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The bytes as they were read, in hexadecimal.
    pub hex: String,
    /// The bytes as text; a dot for what cannot be printed.
    pub text: String,
}

/// A compare of something that came from the cartridge or a port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Compared {
    /// Where.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// What was found.
    pub found: u32,
    /// Where that came from: a header field, an image offset, a port.
    pub found_in: String,
    /// What it was compared with; absent for the test of a bit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with: Option<u32>,
    /// Where that came from.
    pub with_in: String,
    /// Width in bytes.
    pub width: u32,
}
