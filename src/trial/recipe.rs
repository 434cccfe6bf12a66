//! What one run gets, as a recipe: [`Trial`] says what is plugged in and what the ports read, and builds it.
//!
//! A trial can always be written as a case: whatever [`Trial::repair`] has put right, `keyway check` accepts.

use std::sync::Arc;

use crate::board::{Inputs, OpenBus, Schedule};
use crate::cartridge::{Attached, Checksum, Contacts, Fill, Holds, Image, LARGEST_IMAGE, Layout};
use crate::rom::ByteOrder;
use crate::run::{Setup, Timing};
use crate::suite::Harness;

/// The most bytes that stand outside of all fields.
pub const MOST_RAW: usize = 64;

/// The most header copies.
pub const MOST_COPIES: usize = 3;

/// The inputs of one run, by what they mean.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Trial {
    /// The cartridge; `None` for an empty socket.
    pub plug: Option<Plug>,
    /// What the window reads where no cartridge answers; `None` for what the harness says.
    pub empty: Option<OpenBus>,
    /// What ports read, by index; `None` for what the harness says.
    pub ports: Vec<Option<Schedule>>,
    /// When devices interrupt, by index; `None` for what the harness says.
    pub interrupts: Vec<Option<Timing>>,
}

/// A cartridge, by what its parts mean.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Plug {
    /// Size in bytes, 1 to [`LARGEST_IMAGE`].
    pub size: u32,
    /// What stands where nothing is put; `None` for seeded noise.
    pub fill: Option<u8>,
    /// Whether each pair of bytes shows exchanged.
    pub swapped: bool,
    /// What each field holds, by index in the layout.
    pub fields: Vec<Held>,
    /// Bytes outside of all fields, by offset, in order.
    pub raw: Vec<(u32, u8)>,
    /// Offsets at which the header stands once more, in order.
    pub copies: Vec<u32>,
    /// Contact faults.
    pub contacts: Contacts,
}

/// What a header field holds.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Held {
    /// Nothing was put there: the fill shows.
    Absent,
    /// These bytes, as many as the field has.
    Bytes(Arc<[u8]>),
    /// A checksum, computed or spoilt.
    Sum(Checksum),
}

impl Trial {
    /// An empty socket, and everything else as the harness says.
    pub fn nothing(harness: &Harness) -> Self {
        let rig = &harness.rig;
        Self {
            plug: None,
            empty: None,
            ports: vec![None; rig.map.ports().len()],
            interrupts: vec![None; rig.interrupts.len()],
        }
    }

    /// A cartridge, and everything else as the harness says.
    pub fn of(plug: Plug, harness: &Harness) -> Self {
        Self { plug: Some(plug), ..Self::nothing(harness) }
    }

    /// Makes these the inputs of `setup`.
    pub fn set_up(&self, setup: &mut Setup, harness: &Harness, seed: u64) {
        let Setup { inputs, interrupts, .. } = setup;
        let Inputs { attached, empty, ports, seed: noise } = inputs;
        match &self.plug {
            None => *attached = Attached::nothing(),
            Some(plug) => {
                attached.image = Some(Arc::new(plug.image(&harness.layout, seed)));
                attached.contacts.clone_from(&plug.contacts);
            }
        }
        *empty = self.empty.unwrap_or(harness.empty);
        ports.clone_from(&self.ports);
        interrupts.clone_from(&self.interrupts);
        *noise = seed;
    }

    /// What a port reads.
    pub fn schedule<'a>(&'a self, port: usize, harness: &'a Harness) -> Option<&'a Schedule> {
        self.ports[port].as_ref().or(harness.rig.map.ports()[port].reads.as_ref())
    }

    /// Puts right what a case file could not say, or what would say nothing.
    pub fn repair(&mut self, harness: &Harness) {
        if let Some(plug) = &mut self.plug {
            plug.repair(&harness.layout);
        }
        if self.empty == Some(harness.empty) {
            self.empty = None;
        }
        for (port, own) in harness.rig.map.ports().iter().zip(&mut self.ports) {
            if port.reads.is_none() || port.reads == *own {
                *own = None;
            }
        }
        for (device, own) in harness.rig.interrupts.iter().zip(&mut self.interrupts) {
            if *own == Some(device.timing) {
                *own = None;
            }
        }
    }
}

impl Plug {
    /// An erased cartridge.
    pub fn erased(size: u32, layout: &Layout) -> Self {
        Self {
            size,
            fill: Some(0xFF),
            swapped: false,
            fields: vec![Held::Absent; layout.fields().len()],
            raw: Vec::new(),
            copies: Vec::new(),
            contacts: Contacts::default(),
        }
    }

    /// Builds the image, in the order in which a recipe does: fields, bytes, checksums, header copies.
    pub fn image(&self, layout: &Layout, seed: u64) -> Image {
        let mut image = Image::new(self.size, self.fill.map_or(Fill::Noise(seed), Fill::Byte));
        for (field, held) in layout.fields().iter().zip(&self.fields) {
            if let Held::Bytes(bytes) = held {
                image.put(field.at, Arc::clone(bytes));
            }
        }
        for run in self.raw.chunk_by(|left, right| left.0 + 1 == right.0) {
            let bytes: Vec<u8> = run.iter().map(|(_, byte)| *byte).collect();
            image.put(run[0].0, bytes);
        }
        self.put_sums(&mut image, layout);
        for copy in &self.copies {
            image.copy(0..layout.extent().end, *copy);
        }
        image.set_order(if self.swapped { ByteOrder::Swapped } else { ByteOrder::Normal });
        image
    }

