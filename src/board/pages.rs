//! The page table of the bus: which short way, if any, leads to what answers at an address.
//!
//! [`super::Map`] makes the table of a board on which no overlay shows; each [`super::Bus`] has its own, in which they do.

use std::ops::RangeInclusive;

/// The bus is looked up in pages of this many address bits.
const PAGE_BITS: u32 = 12;
const PAGE_SIZE: u32 = 1 << PAGE_BITS;
const PAGES: usize = 1 << (24 - PAGE_BITS);

/// How a page is served: by the short ways below, or byte by byte. Only RAM has a short way for writes.
pub(super) mod page {
    pub const SLOW: u8 = 0;
    /// Only the host answers here, as far as its image goes.
    pub const HOST: u8 = 1;
    pub const WINDOW: u8 = 2;
    /// This plus the index of an overlay.
    pub const OVERLAY: u8 = 3;
    /// This plus the index of a RAM area.
    pub const RAM: u8 = 0x80;
}

/// How each page of the bus is served.
#[derive(Clone, Debug)]
pub(super) struct Pages([u8; PAGES]);

impl Pages {
    /// Everything the long way.
    pub fn slow() -> Self {
        Self([page::SLOW; PAGES])
    }

    /// Each page as `kind` says of its first and last address.
    pub fn new(kind: impl Fn(u32, u32) -> u8) -> Self {
        let start = |page: usize| (page as u32) << PAGE_BITS;
        Self(std::array::from_fn(|page| kind(start(page), start(page) + PAGE_SIZE - 1)))
    }

    /// How a bus address is served.
    #[inline]
    pub fn at(&self, address: u32) -> u8 {
        self.0[(address >> PAGE_BITS) as usize % PAGES]
    }

    /// Serves a range as `other` does, whole pages at a time.
    pub fn restore(&mut self, range: &RangeInclusive<u32>, other: &Pages) {
        let pages = Self::of(range);
        self.0[pages.clone()].copy_from_slice(&other.0[pages]);
    }

    /// Lets a range be served in one way, except in its first and last page if it holds them only in part.
    pub fn cover(&mut self, range: &RangeInclusive<u32>, kind: u8) {
        let pages = Self::of(range);
        let (first, last) = (*pages.start(), *pages.end());
        self.0[pages].fill(kind);
        if !range.start().is_multiple_of(PAGE_SIZE) {
            self.0[first] = page::SLOW;
        }
        if !(range.end() + 1).is_multiple_of(PAGE_SIZE) {
            self.0[last] = page::SLOW;
        }
    }

    /// Takes the short ways from every page that a range touches.
    pub fn slow_down(&mut self, range: &RangeInclusive<u32>) {
        self.0[Self::of(range)].fill(page::SLOW);
    }

    fn of(range: &RangeInclusive<u32>) -> RangeInclusive<usize> {
        (range.start() >> PAGE_BITS) as usize..=(range.end() >> PAGE_BITS) as usize
    }
}
