//! Subroutines: JSR, BSR, RTS, RTR, RTE, LINK, UNLK.

use crate::cpu::Cpu;
use crate::cpu::access::{Done, Place};
use crate::cpu::exception::Exception;
use crate::cpu::memory::Memory;
use crate::cpu::size::Size;

impl Cpu {
    /// JSR: the first word of the target is fetched before the push, the second after it.
    pub(super) fn call<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let (target, length) = self.jump_target(memory, opcode)?;
        let back = self.at.wrapping_add(length);
        self.fault_pc = back;
        let first = self.jump_first(memory, target)?;
        self.push_long(memory, back)?;
        self.jump_second(memory, target, first)
    }

    /// BSR: both words come after the push.
    pub(super) fn branch_call<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let target = self.branch_target(opcode);
        memory.idle(2);
        self.push_long(memory, self.at.wrapping_add(if opcode & 0xFF == 0 { 4 } else { 2 }))?;
        // The chip's program counter is at the target already (observed).
        self.fault_pc = target;
        self.jump(memory, target)
    }

    /// RTS, RTR, RTE.
    pub(super) fn return_from<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        self.fault_pc = self.at.wrapping_add(2);
        let from_exception = opcode == 0x4E73;
        if from_exception && !self.core.regs.sr.s {
            return Err(self.raise(Exception::Privilege, self.at));
        }
        let mut stack = self.core.regs.sp();
        let status = if opcode == 0x4E75 {
            None
        } else {
            stack = stack.wrapping_add(2);
            Some(self.read(memory, Size::Word, Place::data(stack.wrapping_sub(2)))? as u16)
        };
        let target = self.read(memory, Size::Long, Place::data(stack))?;
        self.core.regs.sp_mut().0 = stack.wrapping_add(4);
        match status {
            Some(status) if from_exception => self.core.regs.sr = status.into(),
            Some(status) => self.core.regs.sr.set_ccr(status),
            None => {}
        }
        self.jump(memory, target)
    }

    /// LINK.
    pub(super) fn link<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let number = (opcode & 7) as u8;
        let displacement = self.displacement(memory)?;
        self.fault_pc = self.pc().wrapping_add(2);
        let stack = self.core.regs.sp().wrapping_sub(4);
        // LINK A7 pushes the stack pointer as it was before the push (observed).
        let value = self.core.regs.a(number);
        self.push_long(memory, value)?;
        self.core.regs.a_mut(number).0 = stack;
        *self.core.regs.sp_mut() += displacement;
        self.finish(memory)
    }

    /// UNLK.
    pub(super) fn unlink<M: Memory>(&mut self, memory: &mut M, opcode: u16) -> Done {
        let number = (opcode & 7) as u8;
        self.fault_pc = self.at.wrapping_add(4);
        let frame = self.core.regs.a(number);
        let value = self.read(memory, Size::Long, Place::data(frame))?;
        self.core.regs.sp_mut().0 = frame.wrapping_add(4);
        self.core.regs.a_mut(number).0 = value;
        self.finish(memory)
    }
}
