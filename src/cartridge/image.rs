//! A sparse cartridge image: a size, a fill, and the few spans that differ from it.
//!
//! Spans share their bytes, so laying a header over a 4 MiB dump copies nothing of the dump. Offsets count from the
//! image's first byte; where an offset shows on the bus is the socket's business.

use std::ops::Range;
use std::sync::Arc;

use crate::noise;
use crate::rom::ByteOrder;

/// The largest image that a recipe may ask for, in bytes (16 MiB: the whole 24-bit bus).
pub const LARGEST_IMAGE: u32 = 16 << 20;

/// What stands where nothing was put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// The same byte everywhere; an erased EPROM is 0xFF.
    Byte(u8),
    /// Seeded noise, a fixed byte for each offset.
    Noise(u64),
}

impl Fill {
    /// The byte at an image offset.
    #[inline]
    pub fn at(self, offset: u32) -> u8 {
        match self {
            Fill::Byte(byte) => byte,
            Fill::Noise(seed) => noise::byte_at(seed, offset),
        }
    }
}

/// Bytes that stand at `at`; a window into shared data.
#[derive(Clone, Debug)]
struct Span {
    at: u32,
    data: Arc<[u8]>,
    part: Range<usize>,
}

impl Span {
    fn end(&self) -> u32 {
        self.at + self.part.len() as u32
    }

    fn bytes(&self) -> &[u8] {
        &self.data[self.part.clone()]
    }

    #[inline]
    fn byte(&self, offset: u32) -> u8 {
        self.data[self.part.start + (offset - self.at) as usize]
    }

    #[inline]
    fn word(&self, offset: u32) -> u16 {
        let at = self.part.start + (offset - self.at) as usize;
        let [high, low] = self.data[at..at + 2] else { unreachable!("two bytes") };
        u16::from_be_bytes([high, low])
    }

    /// The part of this span within `offsets`, which must overlap it.
    fn cut(&self, offsets: Range<u32>) -> Span {
        let from = offsets.start.max(self.at);
        let to = offsets.end.min(self.end());
        let start = self.part.start + (from - self.at) as usize;
        Span { at: from, data: Arc::clone(&self.data), part: start..start + (to - from) as usize }
    }
}

/// A stretch of offsets with one source, as [`Image::segment`] finds it: fast repeated reads stay within it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Segment {
    /// First offset and the one past the last.
    pub offsets: Range<u32>,
    span: Option<usize>,
}

/// A byte as it shows: known, or open bus.
pub type Shown = Option<u8>;

/// A cartridge image of up to 16 MiB.
#[derive(Clone, Debug)]
pub struct Image {
    size: u32,
    fill: Fill,
    order: ByteOrder,
    spans: Vec<Span>,
}

impl Image {
    /// An image of `size` bytes that holds only its fill. Sizes over [`LARGEST_IMAGE`] are cut to it.
    pub fn new(size: u32, fill: Fill) -> Self {
        Self { size: size.min(LARGEST_IMAGE), fill, order: ByteOrder::Normal, spans: Vec::new() }
    }

    /// Size in bytes.
    pub fn size(&self) -> u32 {
        self.size
    }

    /// Whether each pair of bytes shows exchanged.
    pub fn swapped(&self) -> bool {
        self.order == ByteOrder::Swapped
    }

    /// Exchanges each pair of bytes, as a dump read with the wrong byte order has them.
    pub fn set_order(&mut self, order: ByteOrder) {
        self.order = order;
    }

    /// Puts bytes at an offset, over whatever stands there. What would lie beyond the image is dropped.
    pub fn put(&mut self, at: u32, bytes: impl Into<Arc<[u8]>>) {
        let data = bytes.into();
        let length = data.len().min(self.size.saturating_sub(at) as usize);
        self.lay(Span { at, data, part: 0..length });
    }

