//! Raw images and even/odd halves: bytes without addresses, so the caller says where they stand.

use std::borrow::Cow;
use std::iter::zip;
use std::ops::RangeInclusive;

use super::blocks::{Block, Image, ImageFault, Place, assemble};
use super::format::ByteOrder;

/// Puts the bytes of a file into the 68000's order.
///
/// An odd length is refused here, since there the last byte has no partner to be exchanged with.
pub(super) fn ordered(mut bytes: Vec<u8>, order: ByteOrder) -> Result<Vec<u8>, ImageFault> {
    if order == ByteOrder::Swapped {
        check_even_length(&bytes)?;
        for pair in bytes.chunks_exact_mut(2) {
            pair.swap(0, 1);
        }
    }
    Ok(bytes)
}

/// Makes one run of bytes of two halves of equal length.
pub(super) fn interleave(even: &[u8], odd: &[u8]) -> Result<Vec<u8>, ImageFault> {
    if even.len() != odd.len() {
        return Err(ImageFault::UnequalHalves { even: even.len(), odd: odd.len() });
    }
    Ok(zip(even, odd).flat_map(|(&even, &odd)| [even, odd]).collect())
}

/// Places the bytes at `origin`, or at the start of the host's range.
pub(super) fn place(bytes: &[u8], origin: Option<u32>, range: &RangeInclusive<u32>) -> Result<Image, ImageFault> {
    let origin = origin.unwrap_or(*range.start());
    if !origin.is_multiple_of(2) {
        return Err(ImageFault::OddOrigin { origin });
    }
    check_even_length(bytes)?;
    let whole = Block { start: u64::from(origin), bytes: Cow::Borrowed(bytes), place: Place::Whole };
    assemble(vec![whole], range)
}

fn check_even_length(bytes: &[u8]) -> Result<(), ImageFault> {
    match bytes.len() {
        length if !length.is_multiple_of(2) => Err(ImageFault::OddLength { length }),
        _ => Ok(()),
    }
}
