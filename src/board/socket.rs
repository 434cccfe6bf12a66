//! Socket decoding: which offset of an image shows at a bus address.
//!
//! Facts of the trade, common practice, no published source: the attached cartridge sees the whole address bus, so an
//! image's offset is the bus address modulo its size rounded up to a power of two. Mirrors, the upper half of larger
//! images and the hole of a 3 MiB image all follow from that one rule.

use std::ops::Range;

use super::OpenBus;
use crate::cartridge::{Attached, Flaw, Segment};
use crate::noise::Noise;

/// The 68000 has 24 address bits.
pub const BUS_MASK: u32 = 0xFF_FFFF;

/// The image offset that shows at a bus address for an image of `size` bytes; `None` where the image has no byte.
pub fn shown_offset(address: u32, size: u32) -> Option<u32> {
    let offset = address & (size.checked_next_power_of_two()? - 1);
    (offset < size).then_some(offset)
}

/// The socket in action: what is plugged in, and the stretch of the image that was read last.
#[derive(Clone, Debug)]
pub(super) struct Socket {
    attached: Attached,
    mask: u32,
    /// Whether what the image holds is what the bus sees.
    plain: bool,
    /// The stretch read last; empty unless `plain`.
    segment: Segment,
    /// Image offset of the last access; `None` for open bus.
    pub last: Option<u32>,
}

impl Socket {
    pub fn empty() -> Self {
        Self { attached: Attached::nothing(), mask: 0, plain: false, segment: Segment::default(), last: None }
    }

    pub fn plug(&mut self, attached: &Attached) {
        self.attached.image.clone_from(&attached.image);
        self.attached.contacts.copy(&attached.contacts);
        self.segment = Segment::default();
        self.last = None;
        self.plain = false;
        if let Some(image) = &attached.image {
            self.mask = image.size().next_power_of_two() - 1;
            self.plain = attached.contacts.good() && !image.swapped();
        }
    }

    /// The word at an even address if the stretch read last has it ready: the short way for loops over the window.
    #[inline]
    pub fn quick_word(&mut self, address: u32) -> Option<u16> {
        let offset = address & self.mask;
        let Range { start, end } = self.segment.offsets;
        if offset < start || offset + 1 >= end {
            return None;
        }
        self.last = Some(offset);
        self.attached.image.as_ref()?.stored_word(&self.segment, offset)
    }

    /// The byte at an address if the stretch read last has it ready.
    #[inline]
    pub fn quick_byte(&mut self, address: u32) -> Option<u8> {
        let offset = address & self.mask;
        if !self.segment.offsets.contains(&offset) {
            return None;
        }
        self.last = Some(offset);
        self.attached.image.as_ref()?.stored_byte(&self.segment, offset)
    }

    /// The word at an even address if it shows as one stretch of the image stores it, which then is the one read last.
    pub fn plain_word(&mut self, address: u32) -> Option<u16> {
        let offset = self.find_segment(address)?;
        if offset + 1 >= self.segment.offsets.end {
            return None;
        }
        self.last = Some(offset);
        Some(self.attached.image.as_ref()?.word_in_segment(&self.segment, offset))
    }

    /// Like [`Socket::plain_word`] for the byte at an address.
    pub fn plain_byte(&mut self, address: u32) -> Option<u8> {
        let offset = self.find_segment(address)?;
        self.last = Some(offset);
        Some(self.attached.image.as_ref()?.in_segment(&self.segment, offset))
    }

    /// The offset that shows at an address, and its stretch; `None` if the contacts or the byte order ask for the long
    /// way.
    fn find_segment(&mut self, address: u32) -> Option<u32> {
        let image = self.attached.image.as_ref().filter(|_| self.plain)?;
        let offset = shown_offset(address, image.size())?;
        self.segment = image.segment(offset);
        Some(offset)
    }

