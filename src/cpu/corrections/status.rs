//! The status register, and what only the supervisor may do.

use crate::cpu::Cpu;
use crate::cpu::access::Done;
use crate::cpu::exception::Exception;
use crate::cpu::memory::Memory;
use crate::cpu::operand::Operand;
use crate::cpu::size::Size;

impl Cpu {
    /// An instruction for the supervisor only.
    fn privileged(&mut self) -> Done {
        if self.core.regs.sr.s { Ok(()) } else { Err(self.raise(Exception::Privilege, self.at)) }
    }

    /// ORI, ANDI, EORI to CCR or SR.
    pub(super) fn status_immediate<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let whole = opcode & 0x40 != 0;
        if whole {
            self.privileged()?;
        }
        let data = self.extension(memory)?;
        memory.idle(8);
        let status = self.status();
        let status = match opcode >> 9 & 7 {
            0 => status | data,
            1 => status & data,
            _ => status ^ data,
        };
        self.set_status(whole, status);
        self.refetch(memory)
    }

    /// MOVE to CCR or SR.
    pub(super) fn move_to_status<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let whole = opcode & 0x200 != 0;
        if whole {
            self.privileged()?;
        }
        let operand = self.operand(memory, opcode, Size::Word)?;
        let status = self.value(memory, operand, Size::Word)? as u16;
        memory.idle(4);
        self.set_status(whole, status);
        self.refetch(memory)
    }

    fn set_status(&mut self, whole: bool, status: u16) {
        if whole {
            self.core.regs.sr = status.into();
        } else {
            self.core.regs.sr.set_ccr(status);
        }
    }

    /// The queue is fetched anew, since the words may differ for a user.
    fn refetch<M: Memory>(&mut self, memory: &mut M) -> Done {
        let next = self.pc().wrapping_add(2);
        self.jump(memory, next)
    }

    /// MOVE from SR, which reads memory before it writes it.
    pub(super) fn move_from_status<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let status = u32::from(self.status());
        match self.operand(memory, opcode, Size::Word)? {
            Operand::Memory(place) => {
                self.touch_word(memory, place)?;
                self.finish(memory)?;
                self.write(memory, Size::Word, place.address, status)
            }
            _ => {
                self.set_data(Size::Word, opcode, status);
                self.finish(memory)?;
                memory.idle(2);
                Ok(())
            }
        }
    }

    /// MOVE USP.
    pub(super) fn user_stack<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        self.privileged()?;
        let number = (opcode & 7) as u8;
        if opcode & 8 == 0 {
            self.core.regs.usp.0 = self.core.regs.a(number);
        } else {
            self.core.regs.a_mut(number).0 = self.core.regs.usp.0;
        }
        self.finish(memory)
    }

    /// STOP. The queue is not refilled: the two words after it are fetched when an exception returns. An operand that
    /// leaves supervisor state stops like any other (observed; the PRM has a privilege violation for it).
    pub(super) fn stop<M: Memory>(&mut self, memory: &mut M) -> Done {
        self.privileged()?;
        memory.idle(4);
        self.core.regs.sr = self.queue.second().into();
        self.core.regs.pc += 4;
        self.core.stop = true;
        Ok(())
    }

    /// RESET.
    pub(super) fn reset_devices<M: Memory>(&mut self, memory: &mut M) -> Done {
        self.privileged()?;
        memory.idle(128);
        memory.reset_devices();
        self.finish(memory)
    }

    /// TRAPV. With V set the prefetch is the supervisor's already (observed).
    pub(super) fn trap_on_overflow<M: Memory>(&mut self, memory: &mut M) -> Done {
        let sr = &mut self.core.regs.sr;
        let supervisor = sr.s;
        sr.s |= sr.v;
        let finished = self.finish(memory);
        self.core.regs.sr.s = supervisor;
        finished?;
        if self.core.regs.sr.v { Err(self.raise(Exception::Trapv, self.pc())) } else { Ok(()) }
    }
}
