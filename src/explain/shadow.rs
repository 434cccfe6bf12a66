//! What every byte of the machine hangs on: a [`Mark`] beside each byte of the registers and of RAM.

use m68000::Registers;

use super::sources::{Source, Taint};
use crate::board::{Map, Place};

/// What is known of a byte's past.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Mark {
    /// What from outside it hangs on.
    pub taint: Taint,
    /// The bus address from which it was copied unchanged, plus one; 0 for a byte that was computed.
    copied_from: u32,
}

impl Mark {
    /// A byte that hangs on nothing and was computed.
    pub const CLEAN: Mark = Mark { taint: Taint::CLEAN, copied_from: 0 };

    /// A byte as it stands at a bus address.
    pub fn at(address: u32, taint: Taint) -> Self {
        Self { taint, copied_from: address + 1 }
    }

    /// A byte computed from what this taint names.
    pub fn computed(taint: Taint) -> Self {
        Self { taint, copied_from: 0 }
    }

    /// The bus address from which it was copied unchanged.
    pub fn origin(self) -> Option<u32> {
        self.copied_from.checked_sub(1)
    }
}

/// The marks of a value, its lowest byte first; bytes beyond its width are clean.
pub(super) type Marks = [Mark; 4];

/// Nothing known to come from outside.
pub(super) const CLEAN: Marks = [Mark::CLEAN; 4];

/// The marks of the registers.
#[derive(Clone, Debug, Default)]
pub(super) struct ShadowRegisters {
    data: [Marks; 8],
    /// A0 to A6, then the user and the supervisor stack pointer.
    address: [Marks; 9],
    supervisor: bool,
}

impl ShadowRegisters {
    /// Follows the stack pointer that is active now.
    pub fn follow(&mut self, registers: &Registers) {
        self.supervisor = registers.sr.s;
    }

    fn place(&self, number: u8) -> usize {
        if number == 7 { 7 + usize::from(self.supervisor) } else { usize::from(number & 7) }
    }

    pub fn data(&self, number: u8) -> &Marks {
        &self.data[usize::from(number & 7)]
    }

    pub fn data_mut(&mut self, number: u8) -> &mut Marks {
        &mut self.data[usize::from(number & 7)]
    }

    pub fn address(&self, number: u8) -> &Marks {
        &self.address[self.place(number)]
    }

    pub fn address_mut(&mut self, number: u8) -> &mut Marks {
        &mut self.address[self.place(number)]
    }

    /// The marks of all registers.
    pub fn all(&self) -> Vec<Mark> {
        self.data.iter().chain(&self.address).flatten().copied().collect()
    }

    /// The user stack pointer, for MOVE USP.
    pub fn user_stack(&mut self) -> &mut Marks {
        &mut self.address[7]
    }
}

/// Bytes of a page of marks.
const PAGE: usize = 256;

/// The marks of one RAM area. Pages are made when they are first written.
#[derive(Clone, Debug)]
struct Area {
    start: u32,
    size: u32,
    pages: Vec<Option<Box<[Option<Mark>; PAGE]>>>,
}

/// The marks of RAM; a byte that nothing has written has none.
#[derive(Clone, Debug)]
pub(super) struct ShadowRam {
    areas: Vec<Area>,
    /// Pages in use, by area and index.
    used: Vec<(usize, usize)>,
    #[expect(clippy::vec_box, reason = "pages change hands without being copied")]
    spare: Vec<Box<[Option<Mark>; PAGE]>>,
}

impl ShadowRam {
    /// The RAM of a map, nothing written.
    pub fn new(map: &Map) -> Self {
        let area = |area: &crate::board::RamArea| Area {
            start: *area.range.start(),
            size: area.size,
            pages: vec![None; (area.size as usize).div_ceil(PAGE)],
        };
        Self { areas: map.memory().iter().map(area).collect(), used: Vec::new(), spare: Vec::new() }
    }

    /// Forgets everything that was written.
    pub fn clear(&mut self) {
        for (area, page) in self.used.drain(..) {
            self.spare.extend(self.areas[area].pages[page].take());
        }
    }

    /// The mark of the byte at an address of an area.
    pub fn get(&self, area: usize, address: u32) -> Mark {
        let (page, byte) = self.areas[area].split(address);
        let mark = self.areas[area].pages.get(page).and_then(Option::as_ref).and_then(|page| page[byte]);
        mark.unwrap_or_else(|| Mark::at(address, Taint::of(Source::Ram(address))))
    }

    /// Marks the byte at an address, if RAM is there.
    pub fn set(&mut self, place: Place, address: u32, mark: Mark) {
        let Place::Ram(area) = place else { return };
        let (page, byte) = self.areas[area].split(address);
        let Some(slot) = self.areas[area].pages.get_mut(page) else { return };
        let marks = slot.get_or_insert_with(|| {
            self.used.push((area, page));
            let mut fresh = self.spare.pop().unwrap_or_else(|| Box::new([None; PAGE]));
            fresh.fill(None);
            fresh
        });
        marks[byte] = Some(mark);
    }
}

impl Area {
    /// Page and byte of an address; an area that is larger than its RAM repeats it.
    fn split(&self, address: u32) -> (usize, usize) {
        let offset = (address.wrapping_sub(self.start) % self.size.max(1)) as usize;
        (offset / PAGE, offset % PAGE)
    }
}