    /// The two lanes at the word of an even address, contact faults included; `None` in a lane for open bus. `open` is
    /// what open lines carry.
    pub fn lanes(&mut self, address: u32, open: u16, noise: &mut Noise) -> [Option<u8>; 2] {
        let Some(image) = self.attached.image.clone() else {
            self.last = None;
            return [None, None];
        };
        let contacts = &self.attached.contacts;
        let seen = contacts.address(address, noise);
        let offsets = [shown_offset(seen, image.size()), shown_offset(seen | 1, image.size())];
        let bytes = offsets.map(|offset| offset.and_then(|offset| image.byte(offset)));
        self.last = offsets[0];
        self.spoil(bytes, open, noise)
    }

    /// Applies the faults of the data lines to the lanes that the cartridge drives.
    fn spoil(&self, lanes: [Option<u8>; 2], open: u16, noise: &mut Noise) -> [Option<u8>; 2] {
        if self.attached.contacts.data.is_empty() {
            return lanes;
        }
        let [high, low] = open.to_be_bytes();
        let word = u16::from_be_bytes([lanes[0].unwrap_or(high), lanes[1].unwrap_or(low)]);
        let [high, low] = self.attached.contacts.data(word, open, noise).to_be_bytes();
        [lanes[0].map(|_| high), lanes[1].map(|_| low)]
    }

    /// The image offset that showed at an address of the last access; `None` for open bus.
    pub fn last_at(&self, address: u32) -> Option<u32> {
        let offset = (self.last? | address & 1) & self.mask;
        (offset < self.attached.image.as_ref()?.size()).then_some(offset)
    }

    /// Whether a cartridge with good contacts drives both lanes of the word at an even address.
    pub fn drives(&self, even: u32) -> bool {
        let size = self.attached.image.as_ref().map_or(0, |image| image.size());
        self.attached.contacts.good() && size > 0 && shown_offset(even | 1, size).is_some()
    }

    /// The byte that shows at an address with good contacts and known open-bus levels; `None` for open bus.
    pub fn peek(&self, address: u32) -> Option<u8> {
        let image = self.attached.image.as_ref()?;
        image.byte(shown_offset(address, image.size())?)
    }
}

impl OpenBus {
    /// What open lines carry when `last` was the last word on the bus. A bus error carries no data; a lane that stays
    /// open beside one that answers then floats.
    pub(super) fn word(self, last: u16, noise: &mut Noise) -> u16 {
        match self {
            OpenBus::Ones => 0xFFFF,
            OpenBus::Zeros => 0,
            OpenBus::Floating | OpenBus::BusError => last,
            OpenBus::Noise => noise.word(),
        }
    }
}

/// The byte that a program ought to see at a bus address of the window, stuck lines included; `None` where it is not
/// one fixed value (floating or noisy open bus, flickering lines).
pub fn steady_byte(attached: &Attached, address: u32, empty: OpenBus) -> Option<u8> {
    let (open, known) = match empty {
        OpenBus::Ones => (0xFFFF, true),
        OpenBus::Zeros => (0, true),
        OpenBus::Floating | OpenBus::Noise | OpenBus::BusError => (0, false),
    };
    let contacts = &attached.contacts;
    if contacts.flicker() {
        return None;
    }
    let mut noise = Noise::new(0);
    let image = attached.image.as_ref();
    let seen = contacts.address(address, &mut noise) & BUS_MASK;
    let shown = image.and_then(|image| image.byte(shown_offset(seen, image.size())?));
    let Some(byte) = shown else { return known.then_some(open as u8) };
    let lane = |line: u8| if address & 1 == 0 { line >= 8 } else { line < 8 };
    if !known && contacts.data.iter().any(|fault| fault.is == Flaw::Open && lane(fault.line)) {
        return None;
    }
    let word = contacts.data(u16::from_be_bytes([byte, byte]), open, &mut noise);
    Some(word.to_be_bytes()[(address & 1) as usize])
}
