//! The smallest trial that still breaks a promise in the same way: as few parts as possible differ from an ordinary
//! cartridge, then as few bytes.

use super::deed::Prober;
use super::ordinary::Ordinary;
use super::promise::{Promise, unbalanced};
use super::trial::{Held, Trial};
use crate::board::{Change, Schedule, StrayKind};
use crate::cartridge::{Contacts, Layout};
use crate::check::Checker;
use crate::run::{End, Outcome, Setup, Timing};
use crate::suite::Harness;

/// The most ordinary trials from which the way is tried, nearest first.
const MOST_TRIED: usize = 48;

/// Bytes that are easier on the eye than others, best first.
const PLAIN: &[u8] = b" X0A.";

/// Round numbers of reads or cycles, the smallest last.
const ROUND: [u64; 7] = [1_000_000, 100_000, 10_000, 1_000, 100, 10, 1];

/// A part in which two trials may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Difference {
    /// The whole cartridge.
    Plug,
    /// Its size.
    Size,
    /// What stands where nothing is put.
    Fill,
    /// The byte order.
    Order,
    /// A field, by index.
    Field(usize),
    /// Bytes outside of all fields.
    Raw,
    /// Header copies.
    Copies,
    /// Contact faults.
    Contacts,
    /// What open bus reads.
    Empty,
    /// What a port reads, by index.
    Port(usize),
    /// When a device interrupts, by index.
    Interrupt(usize),
}

impl Difference {
    /// How much of a difference it is: a whole cartridge is more than all parts of one.
    fn weight(self) -> usize {
        if self == Difference::Plug { 1000 } else { 1 }
    }
}

/// What must stay as it is while a trial is reduced, and what tells findings apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Target {
    /// The promise.
    pub promise: Promise,
    /// The instruction that decided, or did it.
    pub at: Option<u32>,
}

/// A reduced trial.
#[derive(Clone, Debug)]
pub struct Reduced {
    /// The trial.
    pub trial: Trial,
    /// The ordinary one that is nearest, by index.
    pub base: usize,
    /// In what it differs from that.
    pub differences: Vec<Difference>,
}

/// Reduces trials.
pub struct Reducer<'a> {
    /// The harness.
    pub harness: &'a Harness,
    /// What is ordinary.
    pub ordinary: &'a [Ordinary],
    /// Tries trials.
    pub prober: &'a mut Prober,
    /// Knows what decided.
    pub checker: &'a mut Checker,
    /// The seed of all noise.
    pub seed: u64,
}

impl Reducer<'_> {
    /// What a trial breaks, exactly: the instruction that did it included.
    pub fn target(&mut self, trial: &Trial, promise: Promise) -> Target {
        Target { promise, at: self.spot(trial, promise) }
    }

    /// The smallest trial that breaks the same.
    pub fn reduce(&mut self, trial: &Trial, target: Target) -> Reduced {
        let mut order: Vec<usize> = (0..self.ordinary.len()).collect();
        order.sort_by_key(|index| {
            let differences = differences(trial, &self.ordinary[*index].trial);
            (differences.iter().map(|difference| difference.weight()).sum::<usize>(), *index)
        });
        let scored = order.into_iter().take(MOST_TRIED).map(|base| {
            let reduced = self.towards(trial, base, target);
            let parts: usize = reduced.differences.iter().map(|difference| difference.weight()).sum();
            // Of several that are as near, the plainest, which come first.
            ((parts, self.bytes(&reduced.trial, base), base), reduced)
        });
        let best = scored.min_by_key(|(score, _)| *score);
        let nothing = || Reduced { trial: trial.clone(), base: 0, differences: Vec::new() };
        let mut reduced = best.map_or_else(nothing, |(_, reduced)| reduced);
        self.polish(&mut reduced, target);
        reduced
    }

    /// Whether a trial breaks the same.
    fn holds(&mut self, trial: &Trial, target: Target) -> bool {
        let broken = self.prober.try_out(trial).broken;
        broken.has(target.promise) && self.spot(trial, target.promise) == target.at
    }

    /// Gives part after part back to an ordinary trial, and byte after byte, as long as the promise stays broken.
    fn towards(&mut self, trial: &Trial, base: usize, target: Target) -> Reduced {
        let ordinary = self.ordinary[base].trial.clone();
        let mut trial = trial.clone();
        loop {
            let before = trial.clone();
            for difference in differences(&trial, &ordinary) {
                let mut other = trial.clone();
                set(&mut other, &ordinary, difference);
                self.take(&mut trial, other, target);
            }
            self.give_bytes_back(&mut trial, &ordinary, target);
            if trial == before {
                let differences = differences(&trial, &ordinary);
                return Reduced { trial, base, differences };
            }
        }
    }

    /// Takes the other trial if it breaks the same.
    fn take(&mut self, trial: &mut Trial, mut other: Trial, target: Target) {
        other.repair(self.harness);
        if other != *trial && self.holds(&other, target) {
            *trial = other;
        }
    }

    fn give_bytes_back(&mut self, trial: &mut Trial, ordinary: &Trial, target: Target) {
        let layout = &self.harness.layout;
        for (offset, is, was) in changed_bytes(trial, ordinary, layout) {
            let mut other = trial.clone();
            let Some(plug) = &mut other.plug else { return };
            match was {
                Some(was) if Some(was) != is => plug.put(offset, was, layout),
                Some(_) => continue,
                None => plug.raw.retain(|(raw, _)| *raw != offset),
            }
            self.take(trial, other, target);
        }
    }

    /// How many bytes differ.
    fn bytes(&self, trial: &Trial, base: usize) -> usize {
        changed_bytes(trial, &self.ordinary[base].trial, &self.harness.layout).len()
    }

    /// Simpler values for what still differs.
    fn polish(&mut self, reduced: &mut Reduced, target: Target) {
        let ordinary = self.ordinary[reduced.base].trial.clone();
        for difference in reduced.differences.clone() {
            for other in simpler(&reduced.trial, difference) {
                self.take(&mut reduced.trial, other, target);
            }
        }
        let layout = &self.harness.layout;
        for (offset, is, _) in changed_bytes(&reduced.trial, &ordinary, layout) {
            for byte in PLAIN.iter().take_while(|byte| Some(**byte) != is) {
                let mut other = reduced.trial.clone();
                let Some(plug) = &mut other.plug else { break };
                plug.put(offset, *byte, layout);
                other.repair(self.harness);
                if self.holds(&other, target) {
                    reduced.trial = other;
                    break;
                }
            }
        }
        reduced.differences = differences(&reduced.trial, &ordinary);
    }

    /// The instruction that broke a promise.
    pub fn spot(&mut self, trial: &Trial, promise: Promise) -> Option<u32> {
        let harness = self.harness;
        match promise {
            Promise::Accepts | Promise::Refuses | Promise::Branch => {
                let mut setup = Setup::default();
                trial.set_up(&mut setup, harness, self.seed);
                self.checker.deciding(&setup)
            }
            Promise::Limit => None,
            _ => self.prober.look(trial, |outcome| spot(outcome, promise, harness)),
        }
    }
}

