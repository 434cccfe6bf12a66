//! The address map of a harness: what answers where.
//!
//! [`Map::new`] checks that areas do not overlap and lie on the 24-bit bus; [`Map::place`] says what an address belongs
//! to. Which overlay shows and what RAM holds is the state of a [`super::Bus`].

use std::ops::RangeInclusive;
use std::sync::Arc;

use super::chip::Chip;
use super::pages::{Pages, page};
use super::{BUS_MASK, OpenBus, Port};
use crate::rom::HostRom;

/// A RAM area; it repeats if its range is larger than its size.
#[derive(Clone, Debug)]
pub struct RamArea {
    /// Its name.
    pub name: String,
    /// Bus addresses, inclusive.
    pub range: RangeInclusive<u32>,
    /// Bytes of RAM; a power of two if it repeats.
    pub size: u32,
}

/// Memory that covers part of the map while a port holds a value: a patch ROM behind a latch, say.
#[derive(Clone, Debug)]
pub struct Overlay {
    /// Its name.
    pub name: String,
    /// What shows.
    pub bytes: Arc<[u8]>,
    /// Where, inclusive. A smaller image repeats by the rule of the socket.
    pub range: RangeInclusive<u32>,
    /// Index of the port.
    pub port: usize,
    /// The value for which it shows.
    pub is: u16,
}

impl Overlay {
    pub(super) fn chip(&self) -> Chip {
        Chip::new(*self.range.start(), Arc::clone(&self.bytes))
    }
}

/// Accesses that last longer: slow ROM, or a socket behind a buffer.
#[derive(Clone, Debug)]
pub struct WaitStates {
    /// Bus addresses, inclusive.
    pub range: RangeInclusive<u32>,
    /// Clock periods added to each bus cycle.
    pub clocks: u32,
}

/// What an address belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The host ROM's image.
    Host,
    /// The window on the attached cartridge.
    Window,
    /// A RAM area, by index.
    Ram(usize),
    /// A port, by index.
    Port(usize),
    /// An overlay, by index.
    Overlay(usize),
    /// Nothing.
    Nothing,
}

/// The parts of a map, unchecked.
#[derive(Clone, Debug)]
pub struct MapParts {
    /// The host ROM.
    pub host: Arc<HostRom>,
    /// Where the host answers, inclusive.
    pub host_range: RangeInclusive<u32>,
    /// Where the attached cartridge shows, inclusive.
    pub window: RangeInclusive<u32>,
    /// What unmapped addresses read as.
    pub unmapped: OpenBus,
    /// RAM.
    pub memory: Vec<RamArea>,
    /// Ports.
    pub ports: Vec<Port>,
    /// Overlays.
    pub overlays: Vec<Overlay>,
    /// Wait states; of ranges that overlap the first counts.
    pub waits: Vec<WaitStates>,
}

/// Whose range is at fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// The host's range.
    Host,
    /// The socket's window.
    Window,
    /// A RAM area, by index.
    Memory(usize),
    /// A port, by index.
    Port(usize),
    /// An overlay, by index.
    Overlay(usize),
    /// Wait states, by index.
    Waits(usize),
}

/// Why the parts make no map.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct MapError {
    /// The part at fault.
    pub whose: Whose,
    /// What is wrong, as a sentence.
    pub reason: String,
}

/// A checked address map.
#[derive(Clone, Debug)]
pub struct Map {
    parts: MapParts,
    pub(super) pages: Pages,
    /// What the bus holds from address 0 up to where anything but the host answers.
    pub(super) near: Arc<[u8]>,
}

/// The most RAM areas a map can have.
const MOST_RAM_AREAS: usize = 64;

/// The most overlays: a bus keeps one bit for each.
const MOST_OVERLAYS: usize = 64;

impl Map {
    /// Checks the parts.
    ///
    /// # Errors
    /// Ranges that leave the 24-bit bus, are empty or overlap; RAM that cannot repeat evenly; two ports at one address.
    pub fn new(parts: MapParts) -> Result<Self, MapError> {
        check_ranges(&parts)?;
        check_memory(&parts)?;
        check_ports(&parts)?;
        check_overlays(&parts)?;
        let mut map = Self { parts, pages: Pages::slow(), near: Arc::default() };
        map.pages = Pages::new(|first, last| map.page(first, last));
        map.near = map.near();
        Ok(map)
    }

    /// The host ROM.
    pub fn host(&self) -> &Arc<HostRom> {
        &self.parts.host
    }

    /// The window on the attached cartridge.
    pub fn window(&self) -> &RangeInclusive<u32> {
        &self.parts.window
    }

