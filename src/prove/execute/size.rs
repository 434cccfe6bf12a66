//! Operand sizes.

/// Size of an operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    Byte,
    Word,
    Long,
}

impl Size {
    /// The size in bits 7-6 of most opcodes.
    pub fn of(opcode: u16) -> Self {
        match opcode >> 6 & 3 {
            0 => Size::Byte,
            1 => Size::Word,
            _ => Size::Long,
        }
    }

    /// The size in bits 13-12 of MOVE and MOVEA.
    pub fn of_move(opcode: u16) -> Self {
        match opcode >> 12 & 3 {
            1 => Size::Byte,
            2 => Size::Long,
            _ => Size::Word,
        }
    }

    /// Word or long, by one bit.
    pub fn long_if(long: bool) -> Self {
        if long { Size::Long } else { Size::Word }
    }

    pub fn bits(self) -> u32 {
        match self {
            Size::Byte => 8,
            Size::Word => 16,
            Size::Long => 32,
        }
    }

    pub fn bytes(self) -> u32 {
        self.bits() / 8
    }

    /// How far An moves for (An)+ and -(An): the stack pointer stays even.
    pub fn stride(self, register: u16) -> u32 {
        if self == Size::Byte && register & 7 == 7 { 2 } else { self.bytes() }
    }
}
