//! The host image once it is loaded, and the steps that load it.

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use sha2::{Digest, Sha256};

use super::blocks::{Image, assemble};
use super::error::RomError;
use super::format::{self, ByteOrder, Format, SettingFault};
use super::labels::Labels;
use super::lines::Lines;
use super::symbols::{Region, Symbol, Symbols};
use super::{HostSource, ImageFiles, LAST_BUS_ADDRESS, elf, file, nm, raw, srecord};

/// A boot ROM as it stands on the bus, with the names and source lines of its addresses.
#[derive(Debug, Clone)]
pub struct HostRom {
    image: Image,
    symbols: Symbols,
    lines: Lines,
    crc32: u32,
    files: Vec<PathBuf>,
    /// Read when the first one is asked for.
    labels: OnceLock<Labels>,
}

/// How many labels back a source is looked for.
const MOST_LABELS: usize = 16;

impl HostRom {
    /// Reads the files and makes one image of them. Every problem with them is found here.
    pub fn load(source: &HostSource) -> Result<HostRom, RomError> {
        let (first, last) = (*source.range.start(), *source.range.end());
        if first > last || last > LAST_BUS_ADDRESS {
            return Err(RomError::Range { first, last });
        }
        let mut parts = match &source.image {
            ImageFiles::One(path) => load_one(path, source)?,
            ImageFiles::Halves { even, odd } => load_halves(even, odd, source)?,
        };
        if parts.regions.is_empty() {
            parts.regions = extents_as_regions(&parts.image);
        }
        let mut symbols = Symbols::within(parts.regions, parts.image.span());
        if let Some(path) = &source.symbols {
            read_symbols(path)?.into_iter().for_each(|symbol| symbols.add(symbol));
            parts.files.push(path.clone());
        }
        parts.symbols.into_iter().for_each(|symbol| symbols.add(symbol));
        Ok(HostRom::new(parts.image, symbols, parts.lines, parts.files))
    }

    /// An image that is already in memory, without symbols and source lines.
    ///
    /// Fails with [`RomError::Memory`] if it is empty, has an odd length or origin, or reaches past
    /// the 24-bit bus.
    pub fn from_bytes(bytes: impl AsRef<[u8]>, origin: u32) -> Result<HostRom, RomError> {
        let image = raw::place(bytes.as_ref(), Some(origin), &(0..=LAST_BUS_ADDRESS))
            .map_err(|fault| RomError::Memory { fault })?;
        let symbols = Symbols::within(extents_as_regions(&image), image.span());
        Ok(HostRom::new(image, symbols, Lines::default(), Vec::new()))
    }

    fn new(image: Image, symbols: Symbols, lines: Lines, files: Vec<PathBuf>) -> HostRom {
        let crc32 = crc32fast::hash(&image.bytes);
        HostRom { image, symbols, lines, crc32, files, labels: OnceLock::new() }
    }

    /// The source file and line of the nearest label at or before an address, as far as a source can be read.
    pub fn label(&self, address: u32) -> Option<(&str, u32)> {
        let labels = self.labels.get_or_init(|| Labels::read(self.lines.files()));
        let mut address = address;
        for _ in 0..MOST_LABELS {
            let (_, offset) = self.symbols.at(address)?;
            let (names, labels_only) = self.symbols.names_at(address - offset);
            if let Some(found) = names.iter().find_map(|name| labels.find(name)) {
                return Some(found);
            }
            // A macro made that label; the one before it may be the table's.
            if !labels_only {
                return None;
            }
            address = address.checked_sub(offset + 1)?;
        }
        None
    }

    /// The image from [`origin`](Self::origin) to [`end`](Self::end); gaps between the parts that
    /// the files load hold 0xFF, as erased EPROM does.
    pub fn bytes(&self) -> &[u8] {
        &self.image.bytes
    }

    /// The bus address of the first byte.
    pub fn origin(&self) -> u32 {
        self.image.origin
    }

    /// The bus address after the last byte; at most 0x0100_0000.
    pub fn end(&self) -> u32 {
        self.image.span().end
    }

    /// The parts that the files really load, ascending and with a gap between any two.
    pub fn extents(&self) -> &[Range<u32>] {
        &self.image.extents
    }

    /// The names of addresses.
    pub fn symbols(&self) -> &Symbols {
        &self.symbols
    }

    /// The names of addresses, to add some.
    pub fn symbols_mut(&mut self) -> &mut Symbols {
        &mut self.symbols
    }

    /// The source lines of addresses.
    pub fn lines(&self) -> &Lines {
        &self.lines
    }

    /// CRC-32 (the one of ISO-HDLC and `zlib`) of [`bytes`](Self::bytes), gaps included: that of
    /// the burnt EPROM.
    pub fn crc32(&self) -> u32 {
        self.crc32
    }