    /// The ports.
    pub fn ports(&self) -> &[Port] {
        &self.parts.ports
    }

    /// The RAM areas.
    pub fn memory(&self) -> &[RamArea] {
        &self.parts.memory
    }

    /// The overlays.
    pub fn overlays(&self) -> &[Overlay] {
        &self.parts.overlays
    }

    /// The ranges with wait states.
    pub fn waits(&self) -> &[WaitStates] {
        &self.parts.waits
    }

    /// Clock periods that an access to an address waits.
    #[inline]
    pub(crate) fn waits_at(&self, address: u32) -> u64 {
        let waits = self.parts.waits.iter().find(|waits| waits.range.contains(&address));
        waits.map_or(0, |waits| u64::from(waits.clocks))
    }

    /// What unmapped addresses read as.
    pub fn unmapped(&self) -> OpenBus {
        self.parts.unmapped
    }

    /// The readable or writable port at an address.
    pub fn port_at(&self, address: u32) -> Option<usize> {
        self.parts.ports.iter().position(|port| port.covers(address))
    }

    /// What an address belongs to when no overlay shows and no port answers.
    pub fn place(&self, address: u32) -> Place {
        let parts = &self.parts;
        if let Some(index) = parts.memory.iter().position(|area| area.range.contains(&address)) {
            Place::Ram(index)
        } else if parts.window.contains(&address) {
            Place::Window
        } else if parts.host_range.contains(&address) && parts.host.byte(address).is_some() {
            Place::Host
        } else {
            Place::Nothing
        }
    }

    /// A word of the host's code, or of an overlay where the host does not answer: what was built with it.
    pub fn code_word(&self, address: u32) -> Option<u16> {
        let overlay = || {
            let chip = self.parts.overlays.iter().find(|overlay| overlay.range.contains(&address))?.chip();
            Some(u16::from_be_bytes([chip.byte(address)?, chip.byte(address.wrapping_add(1))?]))
        };
        self.parts.host.word(address).or_else(overlay)
    }

    /// A name for a place, for people.
    pub fn place_name(&self, place: Place) -> &str {
        match place {
            Place::Host => "the host ROM",
            Place::Window => "the attached cartridge",
            Place::Ram(index) => &self.parts.memory[index].name,
            Place::Port(index) => &self.parts.ports[index].name,
            Place::Overlay(index) => &self.parts.overlays[index].name,
            Place::Nothing => "nothing",
        }
    }

    fn near(&self) -> Arc<[u8]> {
        let host = &self.parts.host;
        // Of an image of odd length the last byte is no whole word; it goes the long way.
        let pages = (0..host.end() & !1).step_by(2).take_while(|address| self.pages.at(*address) == page::HOST);
        match host.origin() {
            0 => host.bytes()[..2 * pages.count()].into(),
            _ => Arc::default(),
        }
    }

    /// How a page may be served while no overlay shows in it.
    fn page(&self, first: u32, last: u32) -> u8 {
        let parts = &self.parts;
        if parts.waits.iter().any(|waits| *waits.range.start() <= last && *waits.range.end() >= first) {
            return page::SLOW;
        }
        let readable_port = parts
            .ports
            .iter()
            .any(|port| port.reads.is_some() && port.at <= last && port.at + port.size.bytes() > first);
        if readable_port {
            return page::SLOW;
        }
        let holds = |range: &RangeInclusive<u32>| range.contains(&first) && range.contains(&last);
        if let Some(area) = parts.memory.iter().position(|area| holds(&area.range)) {
            let ports_inside = parts.ports.iter().any(|port| (first..=last).contains(&port.at));
            return if ports_inside { page::SLOW } else { page::RAM + area as u8 };
        }
        if holds(&parts.window) {
            return page::WINDOW;
        }
        if holds(&parts.host_range) { page::HOST } else { page::SLOW }
    }
}

fn error(whose: Whose, reason: String) -> MapError {
    MapError { whose, reason }
}

fn show(range: &RangeInclusive<u32>) -> String {
    format!("0x{:06X}-0x{:06X}", range.start(), range.end())
}

