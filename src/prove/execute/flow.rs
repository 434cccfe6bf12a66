//! Bcc, BRA, DBcc, JMP.

use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, Pin, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// Bcc and BRA.
    pub(super) fn branch(&mut self, opcode: u16) -> Run<W> {
        let condition = self.condition(opcode >> 8 & 15);
        if self.decide(condition)? {
            let target = self.branch_target(opcode)?;
            self.idle(2);
            let target = self.number(32, target);
            return self.jump(target);
        }
        self.idle(4);
        if opcode & 0xFF == 0 {
            self.extension()?;
        }
        self.finish()
    }

    /// The target of Bcc, BRA and BSR: an 8-bit displacement, or a word if that is 0.
    pub(super) fn branch_target(&mut self, opcode: u16) -> Run<W, u32> {
        self.core.fault_pc = self.core.at.wrapping_add(2);
        let short = opcode as i8;
        let displacement = if short == 0 { self.next_word()? as i16 as u32 } else { short as u32 };
        Ok(self.core.fault_pc.wrapping_add(displacement))
    }

    /// The extension word that is next in the queue, as a number.
    fn next_word(&mut self) -> Run<W, u32> {
        self.pin(self.core.queue[1], Pin::Code)
    }

    /// DBcc.
    pub(super) fn count_down(&mut self, opcode: u16) -> Run<W> {
        let condition = self.condition(opcode >> 8 & 15);
        if self.decide(condition)? {
            self.idle(4);
            self.extension()?;
            return self.finish();
        }
        let count = self.data(Size::Word, opcode);
        let left = self.plus(count, u32::MAX);
        let displacement = self.next_word()? as i16 as u32;
        let target = self.core.at.wrapping_add(2).wrapping_add(displacement);
        self.core.fault_pc = self.core.at.wrapping_add(4);
        self.idle(2);
        // The word at the target is fetched before the count is known to have expired, and dropped then.
        let target = self.number(32, target);
        let (at, first) = self.jump_first(target)?;
        self.set_data(Size::Word, opcode, left);
        let expired = self.is_zero(count);
        if !self.decide(expired)? {
            return self.jump_second(at, first);
        }
        self.extension()?;
        self.finish()
    }

    /// JMP.
    pub(super) fn jump_to(&mut self, opcode: u16) -> Run<W> {
        let (target, _) = self.jump_target(opcode)?;
        self.core.fault_pc = self.core.at.wrapping_add(2);
        self.jump(target)
    }

    /// The target of JMP and JSR, and how long the instruction is. The last extension word is not refetched.
    pub(super) fn jump_target(&mut self, opcode: u16) -> Run<W, (ValueOf<W>, u32)> {
        let (mode, number) = (opcode >> 3 & 7, opcode & 7);
        let near = self.core.at.wrapping_add(2);
        let word = self.core.queue[1];
        Ok(match (mode, number) {
            (2, _) => (self.address(number), 2),
            (7, 1) => {
                self.extension()?;
                let low = self.core.queue[1];
                (self.v().join(word, low), 6)
            }
            (6, _) | (7, 3) => {
                self.idle(6);
                let base = if mode == 6 { self.address(number) } else { self.number(32, near) };
                let index = self.index()?;
                (self.v().add(base, index), 4)
            }
            _ => {
                self.idle(2);
                let displacement = self.signed(word);
                let target = match (mode, number) {
                    (5, _) => {
                        let base = self.address(number);
                        self.v().add(base, displacement)
                    }
                    (_, 0) => displacement,
                    _ => self.plus(displacement, near),
                };
                (target, 4)
            }
        })
    }
}
