//! The smallest changes that end otherwise: guessed from the decisions of a run, and each one tried.
//!
//! A guess is made where a decision shows what it wanted: the rest of a text, another bit, another value. A guess that
//! ends like the run itself is no answer and is dropped, so nothing is told that was not seen to happen.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::model::{Change, Explanation, Nearby, Origin, Step, Test, TextCompare};
use super::tracer::Tracer;
use crate::board::{RamFill, Schedule};
use crate::cartridge::Image;
use crate::run::{Machine, Setup};
use crate::units;
use crate::verdict::{Names, short_ending};

/// How many changes are told.
const TOLD: usize = 3;

/// The most bytes of one text that are changed.
const MOST_BYTES: usize = 32;

/// The most bytes of a computed value that are tried one by one.
const MOST_ORIGINS: u32 = 16;

/// What may be changed in one try: image offsets with their new values, or a port.
#[derive(Clone, Debug, Default)]
struct Guess {
    bytes: BTreeMap<u32, u8>,
    port: Option<(usize, u16)>,
    would: String,
}

/// A guess that ended otherwise.
struct Found {
    nearby: Nearby,
    /// How many things were changed.
    size: usize,
    /// From how late in the run it was guessed; later is nearer.
    step: usize,
}

/// Tries changes of the inputs of one run.
pub struct Search<'a> {
    names: Names<'a>,
    machine: &'a mut Machine,
    tracing: &'a mut Machine<Tracer>,
    original: &'a Setup,
    fills: &'a [RamFill],
    /// How many instructions all tries together may still take.
    budget: u64,
    setup: Setup,
    ends: String,
    found: Vec<Found>,
}

impl<'a> Search<'a> {
    /// A search among the changes of these inputs; `budget` is how many instructions all tries together may take.
    pub fn new(
        names: Names<'a>,
        machine: &'a mut Machine,
        tracing: &'a mut Machine<Tracer>,
        original: &'a Setup,
        fills: &'a [RamFill],
        budget: u64,
    ) -> Self {
        let setup = original.clone();
        Self { names, machine, tracing, original, fills, budget, setup, ends: String::new(), found: Vec::new() }
    }

    /// The nearest changes that end otherwise than the explained run.
    pub fn nearest(mut self, explanation: &Explanation) -> Vec<Nearby> {
        self.ends = match self.run(&Guess::default()) {
            Some(ends) => ends,
            None => return Vec::new(),
        };
        for (index, step) in explanation.steps.iter().enumerate().rev() {
            match step {
                Step::Compare(text) => self.try_text(text, index),
                Step::Scan(scan) => {
                    for entry in scan.entries.iter().rev() {
                        self.try_text(entry, index);
                    }
                }
                Step::Test(test) => self.try_test(test, index),
                Step::Jump(jump) => self.try_origins(&jump.by, "would have gone elsewhere", index),
                Step::Lookup(lookup) => self.try_origins(&lookup.by, "would have looked elsewhere", index),
                Step::Told(told) => self.try_origins(&told.found.from, "would have told another branch", index),
                _ => {}
            }
        }
        self.ranked()
    }

    /// The best change for each end, then the next best; a few of all.
    fn ranked(mut self) -> Vec<Nearby> {
        self.found.sort_by_key(|found| (found.size, std::cmp::Reverse(found.step)));
        let (mut first, mut rest) = (Vec::new(), Vec::new());
        for found in self.found {
            let known = first.iter().any(|nearby: &Nearby| nearby.ends == found.nearby.ends);
            if known { rest.push(found.nearby) } else { first.push(found.nearby) }
        }
        first.append(&mut rest);
        let mut told: Vec<Nearby> = Vec::new();
        for nearby in first {
            if told.len() < TOLD && told.iter().all(|other| other.changes != nearby.changes) {
                told.push(nearby);
            }
        }
        told
    }

    fn image(&self) -> Option<&Arc<Image>> {
        self.original.inputs.attached.image.as_ref()
    }

    /// A text that differed: one differing byte more is put right each time. One that agreed: its last byte is altered.
    fn try_text(&mut self, text: &TextCompare, step: usize) {
        let Some(offset) = text.found.offset else { return };
        let (found, with) = (unhex(&text.found.hex), unhex(&text.with.hex));
        let mut guess = Guess::default();
        if text.equal {
            let last = text.compared.saturating_sub(1);
            let Some(byte) = found.get(last) else { return };
            guess.bytes.insert(offset + last as u32, byte ^ 1);
            guess.would = format!("would no longer match {}", text.with.whose);
            self.attempt(guess, step);
            return;
        }
        let mut otherwise = None;
        for (index, (_, with)) in found.iter().zip(&with).enumerate().filter(|(_, (found, with))| found != with) {
            guess.bytes.insert(offset + index as u32, *with);
            if guess.bytes.len() > MOST_BYTES {
                break;
            }
            let Some(ends) = self.run(&guess).filter(|ends| *ends != self.ends) else { continue };
            if self.matches(&guess, text) {
                guess.would = format!("would match {}", text.with.whose);
                return self.keep(guess, ends, step);
            }
            otherwise.get_or_insert((guess.clone(), ends));
        }
        if let Some((mut guess, ends)) = otherwise {
            guess.would = format!("would decide otherwise, but not match {}", text.with.whose);
            self.keep(guess, ends, step);
        }
    }

