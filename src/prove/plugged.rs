//! A way of being attached, and what of it shows: bytes that are known, bytes that are not, and open lines.

use std::collections::BTreeMap;
use std::ops::{Range, RangeInclusive};
use std::sync::Arc;

use super::Domain;
use super::logic::{Term, Terms};
use super::unknowns::{Source, Unknowns};
use crate::board::shown_offset;
use crate::cartridge::Image;

/// What is plugged in.
#[derive(Clone, Debug)]
pub struct Plugged {
    /// The image, with whatever its unknown bytes happen to hold; `None` for an empty socket.
    pub image: Option<Arc<Image>>,
    /// The unknown bytes: offsets, and the offset in the header of which each is the copy.
    unknown: BTreeMap<u32, u32>,
}

impl Plugged {
    /// An empty socket.
    pub fn nothing() -> Self {
        Self { image: None, unknown: BTreeMap::new() }
    }

    /// An image of which the bytes at these offsets are unknown; a copy of them stands behind each of `copies`.
    pub fn image(image: Arc<Image>, unknown: &[RangeInclusive<u32>], copies: &[u32]) -> Self {
        let mut map = BTreeMap::new();
        for offset in unknown.iter().cloned().flatten().filter(|offset| *offset < image.size()) {
            map.insert(offset, offset);
        }
        let originals: Vec<u32> = map.keys().copied().collect();
        for copy in copies {
            for offset in &originals {
                let at = copy.saturating_add(*offset);
                if at < image.size() {
                    map.entry(at).or_insert(*offset);
                }
            }
        }
        Self { image: Some(image), unknown: map }
    }

    /// The byte that shows at a bus address; `None` for open lines.
    pub fn byte(&self, terms: &mut Terms, unknowns: &mut Unknowns, address: u32) -> Option<Term> {
        let image = self.image.as_ref()?;
        let offset = shown_offset(address, image.size())?;
        if let Some(original) = self.unknown.get(&offset) {
            return Some(unknowns.term(terms, Source::Image(*original), 8));
        }
        image.byte(offset).map(|byte| terms.number(8, u64::from(byte)))
    }

    /// Whether the image drives an address.
    pub fn drives(&self, address: u32) -> bool {
        self.image.as_ref().is_some_and(|image| shown_offset(address, image.size()).is_some())
    }

    /// The offsets of unknown bytes of which none is the copy of another.
    pub fn originals(&self) -> impl Iterator<Item = u32> + '_ {
        self.unknown.iter().filter(|(offset, original)| offset == original).map(|(offset, _)| *offset)
    }

    /// The unknown bytes at these offsets, each with the offset in the header of which it is the copy.
    pub fn unknown_within(&self, offsets: Range<u32>) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.unknown.range(offsets).map(|(offset, original)| (*offset, *original))
    }

    /// The offset in the header of the unknown byte that shows at an address.
    pub fn original_at(&self, address: u32) -> Option<u32> {
        self.seen(address)?.ok()
    }

    /// Whether two ways show the same at an address.
    pub fn same_at(&self, other: &Self, address: u32) -> bool {
        self.seen(address) == other.seen(address)
    }

    /// What shows: an unknown byte by its offset, or a known one; nothing for open lines.
    fn seen(&self, address: u32) -> Option<Result<u32, u8>> {
        let image = self.image.as_ref()?;
        let offset = shown_offset(address, image.size())?;
        match self.unknown.get(&offset) {
            Some(original) => Some(Ok(*original)),
            None => image.byte(offset).map(Err),
        }
    }
}
