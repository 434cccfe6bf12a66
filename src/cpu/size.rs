//! Operand sizes, and the bits they make.

/// Size of an operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    Byte,
    Word,
    Long,
}

impl Size {
    /// The size in bits 7-6 of most opcodes.
    #[inline]
    pub fn of(opcode: u16) -> Self {
        match opcode >> 6 & 3 {
            0 => Size::Byte,
            1 => Size::Word,
            _ => Size::Long,
        }
    }

    /// Word or long, by one bit.
    #[inline]
    pub fn long_if(long: bool) -> Self {
        if long { Size::Long } else { Size::Word }
    }

    #[inline]
    pub fn bits(self) -> u32 {
        match self {
            Size::Byte => 8,
            Size::Word => 16,
            Size::Long => 32,
        }
    }

    #[inline]
    pub fn bytes(self) -> u32 {
        self.bits() / 8
    }

    /// All bits of the size.
    #[inline]
    pub fn mask(self) -> u32 {
        u32::MAX >> (32 - self.bits())
    }

    /// Whether the sign bit of a value is set.
    #[inline]
    pub fn negative(self, value: u32) -> bool {
        value >> (self.bits() - 1) & 1 == 1
    }

    /// The value, sign-extended to 32 bits.
    #[inline]
    pub fn extend(self, value: u32) -> u32 {
        match self {
            Size::Byte => value as i8 as u32,
            Size::Word => value as i16 as u32,
            Size::Long => value,
        }
    }
}

/// `old` with its low part replaced.
#[inline]
pub(super) fn merge(size: Size, old: u32, value: u32) -> u32 {
    old & !size.mask() | value & size.mask()
}
