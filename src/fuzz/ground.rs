//! What may be varied on a harness, and what to vary it with.
//!
//! Everything here is worked out once: the sizes around the window, the texts that stand in the acceptance table and in
//! the host ROM, the values that a port may read.

use clap::ValueEnum;

use crate::board::OpenBus;
use crate::cartridge::LARGEST_IMAGE;
use crate::suite::Harness;
use crate::verdict::PortMatch;

/// What of a trial is varied.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, ValueEnum)]
pub enum Part {
    /// Header fields, and bytes of the image outside of them.
    Header,
    /// Checksum fields: right, wrong, any value.
    Checksums,
    /// The size of the image.
    Size,
    /// Header copies.
    Copies,
    /// What stands where nothing is put.
    Fill,
    /// The byte order of the image.
    ByteOrder,
    /// Whether anything is attached.
    Presence,
    /// What the window reads where no cartridge answers.
    OpenBus,
    /// Faulty contacts.
    Contacts,
    /// What ports read.
    Ports,
    /// When devices interrupt for the first time; their periods stay.
    Interrupts,
}

impl Part {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Header,
        Self::Checksums,
        Self::Size,
        Self::Copies,
        Self::Fill,
        Self::ByteOrder,
        Self::Presence,
        Self::OpenBus,
        Self::Contacts,
        Self::Ports,
        Self::Interrupts,
    ];

    /// How often it is chosen, beside the others.
    pub(super) fn weight(self) -> usize {
        match self {
            Self::Header => 24,
            Self::Size | Self::Ports => 4,
            Self::Checksums | Self::Copies | Self::Contacts | Self::Interrupts => 2,
            Self::Fill | Self::ByteOrder | Self::Presence | Self::OpenBus => 1,
        }
    }
}

/// Shortest text of the host ROM that is taken for one.
const SHORTEST_TEXT: usize = 4;

/// The most texts that are taken from the host ROM.
const MOST_TEXTS: usize = 2048;

/// The longest text that is taken from the host ROM, in bytes.
const LONGEST_TEXT: usize = 64;

/// What there is to vary.
#[derive(Clone, Debug)]
pub struct Ground {
    /// The parts that are varied, each as often as its weight.
    pub parts: Vec<Part>,
    /// The fields that are varied, by index; pinned ones are not.
    pub fields: Vec<usize>,
    /// Sizes of images.
    pub sizes: Vec<u32>,
    /// Texts and numbers to put into fields.
    pub texts: Vec<Vec<u8>>,
    /// Of each port the values that it may be told by; empty for one that cannot be read.
    pub values: Vec<Vec<u16>>,
    /// Image offsets around the fields.
    pub offsets: std::ops::Range<u32>,
    /// The size of the window.
    pub room: u32,
}

impl Ground {
    /// What there is to vary on a harness; `only` narrows the parts, `pinned` fields stay as they are.
    pub fn new(harness: &Harness, only: &[Part], pinned: &[usize]) -> Self {
        let map = &harness.rig.map;
        let room = map.window().end() - map.window().start() + 1;
        let extent = harness.layout.extent();
        let fields: Vec<usize> = (0..harness.layout.fields().len()).filter(|index| !pinned.contains(index)).collect();
        Self {
            parts: parts(harness, only, &fields),
            fields,
            sizes: sizes(room, extent.end),
            texts: texts(harness),
            values: (0..map.ports().len()).map(|port| values(harness, port)).collect(),
            // Headers are laid out in blocks; what stands beside the declared fields may be read too.
            offsets: (extent.start & !0xFF)..((extent.end.max(1) + 0xFF) & !0xFF).min(LARGEST_IMAGE),
            room,
        }
    }
}

/// The parts that this harness has, as often as their weights.
fn parts(harness: &Harness, only: &[Part], fields: &[usize]) -> Vec<Part> {
    let map = &harness.rig.map;
    let sums = harness.layout.fields().iter().enumerate().filter(|(index, _)| fields.contains(index));
    let sums = sums.filter(|(_, field)| matches!(field.holds, crate::cartridge::Holds::Sum16 { .. })).count();
    let there = |part: &Part| match part {
        Part::Checksums => sums > 0,
        Part::Ports => map.ports().iter().any(|port| port.reads.is_some()),
        Part::Interrupts => harness.rig.interrupts.iter().any(|device| device.timing.first.is_some()),
        Part::OpenBus => harness.empty != OpenBus::BusError,
        _ => true,
    };
    let wanted = |part: &Part| only.is_empty() || only.contains(part);
    let parts = Part::ALL.into_iter().filter(there).filter(wanted);
    parts.flat_map(|part| std::iter::repeat_n(part, part.weight())).collect()
}

/// Sizes around the window and around the header, and powers of two.
fn sizes(room: u32, header: u32) -> Vec<u32> {
    let around = |size: u32| [size.saturating_sub(1), size, size.saturating_add(1)];
    let mut sizes = vec![1, 2, header, header + 1, room / 2 + room / 4, room.saturating_add(room / 2)];
    sizes.extend([room / 2, room, room.saturating_mul(2)].into_iter().flat_map(around));
    sizes.extend((8..=24).map(|power| 1 << power));
    sizes.retain(|size| (1..=LARGEST_IMAGE).contains(size));
    sizes.sort_unstable();
    sizes.dedup();
    sizes
}

/// The texts of the acceptance table, and what looks like a text in the host ROM.
fn texts(harness: &Harness) -> Vec<Vec<u8>> {
    let mut texts = harness.acceptance.texts();
    let host = harness.rig.map.host();
    let printable = host.bytes().chunk_by(|left, right| graphic(*left) && graphic(*right));
    let long = printable.filter(|run| run.len() >= SHORTEST_TEXT);
    texts.extend(long.take(MOST_TEXTS).map(|run| run[..run.len().min(LONGEST_TEXT)].to_vec()));
    texts.sort();
    texts.dedup();
    texts
}

fn graphic(byte: u8) -> bool {
    (0x20..0x7F).contains(&byte)
}

/// What a port may read: what the acceptance table asks of it, single bits, all and nothing, what the harness says.
fn values(harness: &Harness, port: usize) -> Vec<u16> {
    let plan = &harness.rig.map.ports()[port];
    let Some(reads) = &plan.reads else { return Vec::new() };
    let bits = 8 * plan.size.bytes();
    let all = u16::MAX >> (16 - bits);
    let mut values = vec![0, all, reads.value(0, 0), reads.value(u32::MAX, u64::MAX)];
    values.extend((0..bits).flat_map(|bit| [1 << bit, all & !(1 << bit)]));
    for wanted in harness.acceptance.ports(port) {
        match wanted {
            PortMatch::OneOf(listed) => values.extend(listed),
            PortMatch::Bits { mask, is } => values.extend([*is, is ^ mask, is | !mask & all]),
        }
    }
    values.retain(|value| value & !all == 0);
    values.sort_unstable();
    values.dedup();
    values
}

/// Rules for open bus. Whether nothing acknowledges, a bus error, is the machine's own doing: it is not varied.
pub const OPEN_BUSES: [OpenBus; 4] = [OpenBus::Ones, OpenBus::Zeros, OpenBus::Floating, OpenBus::Noise];
