//! Reading a file whole, but never more of it than a ROM can hold.

use std::fs::{self, File};
use std::io::{self, ErrorKind, Read};
use std::path::Path;

use thiserror::Error;

use super::error::RomError;

/// The largest file that is read, in bytes: the whole 24-bit address space.
pub const LARGEST_FILE: u64 = 16 << 20;

/// What is wrong with a file before its content is looked at.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FileFault {
    /// There is no such file.
    #[error("There is no such file.")]
    Missing,
    /// The path names a directory.
    #[error("This is a directory, but a file is needed.")]
    Directory,
    /// The path names a device, pipe or socket.
    #[error("This is a device, pipe or socket, but a regular file is needed.")]
    Special,
    /// The operating system refused.
    #[error("The file cannot be read: {0}.")]
    Unreadable(io::Error),
    /// The file holds nothing.
    #[error("The file is empty.")]
    Empty,
    /// The file is larger than the address space.
    #[error("The file is larger than {} MiB, which is all that a 24-bit bus can address.", LARGEST_FILE >> 20)]
    TooLarge,
}

/// Reads a regular, non-empty file of at most [`LARGEST_FILE`] bytes.
///
/// The kind and length are asked before the file is opened, because opening a pipe would wait for a
/// writer; the read itself is bounded as well, because a file may grow in between.
pub(super) fn read(path: &Path) -> Result<Vec<u8>, RomError> {
    read_bounded(path).map_err(|fault| RomError::File { path: path.to_owned(), fault })
}

fn read_bounded(path: &Path) -> Result<Vec<u8>, FileFault> {
    let about = fs::metadata(path).map_err(|error| match error.kind() {
        ErrorKind::NotFound => FileFault::Missing,
        _ => FileFault::Unreadable(error),
    })?;
    if about.is_dir() {
        return Err(FileFault::Directory);
    }
    if !about.is_file() {
        return Err(FileFault::Special);
    }
    if about.len() > LARGEST_FILE {
        return Err(FileFault::TooLarge);
    }
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(FileFault::Unreadable)?;
    file.take(LARGEST_FILE + 1).read_to_end(&mut bytes).map_err(FileFault::Unreadable)?;
    match bytes.len() as u64 {
        0 => Err(FileFault::Empty),
        length if length > LARGEST_FILE => Err(FileFault::TooLarge),
        _ => Ok(bytes),
    }
}
