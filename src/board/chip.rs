//! ROM as the bus reads it.

use std::sync::Arc;

use super::BUS_MASK;

/// The word at an offset, if all of it is there.
#[inline]
pub(super) fn word(bytes: &[u8], at: u32) -> Option<u16> {
    let at = at as usize;
    let [high, low] = *bytes.get(at..at + 2)?.first_chunk()?;
    Some(u16::from_be_bytes([high, low]))
}

/// A ROM that repeats by the rule of the socket (see [`super::shown_offset`]).
#[derive(Clone, Debug)]
pub(super) struct Chip {
    start: u32,
    mask: u32,
    bytes: Arc<[u8]>,
}

impl Chip {
    /// Bytes that show from a bus address on.
    pub fn new(start: u32, bytes: Arc<[u8]>) -> Self {
        Self { start, mask: ((bytes.len() as u32).next_power_of_two() - 1) & BUS_MASK, bytes }
    }

    /// The byte that shows at a bus address.
    #[inline]
    pub fn byte(&self, address: u32) -> Option<u8> {
        self.bytes.get(self.offset(address) as usize).copied()
    }

    /// The word that shows at a bus address.
    #[inline]
    pub fn word(&self, address: u32) -> Option<u16> {
        word(&self.bytes, self.offset(address))
    }

    #[inline]
    fn offset(&self, address: u32) -> u32 {
        address.wrapping_sub(self.start) & self.mask
    }
}
