//! The acceptance table: ordered rules that say which cartridge ought to take which branch.
//!
//! Rules look at what shows in the window, not at the image: a header out of sight is no header. Bytes that are not one
//! fixed value (floating open bus) equal nothing; flickering contacts, data lines that hang loose and ports that change
//! make a rule undecidable.

use std::ops::{Range, RangeInclusive};

use crate::board::{Inputs, Map, OpenBus, shown_offset, steady_byte};
use crate::cartridge::{Field, Flaw, Holds, Layout};

/// What a header field must hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FieldMatch {
    /// One of these byte strings, as long as the field.
    OneOf(Vec<Vec<u8>>),
    /// A text of which these parts are given.
    Part {
        /// It starts with this.
        starts: Option<Vec<u8>>,
        /// Without its padding it ends with this.
        ends: Option<Vec<u8>>,
        /// It contains this.
        contains: Option<Vec<u8>>,
    },
    /// A number in this range.
    Numbers(RangeInclusive<u32>),
    /// A checksum that is right, or one that is not.
    Checksum(bool),
}

/// What a port must read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortMatch {
    /// One of these values.
    OneOf(Vec<u16>),
    /// These bits, with this value.
    Bits {
        /// The bits that count.
        mask: u16,
        /// Their value.
        is: u16,
    },
}

impl PortMatch {
    fn fits(&self, value: u16) -> bool {
        match self {
            PortMatch::OneOf(values) => values.contains(&value),
            PortMatch::Bits { mask, is } => value & mask == *is,
        }
    }
}

/// Conditions that must all hold.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Conditions {
    /// Header fields, by index in the layout.
    pub fields: Vec<(usize, FieldMatch)>,
    /// Ports, by index.
    pub ports: Vec<(usize, PortMatch)>,
}

/// A rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rule {
    /// All of these hold.
    pub when: Option<Conditions>,
    /// Not all of these hold.
    pub unless: Option<Conditions>,
    /// The branch to take, by index.
    pub branch: usize,
}

/// What the table says of a cartridge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decision {
    /// It ought to take this branch.
    Branch {
        /// The branch, by index.
        branch: usize,
        /// The rule, by index.
        rule: usize,
    },
    /// The table cannot tell, and why.
    Unclear(String),
    /// No rule fits, or there is no table.
    Silent,
}

/// The acceptance table of a harness.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Acceptance {
    /// The rules, in order.
    pub rules: Vec<Rule>,
}

/// What one run's cartridge and ports look like to the table.
struct Seen<'a> {
    map: &'a Map,
    layout: &'a Layout,
    inputs: &'a Inputs,
    fields: &'a mut Table,
}

/// Room for the bytes of fields, each read once: keep it to decide many times without allocating.
#[derive(Clone, Debug, Default)]
pub struct Table(Vec<Option<Vec<Option<u8>>>>, Vec<Vec<Option<u8>>>);

impl Table {
    /// Forgets the last cartridge.
    fn clear(&mut self, fields: usize) {
        self.1.extend(self.0.drain(..).flatten());
        self.0.resize(fields, None);
    }
}

impl Acceptance {
    /// The texts and numbers that the rules list for fields.
    pub fn texts(&self) -> Vec<Vec<u8>> {
        let conditions = self.conditions().flat_map(|conditions| &conditions.fields);
        let listed = conditions.flat_map(|(_, wanted)| match wanted {
            FieldMatch::OneOf(texts) => texts.clone(),
            FieldMatch::Part { starts, ends, contains } => {
                [starts, ends, contains].into_iter().flatten().cloned().collect()
            }
            FieldMatch::Numbers(range) => [range.start(), range.end()].map(|end| end.to_be_bytes().to_vec()).into(),
            FieldMatch::Checksum(_) => Vec::new(),
        });
        listed.collect()
    }

    /// What the rules ask of a port.
    pub fn ports(&self, port: usize) -> impl Iterator<Item = &PortMatch> {
        let conditions = self.conditions().flat_map(|conditions| &conditions.ports);
        conditions.filter(move |(other, _)| *other == port).map(|(_, wanted)| wanted)
    }

    fn conditions(&self) -> impl Iterator<Item = &Conditions> {
        self.rules.iter().flat_map(|rule| rule.when.iter().chain(&rule.unless))
    }

    /// The first rule that fits says which branch.
    pub fn decide(&self, map: &Map, layout: &Layout, inputs: &Inputs) -> Decision {
        self.decide_with(&mut Table::default(), map, layout, inputs)
    }

    /// [`Acceptance::decide`] with room that was there before.
    pub fn decide_with(&self, table: &mut Table, map: &Map, layout: &Layout, inputs: &Inputs) -> Decision {
        table.clear(layout.fields().len());
        let mut seen = Seen { map, layout, inputs, fields: table };
        for (index, rule) in self.rules.iter().enumerate() {
            let when = rule.when.as_ref().map_or(Ok(true), |conditions| seen.hold(conditions));
            let fits = match when {
                // What a rule says of ports does not matter where its header fields already fail.
                Ok(false) => Ok(false),
                Ok(true) => rule.unless.as_ref().map_or(Ok(true), |conditions| Ok(!seen.hold(conditions)?)),
                Err(why) => Err(why),
            };
            match fits {
                Ok(true) => return Decision::Branch { branch: rule.branch, rule: index },
                Ok(false) => {}
                Err(why) => return Decision::Unclear(format!("rule {}: {why}", index + 1)),
            }
        }
        Decision::Silent
    }
}

