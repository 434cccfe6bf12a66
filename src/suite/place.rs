//! Places and cells as people write them: addresses, symbols with offsets, memory of some width, registers.

use schemars::{Schema, json_schema};

use super::scalar::{FromScalar, Scalar, number_text, scalar};
use crate::run::{Register, Width};

/// A place in the host's address space: a number or a symbol with an offset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// An address.
    Address(u32),
    /// A symbol of the host image, plus an offset in bytes.
    Symbol(String, u32),
}

impl Place {
    fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if let Some(address) = number_text(text) {
            return u32::try_from(address).ok().map(Place::Address);
        }
        let (name, offset) = match text.rsplit_once('+') {
            Some((name, offset)) => (name.trim(), u32::try_from(number_text(offset)?).ok()?),
            None => (text, 0),
        };
        let named = !name.is_empty() && !name.contains(char::is_whitespace);
        named.then(|| Place::Symbol(name.to_owned(), offset))
    }
}

impl FromScalar for Place {
    const EXPECTED: &'static str = "an address, a symbol, or symbol+offset";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        match scalar {
            Scalar::Number(address) => u32::try_from(address).ok().map(Place::Address),
            Scalar::Text(text) => Place::parse(&text),
        }
    }

    fn schema() -> Schema {
        json_schema!({"type": ["integer", "string"], "minimum": 0, "maximum": u32::MAX, "pattern": "^\\S+(\\s*\\+\\s*\\S+)?$"})
    }
}
scalar!(Place);

/// A cell: memory of some width at a place, or a register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CellText {
    /// `word 0xE00012`, `byte flag`.
    Memory(Width, Place),
    /// `d0`, `d0.w`.
    Register(Register, Width),
}

impl CellText {
    /// Understands a cell.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if let Some((width, place)) = text.split_once(char::is_whitespace) {
            let width = match width {
                "byte" => Width::Byte,
                "word" => Width::Word,
                "long" => Width::Long,
                _ => return None,
            };
            return Place::parse(place).map(|place| CellText::Memory(width, place));
        }
        let (name, width) = text.split_once('.').unwrap_or((text, "l"));
        let width = match width {
            "b" => Width::Byte,
            "w" => Width::Word,
            "l" => Width::Long,
            _ => return None,
        };
        Register::parse(name).map(|register| CellText::Register(register, width))
    }
}

impl FromScalar for CellText {
    const EXPECTED: &'static str = "a cell like word 0xE00012, byte some_symbol, or a register like d0 or d0.w";

    fn from_scalar(scalar: Scalar) -> Option<Self> {
        let Scalar::Text(text) = scalar else { return None };
        CellText::parse(&text)
    }

    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^\\s*((byte|word|long)\\s+\\S+(\\s*\\+\\s*\\S+)?|([dDaA][0-7]|sp|SP|sr|SR)(\\.[bwl])?)\\s*$"})
    }
}
scalar!(CellText);
