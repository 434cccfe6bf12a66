//! Putting loaded pieces together: every piece inside the host's range, none over another, gaps as
//! erased EPROM.

use std::borrow::Cow;
use std::fmt;
use std::ops::{Range, RangeInclusive};

use thiserror::Error;

/// What part of a file loaded something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// An ELF program header, counted from 0 as tools list them.
    Segment(usize),
    /// A line of text, counted from 1.
    Line(usize),
    /// The image as a whole.
    Whole,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Segment(number) => write!(f, "program header {number}"),
            Place::Line(number) => write!(f, "line {number}"),
            Place::Whole => f.write_str("the image"),
        }
    }
}

impl Place {
    /// What usually causes a load outside the host, for the formats where there is a usual cause.
    fn outside_hint(&self) -> &'static str {
        match self {
            Place::Segment(_) => " Data that the program keeps in RAM must have a load address (LMA) in ROM.",
            Place::Line(_) | Place::Whole => "",
        }
    }
}

/// What is loaded does not make an image.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ImageFault {
    /// Nothing is loaded.
    #[error("Nothing in the file is to be loaded, so there is no image.")]
    Nothing,
    /// Something is loaded where the host does not answer.
    #[error(
        "The bytes of {place} would stand at {first:#08X}-{last:#08X}, but the host answers only for \
         {range_first:#08X}-{range_last:#08X}.{}",
        place.outside_hint()
    )]
    Outside {
        /// What loads them.
        place: Place,
        /// Address of the first of these bytes.
        first: u64,
        /// Address of the last of these bytes.
        last: u64,
        /// First address of the host's range.
        range_first: u32,
        /// Last address of the host's range.
        range_last: u32,
    },
    /// Two parts of the file load the same address.
    #[error("Both {earlier} and {later} load the byte at {address:#08X}.")]
    Overlap {
        /// What loads it first, in the order of the file.
        earlier: Place,
        /// What loads it again.
        later: Place,
        /// The lowest address that both load.
        address: u32,
    },
    /// A raw image with half a word at its end.
    #[error("The image has an odd length ({length} bytes), so its last 16-bit word is cut off.")]
    OddLength {
        /// Its length in bytes.
        length: usize,
    },
    /// The halves do not match.
    #[error("The even half has {even} bytes and the odd half {odd}; both must be of the same length.")]
    UnequalHalves {
        /// Length of the even half in bytes.
        even: usize,
        /// Length of the odd half in bytes.
        odd: usize,
    },
    /// An image of words at an odd address.
    #[error("The origin {origin:#08X} is odd, but a 16-bit ROM begins at an even address.")]
    OddOrigin {
        /// The origin.
        origin: u32,
    },
}

/// What an EPROM cell reads as where nothing was programmed.
pub(super) const ERASED: u8 = 0xFF;

/// Bytes that a file loads at an address.
#[derive(Debug, Clone)]
pub(super) struct Block<'a> {
    /// Bus address of the first byte. A `u64`, as files can name addresses that no bus has.
    pub start: u64,
    pub bytes: Cow<'a, [u8]>,
    /// Where in the file they come from, for messages.
    pub place: Place,
}

impl Block<'_> {
    fn end(&self) -> u64 {
        self.start + self.bytes.len() as u64
    }
}

/// A contiguous image: what `HostRom` keeps.
#[derive(Debug, Clone)]
pub(super) struct Image {
    pub origin: u32,
    pub bytes: Vec<u8>,
    pub extents: Vec<Range<u32>>,
}

impl Image {
    /// From the first byte to behind the last.
    pub fn span(&self) -> Range<u32> {
        // An image is only made within the bus, so its length fits.
        self.origin..self.origin + self.bytes.len() as u32
    }
}

/// Makes one image of the blocks. Empty blocks load nothing.
pub(super) fn assemble(mut blocks: Vec<Block<'_>>, range: &RangeInclusive<u32>) -> Result<Image, ImageFault> {
    blocks.retain(|block| !block.bytes.is_empty());
    for block in &blocks {
        check_inside(block, range)?;
    }
    blocks.sort_by_key(|block| block.start);
    let (Some(first), Some(last)) = (blocks.first(), blocks.last()) else {
        return Err(ImageFault::Nothing);
    };
    check_disjoint(&blocks)?;
    // Inside the range, so both ends fit 24 bits; disjoint, so the last block also ends last.
    let origin = first.start as u32;
    let mut bytes = vec![ERASED; (last.end() - first.start) as usize];
    let mut extents: Vec<Range<u32>> = Vec::new();
    for block in &blocks {
        let at = (block.start - u64::from(origin)) as usize;
        bytes[at..at + block.bytes.len()].copy_from_slice(&block.bytes);
        match extents.last_mut() {
            Some(extent) if u64::from(extent.end) == block.start => extent.end = block.end() as u32,
            _ => extents.push(block.start as u32..block.end() as u32),
        }
    }
    Ok(Image { origin, bytes, extents })
}

fn check_inside(block: &Block<'_>, range: &RangeInclusive<u32>) -> Result<(), ImageFault> {
    let (first, last) = (block.start, block.end() - 1);
    if first >= u64::from(*range.start()) && last <= u64::from(*range.end()) {
        return Ok(());
    }
    let (range_first, range_last) = (*range.start(), *range.end());
    Err(ImageFault::Outside { place: block.place, first, last, range_first, range_last })
}

/// Neighbours are enough to look at: if any two blocks overlap, so do two neighbours.
fn check_disjoint(sorted: &[Block<'_>]) -> Result<(), ImageFault> {
    for pair in sorted.windows(2) {
        if pair[1].start < pair[0].end() {
            let (mut earlier, mut later) = (pair[0].place, pair[1].place);
            if number(later) < number(earlier) {
                std::mem::swap(&mut earlier, &mut later);
            }
            return Err(ImageFault::Overlap { earlier, later, address: pair[1].start as u32 });
        }
    }
    Ok(())
}

fn number(place: Place) -> usize {
    match place {
        Place::Segment(number) | Place::Line(number) => number,
        Place::Whole => 0,
    }
}
