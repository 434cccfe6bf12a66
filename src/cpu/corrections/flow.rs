//! Bcc, BRA, DBcc, JMP.

use crate::cpu::Cpu;
use crate::cpu::access::{Aborted, Done};
use crate::cpu::memory::Memory;
use crate::cpu::size::Size;

impl Cpu {
    /// Bcc and BRA.
    #[inline]
    pub(super) fn branch<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        if self.core.regs.sr.condition((opcode >> 8 & 15) as u8) {
            let target = self.branch_target(opcode);
            memory.idle(2);
            return self.jump(memory, target);
        }
        memory.idle(4);
        if opcode & 0xFF == 0 {
            self.extension(memory)?;
        }
        self.finish(memory)
    }

    /// The target of Bcc, BRA and BSR: an 8-bit displacement, or a word if that is 0.
    #[inline]
    pub(super) fn branch_target(&mut self, opcode: u16) -> u32 {
        self.fault_pc = self.at.wrapping_add(2);
        let short = opcode as i8;
        let displacement = if short == 0 { self.queue.second() as i16 as u32 } else { short as u32 };
        self.fault_pc.wrapping_add(displacement)
    }

    /// DBcc.
    #[inline]
    pub(super) fn count_down<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        if self.core.regs.sr.condition((opcode >> 8 & 15) as u8) {
            memory.idle(4);
            self.extension(memory)?;
            return self.finish(memory);
        }
        let count = self.data(Size::Word, opcode).wrapping_sub(1) & 0xFFFF;
        let target = self.at.wrapping_add(2).wrapping_add(self.queue.second() as i16 as u32);
        self.fault_pc = self.at.wrapping_add(4);
        memory.idle(2);
        // The word at the target is fetched before the count is known to have expired, and dropped then: the third
        // read of the UM's 14(3/0). No published vector has a count that expires.
        let first = self.jump_first(memory, target)?;
        self.set_data(Size::Word, opcode, count);
        if count != 0xFFFF {
            return self.jump_second(memory, target, first);
        }
        self.extension(memory)?;
        self.finish(memory)
    }

    /// JMP.
    pub(super) fn jump_to<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let (target, _) = self.jump_target(memory, opcode)?;
        self.fault_pc = self.at.wrapping_add(2);
        self.jump(memory, target)
    }

    /// The target of JMP and JSR, and how long the instruction is. The last extension word is not refetched.
    pub(super) fn jump_target<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Result<(u32, u32), Aborted> {
        let (mode, number) = (opcode >> 3 & 7, (opcode & 7) as u8);
        let word = self.queue.second();
        let near = self.at.wrapping_add(2);
        Ok(match (mode, number) {
            (2, _) => (self.core.regs.a(number), 2),
            (5, _) => {
                memory.idle(2);
                (self.core.regs.a(number).wrapping_add(word as i16 as u32), 4)
            }
            (6, _) => {
                memory.idle(6);
                (self.core.regs.a(number).wrapping_add(self.index(word)), 4)
            }
            (_, 0) => {
                memory.idle(2);
                (word as i16 as u32, 4)
            }
            (_, 1) => {
                self.extension(memory)?;
                (u32::from(word) << 16 | u32::from(self.queue.second()), 6)
            }
            (_, 2) => {
                memory.idle(2);
                (near.wrapping_add(word as i16 as u32), 4)
            }
            _ => {
                memory.idle(6);
                (near.wrapping_add(self.index(word)), 4)
            }
        })
    }
}
