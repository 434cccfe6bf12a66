//! A traced run told as decisions: events get names and become the steps of an [`Explanation`].

use std::collections::{BTreeMap, BTreeSet};

use super::event::{Compares, Event, Held, Operand, Setter, Turn};
use super::fold::{self, Item, Noted};
use super::model::{
    ByteDecisions, ExceptionStep, Explanation, Influence, Jump, Lookup, Omitted, PortStep, Step, Test, Told,
};
use super::name::Namer;
use super::op;
use super::sources::{Source, Taint};
use super::texts::{Texts, went};
use super::tracer::Tracer;
use crate::board::Bus;
use crate::cartridge::{Attached, Image};
use crate::cpu::Exception;
use crate::run::{Cell, Condition, Crash, End, Outcome, Register};
use crate::units;
use crate::verdict::{Names, ending};

/// The most steps that are told from either end of a run.
const MOST_STEPS: usize = 30;

/// What decided at the end of a run, beyond its events.
struct Last<'a> {
    /// The cells that the branches at the exit ask for, whose they are, and what they must hold.
    operands: Vec<(Operand, &'a str, u32)>,
    /// What a crash hung on.
    crash: Taint,
}

impl Tracer {
    /// Tells the run that was just traced.
    pub fn tell(&mut self, outcome: &Outcome, bus: &Bus, attached: &Attached, names: Names) -> Explanation {
        let Last { operands, crash } = self.last(outcome, bus, names);
        let namer = self.namer(attached, names);
        let mut steps = told(shortened(self.items(&namer)), &namer);
        steps.extend(crash_step(outcome, crash, &namer));
        for (operand, branch, is) in operands.iter().filter(|(operand, ..)| !operand.clean()) {
            let branch = (*branch).to_owned();
            steps.push(Step::Told(Told { branch, found: namer.value(operand), is: *is }));
        }
        Explanation {
            steps,
            ended: ending(outcome, names),
            influence: self.influence(&namer),
            ..Explanation::default()
        }
    }

    /// The texts that were compared, all of them, and what the way of the run hung on; nothing else is told. A gap says
    /// that decisions were forgotten.
    pub fn tell_texts(&mut self, outcome: &Outcome, bus: &Bus, attached: &Attached, names: Names) -> Explanation {
        self.last(outcome, bus, names);
        let namer = self.namer(attached, names);
        let steps = self.items(&namer).into_iter().filter_map(|item| match item {
            Item::Told(step) => Some(*step),
            Item::Noted(_) => None,
        });
        Explanation { steps: steps.collect(), influence: self.influence(&namer), ..Explanation::default() }
    }

