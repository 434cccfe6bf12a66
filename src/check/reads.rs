//! Watches whether the attached image is read where a case does not allow it.

use std::ops::Range;

use m68000::Registers;

use crate::board::{Access, Bus, Observer, Place};

/// The first read outside of the allowed offsets.
#[derive(Clone, Debug, Default)]
pub struct ReadsObserver {
    /// Allowed image offsets.
    pub allowed: Vec<Range<u32>>,
    /// The first read elsewhere: bus address, image offset, program counter.
    pub stray: Option<(u32, Option<u32>, u32)>,
    /// Address of the instruction that runs.
    pub pc: u32,
}

impl Observer for ReadsObserver {
    fn fetch(&mut self, at: u32, _: &Registers, _: &Bus) {
        self.pc = at;
    }

    fn read(&mut self, access: &Access) {
        if access.place != Place::Window || self.stray.is_some() {
            return;
        }
        for index in 0..access.size.bytes() {
            let offset = access.offset.map(|offset| offset + index);
            let allowed = offset.is_some_and(|offset| self.allowed.iter().any(|range| range.contains(&offset)));
            if !allowed {
                self.stray = Some((access.address + index, offset, self.pc));
                return;
            }
        }
    }
}
