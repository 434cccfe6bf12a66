//! Where an instruction leads: what static control flow needs to know of it, and no more.

use m68000::addressing_modes::AddressingMode;
use m68000::instruction::Operands;
use m68000::isa::Isa;

use super::corrections::undefined;
use super::{Decoded, Exception};
use crate::board::BUS_MASK;

/// What an instruction does to the program counter. Targets have 24 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Control {
    /// The next instruction follows.
    Next,
    /// To the target or to the next instruction (Bcc, DBcc).
    Branch(u32),
    /// To the target (BRA, JMP).
    Jump(u32),
    /// To an address that a register or a table gives.
    ComputedJump,
    /// A subroutine, and then the next instruction (BSR, JSR).
    Call(u32),
    /// The same, at an address that a register or a table gives.
    ComputedCall,
    /// Back to the caller (RTS, RTR).
    Return,
    /// Back from a handler (RTE).
    ExceptionReturn,
    /// A handler, and then the next instruction (TRAP).
    Trap(Exception),
    /// Perhaps a handler, and then the next instruction (TRAPV, CHK, DIVU, DIVS).
    MayTrap(Exception),
    /// A handler, whose frame holds the address of this instruction (ILLEGAL, undefined opcodes, lines A and F).
    Raises(Exception),
    /// Waits for an interrupt, and then the next instruction.
    Stop,
}

impl Decoded {
    /// Where this instruction leads.
    ///
    /// A branch to the instruction behind it, and a DBcc whose condition is "true", lead to one place only: they are
    /// [`Control::Next`].
    pub fn control(&self) -> Control {
        let instruction = self.instruction();
        if let Some(exception) = undefined(instruction.opcode) {
            return Control::Raises(exception);
        }
        match (Isa::from(instruction.opcode), instruction.operands) {
            (Isa::Bcc, Operands::ConditionDisplacement(_, displacement)) => self.branch(displacement),
            (Isa::Dbcc, Operands::ConditionRegisterDisplacement(..)) if instruction.opcode >> 8 & 0xF == 0 => {
                Control::Next
            }
            (Isa::Dbcc, Operands::ConditionRegisterDisplacement(_, _, displacement)) => self.branch(displacement),
            (Isa::Bra, Operands::Displacement(displacement)) => Control::Jump(self.relative(displacement)),
            (Isa::Bsr, Operands::Displacement(displacement)) => Control::Call(self.relative(displacement)),
            (Isa::Jmp, Operands::EffectiveAddress(mode)) => constant(mode).map_or(Control::ComputedJump, Control::Jump),
            (Isa::Jsr, Operands::EffectiveAddress(mode)) => constant(mode).map_or(Control::ComputedCall, Control::Call),
            (Isa::Rts | Isa::Rtr, _) => Control::Return,
            (Isa::Rte, _) => Control::ExceptionReturn,
            (Isa::Trap, _) => Control::Trap(Exception::Trap(instruction.opcode as u8 & 15)),
            (Isa::Trapv, _) => Control::MayTrap(Exception::Trapv),
            (Isa::Chk, _) => Control::MayTrap(Exception::Chk),
            (Isa::Divu | Isa::Divs, _) => Control::MayTrap(Exception::ZeroDivide),
            (Isa::Stop, _) => Control::Stop,
            _ => Control::Next,
        }
    }

    fn branch(&self, displacement: i16) -> Control {
        let target = self.relative(displacement);
        let next = self.instruction().pc.wrapping_add(self.length) & BUS_MASK;
        if target == next { Control::Next } else { Control::Branch(target) }
    }

    fn relative(&self, displacement: i16) -> u32 {
        self.instruction().pc.wrapping_add(2).wrapping_add(displacement as u32) & BUS_MASK
    }
}

/// The address of an operand, if the instruction alone gives it.
fn constant(mode: AddressingMode) -> Option<u32> {
    let address = match mode {
        AddressingMode::AbsShort(address) => address as i16 as u32,
        AddressingMode::AbsLong(address) => address,
        AddressingMode::Pciwd(pc, displacement) => pc.wrapping_add(displacement as u32),
        _ => return None,
    };
    Some(address & BUS_MASK)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cpu::decode;
    use pretty_assertions::assert_eq;

    /// Opcodes assembled by GNU as 2.40 (`m68k-linux-gnu-as -m68000`), at 0x1000.
    #[test]
    fn leads_where_the_manual_says() {
        let cases: [(&[u16], Control); 24] = [
            (&[0x66FC], Control::Branch(0xFFE)),
            (&[0x6600, 0x0010], Control::Branch(0x1012)),
            (&[0x6600, 0x0002], Control::Next),
            (&[0x51CF, 0xFFFC], Control::Branch(0xFFE)),
            (&[0x50CF, 0xFFFC], Control::Next),
            (&[0x60FE], Control::Jump(0x1000)),
            (&[0x6000, 0x8000], Control::Jump(0xFF_9002)),
            (&[0x610E], Control::Call(0x1010)),
            (&[0x4EF8, 0x8000], Control::Jump(0xFF_8000)),
            (&[0x4EF9, 0x0020, 0x0000], Control::Jump(0x20_0000)),
            (&[0x4EFA, 0x0010], Control::Jump(0x1012)),
            (&[0x4EFB, 0x2002], Control::ComputedJump),
            (&[0x4ED0], Control::ComputedJump),
            (&[0x4EBA, 0xFFFE], Control::Call(0x1000)),
            (&[0x4E91], Control::ComputedCall),
            (&[0x4E75], Control::Return),
            (&[0x4E77], Control::Return),
            (&[0x4E73], Control::ExceptionReturn),
            (&[0x4E41], Control::Trap(Exception::Trap(1))),
            (&[0x4181], Control::MayTrap(Exception::Chk)),
            (&[0x82C0], Control::MayTrap(Exception::ZeroDivide)),
            (&[0x4AFC], Control::Raises(Exception::Illegal)),
            (&[0xFFFF], Control::Raises(Exception::LineF)),
            (&[0x4E72, 0x2700], Control::Stop),
        ];
        for (words, control) in cases {
            let decoded = decode(0x1000, |at| words.get((at as usize - 0x1000) / 2).copied().unwrap_or(0));
            assert_eq!(decoded.control(), control, "{words:04X?}");
        }
    }
}
