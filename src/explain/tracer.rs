//! Watches a run and follows its data: the [`Tracer`] is an observer that keeps marks and notes events.
//!
//! It knows an instruction's registers before it runs and the bytes it reads and writes, so it never computes a value
//! itself: it only moves marks.

use std::collections::VecDeque;
use std::sync::Arc;

use m68000::Registers;

use super::event::{Event, Events, Setter};
use super::evidence::Looked;
use super::follow::{Follow, ReadByte};
use super::op::Op;
use super::shadow::{Mark, ShadowRam};
use super::sources::Taint;
use super::wires::Fetched;
use crate::board::{Access, BUS_MASK, Bus, Change, Cycle, Observer, OpenBus, PortWrite, Schedule};
use crate::cartridge::Flaw;
use crate::cpu::Exception;
use crate::run::{Entry, Rig, Setup};

/// How many bytes of the window are remembered.
pub(super) const REMEMBERED: usize = 1024;

/// How many fetched words are remembered: those of the queue, and of the longest instruction.
pub(super) const QUEUE: usize = 8;

/// The instruction that runs.
#[derive(Clone, Debug, Default)]
pub(super) struct Now {
    pub at: u32,
    pub op: Option<Op>,
    pub registers: Registers,
    pub reads: Vec<ReadByte>,
    pub writes: Vec<Access>,
    /// What the bytes that it wrote hang on.
    pub marked: Vec<(u32, Taint)>,
    /// Whether its last bus cycle so far was a write.
    pub wrote_last: bool,
    pub next: u32,
}

/// Follows the data of one run after the other.
#[derive(Clone, Debug)]
pub struct Tracer {
    pub(super) rig: Arc<Rig>,
    pub(super) follow: Follow,
    pub(super) ram: ShadowRam,
    pub(super) events: Events,
    /// Everything on which the way of the run hung.
    pub(super) influence: Taint,
    pub(super) now: Now,
    /// The instruction that set the condition codes, if they hang on anything.
    pub(super) setter: Option<Setter>,
    /// Instructions so far.
    pub(super) serial: u64,
    /// The words that were fetched last: the queue holds some of them.
    pub(super) fetched: [Fetched; QUEUE],
    /// Where the next one goes.
    pub(super) newest: usize,
    /// How many of them are not from the host ROM.
    pub(super) foreign: usize,
    /// What the last word on the bus hung on, by halves: a floating bus hands it back.
    pub(super) last: [Taint; 2],
    /// Whether what lasts how long can change anything: somebody interrupts, or a port changes with time.
    pub(super) timed: bool,
    /// Port writes already told, and what those of this instruction hang on.
    writes_told: usize,
    pub(super) port_taints: Vec<(usize, Taint)>,
    /// What instructions in the host ROM do, by address, as far as they have run.
    pub(super) ops: Vec<Option<Op>>,
    /// The bytes of the window that were read last.
    pub(super) looked: VecDeque<Looked>,
    pub(super) image_size: u32,
    /// Whether a data line of the slot is loose: it floats while the cartridge drives the others.
    pub(super) loose: bool,
    pub(super) window_floats: bool,
    pub(super) unmapped_floats: bool,
    /// The exceptions whose handlers run, the innermost last: the interrupt, if it is one, and the instruction that had set
    /// the condition codes before.
    pub(super) handlers: Vec<(Option<Taint>, Option<Setter>)>,
}

impl Tracer {
    /// A tracer for the runs of a rig.
    pub fn new(rig: Arc<Rig>) -> Self {
        Self {
            follow: Follow::default(),
            ram: ShadowRam::new(&rig.map),
            events: Events::default(),
            influence: Taint::CLEAN,
            now: Now::default(),
            setter: None,
            serial: 0,
            fetched: [Fetched::NONE; QUEUE],
            newest: 0,
            foreign: 0,
            last: [Taint::CLEAN; 2],
            timed: false,
            writes_told: 0,
            port_taints: Vec::new(),
            ops: Vec::new(),
            looked: VecDeque::with_capacity(REMEMBERED),
            image_size: 0,
            loose: false,
            window_floats: false,
            unmapped_floats: rig.map.unmapped() == OpenBus::Floating,
            handlers: Vec::new(),
            rig,
        }
    }