fn check_ranges(parts: &MapParts) -> Result<(), MapError> {
    let mut areas = vec![
        (Whose::Host, "the host's range".to_owned(), parts.host_range.clone()),
        (Whose::Window, "the socket's window".to_owned(), parts.window.clone()),
    ];
    for (index, area) in parts.memory.iter().enumerate() {
        areas.push((Whose::Memory(index), format!("memory `{}`", area.name), area.range.clone()));
    }
    if parts.overlays.len() > MOST_OVERLAYS {
        let reason = format!("there are {} overlays; {MOST_OVERLAYS} is the most", parts.overlays.len());
        return Err(error(Whose::Overlay(MOST_OVERLAYS), reason));
    }
    for (index, overlay) in parts.overlays.iter().enumerate() {
        check_on_bus(Whose::Overlay(index), &overlay.range)?;
        let room = overlay.range.end() - overlay.range.start() + 1;
        if overlay.bytes.len() > room as usize {
            let reason = format!(
                "the image has {} bytes, more than the {room} of its range {}",
                overlay.bytes.len(),
                show(&overlay.range)
            );
            return Err(error(Whose::Overlay(index), reason));
        }
    }
    for (index, waits) in parts.waits.iter().enumerate() {
        check_on_bus(Whose::Waits(index), &waits.range)?;
    }
    for (later, (whose, name, range)) in areas.iter().enumerate() {
        check_on_bus(*whose, range)?;
        for (_, other, taken) in &areas[..later] {
            if range.start() <= taken.end() && taken.start() <= range.end() {
                let reason = format!("{name} {} overlaps {other} {}", show(range), show(taken));
                return Err(error(*whose, reason));
            }
        }
    }
    Ok(())
}

fn check_on_bus(whose: Whose, range: &RangeInclusive<u32>) -> Result<(), MapError> {
    if range.is_empty() {
        return Err(error(whose, format!("the range {} ends before it begins", show(range))));
    }
    if *range.end() > BUS_MASK {
        return Err(error(whose, format!("{} lies beyond the 24-bit bus of the 68000 (0xFFFFFF)", show(range))));
    }
    if !range.start().is_multiple_of(2) || range.end().is_multiple_of(2) {
        let reason = format!("{} does not consist of whole words (even start, odd end)", show(range));
        return Err(error(whose, reason));
    }
    Ok(())
}

fn check_memory(parts: &MapParts) -> Result<(), MapError> {
    if parts.memory.len() > MOST_RAM_AREAS {
        let reason = format!("there are {} memory areas; {MOST_RAM_AREAS} is the most", parts.memory.len());
        return Err(error(Whose::Memory(MOST_RAM_AREAS), reason));
    }
    for (index, area) in parts.memory.iter().enumerate() {
        let room = area.range.end() - area.range.start() + 1;
        let reason = if area.size == 0 || area.size > room {
            format!("{} bytes of RAM do not fit {} ({room} bytes)", area.size, show(&area.range))
        } else if area.size != room && !area.size.is_power_of_two() {
            format!("RAM of {} bytes cannot repeat: only a power of two can", area.size)
        } else if !area.size.is_multiple_of(2) {
            format!("{} bytes of RAM are no whole words", area.size)
        } else {
            continue;
        };
        return Err(error(Whose::Memory(index), reason));
    }
    Ok(())
}

fn check_ports(parts: &MapParts) -> Result<(), MapError> {
    for (index, port) in parts.ports.iter().enumerate() {
        let last = port.at.saturating_add(port.size.bytes() - 1);
        if last > BUS_MASK {
            let reason = format!("port `{}` lies beyond the 24-bit bus of the 68000 (0xFFFFFF)", port.name);
            return Err(error(Whose::Port(index), reason));
        }
        if port.size.bytes() == 2 && !port.at.is_multiple_of(2) {
            let reason = format!("port `{}` is a word wide and must stand at an even address", port.name);
            return Err(error(Whose::Port(index), reason));
        }
        if let Some(other) = parts.ports[..index].iter().find(|other| other.covers(port.at) || port.covers(other.at)) {
            let reason = format!("port `{}` and port `{}` share the address 0x{:06X}", port.name, other.name, port.at);
            return Err(error(Whose::Port(index), reason));
        }
    }
    Ok(())
}

fn check_overlays(parts: &MapParts) -> Result<(), MapError> {
    if parts.overlays.len() > MOST_OVERLAYS {
        let reason = format!("there are {} overlays; {MOST_OVERLAYS} is the most", parts.overlays.len());
        return Err(error(Whose::Overlay(MOST_OVERLAYS), reason));
    }
    for (index, overlay) in parts.overlays.iter().enumerate() {
        if parts.ports.get(overlay.port).is_none_or(|port| port.writes.is_none()) {
            let reason = format!("overlay `{}` follows a port that cannot be written", overlay.name);
            return Err(error(Whose::Overlay(index), reason));
        }
    }
    Ok(())
}
