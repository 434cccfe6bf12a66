//! The bus in action: the short ways for host ROM, RAM and window; `lanes` has the long way for everything else.

use std::hint::cold_path;
use std::sync::Arc;

use super::chip::{self, Chip};
use super::pages::{Pages, page};
use super::port::PortState;
use super::ram::Ram;
use super::socket::Socket;
use super::trouble::Remap;
use super::{BUS_MASK, Map, OpenBus, Place, PortWrite, RETURN_ADDRESS, RamFill, Schedule, Troubles, extension_words};
use crate::cartridge::Attached;
use crate::noise::{self, Noise};

/// Bytes of the prefetch queue.
const QUEUE: u32 = 4;

/// What differs from run to run on one board.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    /// What is plugged in.
    pub attached: Attached,
    /// What the window reads where the cartridge does not answer.
    pub empty: OpenBus,
    /// What each port reads, by index; `None` for what the map says.
    pub ports: Vec<Option<Schedule>>,
    /// Seed of all noise.
    pub seed: u64,
}

/// What a read is for, as far as RAM that was never written is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// The program uses the value.
    Operand,
    /// It goes into the prefetch queue; the run notes it if it is executed.
    Fetch,
    /// Nobody uses it.
    Dropped,
}

/// A board of one harness. [`Bus::power_on`] starts each run.
#[derive(Clone, Debug)]
pub struct Bus {
    pub(super) map: Arc<Map>,
    pub(super) pages: Pages,
    /// The map's near bytes; nothing while an overlay hides a part of them.
    near: Arc<[u8]>,
    pub(super) overlays: Box<[Chip]>,
    pub(super) rams: Box<[Ram]>,
    pub(super) ports: Box<[PortState]>,
    pub(super) schedules: Vec<Option<Schedule>>,
    pub(super) socket: Socket,
    pub(super) empty: OpenBus,
    pub(super) noise: Noise,
    /// The overlays that show, one bit each.
    pub(super) showing: u64,
    /// The last word on the bus, by halves: D15-D8, D7-D0.
    pub(super) last: [u8; 2],
    /// The program counter of the instruction that runs, all 32 bits; the run sets it.
    pub pc: u32,
    /// Cycles since the run began: each bus cycle of the processor, and its time between them, adds to it.
    pub now: u64,
    pub(super) troubles: Troubles,
    pub(super) writes: Vec<PortWrite>,
}

impl Bus {
    /// A board with an empty socket, at power-on.
    pub fn new(map: Arc<Map>) -> Self {
        let power_on = |port: &super::Port| PortState { latched: port.power_on, reads: 0 };
        let mut bus = Self {
            pages: map.pages.clone(),
            near: Arc::clone(&map.near),
            overlays: map.overlays().iter().map(super::Overlay::chip).collect(),
            rams: map.memory().iter().map(Ram::new).collect(),
            ports: map.ports().iter().map(power_on).collect(),
            schedules: vec![None; map.ports().len()],
            socket: Socket::empty(),
            empty: OpenBus::default(),
            noise: Noise::new(0),
            showing: 0,
            last: [0; 2],
            pc: 0,
            now: 0,
            troubles: Troubles::default(),
            writes: Vec::new(),
            map,
        };
        bus.show_overlays();
        bus
    }

    /// Plugs in the case's cartridge and switches on, with these RAM fills (by area; zeros where the list ends).
    pub fn power_on(&mut self, inputs: &Inputs, fills: &[RamFill]) {
        for (index, ram) in self.rams.iter_mut().enumerate() {
            let seed = noise::mix(inputs.seed ^ index as u64);
            ram.reset(fills.get(index).copied().unwrap_or_default(), seed);
        }
        self.schedules.clone_from(&inputs.ports);
        self.socket.plug(&inputs.attached);
        self.empty = inputs.empty;
        self.noise = Noise::new(inputs.seed);
        self.last = [0; 2];
        self.pc = 0;
        self.now = 0;
        for state in &mut self.ports {
            state.reads = 0;
        }
        self.reset_devices();
        // Last: what the latches of the run before did to the map is no trouble of this one.
        self.troubles.clear();
        self.writes.clear();
    }