    fn lay(&mut self, span: Span) {
        if span.part.is_empty() {
            return;
        }
        let mut spans = Vec::with_capacity(self.spans.len() + 2);
        for old in self.spans.drain(..) {
            if old.end() <= span.at || old.at >= span.end() {
                spans.push(old);
                continue;
            }
            if old.at < span.at {
                spans.push(old.cut(old.at..span.at));
            }
            if old.end() > span.end() {
                spans.push(old.cut(span.end()..old.end()));
            }
        }
        let place = spans.partition_point(|old| old.at < span.at);
        spans.insert(place, span);
        self.spans = spans;
    }

    /// Repeats what was put within `from` at offset `to` (a header copy). The fill is not copied.
    pub fn copy(&mut self, from: Range<u32>, to: u32) {
        let parts: Vec<Span> = self
            .spans
            .iter()
            .filter(|span| span.at < from.end && span.end() > from.start)
            .map(|span| span.cut(from.clone()))
            .collect();
        for mut part in parts {
            let at = to.saturating_add(part.at - from.start);
            let room = self.size.saturating_sub(at) as usize;
            part.at = at;
            part.part.end = part.part.end.min(part.part.start + room);
            self.lay(part);
        }
    }

    /// The byte at an offset, byte order applied; `None` beyond the image.
    pub fn byte(&self, offset: u32) -> Shown {
        self.raw(self.stored(offset))
    }

