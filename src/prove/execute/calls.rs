//! Subroutines: JSR, BSR, RTS, RTR, RTE, LINK, UNLK.

use super::access::Place;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, World};

impl<W: World> Processor<'_, W> {
    /// JSR: the first word of the target is fetched before the push, the second after it.
    pub(super) fn call(&mut self, opcode: u16) -> Run<W> {
        let (target, length) = self.jump_target(opcode)?;
        let back = self.core.at.wrapping_add(length);
        self.core.fault_pc = back;
        let (at, first) = self.jump_first(target)?;
        let back = self.number(32, back);
        self.push_long(back)?;
        self.jump_second(at, first)
    }

    /// BSR: both words come after the push.
    pub(super) fn branch_call(&mut self, opcode: u16) -> Run<W> {
        let target = self.branch_target(opcode)?;
        self.idle(2);
        let back = self.core.at.wrapping_add(if opcode & 0xFF == 0 { 4 } else { 2 });
        let back = self.number(32, back);
        self.push_long(back)?;
        // The chip's program counter is at the target already (observed).
        self.core.fault_pc = target;
        let target = self.number(32, target);
        self.jump(target)
    }

    /// RTS, RTR, RTE.
    pub(super) fn return_from(&mut self, opcode: u16) -> Run<W> {
        self.core.fault_pc = self.core.at.wrapping_add(2);
        let from_exception = opcode == 0x4E73;
        if from_exception {
            self.privileged()?;
        }
        let top = self.address(7);
        if opcode == 0x4E75 {
            let target = self.read(Size::Long, Place::data(top))?;
            self.advance(7, 4);
            return self.jump(target);
        }
        let status = self.read(Size::Word, Place::data(top))?;
        let next = self.plus(top, 2);
        let target = self.load(Size::Long, next, false)?;
        self.advance(7, 6);
        if from_exception {
            self.set_status(status)?;
        } else {
            self.set_condition_codes(status);
        }
        self.jump(target)
    }

    /// LINK.
    pub(super) fn link(&mut self, opcode: u16) -> Run<W> {
        let displacement = self.displacement()?;
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        // LINK A7 pushes the stack pointer as it was before the push (observed).
        let value = self.address(opcode);
        self.push_long(value)?;
        let frame = self.address(7);
        self.set_address(opcode, frame);
        let stack = self.address(7);
        let stack = self.v().add(stack, displacement);
        self.set_address(7, stack);
        self.finish()
    }

    /// UNLK.
    pub(super) fn unlink(&mut self, opcode: u16) -> Run<W> {
        self.core.fault_pc = self.core.at.wrapping_add(4);
        let frame = self.address(opcode);
        let value = self.read(Size::Long, Place::data(frame))?;
        let stack = self.plus(frame, 4);
        self.set_address(7, stack);
        self.set_address(opcode, value);
        self.finish()
    }
}
