//! What comes over the bus: marks for the bytes that are read, and the words of the prefetch queue.

use super::evidence::Looked;
use super::follow::ReadByte;
use super::op::Op;
use super::shadow::Mark;
use super::sources::{Source, Taint};
use super::tracer::{QUEUE, REMEMBERED, Tracer};
use crate::board::{Access, Bus, Place, PortSize, shown_offset};
use crate::cpu::decode;

/// A word of code as it was fetched.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fetched {
    address: u32,
    value: u16,
    taint: Taint,
    host: bool,
}

impl Fetched {
    /// No word yet; no address is odd.
    pub const NONE: Self = Self { address: 1, value: 0, taint: Taint::CLEAN, host: true };
}

impl Tracer {
    /// What the instruction at an address does. Its words are those that were fetched, which memory need not hold any
    /// more: an overlay may have gone since, or the program may have changed itself.
    pub(super) fn decode(&mut self, at: u32, bus: &Bus) -> Op {
        let index = self.op_index(at);
        if self.foreign == 0
            && bus.place(at) == Place::Host
            && let Some(op) = index.and_then(|index| self.ops.get(index)).copied().flatten()
        {
            self.follow.code = Taint::CLEAN;
            return op;
        }
        let from_host = match self.word_fetched(at) {
            Some(word) => word.host,
            None => bus.place(at) == Place::Host,
        };
        let word = |address| self.word_fetched(address).map_or_else(|| bus.peek_word(address), |word| word.value);
        let decoded = decode(at, word);
        let op = Op::of(&decoded);
        self.follow.code = Taint::CLEAN;
        if from_host {
            self.keep_op(index, op);
        } else {
            self.executes(at, decoded.length, bus);
        }
        op
    }

    /// Where the op of an address of the host ROM is kept.
    fn op_index(&self, at: u32) -> Option<usize> {
        Some(at.checked_sub(self.rig.map.host().origin())? as usize / 2)
    }

    fn keep_op(&mut self, index: Option<usize>, op: Op) {
        let Some(index) = index else { return };
        if index >= self.ops.len() {
            self.ops.resize(index + 1, None);
        }
        self.ops[index] = Some(op);
    }

    /// The word that was last fetched from an address, if that is not long ago.
    fn word_fetched(&self, address: u32) -> Option<Fetched> {
        let newest_first = (1..=QUEUE).map(|back| self.fetched[(self.newest + QUEUE - back) % QUEUE]);
        newest_first.into_iter().find(|word| word.address == address)
    }

    /// Code outside the host ROM: the way of the run hangs on its bytes.
    fn executes(&mut self, at: u32, length: u32, bus: &Bus) {
        for address in (at..at + length).step_by(2) {
            let taint = match self.word_fetched(address) {
                Some(word) => word.taint,
                None => {
                    let bytes = [address, address + 1].map(|address| self.mark_peeked(bus.place(address), address));
                    self.follow.all(&bytes)
                }
            };
            self.follow.code = self.follow.join(self.follow.code, taint);
        }
        self.influenced(self.follow.code);
    }

    /// A word came into the queue.
    pub(super) fn fetched(&mut self, access: &Access) {
        let host = access.place == Place::Host;
        let mut taint = Taint::CLEAN;
        self.last = [Taint::CLEAN; 2];
        self.now.wrote_last = false;
        if !host && !matches!(access.place, Place::Overlay(_)) {
            let marks = [0, 1].map(|index| self.mark_of(access, index));
            self.last = marks.map(|mark| mark.taint);
            taint = self.follow.all(&marks);
        }
        let oldest = &mut self.fetched[self.newest];
        self.foreign -= usize::from(!oldest.host);
        self.foreign += usize::from(!host);
        *oldest = Fetched { address: access.address, value: access.value, taint, host };
        self.newest = (self.newest + 1) % QUEUE;
    }

    /// Something was read that the processor takes no notice of; a floating bus does.
    pub(super) fn dropped(&mut self, access: &Access) {
        for index in 0..access.size.bytes() {
            let mark = self.mark_of(access, index);
            self.last[((access.address + index) & 1) as usize] = mark.taint;
        }
    }

    /// Operand bytes were read.
    pub(super) fn take(&mut self, access: &Access) {
        for index in 0..access.size.bytes() {
            let mark = self.mark_of(access, index);
            let address = access.address + index;
            let value = match access.size {
                PortSize::Byte => access.value as u8,
                PortSize::Word => (access.value >> (8 * (1 - index))) as u8,
            };
            if access.place == Place::Window {
                let offset = access.offset.map(|offset| offset + index);
                self.remember(Looked { serial: self.serial, address, offset, value });
            }
            self.now.reads.push(ReadByte { address, value, mark });
        }
        let bytes = &self.now.reads[self.now.reads.len() - access.size.bytes() as usize..];
        for byte in bytes {
            self.last[(byte.address & 1) as usize] = byte.mark.taint;
        }
    }

    /// The mark of one byte of an access.
    fn mark_of(&mut self, access: &Access, index: u32) -> Mark {
        let address = access.address + index;
        let place = if index == 0 { access.place } else { self.beside(access.place, address) };
        let offset = access.offset.map(|offset| offset + index);
        let (mut mark, open) = self.mark_at(place, address, offset);
        let floats = if place == Place::Window { self.window_floats } else { self.unmapped_floats };
        if open && floats {
            mark.taint = self.follow.join(mark.taint, self.last[(address & 1) as usize]);
        }
        mark
    }

    /// The mark of a byte as it is read, and whether nobody drives all of its lines.
    fn mark_at(&mut self, place: Place, address: u32, offset: Option<u32>) -> (Mark, bool) {
        let map = &self.rig.map;
        let (source, open) = match place {
            Place::Host if map.host().byte(address).is_some() => return (Mark::at(address, Taint::CLEAN), false),
            Place::Overlay(_) => return (Mark::at(address, Taint::CLEAN), false),
            Place::Ram(area) => return (self.ram.get(area, address), false),
            Place::Window => match offset.filter(|offset| *offset < self.image_size) {
                Some(offset) => (Source::Image(offset), self.loose),
                None => (Source::OpenBus(address), true),
            },
            Place::Port(port) if map.ports()[port].reads.is_some() => (Source::Port(port as u32), false),
            Place::Port(_) | Place::Nothing | Place::Host => (Source::OpenBus(address), true),
        };
        (Mark::at(address, Taint::of(source)), open)
    }

    /// The mark of a byte that is only looked at.
    pub(super) fn mark_peeked(&mut self, place: Place, address: u32) -> Mark {
        self.mark_at(place, address, shown_offset(address, self.image_size)).0
    }

    fn remember(&mut self, byte: Looked) {
        if self.looked.len() == REMEMBERED {
            self.looked.pop_front();
        }
        self.looked.push_back(byte);
    }

    /// What a word's second byte belongs to: a byte-wide port may lie there beside something else.
    fn beside(&self, place: Place, address: u32) -> Place {
        match place {
            Place::Nothing | Place::Port(_) => self.rig.map.port_at(address).map_or(Place::Nothing, Place::Port),
            place => place,
        }
    }
}
