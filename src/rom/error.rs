//! Everything that can be wrong with a host image, as plain sentences.
//!
//! [`RomError`] says which file and where in it; the fault inside, which is defined beside
//! the code that finds it, says what. Nothing here is a finding about the
//! routine under test: each of these is bad input, found before the first instruction runs.

use std::path::{Path, PathBuf};

use thiserror::Error;

use super::blocks::ImageFault;
use super::elf::ElfFault;
use super::file::FileFault;
use super::format::SettingFault;
use super::nm::NmFault;
use super::srecord::SRecordFault;

/// Why a host image could not be loaded.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RomError {
    /// The file itself cannot be had.
    #[error("{}: {fault}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        fault: FileFault,
    },
    /// A setting does not go with the file.
    #[error("{}: {fault}", path.display())]
    Setting {
        /// The image file.
        path: PathBuf,
        /// What does not go together.
        fault: SettingFault,
    },
    /// The ELF file is not one that can be loaded.
    #[error("{}: {fault}", path.display())]
    Elf {
        /// The image file.
        path: PathBuf,
        /// What is wrong with it.
        fault: ElfFault,
    },
    /// A line of an S-record file is wrong.
    #[error("{}, line {line}: {fault}", path.display())]
    SRecord {
        /// The image file.
        path: PathBuf,
        /// The line, counted from 1.
        line: usize,
        /// What is wrong with it.
        fault: SRecordFault,
    },
    /// What the file loads does not make an image.
    #[error("{}: {fault}", path.display())]
    Image {
        /// The image file.
        path: PathBuf,
        /// What is wrong with it.
        fault: ImageFault,
    },
    /// A line of the symbol file is wrong.
    #[error("{}, line {line}: {fault}", path.display())]
    Symbols {
        /// The symbol file.
        path: PathBuf,
        /// The line, counted from 1.
        line: usize,
        /// What is wrong with it.
        fault: NmFault,
    },
    /// The symbol file defines nothing.
    #[error(
        "{}: no symbol is defined in it. The file must be the output of `nm -P` for the linked image.",
        path.display()
    )]
    NoSymbols {
        /// The symbol file.
        path: PathBuf,
    },
    /// Bytes given in memory do not make an image.
    #[error("host image in memory: {fault}")]
    Memory {
        /// What is wrong with them.
        fault: ImageFault,
    },
    /// The host's own range is no range of the bus.
    #[error("The host's range {first:#08X}-{last:#08X} is not an ascending range of the 24-bit bus.")]
    Range {
        /// First address of the range.
        first: u32,
        /// Last address of the range.
        last: u32,
    },
}

impl RomError {
    /// The file the error is about; `None` if it is about bytes in memory or the host's range.
    pub fn path(&self) -> Option<&Path> {
        match self {
            RomError::File { path, .. }
            | RomError::Setting { path, .. }
            | RomError::Elf { path, .. }
            | RomError::SRecord { path, .. }
            | RomError::Image { path, .. }
            | RomError::Symbols { path, .. }
            | RomError::NoSymbols { path } => Some(path),
            RomError::Memory { .. } | RomError::Range { .. } => None,
        }
    }
}
