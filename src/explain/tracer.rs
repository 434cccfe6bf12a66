//! Watches a run and follows its data: the [`Tracer`] is an observer that keeps marks and notes events.
//!
//! It knows an instruction's registers before it runs and the bytes it reads and writes, so it never computes a value
//! itself: it only moves marks. What it cannot see: code that was changed in memory after it was fetched is taken as it
//! stands in memory.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

use m68000::Registers;

use super::event::{Event, Events, Setter};
use super::evidence::Looked;
use super::follow::{Follow, ReadByte};
use super::op::Op;
use super::shadow::{Mark, ShadowRam};
use super::sources::{Source, Taint};
use crate::board::{
    Access, BUS_MASK, Bus, Change, Observer, OpenBus, Place, PortSize, PortWrite, Schedule, shown_offset,
};
use crate::cartridge::Flaw;
use crate::cpu::{Exception, decode};
use crate::run::{Entry, Rig, Setup};

/// How many bytes of the window are remembered.
const REMEMBERED: usize = 1024;

/// The instruction that runs.
#[derive(Clone, Debug, Default)]
pub(super) struct Now {
    pub at: u32,
    pub op: Option<Op>,
    pub registers: Registers,
    pub reads: Vec<ReadByte>,
    pub writes: Vec<Access>,
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
    /// What the last data on each half of the bus hung on: a floating bus hands it back.
    pub(super) last: [Taint; 2],
    /// Whether what lasts how long can change anything: somebody interrupts, or a port changes with time.
    pub(super) timed: bool,
    /// Port writes already told, and what those of this instruction hang on.
    writes_told: usize,
    pub(super) port_taints: Vec<(usize, Taint)>,
    /// What instructions in the host ROM do, by address.
    ops: HashMap<u32, Op>,
    /// The bytes of the window that were read last.
    pub(super) looked: VecDeque<Looked>,
    image_size: u32,
    /// Whether a data line of the slot is loose: it floats while the cartridge drives the others.
    loose: bool,
    window_floats: bool,
    unmapped_floats: bool,
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
            last: [Taint::CLEAN; 2],
            timed: false,
            writes_told: 0,
            port_taints: Vec::new(),
            ops: HashMap::new(),
            looked: VecDeque::with_capacity(REMEMBERED),
            image_size: 0,
            loose: false,
            window_floats: false,
            unmapped_floats: rig.map.unmapped() == OpenBus::Floating,
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

    /// Notes an event.
    pub(super) fn note(&mut self, event: Event, taint: Taint) {
        self.influenced(taint);
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

    fn decode(&mut self, at: u32, bus: &Bus) -> Op {
        let near = matches!(bus.place(at), Place::Host);
        if near && let Some(op) = self.ops.get(&at) {
            return *op;
        }
        let decoded = decode(at, |address| bus.peek_word(address));
        let op = Op::of(&decoded);
        if near {
            self.ops.insert(at, op);
        } else {
            self.executes(at, decoded.length, bus);
        }
        op
    }

    /// Code outside the host ROM: the way of the run hangs on its bytes.
    fn executes(&mut self, at: u32, length: u32, bus: &Bus) {
        for address in at..at + length {
            let mark = self.mark_peeked(bus.place(address), address);
            self.influenced(mark.taint);
        }
    }

    fn shown(&self, address: u32) -> Option<u32> {
        shown_offset(address, self.image_size)
    }

    /// The mark of a byte as it is read, and whether nobody drives all of its lines.
    fn mark_at(&mut self, place: Place, address: u32, offset: Option<u32>) -> (Mark, bool) {
        let map = &self.rig.map;
        let (source, open) = match place {
            Place::Host if map.host().byte(address).is_some() => return (Mark::at(address, Taint::CLEAN), false),
            Place::Overlay(_) => return (Mark::at(address, Taint::CLEAN), false),
            Place::Ram(area) => return (self.ram.get(area, address), false),
            Place::Window => match offset.filter(|offset| *offset < self.image_size) {
                Some(offset) => (Source::Image(offset), self.loose),
                None => (Source::OpenBus(address), true),
            },
            Place::Port(port) if map.ports()[port].reads.is_some() => (Source::Port(port as u32), false),
            Place::Port(_) | Place::Nothing | Place::Host => (Source::OpenBus(address), true),
        };
        (Mark::at(address, Taint::of(source)), open)
    }

    /// The mark of a byte that is only looked at.
    pub(super) fn mark_peeked(&mut self, place: Place, address: u32) -> Mark {
        let offset = self.shown(address);
        self.mark_at(place, address, offset).0
    }

    fn take(&mut self, access: &Access) {
        let count = access.size.bytes();
        for index in 0..count {
            let address = access.address + index;
            let place = if index == 0 { access.place } else { self.beside(access.place, address) };
            let offset = access.offset.map(|offset| offset + index);
            let (mut mark, open) = self.mark_at(place, address, offset);
            let floats = if place == Place::Window { self.window_floats } else { self.unmapped_floats };
            if open && floats {
                mark.taint = self.follow.join(mark.taint, self.last[(address & 1) as usize]);
            }
            let value = if count == 1 { access.value as u8 } else { (access.value >> (8 * (1 - index))) as u8 };
            if place == Place::Window {
                self.remember(Looked { serial: self.serial, address, offset, value });
            }
            self.now.reads.push(ReadByte { address, value, mark });
        }
    }

    fn remember(&mut self, byte: Looked) {
        if self.looked.len() == REMEMBERED {
            self.looked.pop_front();
        }
        self.looked.push_back(byte);
    }

    /// What a word's second byte belongs to: a byte-wide port may lie there beside something else.
    fn beside(&self, place: Place, address: u32) -> Place {
        match place {
            Place::Nothing | Place::Port(_) => self.rig.map.port_at(address).map_or(Place::Nothing, Place::Port),
            place => place,
        }
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
    }

    fn read(&mut self, access: &Access) {
        self.take(access);
        let marks = &self.now.reads[self.now.reads.len() - access.size.bytes() as usize..];
        let (first, second) = (marks[0].mark.taint, marks[marks.len() - 1].mark.taint);
        match access.size {
            PortSize::Word => self.last = [first, second],
            PortSize::Byte => self.last[(access.address & 1) as usize] = first,
        }
    }

    fn write(&mut self, access: &Access) {
        self.now.writes.push(*access);
    }

    fn exception(&mut self, exception: Exception, from: u32, to: u32) {
        self.enter(exception, from, to);
    }

    fn edge(&mut self, from: u32, to: u32) {
        let _ = from;
        self.now.next = to;
        self.apply();
    }
}
