//! The bus of a proof: what [`crate::board::Bus`] does byte by byte, for values that may be unknown. Addresses are
//! numbers here, of 24 bits.

use std::rc::Rc;

use super::logic::Term;
use super::scene::{Cut, PortEvent, Scene, Wrongdoing};
use super::state::Byte;
use super::unknowns::{Source, any, is};
use super::{Domain, World};
use crate::board::{Change, OpenBus, Place, PortSize, RETURN_ADDRESS, Schedule, extension_words};

/// Clock periods of a bus cycle without wait states (UM section 5).
const BUS_CYCLE: u64 = 4;

/// Bytes of the prefetch queue.
const QUEUE: u32 = 4;

/// What a read is for, as far as RAM that was never written is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// The program uses the value.
    Operand,
    /// It goes into the prefetch queue.
    Fetch,
    /// Nobody uses it.
    Dropped,
}

/// The two lanes of a word: what drives them, if anything does.
type Lanes = [Option<Term>; 2];

impl Scene<'_> {
    /// What an address belongs to right now.
    pub fn place(&self, address: u32) -> Place {
        let map = &self.ground.rig().map;
        if let Some(overlay) = self.ground.overlay_at(self.held.showing, address) {
            return Place::Overlay(overlay);
        }
        match map.port_at(address) {
            Some(port) if map.ports()[port].reads.is_some() || map.place(address) == Place::Nothing => {
                Place::Port(port)
            }
            _ => map.place(address),
        }
    }

    /// Fetches a word for the prefetch queue.
    pub fn fetch_at(&mut self, address: u32) -> Result<Option<Term>, Cut> {
        if address & !3 == RETURN_ADDRESS {
            self.held.cycles.add(BUS_CYCLE);
            return Ok(Some(self.terms().number(16, 0)));
        }
        self.read_at(address & crate::board::BUS_MASK, PortSize::Word, Purpose::Fetch)
    }

    /// Reads at an address; `None` if nothing acknowledges.
    pub fn read_at(&mut self, address: u32, size: PortSize, purpose: Purpose) -> Result<Option<Term>, Cut> {
        let waits = self.ground.rig().map.waits_at(address);
        self.held.cycles.add(waits);
        let wanted = wanted(address, size);
        let lanes = self.read_lanes(address & !1, wanted, purpose)?;
        self.held.cycles.add(BUS_CYCLE);
        let Some(lanes) = lanes else { return Ok(None) };
        for lane in (0..2).filter(|lane| wanted[*lane]) {
            self.held.last[lane] = lanes[lane];
        }
        Ok(Some(match size {
            PortSize::Byte => lanes[(address & 1) as usize],
            PortSize::Word => self.terms().join(lanes[0], lanes[1]),
        }))
    }

    fn read_lanes(&mut self, even: u32, wanted: [bool; 2], purpose: Purpose) -> Result<Option<[Term; 2]>, Cut> {
        let places = [self.place(even), self.place(even | 1)];
        let both = || (0..2).filter(|lane| wanted[*lane]);
        let in_window = both().any(|lane| places[lane] == Place::Window);
        if in_window {
            self.looked.extend(both().map(|lane| even | lane as u32));
        }
        let rule = if in_window { self.ground.harness.empty } else { self.ground.rig().map.unmapped() };
        let open_seen = both().any(|lane| self.open_at(even | lane as u32, places[lane]));
        let open = if open_seen { self.open_lines(rule) } else { self.held.last };
        let lanes = self.lanes(even, wanted, places, purpose)?;
        if both().all(|lane| lanes[lane].is_none()) {
            let answered = both().any(|lane| self.ground.rig().map.port_at(even | lane as u32).is_some());
            if rule == OpenBus::BusError && !answered {
                return Ok(None);
            }
            if !in_window && purpose == Purpose::Operand {
                let first = even | u32::from(!wanted[0]);
                self.trouble(Wrongdoing::StrayRead, Some(first));
            }
        }
        Ok(Some([lanes[0].unwrap_or(open[0]), lanes[1].unwrap_or(open[1])]))
    }

    /// What open lines carry.
    fn open_lines(&mut self, rule: OpenBus) -> [Term; 2] {
        match rule {
            OpenBus::Ones => [self.terms().number(8, 0xFF); 2],
            OpenBus::Zeros => [self.terms().number(8, 0); 2],
            OpenBus::Floating | OpenBus::BusError => self.held.last,
            OpenBus::Noise => {
                let logic = &mut *self.logic;
                [(); 2].map(|()| logic.unknowns.event(&mut logic.terms, Source::Open, 8))
            }
        }
    }

    /// Whether a read at an address can see what open lines carry.
    fn open_at(&self, address: u32, place: Place) -> bool {
        match place {
            Place::Host | Place::Ram(_) => false,
            Place::Window => !self.ground.plugged.drives(address | 1),
            Place::Port(index) => self.ground.rig().map.ports()[index].reads.is_none(),
            Place::Overlay(index) => self.ground.overlay_byte(index, address).is_none(),
            Place::Nothing => true,
        }
    }

    fn lanes(&mut self, even: u32, wanted: [bool; 2], places: [Place; 2], purpose: Purpose) -> Result<Lanes, Cut> {
        let mut lanes = [None; 2];
        let mut port_read: Option<(usize, Option<Term>)> = None;
        for lane in (0..2).filter(|lane| wanted[*lane]) {
            let address = even | lane as u32;
            lanes[lane] = match places[lane] {
                Place::Port(index) => {
                    let known = port_read.filter(|(port, _)| *port == index);
                    let value = match known {
                        Some((_, value)) => value,
                        None => self.read_port(index)?,
                    };
                    port_read = Some((index, value));
                    value.map(|value| self.port_lane(index, address, value))
                }
                Place::Nothing => None,
                place => {
                    let always = self.terms().bit(true);
                    self.memory_byte(place, address, purpose, always)
                }
            };
        }
        Ok(lanes)
    }

    /// A byte of something that has no side effects, read when `when` holds.
    fn memory_byte(&mut self, place: Place, address: u32, purpose: Purpose, when: Term) -> Option<Term> {
        let ground = self.ground;
        let known = match place {
            Place::Host => ground.rig().map.host().byte(address),
            Place::Overlay(index) => ground.overlay_byte(index, address),
            Place::Window => {
                let logic = &mut *self.logic;
                return ground.plugged.byte(&mut logic.terms, &mut logic.unknowns, address);
            }
            Place::Ram(area) => return Some(self.ram_byte(area, address, purpose, when)),
            Place::Port(_) | Place::Nothing => None,
        };
        known.map(|byte| self.terms().number(8, u64::from(byte)))
    }

    fn ram_byte(&mut self, area: usize, address: u32, purpose: Purpose, when: Term) -> Term {
        let home = self.ground.ram_home(area, address);
        let byte = self.held.ram.get(&home).copied();
        let early = match byte {
            Some(Byte { written: None, .. }) => None,
            Some(Byte { written: Some(written), .. }) => Some(self.terms().not(written)),
            None => Some(self.terms().bit(true)),
        };
        if let (Some(early), Purpose::Operand) = (early, purpose) {
            let when = self.terms().and(early, when);
            self.trouble_when(Wrongdoing::EarlyRead, Some(address), when);
        }
        byte.map_or_else(|| self.ground.power_on(self.logic, area, home), |byte| byte.value)
    }

    /// What a port reads: 16 bits; nothing if it cannot be read.
    fn read_port(&mut self, index: usize) -> Result<Option<Term>, Cut> {
        let ground = self.ground;
        let port = &ground.rig().map.ports()[index];
        let Some(schedule) = &port.reads else { return Ok(None) };
        let count = self.held.reads[index];
        let known = self.logic.terms.known(count);
        let logic = &mut *self.logic;
        if ground.free.ports[index] {
            let bits = 8 * port.size.bytes();
            let value = match known {
                Some(read) => {
                    logic.unknowns.term(&mut logic.terms, Source::Port { port: index, read: read as u32 }, bits)
                }
                None => {
                    let source = |event| Source::PortSomewhen { port: index, event };
                    let value = logic.unknowns.event(&mut logic.terms, source, bits);
                    self.events.push(PortEvent { port: index, value, count, guard: self.guard });
                    value
                }
            };
            self.count_read(index);
            return Ok(Some(self.logic.terms.extend(value, 16)));
        }
        let value = self.scheduled(schedule, count);
        let settled = known.is_some_and(|read| read >= u64::from(schedule.settles_after_reads()));
        if !settled {
            self.count_read(index);
        }
        Ok(Some(value))
    }

    fn count_read(&mut self, port: usize) {
        let one = self.logic.terms.number(32, 1);
        self.held.reads[port] = self.logic.terms.add(self.held.reads[port], one);
    }

    /// What a schedule gives at a read of which the number may hang on the inputs.
    fn scheduled(&mut self, schedule: &Schedule, count: Term) -> Term {
        let cycles = self.held.cycles;
        let terms = &mut self.logic.terms;
        let mut word = |value: u16| terms.number(16, u64::from(value));
        match schedule {
            Schedule::Constant(value) => word(*value),
            Schedule::Sequence(values) => {
                let last = word(values.last().copied().unwrap_or(0));
                values.iter().enumerate().rev().skip(1).fold(last, |later, (number, value)| {
                    let here = is(terms, count, number as u64);
                    let value = terms.number(16, u64::from(*value));
                    terms.either(here, value, later)
                })
            }
            Schedule::Changes { first, then, after } => {
                let (first, then) = (word(*first), word(*then));
                let changed = match after {
                    Change::Reads(reads) => {
                        let reads = terms.number(32, u64::from(*reads));
                        let before = terms.less(count, reads);
                        terms.not(before)
                    }
                    Change::Cycles(0) => terms.bit(true),
                    Change::Cycles(when) => cycles.exceeds(terms, when - 1),
                };
                terms.either(changed, then, first)
            }
        }
    }

    fn port_lane(&mut self, index: usize, address: u32, value: Term) -> Term {
        let port = &self.ground.rig().map.ports()[index];
        let low = match port.size {
            PortSize::Byte => 0,
            PortSize::Word if address == port.at => 8,
            PortSize::Word => 0,
        };
        self.terms().part(value, low, 8)
    }

    /// Whether a read at an address has no side effects and takes no longer than another.
    pub fn plain(&self, address: u32, size: PortSize) -> bool {
        self.ground.rig().map.waits_at(address) == 0
            && (address..address + size.bytes()).all(|address| self.is_memory(address))
    }

    /// Whether an address is that of something with a value and without side effects.
    pub fn is_memory(&self, address: u32) -> bool {
        match self.place(address) {
            Place::Host | Place::Ram(_) => true,
            Place::Window => self.ground.plugged.drives(address),
            Place::Overlay(index) => self.ground.overlay_byte(index, address).is_some(),
            Place::Port(_) | Place::Nothing => false,
        }
    }

    /// The value at an address that is [`Scene::plain`], read when `when` holds.
    pub fn peek(&mut self, address: u32, size: PortSize, purpose: Purpose, when: Term) -> Term {
        let mut value = None;
        for address in address..address + size.bytes() {
            let place = self.place(address);
            if place == Place::Window {
                self.looked.insert(address);
            }
            let byte = self.memory_byte(place, address, purpose, when);
            let byte = byte.unwrap_or_else(|| self.terms().number(8, 0));
            value = Some(match value {
                Some(high) => self.terms().join(high, byte),
                None => byte,
            });
        }
        value.unwrap_or_else(|| self.terms().number(8, 0))
    }

    /// A value that was read stays on the lines.
    pub fn carry(&mut self, address: Term, value: Term, size: PortSize) {
        match size {
            PortSize::Word => self.held.last = [self.terms().part(value, 8, 8), self.terms().part(value, 0, 8)],
            PortSize::Byte => {
                let odd = self.terms().part(address, 0, 1);
                let [high, low] = self.held.last;
                self.held.last = [self.terms().either(odd, high, value), self.terms().either(odd, value, low)];
            }
        }
    }

    /// A value that was written stays on the lines; a byte is on both halves.
    pub fn carry_written(&mut self, value: Term, size: PortSize) {
        self.held.last = match size {
            PortSize::Byte => [value, value],
            PortSize::Word => [self.terms().part(value, 8, 8), self.terms().part(value, 0, 8)],
        };
    }

    /// One bit: whether a write at an unknown address of 24 bits can change anything, or be refused.
    pub fn lands_somewhere(&mut self, address: Term) -> Term {
        let ground = self.ground;
        let map = &ground.rig().map;
        if map.unmapped() == OpenBus::BusError || ground.harness.empty == OpenBus::BusError || !map.waits().is_empty() {
            return self.terms().bit(true);
        }
        let ram = map.memory().iter().map(|area| (*area.range.start(), *area.range.end()));
        let ports = map.ports().iter().filter(|port| port.writes.is_some());
        let ports = ports.map(|port| (port.at & !1, port.at | 1));
        let ranges: Vec<(u32, u32)> = ram.chain(ports).collect();
        let terms = &mut self.logic.terms;
        let mut within = |(first, last): (u32, u32)| {
            let (first, last) = (terms.number(24, u64::from(first)), terms.number(24, u64::from(last)));
            let (below, above) = (terms.less(address, first), terms.less(last, address));
            let outside = terms.or(below, above);
            terms.not(outside)
        };
        let inside: Vec<Term> = ranges.into_iter().map(&mut within).collect();
        any(terms, inside)
    }

    /// Writes at an address.
    pub fn write_at(&mut self, address: u32, value: Term, size: PortSize) -> Result<Option<()>, Cut> {
        let ground = self.ground;
        self.held.cycles.add(ground.rig().map.waits_at(address));
        self.carry_written(value, size);
        let (bytes, wanted, even) = (self.held.last, wanted(address, size), address & !1);
        if let Place::Window = self.place(address) {
            self.looked.insert(address);
        }
        let (mut landed, mut port_done) = (false, None);
        for lane in (0..2).filter(|lane| wanted[*lane]) {
            let address = even | lane as u32;
            let map = &ground.rig().map;
            let writable = map.port_at(address).filter(|port| map.ports()[*port].writes.is_some());
            if let Some(port) = writable {
                if port_done != Some(port) {
                    self.write_port(port, even, bytes, wanted)?;
                    port_done = Some(port);
                }
                landed = true;
            } else if let (None, Place::Ram(area)) = (ground.overlay_at(self.held.showing, address), map.place(address))
            {
                self.set_ram(ground.ram_home(area, address), bytes[lane]);
                landed = true;
            }
        }
        let done = if landed { Some(()) } else { self.lose_write(even | u32::from(!wanted[0])) };
        self.held.cycles.add(BUS_CYCLE);
        Ok(done)
    }

    fn set_ram(&mut self, home: u32, byte: Term) {
        let before = Rc::make_mut(&mut self.held.ram).insert(home, Byte { value: byte, written: None });
        self.undo.push((home, before));
    }

    fn lose_write(&mut self, address: u32) -> Option<()> {
        let rule = match self.place(address) {
            Place::Window if !self.ground.plugged.drives(address) => self.ground.harness.empty,
            Place::Nothing => self.ground.rig().map.unmapped(),
            _ => OpenBus::Floating,
        };
        if rule == OpenBus::BusError {
            return None;
        }
        self.trouble(Wrongdoing::StrayWrite, Some(address));
        Some(())
    }

    fn write_port(&mut self, index: usize, even: u32, [high, low]: [Term; 2], wanted: [bool; 2]) -> Result<(), Cut> {
        let port = &self.ground.rig().map.ports()[index];
        let old = self.held.latched[index];
        let terms = &mut self.logic.terms;
        let latched = match port.size {
            PortSize::Byte => terms.extend(if port.at & 1 == 0 { high } else { low }, 16),
            PortSize::Word => {
                let high = if wanted[0] { high } else { terms.part(old, 8, 8) };
                let low = if wanted[1] { low } else { terms.part(old, 0, 8) };
                terms.join(high, low)
            }
        };
        let declared: Vec<Term> =
            port.writes.iter().flatten().map(|value| is(terms, latched, u64::from(*value))).collect();
        let declared = any(terms, declared);
        let undeclared = terms.not(declared);
        if terms.known(undeclared) != Some(0) {
            let address = Some(even | u32::from(!wanted[0]));
            self.trouble_when(Wrongdoing::Undeclared(index), address, undeclared);
        }
        self.held.latched[index] = latched;
        Rc::make_mut(&mut self.held.writes).push((index, latched));
        self.show_overlays()
    }

    /// What the RESET instruction does: every latch goes back to its power-on value.
    pub fn reset_latches(&mut self) -> Result<(), Cut> {
        for (index, port) in self.ground.rig().map.ports().iter().enumerate() {
            self.held.latched[index] = self.logic.terms.number(16, u64::from(port.power_on));
        }
        self.show_overlays()
    }

    /// Lets the overlays follow the latches.
    pub fn show_overlays(&mut self) -> Result<(), Cut> {
        let mut showing = 0u64;
        for (index, overlay) in self.ground.rig().map.overlays().iter().enumerate() {
            let latched = self.held.latched[overlay.port];
            let shows = is(&mut self.logic.terms, latched, u64::from(overlay.is));
            showing |= u64::from(self.decide(shows)?) << index;
        }
        if showing != self.held.showing {
            if self.remaps(showing) {
                self.trouble(Wrongdoing::Remap, Some(self.at));
            }
            self.held.showing = showing;
        }
        Ok(())
    }

    /// Whether something else will show where the instruction lies that runs, or the two words after it.
    fn remaps(&self, showing: u64) -> bool {
        let opcode = self.ground.rig().map.code_word(self.at).unwrap_or(0);
        let length = 2 + 2 * extension_words(opcode);
        (0..length + QUEUE).step_by(2).any(|offset| {
            let address = self.at.wrapping_add(offset) & crate::board::BUS_MASK;
            self.ground.overlay_at(self.held.showing, address) != self.ground.overlay_at(showing, address)
        })
    }
}

/// Which lanes an access uses.
fn wanted(address: u32, size: PortSize) -> [bool; 2] {
    match size {
        PortSize::Byte => [address & 1 == 0, address & 1 == 1],
        PortSize::Word => [true; 2],
    }
}
