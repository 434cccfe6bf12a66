//! Every instruction of a run with what it read and wrote, and the clock: for those who look closely.

use m68000::Registers;
use schemars::JsonSchema;
use serde::Serialize;

use super::name::Namer;
use super::sources::Sources;
use crate::board::{Access, Bus, Observer};
use crate::cartridge::{Attached, Image};
use crate::cpu::{Exception, decode};
use crate::verdict::{Names, Spot};

/// The most instructions that are kept; a run goes on beyond them, unlisted.
pub const MOST_LISTED: usize = 1_000_000;

/// An instruction that ran, still in numbers.
#[derive(Clone, Copy, Debug)]
struct Line {
    at: u32,
    words: [u16; 5],
    /// The clock when it began.
    clock: u64,
    /// Index of its first access.
    first: usize,
    /// The exception that came before it.
    after: Option<Exception>,
}

/// An observer that keeps every instruction of a run.
#[derive(Clone, Debug, Default)]
pub struct Instructions {
    lines: Vec<Line>,
    accesses: Vec<(Access, bool)>,
    entered: Option<Exception>,
    ended: u64,
    /// How many instructions ran beyond those that are kept.
    pub unlisted: u64,
}

/// An instruction that ran.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Ran {
    /// Where.
    pub at: Spot,
    /// The instruction.
    pub instruction: String,
    /// The clock when it began, in cycles since the run began.
    pub clock: u64,
    /// How many cycles it took, with the entry into a handler if one came after it.
    pub cycles: u64,
    /// The exception of whose handler it is the first instruction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<String>,
    /// What it read, in order.
    pub reads: Vec<Seen>,
    /// What it wrote, in order.
    pub writes: Vec<Seen>,
}

/// A value on the bus.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Seen {
    /// Bus address.
    pub address: u32,
    /// What is there, as a person says it.
    pub place: String,
    /// The value.
    pub value: u16,
    /// Width in bytes.
    pub width: u32,
}

impl Instructions {
    /// Forgets the run before.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The run is over at this cycle.
    pub fn end(&mut self, cycles: u64) {
        // Beyond the last instruction that is kept, it ended when the next one began.
        if self.unlisted == 0 {
            self.ended = cycles;
        }
    }

    /// The instructions in order, with names.
    pub fn ran<'a>(&'a self, attached: &'a Attached, names: Names<'a>) -> impl Iterator<Item = Ran> + 'a {
        (0..self.lines.len()).map(move |index| self.line(index, attached, names))
    }

    fn line(&self, index: usize, attached: &Attached, names: Names) -> Ran {
        let line = self.lines[index];
        let next = self.lines.get(index + 1);
        let accesses = &self.accesses[line.first..next.map_or(self.accesses.len(), |next| next.first)];
        let image = attached.image.as_deref();
        let sources = Sources::default();
        let namer = Namer { names, sources: &sources, image_size: image.map_or(0, Image::size), image };
        let seen = |writes: bool| {
            let accesses = accesses.iter().filter(move |(_, written)| *written == writes);
            let seen = accesses.map(|(access, _)| Seen {
                address: access.address,
                place: namer.place(access.place, access.address),
                value: access.value,
                width: access.size.bytes(),
            });
            seen.collect()
        };
        let word = |address: u32| line.words.get((address.wrapping_sub(line.at) / 2) as usize).copied().unwrap_or(0);
        Ran {
            at: names.spot(line.at),
            instruction: decode(line.at, word).text(names.rig.map.host().symbols()),
            clock: line.clock,
            cycles: next.map_or(self.ended, |next| next.clock).saturating_sub(line.clock),
            after: line.after.map(Exception::name),
            reads: seen(false),
            writes: seen(true),
        }
    }

    fn keep(&mut self, access: &Access, writes: bool) {
        if self.unlisted == 0 {
            self.accesses.push((*access, writes));
        }
    }
}

impl Observer for Instructions {
    fn fetch(&mut self, at: u32, _: &Registers, bus: &Bus) {
        if self.lines.len() == MOST_LISTED {
            if self.unlisted == 0 {
                self.ended = bus.now;
            }
            self.unlisted += 1;
            return;
        }
        let words = std::array::from_fn(|index| bus.peek_word(at.wrapping_add(2 * index as u32)));
        let (clock, first, after) = (bus.now, self.accesses.len(), self.entered.take());
        self.lines.push(Line { at, words, clock, first, after });
    }

    fn read(&mut self, access: &Access) {
        self.keep(access, false);
    }

    fn write(&mut self, access: &Access) {
        self.keep(access, true);
    }

    fn exception(&mut self, exception: Exception, _: u32, _: u32) {
        self.entered = Some(exception);
    }
}
