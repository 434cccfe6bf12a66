//! Names for what a traced run was about: values and where they come from.

use super::event::{Held, Operand};
use super::model::{Origin, Value};
use super::op::Register;
use super::shadow::Mark;
use super::sources::{Source, Sources, Stretch, Taint};
use crate::board::{Place, shown_offset};
use crate::cartridge::Image;
use crate::cpu::decode;
use crate::units;
use crate::verdict::Names;

/// The most header fields that one origin names.
const MOST_FIELDS: usize = 4;

/// Of so many bytes it is told what they are.
const MOST_BYTES: usize = 8;

/// Names things of one run.
#[derive(Clone, Copy)]
pub(super) struct Namer<'a> {
    pub names: Names<'a>,
    pub sources: &'a Sources,
    /// Size of the attached image; 0 for nothing.
    pub image_size: u32,
    /// The attached image.
    pub image: Option<&'a Image>,
}

impl Namer<'_> {
    /// The instruction at an address, with its symbols.
    pub fn instruction(&self, at: u32) -> String {
        instruction(at, self.names)
    }

    /// The image offset from which a byte came that was read at an address of the window: the one among its sources if
    /// there is just one, which need not be the one that belongs there if an address line is bad.
    pub fn offset(&self, address: u32, mark: Mark) -> Option<u32> {
        if mark.taint.clean() || !self.names.rig.map.window().contains(&address) {
            return None;
        }
        match self.sources.stretches(mark.taint)[..] {
            [Stretch { first: Source::Image(first), last: Source::Image(last) }] if first == last => Some(first),
            [Stretch { first: Source::OpenBus(_), .. }] => None,
            _ => shown_offset(address, self.image_size),
        }
    }

    /// What was read at a bus address, as a person says it. A byte of the window that hangs on nothing from outside came
    /// from an overlay.
    pub fn read_at(&self, address: u32, width: u32, mark: Mark) -> String {
        let overlay = self.names.rig.map.overlays().iter().find(|overlay| overlay.range.contains(&address));
        match (overlay, self.offset(address, mark)) {
            (Some(overlay), _) if mark.taint.clean() => format!("{} at {}", overlay.name, units::address(address)),
            (_, Some(offset)) => {
                let named = self.fields(offset, offset + width.max(1) - 1);
                let named = named.unwrap_or_else(|| format!("image offset 0x{offset:06X}"));
                match shown_offset(address, self.image_size) {
                    Some(shown) if shown != offset => format!("{named}, by a bad address line"),
                    _ => named,
                }
            }
            _ => self.place(self.names.rig.map.place(address), address),
        }
    }

    /// What stands at a bus address where this place answers, as a person says it.
    pub fn place(&self, place: Place, address: u32) -> String {
        let map = &self.names.rig.map;
        match place {
            Place::Overlay(index) => format!("{} at {}", map.overlays()[index].name, units::address(address)),
            Place::Window => match shown_offset(address, self.image_size) {
                Some(offset) => self.fields(offset, offset).unwrap_or_else(|| format!("image offset 0x{offset:06X}")),
                None => format!("open bus at {}", units::address(address)),
            },
            _ => match map.port_at(address) {
                Some(port) => format!("port {}", map.ports()[port].name),
                None => self.names.data(address),
            },
        }
    }

    /// A value and where it comes from.
    pub fn value(&self, operand: &Operand) -> Value {
        let from = self.taints(operand.marks().iter().map(|mark| mark.taint));
        Value { value: operand.value, held_in: self.held_in(operand), from }
    }

    /// Where a value was, as a person says it: where its bytes were copied from, or else where the instruction had it.
    pub fn held_in(&self, operand: &Operand) -> String {
        let first = operand.marks().last().copied().unwrap_or(Mark::CLEAN);
        match (operand.origin(), operand.held) {
            (Some(address), _) => self.read_at(address, operand.width, first),
            (None, Held::Memory(address)) => self.place(self.names.rig.map.place(address), address),
            (None, Held::Immediate) => "the instruction".to_owned(),
            (None, Held::Status) => "sr".to_owned(),
            (None, Held::Register(Register::Data(number))) => format!("d{number}"),
            (None, Held::Register(Register::Address(number))) => format!("a{number}"),
        }
    }

    /// What a taint stands for.
    pub fn taint(&self, taint: Taint) -> Vec<Origin> {
        self.taints([taint])
    }

    /// What all these stand for together.
    pub fn taints(&self, taints: impl IntoIterator<Item = Taint>) -> Vec<Origin> {
        self.origins(taints.into_iter().flat_map(|taint| self.sources.stretches(taint)).collect())
    }

    fn origins(&self, mut stretches: Vec<Stretch>) -> Vec<Origin> {
        stretches.sort_unstable();
        stretches.dedup();
        let mut joined: Vec<Stretch> = Vec::new();
        for stretch in stretches {
            match joined.last_mut() {
                Some(last) if follows(last.last, stretch.first) => last.last = last.last.max(stretch.last),
                _ => joined.push(stretch),
            }
        }
        joined.into_iter().map(|stretch| self.origin(stretch)).collect()
    }

    fn origin(&self, stretch: Stretch) -> Origin {
        match (stretch.first, stretch.last) {
            (Source::Image(first), Source::Image(last)) => {
                Origin::Image { first, last, field: self.fields(first, last), holds: self.holds(first, last) }
            }
            (Source::Port(port), _) => Origin::Port { port: self.names.rig.map.ports()[port as usize].name.clone() },
            (Source::Interrupt(level), _) => Origin::Interrupt { device: self.device(level as u8) },
            (Source::Ram(first), Source::Ram(last)) => Origin::Ram { first, last },
            (Source::OpenBus(first), Source::OpenBus(last)) => Origin::OpenBus { first, last },
            // A stretch is of one kind.
            (Source::Image(first) | Source::Ram(first) | Source::OpenBus(first), _) => {
                Origin::OpenBus { first, last: first }
            }
        }
    }

    /// What the image holds at a few offsets.
    fn holds(&self, first: u32, last: u32) -> Option<String> {
        let bytes = (first..=last).take(MOST_BYTES + 1).map_while(|offset| self.image?.byte(offset));
        let bytes: Vec<String> = bytes.map(|byte| format!("{byte:02X}")).collect();
        (1..=MOST_BYTES).contains(&bytes.len()).then(|| bytes.join(" "))
    }

    /// Who interrupts at a level.
    pub fn device(&self, level: u8) -> String {
        let mut devices = self.names.rig.interrupts.iter().filter(|device| device.level == level);
        match (devices.next(), devices.next()) {
            (Some(device), None) => device.name.clone(),
            _ => format!("level {level}"),
        }
    }

    /// The header fields between two offsets, both included; `None` unless each byte belongs to one, as a name must not
    /// leave out what has none.
    pub fn fields(&self, first: u32, last: u32) -> Option<String> {
        let mut next = first;
        while next <= last {
            next = self.names.layout.at(next)?.range().end;
        }
        let overlapping = |field: &&crate::cartridge::Field| field.at <= last && first < field.range().end;
        let fields = self.names.layout.fields().iter().filter(overlapping);
        let named: Vec<String> = fields
            .map(|field| {
                let (from, to) = (first.max(field.at) - field.at, last.min(field.range().end - 1) - field.at);
                match (from, to) {
                    // A field of one byte has no other.
                    (0, to) if to + 1 == field.length => field.name.clone(),
                    (from, to) if from == to => format!("{}[{from}]", field.name),
                    (from, to) => format!("{}[{from}-{to}]", field.name),
                }
            })
            .collect();
        match named.len() {
            0 => None,
            count if count <= MOST_FIELDS => Some(named.join(", ")),
            count => Some(format!("{} and {} more fields", named[..MOST_FIELDS].join(", "), count - MOST_FIELDS)),
        }
    }
}

/// Whether one source comes right after another, or is the same.
fn follows(last: Source, next: Source) -> bool {
    match (last, next) {
        (one, two) if one == two => true,
        (Source::Image(last), Source::Image(next))
        | (Source::Ram(last), Source::Ram(next))
        | (Source::OpenBus(last), Source::OpenBus(next)) => next <= last.saturating_add(1),
        _ => false,
    }
}

/// The instruction at an address, with its symbols.
fn instruction(at: u32, names: Names) -> String {
    let map = &names.rig.map;
    if map.code_word(at).is_none() {
        return "(code outside the host ROM)".to_owned();
    }
    decode(at, |address| map.code_word(address).unwrap_or(0)).text(map.host().symbols())
}
