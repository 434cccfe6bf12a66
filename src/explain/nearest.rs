//! The smallest changes that end otherwise: guessed from the decisions of a run, and each one tried.
//!
//! A guess is made where a decision shows what it wanted: the rest of a text, another bit, another value. A guess that
//! ends like the run itself is no answer and is dropped, so nothing is told that was not seen to happen.

use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

use super::model::{Change, Explanation, Nearby, Origin, Step, Test, TextCompare, Went};
use super::tracer::Tracer;
use crate::board::{RamFill, Schedule};
use crate::cartridge::{Holds, Image};
use crate::run::{Machine, Setup};
use crate::units;
use crate::verdict::{Names, short_ending};

/// How many changes are told.
const TOLD: usize = 3;

/// The most bytes of one text that are changed.
const MOST_BYTES: usize = 32;

/// The most bytes of a computed value that are tried one by one.
const MOST_ORIGINS: usize = 16;

/// What may be changed in one try: image offsets with their new values, or a port.
#[derive(Clone, Debug, Default)]
struct Guess {
    bytes: BTreeMap<u32, u8>,
    port: Option<(usize, u16)>,
    would: String,
}

/// What a guess says beside how it ends; tried before it is told.
#[derive(Clone, Copy, Debug)]
enum Proof {
    /// A branch that went this way goes the other one.
    Turns { at: u32, taken: bool },
    /// The text that this compare compares with that agrees.
    Matches { at: u32, with: Option<u32> },
}

/// A guess that ended otherwise.
struct Found {
    nearby: Nearby,
    /// How many things were changed.
    size: usize,
    /// From how late in the run it was guessed; later is nearer.
    step: usize,
    /// What was changed, and what it says.
    guess: Guess,
    proof: Option<Proof>,
}

impl Found {
    /// How many bits were altered.
    fn bits(&self) -> u32 {
        let altered = |change: &Change| match change {
            Change::Byte { is, instead, .. } => (is ^ instead).count_ones(),
            Change::Port { .. } => 0,
        };
        self.nearby.changes.iter().map(altered).sum()
    }