/// The instruction of a run that broke a promise, as far as the outcome tells it.
fn spot(outcome: &Outcome, promise: Promise, harness: &Harness) -> Option<u32> {
    let troubles = &outcome.troubles;
    let stray = |kind: StrayKind| troubles.first(kind.index()).map(|stray| stray.pc);
    let early = || troubles.early_reads.first().map(|read| read.pc);
    match promise {
        Promise::Hang => match outcome.end {
            End::Hung { first, .. } => Some(first),
            _ => None,
        },
        Promise::Ends | Promise::Crash => outcome.branch().is_none().then_some(outcome.last),
        Promise::StrayWrites => stray(StrayKind::Write),
        Promise::PortValues => stray(StrayKind::Undeclared(0)),
        Promise::PowerOn => early(),
        Promise::Forbidden => {
            let forbid = harness.forbid;
            let early = early().filter(|_| forbid.reads_ram_before_writing);
            let read = stray(StrayKind::Read).filter(|_| forbid.reads_outside_map);
            early.or(read).or(troubles.remap.map(|remap| remap.pc).filter(|_| forbid.executes_remapped))
        }
        Promise::Latches => {
            let (port, _, _) = unbalanced(outcome, harness)?;
            outcome.writes.iter().rev().find(|write| write.port == port).map(|write| write.pc)
        }
        Promise::Limit | Promise::Accepts | Promise::Refuses | Promise::Branch => None,
    }
}

/// In what two trials differ.
pub fn differences(trial: &Trial, other: &Trial) -> Vec<Difference> {
    let mut list = Vec::new();
    match (&trial.plug, &other.plug) {
        (None, None) => {}
        (Some(plug), Some(base)) => {
            let fields = plug.fields.iter().zip(&base.fields).enumerate();
            list.extend(fields.filter(|(_, (one, two))| one != two).map(|(index, _)| Difference::Field(index)));
            let plain = [
                (Difference::Size, plug.size != base.size),
                (Difference::Fill, plug.fill != base.fill),
                (Difference::Order, plug.swapped != base.swapped),
                (Difference::Raw, plug.raw != base.raw),
                (Difference::Copies, plug.copies != base.copies),
                (Difference::Contacts, plug.contacts != base.contacts),
            ];
            list.extend(plain.into_iter().filter(|(_, differs)| *differs).map(|(difference, _)| difference));
        }
        _ => list.push(Difference::Plug),
    }
    if trial.empty != other.empty {
        list.push(Difference::Empty);
    }
    let ports = trial.ports.iter().zip(&other.ports).enumerate();
    list.extend(ports.filter(|(_, (one, two))| one != two).map(|(index, _)| Difference::Port(index)));
    let devices = trial.interrupts.iter().zip(&other.interrupts).enumerate();
    list.extend(devices.filter(|(_, (one, two))| one != two).map(|(index, _)| Difference::Interrupt(index)));
    list
}

