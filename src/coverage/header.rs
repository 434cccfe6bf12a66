//! The header's bytes and fields as the cases have used them.
//!
//! Counts are of cases. A routine that sums a whole image reads megabytes, so a read outside of the header costs one
//! comparison.

use std::collections::{BTreeSet, HashSet};
use std::ops::Range;

use crate::cartridge::{Image, Layout};

/// A header of at most so many bytes is looked at as a whole. Of a longer one (a field at the image's end, say) only the
/// fields are, and of each field as many bytes.
const MOST: u32 = 4096;

/// A count of cases.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stamped {
    stamp: u32,
    pub cases: u64,
}

impl Stamped {
    pub const NONE: Self = Self { stamp: 0, cases: 0 };

    /// Counts the case once.
    #[inline]
    pub fn count(&mut self, stamp: u32) {
        if self.stamp != stamp {
            self.stamp = stamp;
            self.cases += 1;
        }
    }
}

/// Image offsets that are watched, as ranges in order.
pub(super) fn watched(layout: &Layout) -> Vec<Range<u32>> {
    let extent = layout.extent();
    if extent.len() <= MOST as usize {
        return if extent.is_empty() { Vec::new() } else { vec![extent] };
    }
    let mut fields: Vec<Range<u32>> = layout
        .fields()
        .iter()
        .map(|field| field.at..field.range().end.min(field.at.saturating_add(MOST)))
        .filter(|range| !range.is_empty())
        .collect();
    fields.sort_by_key(|range| range.start);
    let mut ranges: Vec<Range<u32>> = Vec::new();
    for field in fields {
        match ranges.last_mut() {
            Some(last) if last.end >= field.start => last.end = last.end.max(field.end),
            _ => ranges.push(field),
        }
    }
    ranges
}

/// One checker's view of the header.
#[derive(Clone, Debug)]
pub(super) struct HeaderWatch {
    ranges: Vec<Range<u32>>,
    extent: Range<u32>,
    bytes: Vec<Stamped>,
    /// The values that the attached images have there, one bit each.
    values: Vec<[u64; 4]>,
    /// Of each range what the last image has there: most cases differ from the one before in a few bytes only.
    last: Vec<Vec<u8>>,
    fields: Vec<FieldWatch>,
    buffer: Vec<u8>,
}

#[derive(Clone, Debug)]
struct FieldWatch {
    offsets: Range<u32>,
    read_by: u64,
    /// Hashes of the contents, and the last one.
    contents: HashSet<u64>,
    last: Vec<u8>,
}

/// What is known of the header when all cases are done.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct GatheredHeader {
    /// Of each byte watched: its offset, the cases that read it, the values tried.
    pub bytes: Vec<(u32, u64, [u64; 4])>,
    /// Of each field: the cases that read any of it, hashes of the contents tried.
    pub fields: Vec<(u64, BTreeSet<u64>)>,
}

impl FieldWatch {
    fn new(offsets: Range<u32>) -> Self {
        Self { offsets, read_by: 0, contents: HashSet::new(), last: Vec::new() }
    }
}

impl HeaderWatch {
    pub fn new(layout: &Layout) -> Self {
        let ranges = watched(layout);
        let count = ranges.iter().map(|range| range.len()).sum();
        let extent = ranges.first().map_or(0, |range| range.start)..ranges.last().map_or(0, |range| range.end);
        let fields = layout.fields().iter();
        let fields = fields.map(|field| FieldWatch::new(field.range()));
        Self {
            extent,
            bytes: vec![Stamped::default(); count],
            values: vec![[0; 4]; count],
            last: vec![Vec::new(); ranges.len()],
            ranges,
            fields: fields.collect(),
            buffer: Vec::new(),
        }
    }

    /// Bytes of the image were read.
    #[inline]
    pub fn read(&mut self, offset: u32, bytes: u32, stamp: u32) {
        if offset < self.extent.end && offset + bytes > self.extent.start {
            for offset in offset..offset + bytes {
                if let Some(place) = self.place(offset) {
                    self.bytes[place].count(stamp);
                }
            }
        }
    }

    fn place(&self, offset: u32) -> Option<usize> {
        let mut before = 0;
        for range in &self.ranges {
            if range.contains(&offset) {
                return Some(before + (offset - range.start) as usize);
            }
            before += range.len();
        }
        None
    }

