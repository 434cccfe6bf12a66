//! The long way over the bus: each half of the data bus (a lane) is served by whatever covers its address.
//!
//! A word has two lanes, a byte one. Lanes that nothing drives are open: they carry what the open-bus rule of the socket
//! or of the map says. If nothing drives any lane and the rule is a bus error, nothing acknowledges.

use super::bus::Purpose;
use super::pages::page;
use super::{BUS_MASK, Bus, OpenBus, Place, PortSize, PortWrite, Stray, StrayKind};

/// The two lanes of the word at an even address: what drives them, if anything does.
type Lanes = [Option<u8>; 2];

impl Bus {
    #[cold]
    pub(super) fn read_byte_slow(&mut self, address: u32, purpose: Purpose) -> Option<u8> {
        self.now += self.map.waits_at(address);
        let lane = (address & 1) as usize;
        if self.pages.at(address) == page::WINDOW
            && let Some(value) = self.socket.plain_byte(address)
        {
            self.last[lane] = value;
            return Some(value);
        }
        let mut wanted = [false; 2];
        wanted[lane] = true;
        let word = self.read_lanes(address & !1, wanted, purpose)?;
        self.last[lane] = word.to_be_bytes()[lane];
        Some(self.last[lane])
    }

    #[cold]
    pub(super) fn read_word_slow(&mut self, address: u32, purpose: Purpose) -> Option<u16> {
        self.now += self.map.waits_at(address);
        let plain = if self.pages.at(address) == page::WINDOW { self.socket.plain_word(address) } else { None };
        let word = plain.or_else(|| self.read_lanes(address, [true; 2], purpose))?;
        self.last = word.to_be_bytes();
        Some(word)
    }

    fn read_lanes(&mut self, even: u32, wanted: [bool; 2], purpose: Purpose) -> Option<u16> {
        let first = if wanted[0] { even } else { even | 1 };
        let any =
            |bus: &Self, is: fn(&Self, u32) -> bool| (0..2).any(|lane| wanted[lane] && is(bus, even | lane as u32));
        let in_window = any(self, |bus, address| bus.place(address) == Place::Window);
        let rule = if in_window { self.empty } else { self.map.unmapped() };
        // Noise is drawn only where it can be seen, so that polling a port leaves the board's state as it was.
        let open_seen = any(self, Self::open_at);
        let last = u16::from_be_bytes(self.last);
        let open = if open_seen { rule.word(last, &mut self.noise) } else { last };
        let lanes = self.lanes(even, wanted, open, purpose);
        let driven = (0..2).any(|lane| wanted[lane] && lanes[lane].is_some());
        if !driven {
            // A board decodes addresses: a port acknowledges a read too, though it drives nothing.
            if rule == OpenBus::BusError && !any(self, Self::acknowledged_by_port) {
                return None;
            }
            // What is only fetched ahead or dropped is not what the program asked for.
            if !in_window && purpose == Purpose::Operand {
                self.note_stray(StrayKind::Read, first, 0, wanted);
            }
        }
        let [high, low] = open.to_be_bytes();
        Some(u16::from_be_bytes([lanes[0].unwrap_or(high), lanes[1].unwrap_or(low)]))
    }

    fn acknowledged_by_port(&self, address: u32) -> bool {
        self.map.port_at(address).is_some()
    }

    /// Whether a read at an address can see what open lines carry.
    fn open_at(&self, address: u32) -> bool {
        match self.place(address) {
            Place::Host | Place::Ram(_) => false,
            Place::Window => !self.socket.drives(address & !1),
            Place::Port(index) => self.schedule(index).is_none(),
            Place::Overlay(index) => self.overlays[index].byte(address).is_none(),
            Place::Nothing => true,
        }
    }

    fn lanes(&mut self, even: u32, wanted: [bool; 2], open: u16, purpose: Purpose) -> Lanes {
        let mut lanes = [None; 2];
        let mut port_read = None;
        let mut window = None;
        for lane in (0..2).filter(|lane| wanted[*lane]) {
            let address = even | lane as u32;
            lanes[lane] = match self.place(address) {
                Place::Host => self.map.host().byte(address),
                Place::Overlay(index) => self.overlays[index].byte(address),
                Place::Ram(index) => Some(self.ram_byte(index, address, purpose)),
                Place::Port(index) => {
                    // One access reads a port once, also if it covers both lanes.
                    let known = port_read.filter(|(port, _)| *port == index);
                    let value = known.map(|(_, value)| value).unwrap_or_else(|| self.read_port(index));
                    port_read = Some((index, value));
                    value.map(|value| self.port_lane(index, address, value))
                }
                Place::Window => {
                    let both = *window.get_or_insert_with(|| self.socket.lanes(even, open, &mut self.noise));
                    both[lane]
                }
                Place::Nothing => None,
            };
        }
        lanes
    }

