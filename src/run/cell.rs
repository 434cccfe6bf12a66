//! Places in memory and registers that a harness or a case asks about.

use std::fmt;

use m68000::Registers;

use crate::board::Bus;

/// Width of a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Width {
    /// 8 bits.
    Byte,
    /// 16 bits.
    Word,
    /// 32 bits.
    Long,
}

impl Width {
    /// Bytes.
    pub fn bytes(self) -> u32 {
        match self {
            Width::Byte => 1,
            Width::Word => 2,
            Width::Long => 4,
        }
    }

    /// The bits that count.
    pub fn mask(self) -> u32 {
        u32::MAX >> (32 - 8 * self.bytes())
    }

    /// The word a harness uses for it.
    pub fn name(self) -> &'static str {
        match self {
            Width::Byte => "byte",
            Width::Word => "word",
            Width::Long => "long",
        }
    }
}

/// A register of the 68000.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Register {
    /// D0 to D7.
    Data(u8),
    /// A0 to A7; A7 is the active stack pointer.
    Address(u8),
    /// The status register.
    Status,
}

impl Register {
    /// The register of a name (`d0`, `a7`, `sp`, `sr`), in any case.
    pub fn parse(name: &str) -> Option<Self> {
        let name = name.to_ascii_lowercase();
        let number = |rest: &str| rest.parse::<u8>().ok().filter(|number| *number < 8 && rest.len() == 1);
        match name.as_str() {
            "sp" => Some(Register::Address(7)),
            "sr" => Some(Register::Status),
            _ => match (name.get(..1)?, number(name.get(1..)?)?) {
                ("d", number) => Some(Register::Data(number)),
                ("a", number) => Some(Register::Address(number)),
                _ => None,
            },
        }
    }

    /// Its value.
    pub fn value(self, registers: &Registers) -> u32 {
        match self {
            Register::Data(number) => registers.d[number as usize].0,
            Register::Address(number) => registers.a(number),
            Register::Status => u32::from(u16::from(registers.sr)),
        }
    }

    /// Sets it.
    pub fn set(self, registers: &mut Registers, value: u32) {
        match self {
            Register::Data(number) => registers.d[number as usize].0 = value,
            Register::Address(number) => registers.a_mut(number).0 = value,
            Register::Status => registers.sr = (value as u16).into(),
        }
    }
}

impl fmt::Display for Register {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Register::Data(number) => write!(f, "d{number}"),
            Register::Address(number) => write!(f, "a{number}"),
            Register::Status => write!(f, "sr"),
        }
    }
}

/// Something with a value at the end of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cell {
    /// Memory, at a bus address.
    Memory {
        /// Bus address.
        address: u32,
        /// Width.
        width: Width,
    },
    /// A register, or its low part.
    Register {
        /// Which.
        register: Register,
        /// How much of it.
        width: Width,
    },
}

/// What a cell held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Probe {
    /// The value.
    pub value: u32,
    /// False if it lies in RAM that nothing has written, or on open bus.
    pub known: bool,
}

impl Cell {
    /// How many bits its value has.
    pub fn width(self) -> Width {
        match self {
            Cell::Memory { width, .. } | Cell::Register { width, .. } => width,
        }
    }

    /// Looks at the cell without touching anything.
    pub fn probe(self, registers: &Registers, bus: &Bus) -> Probe {
        match self {
            Cell::Register { register, width } => {
                Probe { value: register.value(registers) & width.mask(), known: true }
            }
            Cell::Memory { address, width } => {
                (0..width.bytes()).fold(Probe { value: 0, known: true }, |probe, index| {
                    let (byte, known) = bus.peek(address.wrapping_add(index));
                    Probe { value: probe.value << 8 | u32::from(byte), known: probe.known && known }
                })
            }
        }
    }
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Cell::Memory { address, width } => write!(f, "{} 0x{address:06X}", width.name()),
            Cell::Register { register, width: Width::Long } => write!(f, "{register}"),
            Cell::Register { register, width } => write!(f, "{register}.{}", &width.name()[..1]),
        }
    }
}
