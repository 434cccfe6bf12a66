//! Effective addresses: the addressing modes, with the fetches and the time they take.

use super::access::Place;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, Pin, ValueOf, World};

/// Where an operand is.
#[derive(Clone, Copy, Debug)]
pub(super) enum Operand<V> {
    Data(u16),
    Address(u16),
    Memory(Place<V>),
    Immediate(V),
}

impl<W: World> Processor<'_, W> {
    /// The operand of the mode and register in bits 5-0 of `opcode`.
    pub(super) fn operand(&mut self, opcode: u16, size: Size) -> Run<W, Operand<ValueOf<W>>> {
        let number = opcode & 7;
        Ok(match opcode >> 3 & 7 {
            0 => Operand::Data(number),
            1 => Operand::Address(number),
            7 if number == 4 => Operand::Immediate(self.immediate(size)?),
            _ => Operand::Memory(self.place(opcode, size)?),
        })
    }

    /// The place of an operand that is in memory.
    ///
    /// It also sets the program counter that the frame shows if the operand cannot be read (observed: 2 past the
    /// opcode and immediate words, 4 for a word at -(An) and an absolute short address, 6 for an absolute long one).
    pub(super) fn place(&mut self, opcode: u16, size: Size) -> Run<W, Place<ValueOf<W>>> {
        let number = opcode & 7;
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        let address = match opcode >> 3 & 7 {
            2 => self.address(number),
            3 => return self.place_and_advance(number, size),
            4 => {
                self.idle(2);
                if size == Size::Word {
                    self.core.fault_pc = self.core.fault_pc.wrapping_add(2);
                }
                self.advance(number, size.stride(number).wrapping_neg());
                self.address(number)
            }
            5 => {
                let (base, displacement) = (self.address(number), self.displacement()?);
                self.v().add(base, displacement)
            }
            6 => {
                let base = self.address(number);
                self.indexed(base)?
            }
            _ => return self.absolute_or_relative(number),
        };
        Ok(Place::data(address))
    }

    /// (An)+. A long at an odd address leaves An as it was (observed).
    fn place_and_advance(&mut self, number: u16, size: Size) -> Run<W, Place<ValueOf<W>>> {
        let address = self.address(number);
        if size != Size::Long {
            self.advance(number, size.stride(number));
            return Ok(Place::data(address));
        }
        let odd = self.odd(address)?;
        if !odd {
            self.advance(number, 4);
        }
        Ok(Place { address, program: false, odd: Some(odd) })
    }

    fn absolute_or_relative(&mut self, number: u16) -> Run<W, Place<ValueOf<W>>> {
        let base = self.core.pc.wrapping_add(2);
        let address = match number {
            0 => {
                self.core.fault_pc = base.wrapping_add(2);
                self.displacement()?
            }
            1 => {
                self.core.fault_pc = base.wrapping_add(4);
                self.immediate(Size::Long)?
            }
            2 => {
                let displacement = self.displacement()?;
                self.plus(displacement, base)
            }
            _ => {
                let base = self.number(32, base);
                self.indexed(base)?
            }
        };
        Ok(Place { address, program: number >= 2, odd: None })
    }

    /// A 16-bit displacement or short address, sign-extended.
    pub(super) fn displacement(&mut self) -> Run<W, ValueOf<W>> {
        let word = self.extension()?;
        Ok(self.signed(word))
    }

    /// Base, index and displacement of a brief extension word (PRM figure 2-8).
    pub(super) fn indexed(&mut self, base: ValueOf<W>) -> Run<W, ValueOf<W>> {
        self.idle(2);
        let index = self.index()?;
        self.extension()?;
        Ok(self.v().add(base, index))
    }

    /// Index and displacement of the brief extension word that is next in the queue.
    pub(super) fn index(&mut self) -> Run<W, ValueOf<W>> {
        let word = self.pin(self.core.queue[1], Pin::Code)? as u16;
        let whole = self.register(word >> 12);
        let index = if word & 0x0800 == 0 {
            let low = self.low(whole, 16);
            self.signed(low)
        } else {
            whole
        };
        Ok(self.plus(index, word as i8 as u32))
    }

    /// The value of an operand.
    pub(super) fn value(&mut self, operand: Operand<ValueOf<W>>, size: Size) -> Run<W, ValueOf<W>> {
        match operand {
            Operand::Data(number) => Ok(self.data(size, number)),
            Operand::Address(number) => {
                let whole = self.address(number);
                Ok(self.low(whole, size.bits()))
            }
            Operand::Memory(place) => self.read(size, place),
            Operand::Immediate(value) => Ok(value),
        }
    }

    /// A register or an immediate as the source of an instruction on registers alone, and how many words that has.
    pub(super) fn inline_operand(&mut self, opcode: u16, size: Size) -> Run<W, (ValueOf<W>, u32)> {
        match opcode >> 3 & 7 {
            0 => Ok((self.data(size, opcode), 1)),
            1 => Ok((self.value(Operand::Address(opcode & 7), size)?, 1)),
            _ => self.inline(size),
        }
    }

    /// The word operand of MULx, DIVx and CHK.
    pub(super) fn word_operand(&mut self, opcode: u16) -> Run<W, ValueOf<W>> {
        let operand = self.operand(opcode, Size::Word)?;
        self.value(operand, Size::Word)
    }
}