/// Makes one part of a trial like that of another.
fn set(trial: &mut Trial, other: &Trial, difference: Difference) {
    match difference {
        Difference::Plug => trial.plug.clone_from(&other.plug),
        Difference::Empty => trial.empty = other.empty,
        Difference::Port(index) => trial.ports[index].clone_from(&other.ports[index]),
        Difference::Interrupt(index) => trial.interrupts[index] = other.interrupts[index],
        _ => {}
    }
    let (Some(plug), Some(other)) = (&mut trial.plug, &other.plug) else { return };
    match difference {
        Difference::Size => plug.size = other.size,
        Difference::Fill => plug.fill = other.fill,
        Difference::Order => plug.swapped = other.swapped,
        Difference::Field(index) => plug.fields[index].clone_from(&other.fields[index]),
        Difference::Raw => plug.raw.clone_from(&other.raw),
        Difference::Copies => plug.copies.clone_from(&other.copies),
        Difference::Contacts => plug.contacts.clone_from(&other.contacts),
        _ => {}
    }
}

/// The bytes that differ: offset, what is put there, and what the other one has put there (or its fill shows, within a
/// field).
fn changed_bytes(trial: &Trial, other: &Trial, layout: &Layout) -> Vec<(u32, Option<u8>, Option<u8>)> {
    let (Some(plug), Some(base)) = (&trial.plug, &other.plug) else { return Vec::new() };
    let mut list = Vec::new();
    for (index, field) in layout.fields().iter().enumerate() {
        if !matches!(plug.fields[index], Held::Bytes(_)) || plug.fields[index] == base.fields[index] {
            continue;
        }
        let (is, was) = (plug.field(index, layout), base.field(index, layout));
        let bytes = field.range().zip(is.into_iter().zip(was));
        list.extend(bytes.filter(|(_, (is, was))| is != was).map(|(at, (is, was))| (at, Some(is), Some(was))));
    }
    for (offset, byte) in &plug.raw {
        let was = base.byte(*offset, layout);
        if was != Some(*byte) {
            list.push((*offset, Some(*byte), was));
        }
    }
    list
}

/// Round numbers after which a port changes sooner, the soonest last.
fn sooner(schedule: Option<&Schedule>) -> Vec<Change> {
    let Some(Schedule::Changes { after, .. }) = schedule else { return Vec::new() };
    let round = ROUND.into_iter();
    match *after {
        Change::Reads(reads) => {
            round.filter(|round| *round < u64::from(reads)).map(|round| Change::Reads(round as u32)).collect()
        }
        Change::Cycles(cycles) => round.filter(|round| *round < cycles).map(Change::Cycles).collect(),
    }
}

/// The same trial with a simpler value for one part; each that breaks the same is taken, so the simplest come last.
fn simpler(trial: &Trial, difference: Difference) -> Vec<Trial> {
    let mut list = Vec::new();
    let mut with = |change: &dyn Fn(&mut Trial)| {
        let mut other = trial.clone();
        change(&mut other);
        list.push(other);
    };
    match difference {
        Difference::Port(index) => {
            let values: Vec<u16> = match &trial.ports[index] {
                Some(Schedule::Sequence(values)) => values.to_vec(),
                Some(Schedule::Changes { first, then, .. }) => vec![*first, *then],
                Some(Schedule::Constant(value)) => (0..16).map(|bit| 1 << bit).filter(|bit| value & bit != 0).collect(),
                None => Vec::new(),
            };
            values.into_iter().for_each(|value| with(&|trial| trial.ports[index] = Some(Schedule::Constant(value))));
            for after in sooner(trial.ports[index].as_ref()) {
                with(&|trial| {
                    if let Some(Schedule::Changes { after: change, .. }) = &mut trial.ports[index] {
                        *change = after;
                    }
                });
            }
        }
        Difference::Contacts => {
            let contacts = trial.plug.as_ref().map(|plug| plug.contacts.clone()).unwrap_or_default();
            let data = contacts.data.iter().map(|fault| Contacts { data: vec![*fault], address: Vec::new() });
            let address = contacts.address.iter().map(|fault| Contacts { data: Vec::new(), address: vec![*fault] });
            for one in data.chain(address) {
                with(&|trial| {
                    if let Some(plug) = &mut trial.plug {
                        plug.contacts = one.clone();
                    }
                });
            }
        }
        Difference::Interrupt(index) => {
            for first in ROUND {
                with(&|trial| {
                    if let Some(Timing { first: Some(was), .. }) = &mut trial.interrupts[index] {
                        *was = first.min(*was);
                    }
                });
            }
        }
        Difference::Copies => {
            let copies = trial.plug.as_ref().map(|plug| plug.copies.clone()).unwrap_or_default();
            for copy in copies {
                with(&|trial| {
                    if let Some(plug) = &mut trial.plug {
                        plug.copies = vec![copy];
                    }
                });
            }
        }
        Difference::Size => {
            for power in (8..=24).rev() {
                with(&|trial| {
                    if let Some(plug) = &mut trial.plug
                        && plug.size > 1 << power
                    {
                        plug.size = 1 << power;
                    }
                });
            }
        }
        _ => {}
    }
    list
}