impl Seen<'_> {
    fn hold(&mut self, conditions: &Conditions) -> Result<bool, String> {
        for (index, wanted) in &conditions.fields {
            if self.inputs.attached.contacts.flicker() {
                return Err("a contact flickers, so the header is not one fixed text".to_owned());
            }
            if self.adrift() {
                return Err("a data line is open on a bus that nothing holds, so what is read is chance".to_owned());
            }
            if matches!(wanted, FieldMatch::Checksum(_)) && !self.inputs.attached.contacts.good() {
                return Err("a contact is faulty, so the sum as it is read is not that of the image".to_owned());
            }
            if matches!(wanted, FieldMatch::Checksum(_)) && self.sums_chance(*index) {
                return Err("the checksum sums what no cartridge drives, so it is not one fixed value".to_owned());
            }
            if !self.field_fits(*index, wanted) {
                return Ok(false);
            }
        }
        for (index, wanted) in &conditions.ports {
            if !self.port_fits(*index, wanted)? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Whether a line of what is attached carries whatever was last on the bus.
    fn adrift(&self) -> bool {
        let held = matches!(self.inputs.empty, OpenBus::Ones | OpenBus::Zeros);
        let attached = &self.inputs.attached;
        !held && attached.image.is_some() && attached.contacts.data.iter().any(|fault| fault.is == Flaw::Open)
    }

    /// The bytes of a field as they show.
    fn field(&mut self, index: usize) -> &[Option<u8>] {
        if self.fields.0[index].is_none() {
            let field = &self.layout.fields()[index];
            let start = self.map.window().start() + field.at;
            let mut bytes = self.fields.1.pop().unwrap_or_default();
            bytes.clear();
            bytes.extend((start..start + field.length).map(|address| self.byte(address)));
            self.fields.0[index] = Some(bytes);
        }
        self.fields.0[index].as_deref().unwrap_or_default()
    }

    fn field_fits(&mut self, index: usize, wanted: &FieldMatch) -> bool {
        let field = &self.layout.fields()[index];
        let sum = if let FieldMatch::Checksum(_) = wanted { self.checksum(field) } else { None };
        let bytes = self.field(index);
        let equal = |left: &[Option<u8>], right: &[u8]| {
            left.len() == right.len() && left.iter().zip(right).all(|(left, right)| *left == Some(*right))
        };
        match wanted {
            FieldMatch::Numbers(range) => number(bytes).is_some_and(|value| range.contains(&value)),
            FieldMatch::Checksum(right) => sum.map(|sum| number(bytes) == Some(sum)) == Some(*right),
            FieldMatch::OneOf(texts) => texts.iter().any(|text| equal(bytes, text)),
            FieldMatch::Part { starts, ends, contains } => {
                let pad = if let Holds::Text(pad) = field.holds { Some(pad.byte()) } else { None };
                let used = bytes.iter().rposition(|byte| *byte != pad).map_or(0, |last| last + 1);
                starts.as_ref().is_none_or(|text| bytes.len() >= text.len() && equal(&bytes[..text.len()], text))
                    && ends
                        .as_ref()
                        .is_none_or(|text| used >= text.len() && equal(&bytes[used - text.len()..used], text))
                    && contains.as_ref().is_none_or(|text| {
                        text.len() <= bytes.len() && bytes.windows(text.len().max(1)).any(|part| equal(part, text))
                    })
            }
        }
    }

    /// Whether the sum of a checksum field covers bytes that are not one fixed value, though a cartridge is attached.
    fn sums_chance(&self, index: usize) -> bool {
        self.inputs.attached.image.is_some() && self.checksum(&self.layout.fields()[index]).is_none()
    }

    /// The sum of the part of the image that a checksum field covers, counted from what shows at the window's start.
    /// `None` if no image is attached.
    fn checksum(&self, field: &Field) -> Option<u32> {
        let Holds::Sum16 { from, to } = field.holds else { return None };
        let image = self.inputs.attached.image.as_ref()?;
        let base = shown_offset(*self.map.window().start(), image.size())?;
        let end = to.map_or(image.size(), |to| base.saturating_add(to));
        if end > image.size() {
            return self.sum_of_window(from..to?);
        }
        Some(u32::from(image.shown_sum16(base.saturating_add(from)..end)))
    }

    /// The sum of what shows in the window at these offsets from its start, where the image alone does not reach so far:
    /// it repeats, or leaves the bus open. `None` if any of it is not one fixed value.
    fn sum_of_window(&self, offsets: Range<u32>) -> Option<u32> {
        let window = self.map.window();
        let mut sum = 0u16;
        for offset in offsets.clone() {
            let address = window.start().checked_add(offset).filter(|address| window.contains(address))?;
            let weight = if (offset - offsets.start).is_multiple_of(2) { 8 } else { 0 };
            sum = sum.wrapping_add(u16::from(self.byte(address)?) << weight);
        }
        Some(u32::from(sum))
    }

    fn byte(&self, address: u32) -> Option<u8> {
        steady_byte(&self.inputs.attached, address, self.inputs.empty)
    }

    fn port_fits(&self, index: usize, wanted: &PortMatch) -> Result<bool, String> {
        let port = &self.map.ports()[index];
        let own = self.inputs.ports.get(index).and_then(Option::as_ref);
        let Some(schedule) = own.or(port.reads.as_ref()) else {
            return Err(format!("the port `{}` cannot be read", port.name));
        };
        let value = schedule.constant().ok_or_else(|| format!("the port `{}` changes during the run", port.name))?;
        Ok(wanted.fits(value))
    }
}

/// The big-endian number that known bytes make.
fn number(bytes: &[Option<u8>]) -> Option<u32> {
    bytes.iter().try_fold(0u32, |value, byte| Some(value << 8 | u32::from((*byte)?)))
}