    /// What the end of the run hung on.
    fn last<'a>(&mut self, outcome: &Outcome, bus: &Bus, names: Names<'a>) -> Last<'a> {
        let crash = self.end(outcome);
        let mut operands = Vec::new();
        for (branch, condition) in conditions(outcome, names) {
            let operand = self.cell(condition.cell, outcome, bus);
            let taint = self.follow.all(operand.marks());
            self.influenced(taint);
            operands.push((operand, branch, condition.is));
        }
        Last { operands, crash }
    }

    /// Names for this run.
    pub(super) fn namer<'a>(&'a self, attached: &'a Attached, names: Names<'a>) -> Namer<'a> {
        let image = attached.image.as_deref();
        Namer { names, sources: &self.follow.sources, image_size: image.map_or(0, Image::size), image }
    }

    /// What happened, folded, still without names but for the texts.
    fn items(&self, namer: &Namer) -> Vec<Item> {
        let mut items = Vec::new();
        let mut texts = Texts::new();
        for (index, entry) in self.events.entries().enumerate() {
            if index == self.events.before_gap() && self.events.omitted > 0 {
                texts.finish(namer, &mut items);
                items.push(Item::Told(Box::new(Step::Omitted(Omitted { decisions: self.events.omitted }))));
            }
            if !texts.take(entry, namer, &mut items) {
                fold::push(&mut items, entry);
            }
        }
        texts.finish(namer, &mut items);
        items
    }

    /// Tells what the last instruction did. What a crash hangs on: the address of the access, or what the instruction
    /// looked at.
    pub(super) fn end(&mut self, outcome: &Outcome) -> Taint {
        self.note_writes(&outcome.writes);
        let taint = match outcome.end {
            End::Crashed(crash) => self.ended_by(crash.exception),
            End::Halted(exception) => self.ended_by(exception),
            _ => Taint::CLEAN,
        };
        self.influenced(taint);
        taint
    }

    /// What a cell holds, with its marks.
    fn cell(&mut self, cell: Cell, outcome: &Outcome, bus: &Bus) -> Operand {
        let value = cell.probe(&outcome.registers, bus).value;
        let width = cell.width().bytes();
        let mut operand = Operand::constant(value, width);
        match cell {
            Cell::Memory { address, .. } => {
                operand.held = Held::Memory(address);
                for index in 0..width {
                    let address = address.wrapping_add(width - 1 - index);
                    operand.marks[index as usize] = self.mark_peeked(bus.place(address), address);
                }
            }
            Cell::Register { register, .. } => {
                (operand.marks, operand.held) = match register {
                    Register::Data(number) => {
                        (*self.follow.registers.data(number), Held::Register(op::Register::Data(number)))
                    }
                    Register::Address(number) => {
                        (*self.follow.registers.address(number), Held::Register(op::Register::Address(number)))
                    }
                    Register::Status => {
                        let codes = self.follow.codes();
                        (self.follow.mixed(codes, 1), Held::Status)
                    }
                };
            }
        }
        operand
    }

    fn influence(&self, namer: &Namer) -> Influence {
        let mut deciders: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
        let mut seen = BTreeSet::new();
        let header = namer.names.layout.extent();
        for entry in self.events.entries() {
            let Some(site) = site(&entry.event) else { continue };
            if !seen.insert((site, entry.taint)) {
                continue;
            }
            for stretch in namer.sources.stretches(entry.taint) {
                let (Source::Image(first), Source::Image(last)) = (stretch.first, stretch.last) else { continue };
                for offset in first.max(header.start)..=last.min(header.end.saturating_sub(1)) {
                    deciders.entry(offset).or_default().insert(site);
                }
            }
        }
        let decisions = deciders.into_iter();
        Influence {
            of: namer.taint(self.influence),
            decisions: decisions
                .map(|(offset, sites)| ByteDecisions { offset, at: sites.into_iter().collect() })
                .collect(),
        }
    }
}

/// Where an event decided the way of the run.
fn site(event: &Event) -> Option<u32> {
    match event {
        Event::Decision { turn, .. } => Some(turn.at),
        Event::Jump { at, .. } => Some(*at),
        _ => None,
    }
}

/// The branches whose conditions were asked at the exit, in order.
fn conditions<'a>(outcome: &Outcome, names: Names<'a>) -> Vec<(&'a str, Condition)> {
    let branches = &names.rig.branches;
    let (exit, last) = match outcome.end {
        End::Branch(index) => (branches[index].exit, index),
        End::NoBranch(Some(address)) => (crate::run::Exit::At(address), branches.len()),
        End::NoBranch(None) => (crate::run::Exit::Return, branches.len()),
        _ => return Vec::new(),
    };
    let asked = branches.iter().enumerate().filter(|(index, branch)| *index <= last && branch.exit == exit);
    asked.filter_map(|(_, branch)| Some((branch.name.as_str(), branch.when?))).collect()
}

fn crash_step(outcome: &Outcome, taint: Taint, namer: &Namer) -> Option<Step> {
    let End::Crashed(Crash { exception, access, .. }) = outcome.end else { return None };
    if taint.clean() {
        return None;
    }
    let (at, by) = (namer.names.spot(outcome.last), namer.taint(taint));
    Some(match access {
        Some((address, _)) => Step::Lookup(Lookup {
            at,
            instruction: namer.instruction(outcome.last),
            place: units::address(address),
            address,
            width: 0,
            value: None,
            writes: false,
            by,
            times: 1,
        }),
        None => {
            Step::Exception(ExceptionStep { name: exception.name(), from: at, raised: true, to: None, times: 1, by })
        }
    })
}

/// Gives names to what is told, in order: what a port write does depends on those before it.
fn told(items: Vec<Item>, namer: &Namer) -> Vec<Step> {
    let mut latched: Vec<u16> = namer.names.rig.map.ports().iter().map(|port| port.power_on).collect();
    let steps = items.into_iter().filter_map(|item| match item {
        Item::Told(step) => Some(*step),
        Item::Noted(noted) => step(&noted, &mut latched, namer),
    });
    steps.collect()
}