    /// Whether a guess changes the same bytes.
    fn same_bytes(&self, guess: &Guess) -> bool {
        let offsets = self.nearby.changes.iter().filter_map(|change| match change {
            Change::Byte { offset, .. } => Some(*offset),
            Change::Port { .. } => None,
        });
        !guess.bytes.is_empty() && offsets.eq(guess.bytes.keys().copied())
    }
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
    /// Which way the branches of the run itself went, step by step.
    ways: Vec<(u32, bool)>,
    /// Changes of bytes that have been tried.
    tried: HashSet<Vec<(u32, u8)>>,
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
        Self {
            names,
            machine,
            tracing,
            original,
            fills,
            budget,
            setup,
            ends: String::new(),
            found: Vec::new(),
            ways: Vec::new(),
            tried: HashSet::new(),
        }
    }

    /// The nearest changes that end otherwise than the explained run.
    pub fn nearest(mut self, explanation: &Explanation) -> Vec<Nearby> {
        self.ends = match self.run(&Guess::default()) {
            Some(ends) => ends,
            None => return Vec::new(),
        };
        self.ways = ways(&explanation.steps);
        // First what a decision plainly wanted, then byte after byte of what it hung on, which takes many more tries.
        for (index, step) in explanation.steps.iter().enumerate().rev() {
            match step {
                Step::Compare(text) => self.try_text(text, index),
                Step::Scan(scan) => scan.entries.iter().rev().for_each(|entry| self.try_text(entry, index)),
                Step::Test(test) => self.try_test(test, index),
                _ => {}
            }
        }
        for (index, step) in explanation.steps.iter().enumerate().rev() {
            self.sweep(step, index);
        }
        if self.found.is_empty() {
            self.try_origins(&explanation.influence.of, &[], "would end otherwise", None, 0);
        }
        self.ranked()
    }

    /// The best change for each end, then the next best; a few of all.
    fn ranked(mut self) -> Vec<Nearby> {
        // A change that leads to a branch is nearer than one that crashes.
        let branches = &self.names.rig.branches;
        let crashes = |found: &Found| branches.iter().all(|branch| branch.name != found.nearby.ends);
        self.found.sort_by_key(|found| (found.size, crashes(found), std::cmp::Reverse(found.step)));
        let (mut first, mut rest): (Vec<Found>, Vec<Found>) = (Vec::new(), Vec::new());
        for found in std::mem::take(&mut self.found) {
            let known = first.iter().any(|other| other.nearby.ends == found.nearby.ends);
            if known { rest.push(found) } else { first.push(found) }
        }
        first.append(&mut rest);
        let mut told: Vec<Nearby> = Vec::new();
        for mut found in first {
            if told.len() == TOLD {
                break;
            }
            if told.iter().any(|other| other.changes == found.nearby.changes) {
                continue;
            }
            if found.proof.is_some_and(|proof| !self.proven(&found.guess, proof)) {
                "would decide otherwise".clone_into(&mut found.nearby.would);
            }
            told.push(found.nearby);
        }
        told
    }

    fn image(&self) -> Option<&Arc<Image>> {
        self.original.inputs.attached.image.as_ref()
    }

    /// A text that differed: what differs is put right. One that agreed: its last byte is altered.
    fn try_text(&mut self, text: &TextCompare, step: usize) {
        let Some(offset) = text.found.offset else { return };
        let (found, with) = (unhex(&text.found.hex), unhex(&text.with.hex));
        let mut guess = Guess::default();
        if text.equal {
            let last = text.compared.saturating_sub(1);
            let Some(byte) = found.get(last) else { return };
            guess.bytes.insert(offset + last as u32, byte ^ 1);
            guess.would = format!("would no longer match {}", text.with.whose);
            self.attempt(guess, None, step);
            return;
        }
        let differing = found.iter().zip(&with).enumerate().filter(|(_, (found, with))| found != with);
        let differing: Vec<(u32, u8)> =
            differing.map(|(index, (_, with))| (offset + index as u32, *with)).take(MOST_BYTES).collect();
        // All bytes put right; then as few as lead to the same end, as less may have been compared than is known.
        let all = Guess { bytes: differing.iter().copied().collect(), ..Guess::default() };
        let Some(ends) = self.run(&all).filter(|ends| *ends != self.ends) else { return };
        for (offset, byte) in differing {
            guess.bytes.insert(offset, byte);
            if guess.bytes.len() == all.bytes.len() || self.run(&guess).is_some_and(|end| end == ends) {
                break;
            }
        }
        guess.would = format!("would match {}", text.with.whose);
        let matches = Proof::Matches { at: text.at.address, with: text.with.address };
        self.keep(guess, ends, Some(matches), step);
    }

    fn try_test(&mut self, test: &Test, step: usize) {
        let value = test.found.value;
        let wanted = wanted(test);
        let would = format!("would go the other way at {}", units::address(test.went.at.address));
        let proof = Some(Proof::Turns { at: test.went.at.address, taken: test.went.taken });
        if let [Origin::Image { first, last, .. }] = test.found.from[..]
            && last - first + 1 == test.width
        {
            for wanted in wanted.iter().filter(|wanted| **wanted != value) {
                let byte = |index: u32| (wanted >> (8 * (test.width - 1 - index))) as u8;
                let bytes = (0..test.width).map(|index| (first + index, byte(index))).collect();
                self.attempt(Guess { bytes, port: None, would: would.clone() }, proof, step);
            }
        }
        self.try_ports(all_origins(test), &wanted, &would, proof, step);
    }

    /// Tries the bytes on which a step hung, one after the other.
    fn sweep(&mut self, step: &Step, index: usize) {
        match step {
            Step::Test(test) => {
                let would = format!("would go the other way at {}", units::address(test.went.at.address));
                let proof = Some(Proof::Turns { at: test.went.at.address, taken: test.went.taken });
                if let Some(with) = &test.with {
                    self.try_origins(&with.from, &[test.found.value], &would, proof, index);
                }
                self.try_origins(all_origins(test), &wanted(test), &would, proof, index);
            }
            Step::Jump(jump) => self.try_origins(&jump.by, &[], "would go elsewhere", None, index),
            Step::Lookup(lookup) => self.try_origins(&lookup.by, &[], "would look elsewhere", None, index),
            Step::Told(told) => {
                self.try_origins(&told.found.from, &[told.is], "would tell another branch", None, index);
            }
            Step::Exception(exception) => {
                let would = if exception.raised { "would not raise it" } else { "might raise it" };
                self.try_origins(&exception.by, &[0], would, None, index);
            }
            _ => {}
        }
    }

    /// Each of these values all through the run, from the ports that a test asked.
    fn try_ports(&mut self, origins: &[Origin], wanted: &[u32], would: &str, proof: Option<Proof>, step: usize) {
        for origin in origins {
            let Origin::Port { port } = origin else { continue };
            let ports = self.names.rig.map.ports();
            let Some(index) = ports.iter().position(|other| other.name == *port) else { continue };
            for value in wanted {
                let guess =
                    Guess { bytes: BTreeMap::new(), port: Some((index, *value as u16)), would: would.to_owned() };
                if self.attempt(guess, proof, step) {
                    break;
                }
            }
        }
    }

    /// The bytes on which something hung, each by itself: a byte of what was wanted, one bit altered, nothing, all ones.
    fn try_origins(&mut self, origins: &[Origin], wanted: &[u32], would: &str, proof: Option<Proof>, step: usize) {
        let images = origins.iter().filter_map(|origin| match origin {
            Origin::Image { first, last, .. } => Some((*first..=*last).take(MOST_ORIGINS)),
            _ => None,
        });
        for offset in images.flatten().take(4 * MOST_ORIGINS) {
            let Some(byte) = self.image().and_then(|image| image.byte(offset)) else { continue };
            let mut tries: Vec<u8> = wanted.iter().flat_map(|wanted| wanted.to_le_bytes()).collect();
            tries.extend((0..8).map(|bit| byte ^ 1 << bit));
            tries.extend([byte.wrapping_add(1), byte.wrapping_sub(1), 0, 0xFF]);
            // In a text, letters are nearer than other bytes; otherwise what differs in few bits.
            let text = self.names.layout.at(offset).is_some_and(|field| matches!(field.holds, Holds::Text(_)));
            tries.sort_by_key(|value| (text && !(0x20..0x7F).contains(value), (value ^ byte).count_ones()));
            let mut tried = vec![byte];
            for value in tries {
                if !tried.contains(&value) {
                    tried.push(value);
                    let guess = Guess { bytes: [(offset, value)].into(), port: None, would: would.to_owned() };
                    self.attempt(guess, proof, step);
                }
            }
        }
    }

    /// Tries a guess; whether it ended otherwise. Of changes of the same bytes that end alike one is enough.
    fn attempt(&mut self, guess: Guess, proof: Option<Proof>, step: usize) -> bool {
        if guess.port.is_none() && !self.tried.insert(guess.bytes.iter().map(|(at, byte)| (*at, *byte)).collect()) {
            return false;
        }
        let Some(ends) = self.run(&guess).filter(|ends| *ends != self.ends) else { return false };
        let alike = self.found.iter().position(|found| found.same_bytes(&guess) && found.nearby.ends == ends);
        if let Some(index) = alike {
            if self.found[index].bits() <= self.bits(&guess) {
                return true;
            }
            self.found.remove(index);
        }
        self.keep(guess, ends, proof, step);
        true
    }

    /// How many bits a guess alters.
    fn bits(&self, guess: &Guess) -> u32 {
        let altered = |(offset, byte): (&u32, &u8)| Some((self.image()?.byte(*offset)? ^ byte).count_ones());
        guess.bytes.iter().filter_map(altered).sum()
    }

    /// Whether with these changes that happens which a guess says.
    fn proven(&mut self, guess: &Guess, proof: Proof) -> bool {
        let told = self.told(guess);
        match proof {
            // It must be this branch at which the two runs part.
            Proof::Turns { at, taken } => {
                let other = ways(&told.steps);
                let part = self.ways.iter().zip(&other).take_while(|(one, two)| one == two).count();
                // Where both went the other way before, one of them may go on doing so: that is one step too.
                let goes_on = part > 0 && other[part - 1] == (at, !taken) && self.ways.get(part) == Some(&(at, taken));
                goes_on || other.get(part) == Some(&(at, !taken))
            }
            Proof::Matches { at, with } => {
                let agrees = |text: &TextCompare| text.equal && text.at.address == at && text.with.address == with;
                told.steps.iter().any(|step| match step {
                    Step::Compare(text) => agrees(text),
                    Step::Scan(scan) => scan.entries.iter().any(agrees),
                    _ => false,
                })
            }
        }
    }

    /// The run with these changes, told.
    fn told(&mut self, guess: &Guess) -> Explanation {
        self.change(guess);
        self.tracing.observer().start(&self.setup);
        self.tracing.run(&self.setup, self.fills);
        let (tracer, outcome, bus) = self.tracing.watched_run();
        self.budget = self.budget.saturating_sub(outcome.instructions);
        tracer.tell(outcome, bus, &self.setup.inputs.attached, self.names)
    }

    /// Keeps a guess that ended otherwise.
    fn keep(&mut self, guess: Guess, ends: String, proof: Option<Proof>, step: usize) {
        let mut changes = Vec::new();
        for (offset, instead) in &guess.bytes {
            let is = self.image().and_then(|image| image.byte(*offset)).unwrap_or(0xFF);
            if is != *instead {
                let field = self.names.field(*offset);
                let text = self.names.layout.at(*offset).is_none_or(|field| matches!(field.holds, Holds::Text(_)));
                changes.push(Change::Byte { offset: *offset, field, is, instead: *instead, text });
            }
        }
        if let Some((port, value)) = guess.port {
            let port = self.names.rig.map.ports()[port].name.clone();
            changes.push(Change::Port { port, instead: value.into() });
        }
        let size = changes.len();
        let nearby = Nearby { changes, would: guess.would.clone(), ends };
        self.found.push(Found { nearby, size, step, guess, proof });
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

/// Which way each branch went, step by step.
fn ways(steps: &[Step]) -> Vec<(u32, bool)> {
    let way = |went: &Went| (went.at.address, went.taken);
    let mut ways = Vec::new();
    for step in steps {
        match step {
            // An answer that is kept is no branch yet.
            Step::Test(test) if test.went.kept => {}
            Step::Test(test) => ways.push(way(&test.went)),
            Step::Compare(text) => ways.push(way(&text.went)),
            Step::Scan(scan) => ways.extend(scan.entries.iter().map(|entry| way(&entry.went))),
            _ => {}
        }
    }
    ways
}

/// The values that would make a test go the other way, likeliest first.
fn wanted(test: &Test) -> Vec<u32> {
    let value = test.found.value;
    match (test.mask, &test.with) {
        (Some(mask), _) if value & mask != 0 => vec![value & !mask],
        (Some(mask), _) => vec![value | mask & mask.wrapping_neg(), value | mask],
        (None, Some(with)) => vec![with.value, with.value.wrapping_add(1), with.value.wrapping_sub(1)],
        (None, None) if value == 0 => vec![1],
        (None, None) => vec![0, value ^ 1 << (8 * test.width.clamp(1, 4) - 1)],
    }
}

/// All that a test hung on.
fn all_origins(test: &Test) -> &[Origin] {
    if test.by.is_empty() { &test.found.from } else { &test.by }
}

/// The bytes of a text in hexadecimal.
fn unhex(hex: &str) -> Vec<u8> {
    hex.split(' ').filter_map(|byte| u8::from_str_radix(byte, 16).ok()).collect()
}
