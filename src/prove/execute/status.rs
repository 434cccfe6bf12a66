//! The status register, and what only the supervisor may do.

use super::operand::Operand;
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::cpu::Exception;
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    /// An instruction for the supervisor only.
    pub(super) fn privileged(&mut self) -> Run<W> {
        if self.core.supervisor { Ok(()) } else { Err(self.raise(Exception::Privilege, self.core.at)) }
    }

    /// ORI, ANDI, EORI to CCR or SR.
    pub(super) fn status_immediate(&mut self, opcode: u16) -> Run<W> {
        let whole = opcode & 0x40 != 0;
        if whole {
            self.privileged()?;
        }
        let data = self.extension()?;
        self.idle(8);
        let status = self.status();
        let status = match opcode >> 9 & 7 {
            0 => self.v().or(status, data),
            1 => self.v().and(status, data),
            _ => self.v().xor(status, data),
        };
        self.set_status_or_codes(whole, status)?;
        self.refetch()
    }

    /// MOVE to CCR or SR.
    pub(super) fn move_to_status(&mut self, opcode: u16) -> Run<W> {
        let whole = opcode & 0x200 != 0;
        if whole {
            self.privileged()?;
        }
        let status = self.word_operand(opcode)?;
        self.idle(4);
        self.set_status_or_codes(whole, status)?;
        self.refetch()
    }

    fn set_status_or_codes(&mut self, whole: bool, status: ValueOf<W>) -> Run<W> {
        if whole {
            return self.set_status(status);
        }
        self.set_condition_codes(status);
        Ok(())
    }

    /// The queue is fetched anew, since the words may differ for a user.
    fn refetch(&mut self) -> Run<W> {
        let next = self.number(32, self.core.pc.wrapping_add(2));
        self.jump(next)
    }

    /// MOVE from SR, which reads memory before it writes it.
    pub(super) fn move_from_status(&mut self, opcode: u16) -> Run<W> {
        let status = self.status();
        if let Operand::Memory(place) = self.operand(opcode, Size::Word)? {
            self.touch(Size::Word, place)?;
            self.finish()?;
            return self.write(Size::Word, place.even(), status);
        }
        self.set_data(Size::Word, opcode, status);
        self.finish()?;
        self.idle(2);
        Ok(())
    }

    /// MOVE USP.
    pub(super) fn move_user_stack(&mut self, opcode: u16) -> Run<W> {
        self.privileged()?;
        if opcode & 8 == 0 {
            let value = self.address(opcode);
            self.set_user_stack(value);
        } else {
            let value = self.user_stack();
            self.set_address(opcode, value);
        }
        self.finish()
    }

    /// STOP. The queue is not refilled: the two words after it are fetched when an exception returns.
    pub(super) fn stop(&mut self) -> Run<W> {
        self.privileged()?;
        self.idle(4);
        self.set_status(self.core.queue[1])?;
        self.core.pc = self.core.pc.wrapping_add(4);
        self.core.stopped = true;
        Ok(())
    }

    /// RESET.
    pub(super) fn reset_devices(&mut self) -> Run<W> {
        self.privileged()?;
        self.idle(128);
        self.world.reset_devices().map_err(super::Ended::Cut)?;
        self.finish()
    }

    /// TRAPV. With V set the prefetch is the supervisor's already (observed).
    pub(super) fn trap_on_overflow(&mut self) -> Run<W> {
        let overflow = self.flag(Flag::Overflow);
        let traps = self.decide(overflow)?;
        let supervisor = self.core.supervisor;
        self.core.supervisor |= traps;
        let finished = self.finish();
        self.core.supervisor = supervisor;
        finished?;
        if traps { Err(self.raise(Exception::Trapv, self.core.pc)) } else { Ok(()) }
    }
}