    /// A sum may lie in what another one sums: each is written as often as there are some, as recipes do.
    fn put_sums(&self, image: &mut Image, layout: &Layout) {
        let sums = || {
            layout.fields().iter().zip(&self.fields).filter_map(|(field, held)| match (held, &field.holds) {
                (Held::Sum(sum), Holds::Sum16 { from, to }) => Some((field.at, *from..to.unwrap_or(self.size), *sum)),
                _ => None,
            })
        };
        for (at, range, sum) in sums().flat_map(|_| sums()) {
            let right = image.sum16(range);
            let written = match sum {
                Checksum::Right => right,
                Checksum::Wrong => right.wrapping_add(1),
            };
            image.put(at, written.to_be_bytes());
        }
    }

    /// The byte that is put at an offset of the image, before byte order; `None` where the fill shows, or a sum.
    pub fn byte(&self, offset: u32, layout: &Layout) -> Option<u8> {
        match field_at(offset, layout) {
            Some((index, within)) => match &self.fields[index] {
                Held::Bytes(bytes) => bytes.get(within).copied(),
                Held::Absent | Held::Sum(_) => None,
            },
            None => self.raw.binary_search_by_key(&offset, |raw| raw.0).ok().map(|place| self.raw[place].1),
        }
    }

    /// Puts a byte at an offset of the image, before byte order: into its field, or outside of all fields.
    pub fn put(&mut self, offset: u32, byte: u8, layout: &Layout) {
        let Some((index, within)) = field_at(offset, layout) else {
            match self.raw.binary_search_by_key(&offset, |raw| raw.0) {
                Ok(place) => self.raw[place].1 = byte,
                Err(place) => self.raw.insert(place, (offset, byte)),
            }
            return;
        };
        let mut bytes = self.field(index, layout);
        bytes[within] = byte;
        self.fields[index] = Held::Bytes(bytes.into());
    }

    /// The bytes of a field, as they stand: those of the fill where nothing is put (zeros for noise and for sums).
    pub fn field(&self, index: usize, layout: &Layout) -> Vec<u8> {
        match &self.fields[index] {
            Held::Bytes(bytes) => bytes.to_vec(),
            Held::Absent => vec![self.fill.unwrap_or(0); layout.fields()[index].length as usize],
            Held::Sum(_) => vec![0; layout.fields()[index].length as usize],
        }
    }

    /// Puts right what a recipe refuses: parts beyond the image, sums of what it lacks, header copies that overlap.
    fn repair(&mut self, layout: &Layout) {
        self.size = self.size.clamp(1, LARGEST_IMAGE);
        for (field, held) in layout.fields().iter().zip(&mut self.fields) {
            let sums = match (&*held, &field.holds) {
                (Held::Sum(_), Holds::Sum16 { from, to }) => {
                    let end = to.unwrap_or(self.size);
                    *from < end && end <= self.size
                }
                (Held::Sum(_), _) => false,
                _ => true,
            };
            if field.range().end > self.size || !sums {
                *held = Held::Absent;
            }
        }
        let size = self.size;
        self.raw.retain(|(offset, _)| *offset < size && layout.at(*offset).is_none());
        self.raw.truncate(MOST_RAW);
        self.repair_copies(layout);
    }

    fn repair_copies(&mut self, layout: &Layout) {
        let header = layout.extent().end;
        let fields = layout.fields().iter().zip(&self.fields).filter(|(_, held)| **held != Held::Absent);
        let ends = fields.map(|(field, _)| field.range().end).chain(self.raw.iter().map(|(offset, _)| offset + 1));
        let used = ends.filter(|end| *end <= header).max().unwrap_or(0);
        let size = self.size;
        let mut kept: Vec<u32> = Vec::new();
        self.copies.retain(|copy| {
            let fits = used > 0 && *copy >= header && u64::from(*copy) + u64::from(used) <= u64::from(size);
            let keep = fits && kept.len() < MOST_COPIES && kept.iter().all(|other| other.abs_diff(*copy) >= used);
            if keep {
                kept.push(*copy);
            }
            keep
        });
    }
}

/// The first field that covers an offset, and the place within it.
fn field_at(offset: u32, layout: &Layout) -> Option<(usize, usize)> {
    let covers = |field: &crate::cartridge::Field| field.range().contains(&offset);
    let index = layout.fields().iter().position(covers)?;
    Some((index, (offset - layout.fields()[index].at) as usize))
}

impl Plug {
    /// Where the byte that shows at an offset of the image is stored.
    pub fn stored(&self, offset: u32) -> u32 {
        let other = offset ^ 1;
        if self.swapped && offset.max(other) < self.size { other } else { offset }
    }

    /// The offset in the header of which an offset in a header copy is the copy; others are their own.
    pub fn original(&self, offset: u32, layout: &Layout) -> u32 {
        let header = layout.extent().end;
        let copy = self.copies.iter().find(|copy| (**copy..copy.saturating_add(header)).contains(&offset));
        copy.map_or(offset, |copy| offset - copy)
    }
}