    fn offsets(&self) -> impl Iterator<Item = u32> + '_ {
        self.ranges.iter().flat_map(Clone::clone)
    }

    /// A case is done: what it read of each field, and what its image has there.
    pub fn finish_case(&mut self, image: Option<&Image>, stamp: u32) {
        let (ranges, bytes) = (&self.ranges, &self.bytes);
        for field in &mut self.fields {
            let mut before = 0;
            let read = ranges.iter().any(|range| {
                let first = before;
                before += range.len();
                let from = field.offsets.start.max(range.start);
                let to = field.offsets.end.min(range.end).max(from);
                let place = |offset: u32| first + (offset - range.start) as usize;
                from < to && bytes[place(from)..place(to - 1) + 1].iter().any(|byte| byte.stamp == stamp)
            });
            field.read_by += u64::from(read);
        }
        let Some(image) = image else { return };
        for field in &mut self.fields {
            image.read(field.offsets.clone(), &mut self.buffer);
            if field.contents.is_empty() || field.last != self.buffer {
                field.contents.insert(hash(&self.buffer));
                std::mem::swap(&mut field.last, &mut self.buffer);
            }
        }
        let mut before = 0;
        for (range, last) in self.ranges.iter().zip(&mut self.last) {
            image.read(range.clone(), &mut self.buffer);
            if *last != self.buffer {
                for (values, value) in self.values[before..].iter_mut().zip(&self.buffer) {
                    values[usize::from(*value) / 64] |= 1 << (value % 64);
                }
                std::mem::swap(last, &mut self.buffer);
            }
            before += range.len();
        }
    }

    pub fn gathered(&self) -> GatheredHeader {
        let bytes = self.offsets().zip(&self.bytes).zip(&self.values);
        GatheredHeader {
            bytes: bytes.map(|((offset, byte), values)| (offset, byte.cases, *values)).collect(),
            fields: self.fields.iter().map(|field| (field.read_by, field.contents.iter().copied().collect())).collect(),
        }
    }
}

impl GatheredHeader {
    /// Adds what another checker of the same harness has seen.
    pub fn merge(&mut self, other: GatheredHeader) {
        if self.bytes.is_empty() && self.fields.is_empty() {
            *self = other;
            return;
        }
        for ((_, cases, values), (_, more, others)) in self.bytes.iter_mut().zip(other.bytes) {
            *cases += more;
            values.iter_mut().zip(others).for_each(|(bits, other)| *bits |= other);
        }
        for ((read_by, contents), (more, others)) in self.fields.iter_mut().zip(other.fields) {
            *read_by += more;
            contents.extend(others);
        }
    }
}

/// A hash of a field's content, as much of it as the image has.
fn hash(bytes: &[u8]) -> u64 {
    bytes.chunks(8).fold(bytes.len() as u64, |hash, chunk| {
        let mut eight = [0; 8];
        eight[..chunk.len()].copy_from_slice(chunk);
        mix(hash, u64::from_le_bytes(eight))
    })
}

/// Mixes a value into a hash.
#[inline]
pub(super) fn mix(hash: u64, value: u64) -> u64 {
    // An odd constant without pattern: the golden ratio in 64 bits (Knuth, vol. 3, 6.4).
    let mixed = (hash ^ value).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    mixed ^ mixed >> 32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cartridge::{Field, Fill, Holds};
    use pretty_assertions::assert_eq;

    fn layout(fields: &[(u32, u32)]) -> Layout {
        let field = |(at, length): &(u32, u32)| Field {
            name: format!("f{at}"),
            at: *at,
            length: *length,
            holds: Holds::Number,
        };
        Layout::new(fields.iter().map(field).collect())
    }

    #[test]
    fn a_header_is_watched_as_a_whole_or_by_its_fields() {
        let watched = |fields: &[(u32, u32)]| -> Vec<(u32, u32)> {
            super::watched(&layout(fields)).iter().map(|range| (range.start, range.end)).collect()
        };
        assert_eq!(watched(&[]), []);
        assert_eq!(watched(&[(0x180, 14), (0x100, 16)]), [(0x100, 0x18E)]);
        let far = [(0x3F_FFFC, 4), (0x100, 4), (0x102, 8)];
        assert_eq!(watched(&far), [(0x100, 0x10A), (0x3F_FFFC, 0x40_0000)]);
    }

    #[test]
    fn reads_and_contents_are_counted_by_case() {
        let mut watch = HeaderWatch::new(&layout(&[(0x100, 2), (0x3F_FFFC, 2)]));
        let mut image = Image::new(0x200, Fill::Byte(0));
        watch.read(0x0FF, 2, 1);
        watch.read(0x100, 1, 1);
        watch.finish_case(Some(&image), 1);
        image.put(0x101, [7]);
        watch.read(0x101, 2, 2);
        watch.finish_case(Some(&image), 2);
        watch.read(0x3F_FFFE, 2, 3);
        watch.finish_case(None, 3);
        let gathered = watch.gathered();
        let bytes: Vec<(u32, u64, u64)> = gathered.bytes.iter().map(|byte| (byte.0, byte.1, byte.2[0])).collect();
        // Values 0 and 7 are bits 0 and 7; nothing is at an offset beyond the image.
        assert_eq!(bytes, [(0x100, 1, 1), (0x101, 1, 0x81), (0x3F_FFFC, 0, 0), (0x3F_FFFD, 0, 0)]);
        let fields: Vec<(u64, usize)> = gathered.fields.iter().map(|field| (field.0, field.1.len())).collect();
        assert_eq!(fields, [(2, 2), (0, 1)]);
    }
}