    /// The bytes that show at these offsets, one after the other.
    pub fn bytes(&self, offsets: Range<u32>) -> impl Iterator<Item = Shown> + '_ {
        let mut segment = Segment::default();
        offsets.map(move |offset| {
            let at = self.stored(offset);
            if at >= self.size {
                return None;
            }
            if !segment.offsets.contains(&at) {
                segment = self.segment(at);
            }
            Some(self.in_segment(&segment, at))
        })
    }

    /// Puts the bytes that show at these offsets into a buffer, as many of them as the image has.
    pub fn read(&self, offsets: Range<u32>, buffer: &mut Vec<u8>) {
        buffer.clear();
        let end = offsets.end.min(self.size);
        if self.swapped() {
            buffer.extend(self.bytes(offsets.start.min(end)..end).flatten());
            return;
        }
        let mut at = offsets.start;
        while at < end {
            let segment = self.segment(at);
            let to = segment.offsets.end.min(end);
            match (segment.span, self.fill) {
                (Some(index), _) => {
                    let span = &self.spans[index];
                    buffer.extend_from_slice(&span.bytes()[(at - span.at) as usize..(to - span.at) as usize]);
                }
                (None, Fill::Byte(byte)) => buffer.resize(buffer.len() + (to - at) as usize, byte),
                (None, fill) => buffer.extend((at..to).map(|offset| fill.at(offset))),
            }
            at = to;
        }
    }

    /// Where the byte that shows at an offset is stored.
    fn stored(&self, offset: u32) -> u32 {
        // The last byte of an image of odd size has no other to change places with.
        let other = offset ^ 1;
        if self.swapped() && offset.max(other) < self.size { other } else { offset }
    }

    /// Changes the byte that shows at an offset; beyond the image nothing is changed.
    pub fn change(&mut self, offset: u32, byte: u8) {
        self.put(self.stored(offset), [byte]);
    }

    fn raw(&self, offset: u32) -> Shown {
        if offset >= self.size {
            return None;
        }
        let segment = self.segment(offset);
        Some(self.in_segment(&segment, offset))
    }

    /// The stretch around an offset (before byte order) that has one source. The offset must lie within the image.
    pub fn segment(&self, offset: u32) -> Segment {
        let after = self.spans.partition_point(|span| span.at <= offset);
        let start = match after.checked_sub(1) {
            Some(index) if offset < self.spans[index].end() => {
                let span = &self.spans[index];
                return Segment { offsets: span.at..span.end(), span: Some(index) };
            }
            Some(index) => self.spans[index].end(),
            None => 0,
        };
        let end = self.spans.get(after).map_or(self.size, |span| span.at);
        Segment { offsets: start..end, span: None }
    }

    /// The byte at an offset that lies within `segment`.
    #[inline]
    pub fn in_segment(&self, segment: &Segment, offset: u32) -> u8 {
        self.stored_byte(segment, offset).unwrap_or_else(|| self.fill.at(offset))
    }

    /// The word at an offset of which both bytes lie within `segment`.
    #[inline]
    pub fn word_in_segment(&self, segment: &Segment, offset: u32) -> u16 {
        let filled = || u16::from_be_bytes([self.fill.at(offset), self.fill.at(offset + 1)]);
        self.stored_word(segment, offset).unwrap_or_else(filled)
    }

    /// Like [`Image::in_segment`], but `None` for noise, which has to be computed.
    #[inline]
    pub fn stored_byte(&self, segment: &Segment, offset: u32) -> Option<u8> {
        match (segment.span, self.fill) {
            (Some(index), _) => Some(self.spans[index].byte(offset)),
            (None, Fill::Byte(byte)) => Some(byte),
            (None, Fill::Noise(_)) => None,
        }
    }

    /// Like [`Image::word_in_segment`], but `None` for noise, which has to be computed.
    #[inline]
    pub fn stored_word(&self, segment: &Segment, offset: u32) -> Option<u16> {
        match (segment.span, self.fill) {
            (Some(index), _) => Some(self.spans[index].word(offset)),
            (None, Fill::Byte(byte)) => Some(u16::from_be_bytes([byte, byte])),
            (None, Fill::Noise(_)) => None,
        }
    }

    /// The 16-bit sum of the big-endian words that start at `offsets.start`; an odd last byte counts as a high byte.
    /// Byte order is not applied: the sum is the one its maker computed. Common practice, no published source.
    pub fn sum16(&self, offsets: Range<u32>) -> u16 {
        let end = offsets.end.min(self.size);
        let mut at = offsets.start;
        let mut sum = 0u16;
        while at < end {
            let segment = self.segment(at);
            let stop = segment.offsets.end.min(end);
            sum = sum.wrapping_add(self.sum_in(&segment, at..stop, offsets.start));
            at = stop;
        }
        sum
    }

    /// [`Image::sum16`] of the image as it shows, byte order applied.
    pub fn shown_sum16(&self, offsets: Range<u32>) -> u16 {
        if !self.swapped() {
            return self.sum16(offsets);
        }
        let start = offsets.start;
        offsets.filter_map(|offset| Some((offset, self.byte(offset)?))).fold(0u16, |sum, (offset, byte)| {
            let weight = if (offset - start).is_multiple_of(2) { 8 } else { 0 };
            sum.wrapping_add(u16::from(byte) << weight)
        })
    }

    fn sum_in(&self, segment: &Segment, part: Range<u32>, origin: u32) -> u16 {
        if let (None, Fill::Byte(byte)) = (segment.span, self.fill) {
            // A constant stretch of megabytes: count the high and the low bytes in it.
            let length = part.end - part.start;
            let high = if (part.start - origin).is_multiple_of(2) { length.div_ceil(2) } else { length / 2 };
            let low = length - high;
            return (high.wrapping_mul(256).wrapping_add(low)).wrapping_mul(u32::from(byte)) as u16;
        }
        let slowly = |part: Range<u32>| {
            part.fold(0u16, |sum, offset| {
                let byte = u16::from(self.in_segment(segment, offset));
                let weighted = if (offset - origin).is_multiple_of(2) { byte << 8 } else { byte };
                sum.wrapping_add(weighted)
            })
        };
        let (first, last) = (part.start.div_ceil(noise::BLOCK), part.end / noise::BLOCK);
        let (None, Fill::Noise(seed), true) = (segment.span, self.fill, first < last) else { return slowly(part) };
        let blocks = (first..last).fold(0u16, |sum, block| {
            let [mut high, mut low] = noise::block_sums(seed, block);
            if !origin.is_multiple_of(2) {
                (high, low) = (low, high);
            }
            sum.wrapping_add(high << 8).wrapping_add(low)
        });
        let ends = [part.start..first * noise::BLOCK, last * noise::BLOCK..part.end];
        ends.into_iter().fold(blocks, |sum, part| sum.wrapping_add(slowly(part)))
    }

    /// What was put, for showing: offset and bytes of each span, in order.
    pub fn spans(&self) -> impl Iterator<Item = (u32, &[u8])> {
        self.spans.iter().map(|span| (span.at, span.bytes()))
    }

    /// The fill.
    pub fn fill(&self) -> Fill {
        self.fill
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pretty_assertions::assert_eq;

    /// The image against a plain vector of bytes, over random puts and copies.
    #[test]
    fn behaves_like_a_vector() {
        let mut noise = noise::Noise::new(7);
        for round in 0..300 {
            let size = 1 + (noise.bits() % 300) as u32;
            let mut image = Image::new(size, Fill::Byte(0xFF));
            let mut plain = vec![0xFFu8; size as usize];
            let mut put = vec![false; size as usize];
            for _ in 0..8 {
                let at = (noise.bits() % 320) as u32;
                let bytes: Vec<u8> = (0..noise.bits() % 40).map(|_| noise.bits() as u8).collect();
                for (index, byte) in bytes.iter().enumerate() {
                    if let Some(place) = plain.get_mut(at as usize + index) {
                        *place = *byte;
                        put[at as usize + index] = true;
                    }
                }
                image.put(at, bytes);
            }
            let (from, to) = ((noise.bits() % 100) as u32, (noise.bits() % 300) as u32);
            let before = (plain.clone(), put.clone());
            for offset in from..from + 30 {
                let target = (to + offset - from) as usize;
                if (offset as usize) < before.1.len() && before.1[offset as usize] && target < plain.len() {
                    plain[target] = before.0[offset as usize];
                }
            }
            image.copy(from..from + 30, to);
            let seen: Vec<u8> = (0..size).map(|offset| image.byte(offset).unwrap()).collect();
            assert_eq!(seen, plain, "round {round}");
            let (from, to) = ((noise.bits() % 320) as u32, (noise.bits() % 320) as u32);
            let mut part = vec![7; 3];
            image.read(from..to, &mut part);
            let to = plain.len().min(to as usize).max(from as usize);
            assert_eq!(part, plain.get(from as usize..to).unwrap_or_default(), "round {round}");
            assert_eq!(image.byte(size), None);
            let start = (noise.bits() % u64::from(size)) as u32;
            let words = plain[start as usize..]
                .chunks(2)
                .fold(0u16, |sum, pair| sum.wrapping_add(u16::from_be_bytes([pair[0], *pair.get(1).unwrap_or(&0)])));
            assert_eq!(image.sum16(start..size), words, "round {round}");
        }
    }

    /// The sum of noise by blocks is the sum of its bytes.
    #[test]
    fn noise_is_summed_by_blocks() {
        let mut image = Image::new(70_001, Fill::Noise(9));
        image.put(20_000, [1, 2, 3]);
        for (from, to) in [(0, 70_001), (1, 70_000), (4095, 8193), (4096, 8192), (12_289, 12_290), (19_999, 40_000)] {
            let bytes: Vec<u8> = (from..to).map(|offset| image.byte(offset).unwrap()).collect();
            let words = bytes.chunks(2).map(|pair| u16::from_be_bytes([pair[0], *pair.get(1).unwrap_or(&0)]));
            assert_eq!(image.sum16(from..to), words.fold(0u16, u16::wrapping_add), "{from}-{to}");
        }
    }

    #[test]
    fn the_odd_byte_of_a_swapped_image_stays() {
        let mut image = Image::new(5, Fill::Byte(0));
        image.put(0, *b"ABCDE");
        image.set_order(ByteOrder::Swapped);
        let shown: Vec<Shown> = (0..6).map(|offset| image.byte(offset)).collect();
        assert_eq!(shown, [Some(b'B'), Some(b'A'), Some(b'D'), Some(b'C'), Some(b'E'), None]);
    }

    #[test]
    fn a_large_image_costs_only_its_spans() {
        let mut image = Image::new(LARGEST_IMAGE, Fill::Byte(0));
        image.put(0x100, *b"PARLOR16 SYSTEM ");
        assert_eq!(image.spans().count(), 1);
        assert_eq!(image.byte(0x10F), Some(b' '));
        assert_eq!(image.byte(LARGEST_IMAGE - 1), Some(0));
    }
}