    /// Lets these bytes of RAM, by bus address, be what they are told to be at every power-on from now on, whatever the
    /// fill; all others are the fill.
    pub fn hold_ram(&mut self, bytes: &[(u32, u8)]) {
        self.rams.iter_mut().for_each(Ram::hold_nothing);
        for (address, byte) in bytes {
            if let Place::Ram(area) = self.map.place(*address) {
                self.rams[area].hold(*address, *byte);
            }
        }
    }

    /// What the RESET instruction does: every latch goes back to its power-on value.
    pub fn reset_devices(&mut self) {
        for (state, port) in self.ports.iter_mut().zip(self.map.ports()) {
            state.latched = port.power_on;
        }
        self.show_overlays();
    }

    /// The map.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// The writes to ports so far, in order.
    pub fn writes(&self) -> &[PortWrite] {
        &self.writes
    }

    /// What each port holds, by index.
    pub fn held(&self) -> impl Iterator<Item = u16> + '_ {
        self.ports.iter().map(|port| port.latched)
    }

    /// What went astray so far.
    pub fn troubles(&self) -> &Troubles {
        &self.troubles
    }

    /// Takes the journal back to an earlier length and state, after a loop has been walked once more.
    pub fn restore_journal(&mut self, writes: usize, troubles: Troubles) {
        self.writes.truncate(writes);
        self.troubles = troubles;
    }

    /// The image offset that showed at an address of the last access to the window; `None` for open bus.
    pub fn shown_last(&self, address: u32) -> Option<u32> {
        self.socket.last_at(address)
    }

    /// Reads a byte; `None` if nothing acknowledges.
    #[inline]
    pub fn read_byte(&mut self, address: u32) -> Option<u8> {
        let Some(value) = self.near.get(address as usize).copied() else {
            let Some(value) = self.read_byte_far(address, Purpose::Operand) else {
                cold_path();
                return None;
            };
            return Some(value);
        };
        // A byte leaves the other half of the bus as it was.
        self.last[(address & 1) as usize] = value;
        Some(value)
    }

    /// Reads a byte that the processor drops.
    pub fn touch_byte(&mut self, address: u32) -> Option<u8> {
        self.read_byte_far(address, Purpose::Dropped)
    }

    #[inline(never)]
    fn read_byte_far(&mut self, address: u32, purpose: Purpose) -> Option<u8> {
        let address = address & BUS_MASK;
        let short = match self.pages.at(address) {
            page::WINDOW => self.socket.quick_byte(address),
            page::HOST | page::SLOW => None,
            ram @ page::RAM.. => self.rams[(ram - page::RAM) as usize].byte(address),
            overlay => self.overlays[(overlay - page::OVERLAY) as usize].byte(address),
        };
        let Some(value) = short else { return self.read_byte_slow(address, purpose) };
        self.last[(address & 1) as usize] = value;
        Some(value)
    }

    /// Reads a word at an even address; `None` if nothing acknowledges.
    #[inline]
    pub fn read_word(&mut self, address: u32) -> Option<u16> {
        let Some(value) = chip::word(&self.near, address) else {
            let Some(value) = self.read_word_far(address, Purpose::Operand) else {
                cold_path();
                return None;
            };
            return Some(value);
        };
        self.last = value.to_be_bytes();
        Some(value)
    }

    /// Fetches a word for the prefetch queue; `None` if nothing acknowledges.
    ///
    /// Nearly all of them come from the host ROM. They are read without a look at the pages, and this much is short
    /// enough to stand in every instruction.
    #[inline(always)]
    pub fn fetch(&mut self, address: u32) -> Option<u16> {
        let Some(value) = chip::word(&self.near, address) else {
            let Some(value) = self.fetch_far(address) else {
                cold_path();
                return None;
            };
            return Some(value);
        };
        self.last = value.to_be_bytes();
        Some(value)
    }

    #[inline(never)]
    fn fetch_far(&mut self, address: u32) -> Option<u16> {
        if address & !3 == RETURN_ADDRESS {
            return Some(0);
        }
        self.read_word_far(address, Purpose::Fetch)
    }

    /// Reads a word that the processor drops.
    pub fn touch_word(&mut self, address: u32) -> Option<u16> {
        self.read_word_far(address, Purpose::Dropped)
    }

    #[inline(never)]
    fn read_word_far(&mut self, address: u32, purpose: Purpose) -> Option<u16> {
        let address = address & BUS_MASK;
        let short = match self.pages.at(address) {
            page::WINDOW => self.socket.quick_word(address),
            page::HOST | page::SLOW => None,
            ram @ page::RAM.. => self.rams[(ram - page::RAM) as usize].word(address),
            overlay => self.overlays[(overlay - page::OVERLAY) as usize].word(address),
        };
        let Some(value) = short else { return self.read_word_slow(address, purpose) };
        self.last = value.to_be_bytes();
        Some(value)
    }

    /// Notes the words of an instruction that runs from RAM and was never written there.
    pub fn note_executed(&mut self, at: u32, bytes: u32) {
        for offset in 0..bytes {
            let address = at.wrapping_add(offset) & BUS_MASK;
            if let Place::Ram(index) = self.place(address)
                && self.rams[index].byte(address).is_none()
            {
                self.troubles.early_read(address, self.pc & BUS_MASK);
            }
        }
    }

    /// Writes a byte; `None` if nothing acknowledges.
    #[inline]
    pub fn write_byte(&mut self, address: u32, value: u8) -> Option<()> {
        let address = address & BUS_MASK;
        let kind = self.pages.at(address);
        if kind >= page::RAM {
            // The 68000 drives a byte on both halves of the bus (UM, section 5).
            self.last = [value, value];
            self.rams[(kind - page::RAM) as usize].set_byte(address, value);
            return Some(());
        }
        self.write_byte_slow(address, value)
    }

    /// Writes a word at an even address; `None` if nothing acknowledges.
    #[inline]
    pub fn write_word(&mut self, address: u32, value: u16) -> Option<()> {
        let address = address & BUS_MASK;
        let kind = self.pages.at(address);
        if kind >= page::RAM {
            self.last = value.to_be_bytes();
            self.rams[(kind - page::RAM) as usize].set_word(address, value);
            return Some(());
        }
        self.write_word_slow(address, value)
    }

    /// What an address belongs to right now.
    #[inline]
    pub fn place(&self, address: u32) -> Place {
        match self.pages.at(address) {
            page::WINDOW => Place::Window,
            page::HOST if (address as usize) < self.near.len() => Place::Host,
            page::HOST | page::SLOW => self.place_slow(address),
            ram @ page::RAM.. => Place::Ram((ram - page::RAM) as usize),
            overlay => Place::Overlay((overlay - page::OVERLAY) as usize),
        }
    }

    #[cold]
    fn place_slow(&self, address: u32) -> Place {
        if let Some(index) = self.overlay_at(address) {
            return Place::Overlay(index);
        }
        match self.map.port_at(address) {
            Some(port) if self.map.ports()[port].reads.is_some() || self.map.place(address) == Place::Nothing => {
                Place::Port(port)
            }
            _ => self.map.place(address),
        }
    }

    /// Looks at a byte as a person with a probe would: no side effects, nothing noted. The flag says whether the byte
    /// is known: false for RAM never written (its power-on value is given) and for open bus (0xFF is given).
    pub fn peek(&self, address: u32) -> (u8, bool) {
        let address = address & BUS_MASK;
        let byte = match self.place(address) {
            Place::Host => self.map.host().byte(address),
            Place::Window => self.socket.peek(address),
            Place::Overlay(index) => self.overlays[index].byte(address),
            Place::Port(index) => {
                let shift = 8 * (self.map.ports()[index].size.bytes() - 1 - (address - self.map.ports()[index].at));
                Some((self.ports[index].latched >> shift) as u8)
            }
            Place::Ram(index) => {
                let ram = &self.rams[index];
                return ram.byte(address).map_or((ram.power_on(address), false), |byte| (byte, true));
            }
            Place::Nothing => None,
        };
        byte.map_or((0xFF, false), |byte| (byte, true))
    }

    /// The word at an address, looked at like [`Bus::peek`].
    pub fn peek_word(&self, address: u32) -> u16 {
        u16::from_be_bytes([self.peek(address).0, self.peek(address.wrapping_add(1)).0])
    }

    /// The overlay that shows at an address.
    pub(super) fn overlay_at(&self, address: u32) -> Option<usize> {
        self.overlay_of(self.showing, address)
    }

    /// The overlay that shows at an address if these do, one bit each: the first of them.
    fn overlay_of(&self, showing: u64, address: u32) -> Option<usize> {
        if showing == 0 {
            return None;
        }
        let shows =
            |(index, overlay): &(usize, &super::Overlay)| showing >> index & 1 == 1 && overlay.range.contains(&address);
        self.map.overlays().iter().enumerate().find(shows).map(|(index, _)| index)
    }

    /// Makes the page table follow the latches.
    pub(super) fn show_overlays(&mut self) {
        let shows = |overlay: &super::Overlay| self.ports[overlay.port].latched == overlay.is;
        let showing =
            self.map.overlays().iter().rev().fold(0u64, |bits, overlay| bits << 1 | u64::from(shows(overlay)));
        if showing == self.showing {
            return;
        }
        self.note_remap(showing);
        let overlays = self.map.overlays();
        for (index, overlay) in overlays.iter().enumerate() {
            if (showing ^ self.showing) >> index & 1 == 1 {
                self.pages.restore(&overlay.range, &self.map.pages);
            }
        }
        // Where overlays overlap, the first of them shows.
        for (index, overlay) in overlays.iter().enumerate().rev() {
            if showing >> index & 1 == 1 {
                self.pages.cover(&overlay.range, page::OVERLAY + index as u8);
            }
        }
        for waits in self.map.waits() {
            self.pages.slow_down(&waits.range);
        }
        self.showing = showing;
        self.hide_near();
    }

    /// Before the overlays change to these, one bit each: notes it if something else will show where the instruction
    /// that runs lies, or the two words after it. Those words are in the prefetch queue by then, or one of them is.
    fn note_remap(&mut self, showing: u64) {
        let from = self.pc & BUS_MASK;
        let length = 2 + 2 * extension_words(self.peek_word(from));
        let changed = (0..length + QUEUE).step_by(2).find_map(|offset| {
            let address = from.wrapping_add(offset) & BUS_MASK;
            let (before, after) = (self.overlay_of(self.showing, address), self.overlay_of(showing, address));
            let overlay = if before == after { None } else { after.or(before) };
            overlay.map(|overlay| Remap { overlay, came: after.is_some(), pc: from })
        });
        if let Some(remap) = changed {
            self.troubles.remap(remap);
        }
    }

    /// Gives the near bytes up while an overlay shows among them.
    fn hide_near(&mut self) {
        let end = self.map.near.len() as u32;
        let overlays = self.map.overlays().iter().enumerate();
        let hidden = overlays
            .filter(|(index, _)| self.showing >> index & 1 == 1)
            .any(|(_, overlay)| *overlay.range.start() < end);
        if hidden != self.near.is_empty() {
            self.near = if hidden { Arc::default() } else { Arc::clone(&self.map.near) };
        }
    }

    /// What a port reads in this run.
    pub(super) fn schedule(&self, port: usize) -> Option<&Schedule> {
        let own = self.schedules.get(port).and_then(Option::as_ref);
        own.or(self.map.ports()[port].reads.as_ref())
    }
}
