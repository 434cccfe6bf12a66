//! Contact faults of the socket: data and address lines that are stuck, open or flickering.
//!
//! A fault acts only on what the attached cartridge sees (address lines) or answers (data lines); the host ROM, its
//! overlays and RAM have lines of their own.

use crate::noise::Noise;

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flaw {
    /// Always reads 1.
    High,
    /// Always reads 0.
    Low,
    /// Not connected: a data line then follows the open-bus rule of the socket.
    Open,
    /// Right or wrong at random on every access (seeded).
    Flickering,
}

/// A faulty data line, 0 to 15. D15-D8 carry the bytes at even addresses, D7-D0 those at odd ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DataFault {
    /// Line number, 0 to 15.
    pub line: u8,
    /// What is wrong with it.
    pub is: Flaw,
}

/// A faulty address line, 1 to 23 (the 68000 has no A0; the data strobes choose the byte).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AddressFault {
    /// Line number, 1 to 23.
    pub line: u8,
    /// What is wrong with it; never [`Flaw::Open`].
    pub is: Flaw,
}

/// All contact faults of one cartridge.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Contacts {
    /// Faulty data lines.
    pub data: Vec<DataFault>,
    /// Faulty address lines.
    pub address: Vec<AddressFault>,
}

impl Contacts {
    /// Becomes like `other` without allocating, if there ever was as much in here (a derived `clone_from` would).
    pub(crate) fn copy(&mut self, other: &Self) {
        self.data.clone_from(&other.data);
        self.address.clone_from(&other.address);
    }

    /// Whether every contact is good.
    pub fn good(&self) -> bool {
        self.data.is_empty() && self.address.is_empty()
    }

    /// Whether a line flickers, so that what is read differs from access to access.
    pub fn flicker(&self) -> bool {
        self.data.iter().any(|fault| fault.is == Flaw::Flickering)
            || self.address.iter().any(|fault| fault.is == Flaw::Flickering)
    }

    /// The address that the cartridge sees when the bus carries `address`.
    pub fn address(&self, address: u32, noise: &mut Noise) -> u32 {
        self.address.iter().fold(address, |seen, fault| {
            let bit = 1 << fault.line;
            match fault.is {
                Flaw::High => seen | bit,
                Flaw::Low => seen & !bit,
                Flaw::Open => seen,
                Flaw::Flickering => seen ^ if noise.coin() { bit } else { 0 },
            }
        })
    }

    /// The word that arrives at the CPU when the cartridge answers `word`; `open` is what an unconnected line carries.
    pub fn data(&self, word: u16, open: u16, noise: &mut Noise) -> u16 {
        self.data.iter().fold(word, |seen, fault| {
            let bit = 1 << fault.line;
            match fault.is {
                Flaw::High => seen | bit,
                Flaw::Low => seen & !bit,
                Flaw::Open => seen & !bit | open & bit,
                Flaw::Flickering => seen ^ if noise.coin() { bit } else { 0 },
            }
        })
    }
}
