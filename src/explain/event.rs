//! What a traced run notes: decisions and everything else worth telling, still in numbers.
//!
//! [`Events`] folds what repeats while the run goes on, so that a poll of a hundred thousand looks costs one entry. The
//! pieces of a compared text are kept apart: they differ in where they come from, and are joined when the run is told.

use super::op::Register;
use super::shadow::{CLEAN, Mark, Marks};
use super::sources::Taint;
use crate::cpu::Exception;

/// Where a value was held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Held {
    Register(Register),
    /// At this bus address.
    Memory(u32),
    Immediate,
    /// In the status register.
    Status,
}

/// A value that an instruction used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Operand {
    pub value: u32,
    /// Width in bytes.
    pub width: u32,
    pub marks: Marks,
    pub held: Held,
}

impl Operand {
    pub fn constant(value: u32, width: u32) -> Self {
        Self { value, width, marks: CLEAN, held: Held::Immediate }
    }

    /// The marks that count.
    pub fn marks(&self) -> &[Mark] {
        &self.marks[..self.width.min(4) as usize]
    }

    /// Whether nothing from outside is in it.
    pub fn clean(&self) -> bool {
        self.marks().iter().all(|mark| mark.taint.clean())
    }

    /// The bus address from which all its bytes were copied, one after the other, highest first.
    pub fn origin(&self) -> Option<u32> {
        let first = self.marks().last()?.origin()?;
        let in_order = |(index, mark): (usize, &Mark)| mark.origin() == Some(first + index as u32);
        self.marks().iter().rev().enumerate().all(in_order).then_some(first)
    }
}

/// What an instruction that set the condition codes did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Compares {
    /// It compared two values.
    Two,
    /// It tested one value, or moved it.
    Zero,
    /// It tested these bits of a value.
    Bits(u32),
    /// It computed something.
    Result,
}

/// The instruction that set the condition codes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setter {
    /// Its address.
    pub at: u32,
    /// Which instruction of the run it was.
    pub serial: u64,
    pub compares: Compares,
    pub found: Operand,
    pub with: Option<Operand>,
}

/// Which way a conditional branch went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Turn {
    pub at: u32,
    pub to: u32,
    pub taken: bool,
    /// Whether it is DBcc; what it did at the end of a loop is told by the branch that asks the same flags again.
    pub counted: bool,
    /// Whether it is no branch, but an instruction that keeps the answer.
    pub kept: bool,
    /// The condition, as the opcode has it.
    pub condition: u8,
}

/// Something worth telling.
#[derive(Clone, Copy, Debug)]
pub(super) enum Event {
    /// A branch that something from outside decided.
    Decision { setter: Setter, turn: Turn },
    /// A jump to an address from outside.
    Jump { at: u32, to: u32 },
    /// An access to an address from outside; of a read the value, and the mark of its first byte as it stands there.
    Lookup { at: u32, address: u32, width: u32, value: Option<u32>, mark: Mark },
    /// A port was written.
    Write { at: u32, port: usize, value: u16 },
    /// A handler was entered.
    Exception { exception: Exception, from: u32, to: u32 },
    /// An exception could have been raised and was not.
    Passed { exception: Exception, at: u32 },
    /// The RESET instruction put the latches back.
    Reset,
}

/// An event, how often it happened in a row, and what it hung on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entry {
    key: Option<Key>,
    pub event: Event,
    pub times: u64,
    pub taint: Taint,
}

impl Entry {
    /// Whether the loop ended here, and the event is the branch that asks the same flags again.
    fn asked_again(&self, event: &Event) -> bool {
        match (&self.event, event) {
            (Event::Decision { setter, turn }, Event::Decision { setter: next, .. }) => {
                turn.counted && !turn.taken && self.times == 1 && setter.serial == next.serial
            }
            _ => false,
        }
    }
}

/// What makes two entries say the same but for the value found; no two kinds of event have equal ones.
type Key = [u32; 6];

/// Stands in a key for bytes that were computed.
const COMPUTED: u32 = u32::MAX;

/// The key of an event that may repeat.
fn key(event: &Event) -> Option<Key> {
    let origin = |operand: &Operand| operand.origin().unwrap_or(COMPUTED);
    match event {
        Event::Decision { setter, turn } => {
            let with = setter.with.as_ref().map_or(COMPUTED, origin);
            Some([0, turn.at, turn.to, setter.at, origin(&setter.found), with])
        }
        Event::Lookup { at, address, .. } => Some([1, *at, *address, 0, 0, 0]),
        Event::Exception { exception, from, to } => Some([2, u32::from(exception.vector()), *from, *to, 0, 0]),
        Event::Passed { exception, at } => Some([3, u32::from(exception.vector()), *at, 0, 0, 0]),
        Event::Jump { .. } | Event::Write { .. } | Event::Reset => None,
    }
}

/// How many entries are kept from the start, and as many from the end.
const KEPT: usize = 1 << 15;

/// The longest round of entries that is found to repeat.
const LONGEST_ROUND: usize = 4;

/// The events of a run.
#[derive(Clone, Debug, Default)]
pub(super) struct Events {
    first: Vec<Entry>,
    last: std::collections::VecDeque<Entry>,
    /// Entries that fell out of the middle.
    pub omitted: u64,
}

impl Events {
    pub fn clear(&mut self) {
        self.first.clear();
        self.last.clear();
        self.omitted = 0;
    }

    /// Adds an event; `join` makes one taint of two.
    pub fn push(&mut self, event: Event, taint: Taint, join: impl FnMut(Taint, Taint) -> Taint) {
        let entry = Entry { key: key(&event), event, times: 1, taint };
        if let Some(last) = self.first.last_mut().filter(|last| self.last.is_empty() && last.asked_again(&event)) {
            *last = entry;
            return;
        }
        if self.first.len() < KEPT {
            self.first.push(entry);
            self.fold(join);
            return;
        }
        if self.last.len() == KEPT {
            self.last.pop_front();
            self.omitted += 1;
        }
        self.last.push_back(entry);
    }

    /// Folds the last round of entries into the one before if they say the same.
    fn fold(&mut self, mut join: impl FnMut(Taint, Taint) -> Taint) {
        let length = self.first.len();
        for round in 1..=LONGEST_ROUND.min(length / 2) {
            let (before, after) = self.first[length - 2 * round..].split_at(round);
            // What an interrupt comes between is told on either side of it.
            let interrupted = round > 1 && after.iter().any(|entry| matches!(entry.event, Event::Exception { .. }));
            if interrupted || !before.iter().zip(after).all(|(one, two)| one.key.is_some() && one.key == two.key) {
                continue;
            }
            for index in length - round..length {
                let earlier = self.first[index - round];
                let entry = &mut self.first[index];
                entry.times += earlier.times;
                entry.taint = join(entry.taint, earlier.taint);
            }
            self.first.drain(length - 2 * round..length - round);
            return;
        }
    }

    /// All entries that were kept, in order, and the index of the gap in them.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.first.iter().chain(&self.last)
    }

    /// How many entries come before those that were left out.
    pub fn before_gap(&self) -> usize {
        self.first.len()
    }
}