fn step(noted: &Noted, latched: &mut [u16], namer: &Namer) -> Option<Step> {
    let spot = |at| namer.names.spot(at);
    let by = || namer.taints(noted.taints.iter().copied());
    let times = noted.entry.times;
    Some(match noted.entry.event {
        Event::Decision { setter, turn } => test(&setter, &turn, noted, namer),
        Event::Jump { at, to } => {
            Step::Jump(Jump { at: spot(at), instruction: namer.instruction(at), to: spot(to), by: by() })
        }
        Event::Lookup { at, address, width, value, mark } => Step::Lookup(Lookup {
            at: spot(at),
            instruction: namer.instruction(at),
            place: match value {
                Some(_) => namer.read_at(address, width, mark),
                None => namer.place(namer.names.rig.map.place(address), address),
            },
            address,
            width,
            value,
            writes: value.is_none(),
            by: by(),
            times,
        }),
        Event::Write { at, port, value } => Step::Write(PortStep {
            at: spot(at),
            port: namer.names.rig.map.ports()[port].name.clone(),
            value: value.into(),
            effect: effect(port, std::mem::replace(&mut latched[port], value), value, namer),
            from: by(),
        }),
        Event::Exception { exception, from, to } => Step::Exception(ExceptionStep {
            name: exception_name(exception, namer),
            from: spot(from),
            raised: true,
            to: Some(spot(to)),
            times,
            by: by(),
        }),
        Event::Passed { exception, at } => Step::Exception(ExceptionStep {
            name: exception.name(),
            from: spot(at),
            raised: false,
            to: None,
            times,
            by: by(),
        }),
        Event::Reset => {
            for (latch, port) in latched.iter_mut().zip(namer.names.rig.map.ports()) {
                *latch = port.power_on;
            }
            return None;
        }
    })
}

/// An exception with the device that asked for it, where that is known.
fn exception_name(exception: Exception, namer: &Namer) -> String {
    match exception {
        Exception::Interrupt(level) => format!("{} ({})", exception.name(), namer.device(level)),
        exception => exception.name(),
    }
}

/// What a write to a port made of the map.
fn effect(port: usize, before: u16, after: u16, namer: &Namer) -> Option<String> {
    let overlays = namer.names.rig.map.overlays().iter().filter(|overlay| overlay.port == port);
    let changes: Vec<String> = overlays
        .filter(|overlay| (overlay.is == before) != (overlay.is == after))
        .map(|overlay| {
            let verb = if overlay.is == after { "shows" } else { "no longer shows" };
            let (first, last) = (units::address(*overlay.range.start()), units::address(*overlay.range.end()));
            format!("{} {verb} at {first}-{last}", overlay.name)
        })
        .collect();
    (!changes.is_empty()).then(|| changes.join(", "))
}

/// A decision by a value.
fn test(setter: &Setter, turn: &Turn, noted: &Noted, namer: &Namer) -> Step {
    let (found, with) = setter.sides();
    let marks = found.marks().iter().chain(with.as_ref().map_or(&[][..], |with| with.marks()));
    let values = namer.taints(marks.map(|mark| mark.taint));
    let by = namer.taints(noted.taints.iter().copied());
    let mask = if let Compares::Bits(mask) = setter.compares { Some(mask) } else { None };
    Step::Test(Test {
        at: namer.names.spot(setter.at),
        instruction: namer.instruction(setter.at),
        width: found.width,
        found: namer.value(&found),
        with: with.map(|with| namer.value(&with)),
        by: if by == values { Vec::new() } else { by },
        mask,
        times: noted.entry.times,
        went: went(turn, namer),
    })
}

/// Leaves out the middle of what nobody would read.
fn shortened(mut items: Vec<Item>) -> Vec<Item> {
    if items.len() > 2 * MOST_STEPS {
        let end = items.len() - MOST_STEPS;
        let decisions = items[MOST_STEPS..end].iter().map(decisions).sum();
        items.splice(MOST_STEPS..end, [Item::Told(Box::new(Step::Omitted(Omitted { decisions })))]);
    }
    items
}

fn decisions(item: &Item) -> u64 {
    match item {
        Item::Noted(noted) => noted.entry.times,
        Item::Told(step) => match &**step {
            Step::Omitted(omitted) => omitted.decisions,
            Step::Scan(scan) => scan.entries.len() as u64,
            _ => 1,
        },
    }
}
