//! A traced run told as decisions: events get names and become the steps of an [`Explanation`].

use std::collections::{BTreeMap, BTreeSet};

use super::event::{Compares, Entry, Event, Operand, Setter, Turn};
use super::fold;
use super::model::{
    ByteDecisions, ExceptionStep, Explanation, Influence, Jump, Lookup, Omitted, PortStep, Step, Test, Told,
};
use super::name::Namer;
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
struct Last {
    steps: Vec<Step>,
    taint: Taint,
}

impl Tracer {
    /// Tells the run that was just traced.
    pub fn tell(&mut self, outcome: &Outcome, bus: &Bus, attached: &Attached, names: Names) -> Explanation {
        let whole = self.tell_whole(outcome, bus, attached, names);
        Explanation { steps: shortened(whole.steps), ..whole }
    }

    /// The same with every step that was kept, for what counts them and shows none.
    pub fn tell_whole(&mut self, outcome: &Outcome, bus: &Bus, attached: &Attached, names: Names) -> Explanation {
        let crash = self.end(outcome);
        let conditions = conditions(outcome, names);
        let cells: Vec<(Operand, &str, u32)> = conditions
            .into_iter()
            .map(|(branch, condition)| (self.cell(condition.cell, outcome, bus), branch, condition.is))
            .collect();
        let mut last = Last { steps: Vec::new(), taint: crash };
        for (operand, ..) in &cells {
            let taint = self.follow.all(operand.marks());
            last.taint = self.follow.join(last.taint, taint);
        }
        self.influenced(last.taint);
        let namer = self.namer(attached, names);
        last.steps.extend(crash_step(outcome, crash, &namer));
        for (operand, branch, is) in &cells {
            if !operand.clean() {
                last.steps.push(Step::Told(Told {
                    branch: (*branch).to_owned(),
                    found: namer.value(operand),
                    is: *is,
                }));
            }
        }
        let mut steps = self.steps(&namer);
        steps.extend(last.steps);
        Explanation {
            steps,
            ended: ending(outcome, names),
            nearest: Vec::new(),
            influence: self.influence(&namer),
            fill: String::new(),
        }
    }

    /// Names for this run.
    pub(super) fn namer<'a>(&'a self, attached: &'a Attached, names: Names<'a>) -> Namer<'a> {
        let image = attached.image.as_deref();
        Namer { names, sources: &self.follow.sources, image_size: image.map_or(0, Image::size), image }
    }

    fn steps(&self, namer: &Namer) -> Vec<Step> {
        let mut steps = Vec::new();
        let mut texts = Texts::new();
        let mut latched: Vec<u16> = namer.names.rig.map.ports().iter().map(|port| port.power_on).collect();
        for (index, entry) in self.events.entries().enumerate() {
            if index == self.events.before_gap() && self.events.omitted > 0 {
                texts.finish(namer, &mut steps);
                steps.push(Step::Omitted(Omitted { decisions: self.events.omitted }));
            }
            if !texts.take(entry, namer, &mut steps)
                && let Some(step) = step(entry, &mut latched, namer)
            {
                fold::push(&mut steps, step, namer);
            }
        }
        texts.finish(namer, &mut steps);
        steps
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
                operand.held = super::event::Held::Memory(address);
                for index in 0..width {
                    let address = address.wrapping_add(width - 1 - index);
                    operand.marks[index as usize] = self.mark_peeked(bus.place(address), address);
                }
            }
            Cell::Register { register, .. } => {
                let (marks, held) = match register {
                    Register::Data(number) => (*self.follow.registers.data(number), super::op::Register::Data(number)),
                    Register::Address(number) => {
                        (*self.follow.registers.address(number), super::op::Register::Address(number))
                    }
                    Register::Status => {
                        let codes = self.follow.codes();
                        (self.follow.mixed(codes, 1), super::op::Register::Data(0))
                    }
                };
                operand.marks = marks;
                operand.held = super::event::Held::Register(held);
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
            value: None,
            by,
            times: 1,
        }),
        None => {
            Step::Exception(ExceptionStep { name: exception.name(), from: at, raised: true, to: None, times: 1, by })
        }
    })
}

fn step(entry: &Entry, latched: &mut [u16], namer: &Namer) -> Option<Step> {
    let spot = |at| namer.names.spot(at);
    let by = || namer.taint(entry.taint);
    Some(match entry.event {
        Event::Decision { setter, turn } => test(&setter, &turn, entry, namer),
        Event::Jump { at, to } => {
            Step::Jump(Jump { at: spot(at), instruction: namer.instruction(at), to: spot(to), by: by() })
        }
        Event::Lookup { at, address, value, .. } => Step::Lookup(Lookup {
            at: spot(at),
            instruction: namer.instruction(at),
            place: namer.place(namer.names.rig.map.place(address), address),
            address,
            value,
            by: by(),
            times: entry.times,
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
            times: entry.times,
            by: by(),
        }),
        Event::Passed { exception, at } => Step::Exception(ExceptionStep {
            name: exception.name(),
            from: spot(at),
            raised: false,
            to: None,
            times: entry.times,
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
pub(super) fn test(setter: &Setter, turn: &Turn, entry: &Entry, namer: &Namer) -> Step {
    let (found, with) = setter.sides();
    let mask = if let Compares::Bits(mask) = setter.compares { Some(mask) } else { None };
    let (found, with, width) = (namer.value(&found), with.map(|with| namer.value(&with)), found.width);
    let values = namer.merged(&found.from, with.as_ref().map_or(&[], |with| &with.from));
    let by = namer.taint(entry.taint);
    Step::Test(Test {
        at: namer.names.spot(setter.at),
        instruction: namer.instruction(setter.at),
        width,
        found,
        with,
        by: if by == values { Vec::new() } else { by },
        mask,
        times: entry.times,
        went: went(turn, namer),
    })
}

/// Leaves out the middle of what nobody would read.
fn shortened(mut steps: Vec<Step>) -> Vec<Step> {
    if steps.len() > 2 * MOST_STEPS {
        let end = steps.len() - MOST_STEPS;
        let decisions = steps[MOST_STEPS..end].iter().map(decisions).sum();
        steps.splice(MOST_STEPS..end, [Step::Omitted(Omitted { decisions })]);
    }
    steps
}

fn decisions(step: &Step) -> u64 {
    match step {
        Step::Omitted(omitted) => omitted.decisions,
        Step::Test(test) => test.times,
        Step::Scan(scan) => scan.entries.len() as u64,
        _ => 1,
    }
}
