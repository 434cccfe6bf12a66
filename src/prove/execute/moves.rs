//! MOVE, MOVEA, MOVEQ, LEA, PEA.

use super::access::Place;
use super::decode::mode;
use super::operand::Operand;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

/// Mode 7 stands for an absolute short address here, and this for a long one.
const ABSOLUTE_LONG: u16 = 8;

/// What MOVE stores.
#[derive(Clone, Copy)]
struct Stored<V> {
    size: Size,
    value: V,
    from_memory: bool,
}

impl<W: World> Processor<'_, W> {
    /// MOVE, whatever its operands.
    pub(super) fn move_data(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of_move(opcode);
        let source = self.operand(opcode, size)?;
        let value = self.value(source, size)?;
        let (mode, number) = (opcode >> 6 & 7, opcode >> 9 & 7);
        if mode == 0 {
            self.logical(value);
            self.set_data(size, number, value);
            return self.finish();
        }
        let from_memory = matches!(source, Operand::Memory(_));
        self.store_move(Stored { size, value, from_memory }, mode, number)
    }

    /// Writes the destination; each mode has its own place for the prefetches.
    fn store_move(&mut self, stored: Stored<ValueOf<W>>, mode: u16, number: u16) -> Run<W> {
        // Observed: 4 past the opcode and the extension words of the source.
        self.core.fault_pc = self.core.pc.wrapping_add(4);
        let address = match mode {
            2 | 3 => self.address(number),
            4 => return self.store_before(stored, number),
            5 => {
                let (base, displacement) = (self.address(number), self.displacement()?);
                self.v().add(base, displacement)
            }
            6 => {
                let base = self.address(number);
                self.indexed(base)?
            }
            _ if number == 0 => self.displacement()?,
            _ => return self.store_absolute(stored),
        };
        self.store_at(stored, address, mode)?;
        if mode == 3 {
            self.advance(number, stored.size.stride(number));
        }
        self.finish()
    }

    /// The flags and the write.
    fn store_at(&mut self, stored: Stored<ValueOf<W>>, address: ValueOf<W>, mode: u16) -> Run<W> {
        let mut place = Place::data(address);
        if stored.size == Size::Long {
            place.odd = Some(self.odd(address)?);
        }
        if place.odd == Some(true) {
            self.flags_at_fault(stored, mode);
        } else {
            self.logical(stored.value);
        }
        self.write(stored.size, place, stored.value)
    }

    /// To -(An): the prefetch comes first, and a long goes low word first.
    fn store_before(&mut self, stored: Stored<ValueOf<W>>, number: u16) -> Run<W> {
        let Stored { size, value, .. } = stored;
        let old = self.address(number);
        let address = self.plus(old, size.stride(number).wrapping_neg());
        self.logical(value);
        self.finish()?;
        if size == Size::Long {
            self.write_back(size, Place::data(address), value)?;
            self.set_address(number, address);
            return Ok(());
        }
        self.core.instruction = self.core.queue[0];
        self.set_address(number, address);
        self.write(size, Place::data(address), value)
    }

    /// To an absolute long address: from memory, the write comes before the last extension word's prefetch.
    fn store_absolute(&mut self, stored: Stored<ValueOf<W>>) -> Run<W> {
        let high = self.extension()?;
        let low = self.core.queue[1];
        let address = self.v().join(high, low);
        if stored.from_memory {
            self.store_at(stored, address, ABSOLUTE_LONG)?;
            self.extension()?;
        } else {
            self.core.fault_pc = self.core.fault_pc.wrapping_add(2);
            self.extension()?;
            self.logical(stored.value);
            self.write(stored.size, Place::data(address), stored.value)?;
        }
        self.finish()
    }

    /// How far the flags of a long have come when its write meets an odd address (observed).
    fn flags_at_fault(&mut self, stored: Stored<ValueOf<W>>, mode: u16) {
        let value = stored.value;
        match (mode, stored.from_memory) {
            (2 | 3, false) => {}
            (2 | 3 | ABSOLUTE_LONG, true) => {
                let low = self.low(value, 16);
                self.logical(low);
            }
            (5 | 6, false) => self.negative_and_zero(value),
            _ => self.logical(value),
        }
    }

    /// MOVEA from memory.
    pub(super) fn move_address(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of_move(opcode);
        let place = self.place(opcode, size)?;
        let value = self.read(size, place)?;
        let value = self.signed(value);
        self.set_address(opcode >> 9, value);
        self.finish()
    }

    /// MOVEA of a register or an immediate.
    pub(super) fn move_address_inline(&mut self, opcode: u16) -> Run<W> {
        let (value, words) = self.inline_operand(opcode, Size::of_move(opcode))?;
        let value = self.signed(value);
        self.set_address(opcode >> 9, value);
        self.close(words)
    }

    /// MOVEQ.
    pub(super) fn move_quick(&mut self, opcode: u16) -> Run<W> {
        let value = self.number(32, opcode as i8 as u32);
        self.set_data(Size::Long, opcode >> 9, value);
        self.logical(value);
        self.close(1)
    }

    /// LEA. With an index its words come with pauses between; else it is done before its last prefetches.
    pub(super) fn load_address(&mut self, opcode: u16) -> Run<W> {
        let mode = mode(opcode);
        if matches!(mode, 6 | 10) {
            let address = self.address_of(opcode)?;
            self.set_address(opcode >> 9, address);
            return self.finish();
        }
        let (address, words) = match mode {
            2 => (self.address(opcode), 1),
            8 => self.inline(Size::Long)?,
            _ => {
                let displacement = self.signed(self.core.queue[1]);
                let address = match mode {
                    5 => {
                        let base = self.address(opcode);
                        self.v().add(base, displacement)
                    }
                    7 => displacement,
                    _ => self.plus(displacement, self.core.at.wrapping_add(2)),
                };
                (address, 2)
            }
        };
        self.set_address(opcode >> 9, address);
        self.close(words)
    }

    /// PEA: an absolute address is pushed before the last prefetch, any other after it.
    pub(super) fn push_address(&mut self, opcode: u16) -> Run<W> {
        let address = self.address_of(opcode)?;
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        if matches!(mode(opcode), 7 | 8) {
            self.push_long(address)?;
            return self.finish();
        }
        self.finish()?;
        self.push_long(address)
    }

    fn address_of(&mut self, opcode: u16) -> Run<W, ValueOf<W>> {
        let place = self.place(opcode, Size::Long)?;
        if matches!(mode(opcode), 6 | 10) {
            self.idle(2);
        }
        Ok(place.address)
    }
}