    /// Whether with these changes a text agrees that did not.
    fn matches(&mut self, guess: &Guess, text: &TextCompare) -> bool {
        self.change(guess);
        self.tracing.observer().start(&self.setup);
        self.tracing.run(&self.setup, self.fills);
        let (tracer, outcome, bus) = self.tracing.watched_run();
        let told = tracer.tell(outcome, bus, &self.setup.inputs.attached, self.names);
        let same = |other: &TextCompare| other.equal && other.at == text.at && other.with.address == text.with.address;
        told.steps.iter().any(|step| match step {
            Step::Compare(other) => same(other),
            Step::Scan(scan) => scan.entries.iter().any(same),
            _ => false,
        })
    }

    fn try_test(&mut self, test: &Test, step: usize) {
        let value = test.found.value;
        let wanted: Vec<u32> = match (test.mask, &test.with) {
            (Some(mask), _) if value & mask != 0 => vec![value & !mask],
            (Some(mask), _) => vec![value | mask & mask.wrapping_neg()],
            (None, Some(with)) if with.value == value => vec![value ^ 1, value.wrapping_add(1)],
            (None, Some(with)) => vec![with.value, with.value.wrapping_add(1), with.value.wrapping_sub(1)],
            (None, None) if value == 0 => vec![1],
            (None, None) => vec![0, value ^ 1 << (8 * test.width.clamp(1, 4) - 1)],
        };
        let would = format!("would have gone the other way at {}", units::address(test.went.at.address));
        match &test.found.from[..] {
            [Origin::Image { first, last, .. }] if last - first + 1 == test.width => {
                for wanted in wanted {
                    let bytes =
                        (0..test.width).map(|index| (first + index, (wanted >> (8 * (test.width - 1 - index))) as u8));
                    let guess = Guess { bytes: bytes.collect(), port: None, would: would.clone() };
                    self.attempt(guess, step);
                }
            }
            [Origin::Port { port }] => {
                let ports = self.names.rig.map.ports();
                if let Some(port) = ports.iter().position(|other| other.name == *port) {
                    for wanted in wanted {
                        let guess =
                            Guess { port: Some((port, wanted as u16)), would: would.clone(), ..Guess::default() };
                        self.attempt(guess, step);
                    }
                }
            }
            from => {
                let from = from.to_vec();
                self.try_origins(&from, &would, step);
            }
        }
    }

    /// The bytes of a computed value, each altered by itself until one does something.
    fn try_origins(&mut self, origins: &[Origin], would: &str, step: usize) {
        let mut tried = 0;
        for origin in origins {
            let Origin::Image { first, last, .. } = origin else { continue };
            for offset in *first..=*last {
                let Some(byte) = self.image().and_then(|image| image.byte(offset)) else { continue };
                for bit in [1, 0x80] {
                    let guess = Guess { bytes: [(offset, byte ^ bit)].into(), port: None, would: would.to_owned() };
                    if self.attempt(guess, step) {
                        return;
                    }
                }
                tried += 1;
                if tried == MOST_ORIGINS {
                    return;
                }
            }
        }
    }

    /// Tries a guess; whether it ended otherwise.
    fn attempt(&mut self, guess: Guess, step: usize) -> bool {
        let Some(ends) = self.run(&guess) else { return false };
        if ends == self.ends {
            return false;
        }
        self.keep(guess, ends, step);
        true
    }

    /// Keeps a guess that ended otherwise.
    fn keep(&mut self, guess: Guess, ends: String, step: usize) {
        let mut changes = Vec::new();
        for (offset, instead) in &guess.bytes {
            let is = self.image().and_then(|image| image.byte(*offset)).unwrap_or(0xFF);
            if is != *instead {
                let field = self.names.field(*offset);
                changes.push(Change::Byte { offset: *offset, field, is, instead: *instead });
            }
        }
        if let Some((port, value)) = guess.port {
            let port = self.names.rig.map.ports()[port].name.clone();
            changes.push(Change::Port { port, instead: value.into() });
        }
        let size = changes.len();
        self.found.push(Found { nearby: Nearby { changes, would: guess.would, ends }, size, step });
    }

    /// How a run with these changes ends, in a word or two; `None` if the budget is spent.
    fn run(&mut self, guess: &Guess) -> Option<String> {
        if self.budget == 0 {
            return None;
        }
        self.change(guess);
        let outcome = self.machine.run(&self.setup, self.fills);
        self.budget = self.budget.saturating_sub(outcome.instructions.max(1));
        Some(short_ending(outcome, self.names))
    }

    /// Makes the inputs those of a guess.
    fn change(&mut self, guess: &Guess) {
        self.setup.inputs.attached.image.clone_from(&self.original.inputs.attached.image);
        self.setup.inputs.ports.clone_from(&self.original.inputs.ports);
        if let Some(image) = self.setup.inputs.attached.image.as_mut().filter(|_| !guess.bytes.is_empty()) {
            let image = Arc::make_mut(image);
            for (offset, byte) in &guess.bytes {
                image.change(*offset, *byte);
            }
        }
        if let Some((port, value)) = guess.port {
            self.setup.inputs.ports.resize(self.names.rig.map.ports().len(), None);
            self.setup.inputs.ports[port] = Some(Schedule::Constant(value));
        }
    }
}

/// The bytes of a text in hexadecimal.
fn unhex(hex: &str) -> Vec<u8> {
    hex.split(' ').filter_map(|byte| u8::from_str_radix(byte, 16).ok()).collect()
}
