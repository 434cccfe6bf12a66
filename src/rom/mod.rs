//! Host images: the built boot ROM as it was linked or dumped, brought to one contiguous run of
//! bytes.
//!
//! [`HostRom::load`] reads an ELF executable, a raw image, S-records or a pair of even and odd
//! halves, and with them the symbols and source lines that reports show. It knows nothing of the
//! attached cartridge, of the bus or of the processor; it never runs and never guesses past what
//! the file says.

mod blocks;
mod dwarf;
mod elf;
mod error;
mod file;
mod format;
mod host;
mod labels;
mod lines;
mod nm;
mod raw;
mod srecord;
mod symbols;

use std::ops::RangeInclusive;
use std::path::PathBuf;

pub use blocks::{ImageFault, Place};
pub use elf::ElfFault;
pub use error::RomError;
pub use file::{FileFault, LARGEST_FILE};
pub use format::{ByteOrder, Format, SettingFault};
pub use host::HostRom;
pub use lines::{Lines, SourceLine};
pub use nm::NmFault;
pub use srecord::SRecordFault;
pub use symbols::Symbols;

/// The last address of the 68000's 24-bit bus.
pub const LAST_BUS_ADDRESS: u32 = 0x00FF_FFFF;

/// Where a host image comes from and how its files are to be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HostSource {
    /// The file or files that hold the image.
    pub image: ImageFiles,
    /// The declared format; `None` has it told from the content.
    pub format: Option<Format>,
    /// Whether the bytes of each 16-bit word of the file are exchanged (raw images and halves
    /// only).
    pub byte_order: ByteOrder,
    /// The address of the first byte of a raw image or of halves; `None` is the start of `range`.
    /// ELF files and S-records carry their own addresses and refuse one.
    pub origin: Option<u32>,
    /// Symbols as POSIX `nm -P` text, added to those of an ELF file and found before them.
    pub symbols: Option<PathBuf>,
    /// The addresses for which the host answers on the 24-bit bus; nothing may be loaded elsewhere.
    pub range: RangeInclusive<u32>,
}

/// One image file, or the two chips of a 16-bit bus.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ImageFiles {
    /// The whole image in one file.
    One(PathBuf),
    /// One file a byte lane, both of the same length.
    Halves {
        /// The bytes of the even addresses (data lines D8-D15).
        even: PathBuf,
        /// The bytes of the odd addresses (data lines D0-D7).
        odd: PathBuf,
    },
}