    /// SHA-256 of [`bytes`](Self::bytes), as 64 hexadecimal digits.
    pub fn sha256(&self) -> String {
        Sha256::digest(self.bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// The files that were read: the image or its even and odd half, then the symbol file.
    pub fn files(&self) -> &[PathBuf] {
        &self.files
    }

    /// The byte at a bus address; `None` outside the image.
    pub fn byte(&self, address: u32) -> Option<u8> {
        self.at::<1>(address).map(|[byte]| byte)
    }

    /// The big-endian word at a bus address of any alignment; `None` unless all of it is inside the
    /// image.
    pub fn word(&self, address: u32) -> Option<u16> {
        self.at(address).map(u16::from_be_bytes)
    }

    /// The big-endian long word at a bus address of any alignment; `None` unless all of it is
    /// inside the image.
    pub fn long(&self, address: u32) -> Option<u32> {
        self.at(address).map(u32::from_be_bytes)
    }

    fn at<const N: usize>(&self, address: u32) -> Option<[u8; N]> {
        let offset = address.checked_sub(self.image.origin)? as usize;
        self.image.bytes.get(offset..)?.first_chunk().copied()
    }
}

/// What the files of an image hold, before the symbol file is read.
struct Parts {
    image: Image,
    symbols: Vec<Symbol>,
    regions: Vec<Region>,
    lines: Lines,
    files: Vec<PathBuf>,
}

impl Parts {
    fn bare(image: Image, files: Vec<PathBuf>) -> Parts {
        Parts { image, files, symbols: Vec::new(), regions: Vec::new(), lines: Lines::default() }
    }
}

fn load_one(path: &Path, source: &HostSource) -> Result<Parts, RomError> {
    let bytes = file::read(path)?;
    let format = format::settle(source.format, &bytes, path)?;
    check_settings(path, format, source)?;
    let in_image = |fault| RomError::Image { path: path.to_owned(), fault };
    let files = vec![path.to_owned()];
    match format {
        Format::Raw => {
            let placed = raw::ordered(bytes, source.byte_order)
                .and_then(|bytes| raw::place(&bytes, source.origin, &source.range));
            Ok(Parts::bare(placed.map_err(in_image)?, files))
        }
        Format::SRecord => {
            let blocks = srecord::read(&bytes).map_err(|(line, fault)| RomError::SRecord {
                path: path.to_owned(),
                line,
                fault,
            })?;
            Ok(Parts::bare(assemble(blocks, &source.range).map_err(in_image)?, files))
        }
        Format::Elf => {
            let executable = elf::read(&bytes).map_err(|fault| RomError::Elf { path: path.to_owned(), fault })?;
            let image = assemble(executable.blocks, &source.range).map_err(in_image)?;
            let (symbols, regions, mut lines) = (executable.symbols, executable.regions, executable.lines);
            lines.seen_from_here(path);
            Ok(Parts { image, symbols, regions, lines, files })
        }
    }
}

/// Refuses settings that the format makes meaningless, rather than pass over them.
fn check_settings(path: &Path, format: Format, source: &HostSource) -> Result<(), RomError> {
    let fault = if format == Format::Raw {
        return Ok(());
    } else if source.byte_order == ByteOrder::Swapped {
        SettingFault::SwappedNotRaw(format)
    } else if source.origin.is_some() {
        SettingFault::OriginNotRaw(format)
    } else {
        return Ok(());
    };
    Err(RomError::Setting { path: path.to_owned(), fault })
}

fn load_halves(even: &Path, odd: &Path, source: &HostSource) -> Result<Parts, RomError> {
    if let Some(format @ (Format::Elf | Format::SRecord)) = source.format {
        let fault = SettingFault::HalvesDeclared(format);
        return Err(RomError::Setting { path: even.to_owned(), fault });
    }
    let (even_bytes, odd_bytes) = (half(even, source)?, half(odd, source)?);
    let image = raw::interleave(&even_bytes, &odd_bytes)
        .and_then(|bytes| raw::place(&bytes, source.origin, &source.range))
        .map_err(|fault| RomError::Image { path: even.to_owned(), fault })?;
    Ok(Parts::bare(image, vec![even.to_owned(), odd.to_owned()]))
}

fn half(path: &Path, source: &HostSource) -> Result<Vec<u8>, RomError> {
    let bytes = file::read(path)?;
    let found = format::detect(&bytes);
    if source.format.is_none() && found != Format::Raw || found == Format::Elf {
        return Err(RomError::Setting { path: path.to_owned(), fault: SettingFault::HalfNotRaw(found) });
    }
    raw::ordered(bytes, source.byte_order).map_err(|fault| RomError::Image { path: path.to_owned(), fault })
}

fn read_symbols(path: &Path) -> Result<Vec<Symbol>, RomError> {
    let bytes = file::read(path)?;
    let symbols = nm::read(&String::from_utf8_lossy(&bytes)).map_err(|(line, fault)| RomError::Symbols {
        path: path.to_owned(),
        line,
        fault,
    })?;
    if symbols.is_empty() { Err(RomError::NoSymbols { path: path.to_owned() }) } else { Ok(symbols) }
}

fn extents_as_regions(image: &Image) -> Vec<Region> {
    image.extents.iter().map(|extent| Region { addresses: extent.clone(), section: None }).collect()
}
