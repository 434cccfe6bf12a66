//! Addresses as people know them: symbols, source lines, places, header fields.

use std::fmt;

use serde::Serialize;

use crate::cartridge::Layout;
use crate::cpu;
use crate::run::Rig;
use crate::units;

/// Looks up names for addresses.
#[derive(Clone, Copy, Debug)]
pub struct Names<'a> {
    /// The rig: symbols and source lines of the host ROM, names of places.
    pub rig: &'a Rig,
    /// The header layout.
    pub layout: &'a Layout,
}

/// A place in the code.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, schemars::JsonSchema)]
pub struct Spot {
    /// Bus address.
    pub address: u32,
    /// Symbol, with an offset if the address lies past it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub symbol: Option<String>,
    /// Source file and line, where the image has line tables.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", units::address(self.address))?;
        if let Some(symbol) = &self.symbol {
            write!(f, " <{symbol}>")?;
        }
        if let Some(source) = &self.source {
            write!(f, " {source}")?;
        }
        Ok(())
    }
}

impl Names<'_> {
    /// A place in the code.
    pub fn spot(&self, address: u32) -> Spot {
        let host = self.rig.map.host();
        let symbol = host.symbols().at(address).map(|(name, offset)| match offset {
            0 => name.to_owned(),
            offset => format!("{name}+{offset}"),
        });
        let source = host.lines().at(address).map(|line| format!("{}:{}", line.file, line.line));
        Spot { address, symbol, source }
    }

    /// The source file and line of the label at or before an address, where the source can be read.
    pub fn label(&self, address: u32) -> Option<String> {
        self.rig.map.host().label(address).map(|(file, line)| format!("{file}:{line}"))
    }

    /// A data address with its symbol.
    pub fn data(&self, address: u32) -> String {
        cpu::name_address(address, self.rig.map.host().symbols())
    }

    /// The header field at an image offset, with the index into it: `product[12]`.
    pub fn field(&self, offset: u32) -> Option<String> {
        let field = self.layout.at(offset)?;
        // A field of one byte has no other.
        if field.length == 1 {
            return Some(field.name.clone());
        }
        Some(format!("{}[{}]", field.name, offset - field.at))
    }

    /// The name of a branch, with its kind.
    pub fn branch(&self, index: usize) -> String {
        let branch = &self.rig.branches[index];
        format!("{} ({})", branch.name, branch.kind.name())
    }

    /// Names of branches, joined for a sentence.
    pub fn branches(&self, list: &[usize]) -> String {
        list.iter().map(|index| self.rig.branches[*index].name.as_str()).collect::<Vec<_>>().join(" or ")
    }
}