    fn ram_byte(&mut self, index: usize, address: u32, purpose: Purpose) -> u8 {
        let ram = &self.rams[index];
        ram.byte(address).unwrap_or_else(|| {
            let fill = ram.power_on(address);
            match purpose {
                Purpose::Operand => self.troubles.early_read(address, self.pc & BUS_MASK),
                Purpose::Fetch => self.troubles.fetched_early = true,
                Purpose::Dropped => {}
            }
            fill
        })
    }

    fn read_port(&mut self, index: usize) -> Option<u16> {
        let value = self.schedule(index)?.value(self.ports[index].reads, self.now);
        self.ports[index].reads = self.ports[index].reads.saturating_add(1);
        Some(value)
    }

    fn port_lane(&self, index: usize, address: u32, value: u16) -> u8 {
        let port = &self.map.ports()[index];
        match port.size {
            PortSize::Byte => value as u8,
            PortSize::Word => value.to_be_bytes()[(address - port.at) as usize],
        }
    }

    fn note_stray(&mut self, kind: StrayKind, address: u32, value: u16, wanted: [bool; 2]) {
        let size = if wanted == [true; 2] { PortSize::Word } else { PortSize::Byte };
        self.troubles.stray(Stray { kind, address, pc: self.pc & BUS_MASK, value, size });
    }

    #[cold]
    pub(super) fn write_byte_slow(&mut self, address: u32, value: u8) -> Option<()> {
        let mut wanted = [false; 2];
        wanted[(address & 1) as usize] = true;
        self.write_lanes(address & !1, u16::from_be_bytes([value, value]), wanted)
    }

    #[cold]
    pub(super) fn write_word_slow(&mut self, address: u32, value: u16) -> Option<()> {
        self.write_lanes(address, value, [true; 2])
    }

    fn write_lanes(&mut self, even: u32, value: u16, wanted: [bool; 2]) -> Option<()> {
        self.now += self.map.waits_at(even);
        let bytes = value.to_be_bytes();
        let mut landed = false;
        let mut port_done = None;
        for lane in (0..2).filter(|lane| wanted[*lane]) {
            let address = even | lane as u32;
            let writable = self.map.port_at(address).filter(|port| self.map.ports()[*port].writes.is_some());
            if let Some(index) = writable {
                if port_done != Some(index) {
                    self.write_port(index, even, value, wanted);
                    port_done = Some(index);
                }
                landed = true;
            } else if let (None, Place::Ram(index)) = (self.overlay_at(address), self.map.place(address)) {
                self.rams[index].set_byte(address, bytes[lane]);
                landed = true;
            }
        }
        self.last = bytes;
        if landed {
            return Some(());
        }
        self.lose_write(if wanted[0] { even } else { even | 1 }, value, wanted)
    }

    /// A write that nothing takes: a bus error where the rule says so and nothing is mapped, a stray otherwise.
    fn lose_write(&mut self, address: u32, value: u16, wanted: [bool; 2]) -> Option<()> {
        let rule = match self.place(address) {
            Place::Window if self.socket.peek(address).is_none() => self.empty,
            Place::Nothing => self.map.unmapped(),
            _ => OpenBus::Floating,
        };
        if rule == OpenBus::BusError {
            return None;
        }
        let value = if wanted == [true; 2] { value } else { value & 0xFF };
        self.note_stray(StrayKind::Write, address, value, wanted);
        Some(())
    }

    fn write_port(&mut self, index: usize, even: u32, value: u16, wanted: [bool; 2]) {
        let port = &self.map.ports()[index];
        let [high, low] = value.to_be_bytes();
        let latched = match port.size {
            PortSize::Byte => u16::from(if port.at & 1 == 0 { high } else { low }),
            // A byte written to half of a word-wide port leaves the other half as it was.
            PortSize::Word => {
                let [old_high, old_low] = self.ports[index].latched.to_be_bytes();
                u16::from_be_bytes([if wanted[0] { high } else { old_high }, if wanted[1] { low } else { old_low }])
            }
        };
        let declared = port.writes.as_ref().is_some_and(|values| values.contains(&latched));
        self.ports[index].latched = latched;
        self.writes.push(PortWrite { port: index, value: latched, pc: self.pc & BUS_MASK });
        if !declared {
            self.note_stray(StrayKind::Undeclared(index), even | u32::from(!wanted[0]), latched, wanted);
        }
        self.show_overlays();
    }
}