    /// Gets ready for a run.
    pub fn start(&mut self, setup: &Setup) {
        self.follow.clear();
        self.ram.clear();
        self.events.clear();
        self.influence = Taint::CLEAN;
        self.now.op = None;
        self.setter = None;
        self.serial = 0;
        self.fetched = [Fetched::NONE; QUEUE];
        self.foreign = 0;
        self.handlers.clear();
        self.last = [Taint::CLEAN; 2];
        self.writes_told = 0;
        self.looked.clear();
        self.port_taints.clear();
        self.timed = timed(&self.rig, setup);
        self.image_size = setup.inputs.attached.image.as_ref().map_or(0, |image| image.size());
        self.loose = setup.inputs.attached.contacts.data.iter().any(|fault| fault.is == Flaw::Open);
        self.window_floats = setup.inputs.empty == OpenBus::Floating;
        if let Entry::At(_) = self.rig.routine.entry {
            // The caller's push.
            let stack = self.rig.routine.stack.wrapping_sub(4);
            for address in (0..4).map(|index| stack.wrapping_add(index) & BUS_MASK) {
                self.ram.set(self.rig.map.place(address), address, Mark::CLEAN);
            }
        }
    }

    /// The way of the run hangs on this.
    pub(super) fn influenced(&mut self, taint: Taint) {
        self.influence = self.follow.join(self.influence, taint);
    }

    /// Notes an event on which the way of the run hangs.
    pub(super) fn note(&mut self, event: Event, taint: Taint) {
        self.influenced(taint);
        self.note_kept(event, taint);
    }

    /// Notes an event that decides nothing by itself.
    pub(super) fn note_kept(&mut self, event: Event, taint: Taint) {
        let sources = &mut self.follow.sources;
        self.events.push(event, taint, |one, other| sources.join(one, other));
    }

    /// Tells the port writes that have come since the last time.
    pub(super) fn note_writes(&mut self, writes: &[PortWrite]) {
        for write in writes.iter().skip(self.writes_told) {
            let known = self.port_taints.iter().position(|(port, _)| *port == write.port);
            let taint = known.map_or(Taint::CLEAN, |index| self.port_taints.remove(index).1);
            let event = Event::Write { at: write.pc & BUS_MASK, port: write.port, value: write.value };
            self.note(event, taint);
        }
        self.writes_told = writes.len();
        self.port_taints.clear();
    }
}

/// Whether time can change the way of a run.
fn timed(rig: &Rig, setup: &Setup) -> bool {
    let changes = |schedule: &Schedule| matches!(schedule, Schedule::Changes { after: Change::Cycles(_), .. });
    let of_map = rig.map.ports().iter().filter_map(|port| port.reads.as_ref()).any(changes);
    let of_case = setup.inputs.ports.iter().flatten().any(changes);
    !rig.interrupts.is_empty() || of_map || of_case || rig.routine.limits.cycles != u64::MAX
}

impl Observer for Tracer {
    const WATCHES_PASSING: bool = true;

    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        if bus.writes().len() != self.writes_told {
            self.note_writes(bus.writes());
        }
        self.serial += 1;
        self.follow.registers.follow(registers);
        let op = self.decode(at, bus);
        let now = &mut self.now;
        now.at = at;
        now.op = Some(op);
        now.registers = *registers;
        now.reads.clear();
        now.writes.clear();
        now.marked.clear();
        now.wrote_last = false;
    }

    fn passing(&mut self, access: &Access) {
        match access.cycle {
            Cycle::Fetch => self.fetched(access),
            _ => self.dropped(access),
        }
    }

    fn read(&mut self, access: &Access) {
        self.take(access);
    }

    fn write(&mut self, access: &Access) {
        self.now.writes.push(*access);
        self.now.wrote_last = true;
    }

    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        self.enter(exception, from, to);
    }

    fn edge(&mut self, _: u32, to: u32) {
        self.now.next = to;
        self.apply();
    }
}
