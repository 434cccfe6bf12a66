//! The image formats: their names, and telling them apart by content.

use std::fmt;
use std::path::Path;

use thiserror::Error;

use super::error::RomError;

/// How an image file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// A linked 32-bit big-endian ELF executable for the 68000 family.
    Elf,
    /// The bytes of the ROM and nothing else.
    Raw,
    /// S-records: text lines with addresses and checksums.
    SRecord,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Format::Elf => "ELF",
            Format::Raw => "raw",
            Format::SRecord => "S-record",
        })
    }
}

/// Whether every pair of bytes of a file is exchanged, as some EPROM programmers write them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum ByteOrder {
    /// The bytes stand as the 68000 sees them, the high byte of a word first.
    #[default]
    Normal,
    /// The bytes of every 16-bit word of the file are exchanged.
    Swapped,
}

/// Settings that do not go together.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SettingFault {
    /// The content is plainly of another format than was declared.
    #[error(
        "The image is declared as {declared}, but its content is {found}. Correct the format, or leave it out to \
         have it told from the content{}.",
        if *found == Format::Elf { "; an ELF header is never code" } else { "" }
    )]
    NotAsDeclared {
        /// The format that was declared.
        declared: Format,
        /// The format of the content.
        found: Format,
    },
    /// Swapped byte order on a format that fixes it.
    #[error(
        "Swapped byte order is for raw images and halves; the byte order of {0} files is fixed by the format, so \
         exchanging it would only damage the file."
    )]
    SwappedNotRaw(Format),
    /// An origin on a format that carries its addresses.
    #[error("An origin is for raw images and halves; {0} files carry their own addresses.")]
    OriginNotRaw(Format),
    /// A half that is not raw.
    #[error("Even and odd halves are read as raw bytes, but this one is {0}. Convert it to raw bytes first.")]
    HalfNotRaw(Format),
    /// The format was declared for halves, and is not raw.
    #[error("Even and odd halves are read as raw bytes, so the format cannot be {0}.")]
    HalvesDeclared(Format),
}

/// The four bytes with which every ELF file begins (System V gABI, `e_ident`).
pub(super) const ELF_MAGIC: &[u8; 4] = b"\x7fELF";

/// Tells the format from the content alone.
pub(super) fn detect(bytes: &[u8]) -> Format {
    if bytes.starts_with(ELF_MAGIC) {
        Format::Elf
    } else if looks_like_s_records(bytes) {
        Format::SRecord
    } else {
        Format::Raw
    }
}

/// An `S`, a digit and the two hexadecimal digits of the byte count, after blanks.
///
/// Only the start is asked, so that a file damaged further down is still read as S-records and
/// refused with a line number. A raw image cannot be mistaken: as an initial stack pointer these
/// four letters are no address in RAM.
fn looks_like_s_records(bytes: &[u8]) -> bool {
    let text = bytes.trim_ascii_start();
    matches!(text, [b'S', kind, a, b, ..]
        if kind.is_ascii_digit() && a.is_ascii_hexdigit() && b.is_ascii_hexdigit())
}

/// The format to read the file in: the declared one, unless the content plainly contradicts it.
pub(super) fn settle(declared: Option<Format>, bytes: &[u8], path: &Path) -> Result<Format, RomError> {
    let found = detect(bytes);
    match declared {
        None => Ok(found),
        Some(declared) if declared != found && (declared == Format::Elf || found == Format::Elf) => {
            let fault = SettingFault::NotAsDeclared { declared, found };
            Err(RomError::Setting { path: path.to_owned(), fault })
        }
        Some(declared) => Ok(declared),
    }
}
