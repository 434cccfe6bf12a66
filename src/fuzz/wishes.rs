//! What a run would have liked to find: the other side of each compare of something from outside.
//!
//! [`WishObserver`] watches one run of a trial that is worth keeping. It knows of a value where it came from if that was
//! read a short while ago, so it need not follow data; a wish that leads nowhere costs one run.

use std::collections::VecDeque;
use std::sync::Arc;

use m68000::Registers;
use m68000::addressing_modes::AddressingMode;

use crate::board::{Access, Bus, Observer, Place, PortSize};
use crate::cpu::{Compare, Decoded, decode};
use crate::run::Rig;

/// How many reads back a value may have come from.
const RECENT: usize = 24;

/// The most places that a value may have come from.
const MOST_ORIGINS: usize = 6;

/// The most wishes of one run.
const MOST_WISHES: usize = 256;

/// The most image offsets that are noted as read.
const MOST_OFFSETS: usize = 4096;

/// Something to try.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Wish {
    /// These bytes at an offset of the image as it shows.
    Bytes {
        /// The offset.
        offset: u32,
        /// The bytes.
        bytes: Vec<u8>,
        /// Where the same bytes stand in the host, if they do: what stands around them may be wanted too.
        host: Option<u32>,
    },
    /// A value that a port reads.
    Port {
        /// Index of the port.
        port: usize,
        /// The value.
        value: u16,
    },
    /// A computed value that was so much too small.
    More {
        /// How much, modulo its width.
        by: u32,
        /// Its width in bytes.
        width: u32,
    },
}

/// A value that was read.
#[derive(Clone, Copy, Debug)]
struct Seen {
    value: u32,
    width: u32,
    from: From,
}

#[derive(Clone, Copy, Debug)]
enum From {
    Image(u32),
    Host(u32),
    Port(usize),
}

/// One side of a compare: its value, and where that may have come from. A value that was read in several places, as erased
/// bytes are, may be any of them.
#[derive(Clone, Debug, Default)]
struct Side {
    value: u32,
    from: Vec<From>,
}

impl Side {
    /// A value from nowhere outside.
    fn constant(value: u32) -> Self {
        Self { value, from: Vec::new() }
    }
}

/// The observer.
#[derive(Clone, Debug)]
pub struct WishObserver {
    rig: Arc<Rig>,
    recent: VecDeque<Seen>,
    /// What the instruction has read.
    reads: Vec<Seen>,
    compare: Option<(Compare, Registers)>,
    /// The wishes, each once, in order.
    pub wishes: Vec<Wish>,
    /// Image offsets that were read, in order of the first read.
    pub offsets: Vec<u32>,
}

impl WishObserver {
    /// An observer for runs of a rig.
    pub fn new(rig: &Arc<Rig>) -> Self {
        Self {
            rig: Arc::clone(rig),
            recent: VecDeque::with_capacity(RECENT),
            reads: Vec::new(),
            compare: None,
            wishes: Vec::new(),
            offsets: Vec::new(),
        }
    }

    /// A run begins.
    pub fn begin(&mut self) {
        self.recent.clear();
        self.reads.clear();
        self.compare = None;
        self.wishes.clear();
        self.offsets.clear();
    }

    fn decoded(&self, at: u32, bus: &Bus) -> Decoded {
        let map = &self.rig.map;
        decode(at, |at| map.code_word(at).unwrap_or_else(|| bus.peek_word(at)))
    }

    /// Takes the reads of a side out of those of the instruction.
    fn side(&self, mode: AddressingMode, width: u32, registers: &Registers, next: &mut usize) -> Option<Side> {
        let mask = mask(width);
        let kept = |value: u32| Side { value: value & mask, from: self.origins(value & mask, width) };
        match mode {
            AddressingMode::Drd(register) => Some(kept(registers.d[register as usize].0)),
            AddressingMode::Ard(register) if register < 7 => Some(kept(registers.a[register as usize].0)),
            AddressingMode::Ard(_) => None,
            AddressingMode::Immediate(value) => Some(Side::constant(value & mask)),
            _ => {
                let seen = whole(&self.reads, next, width)?;
                Some(Side { value: seen.value, from: vec![seen.from] })
            }
        }
    }

    /// Where a value in a register may have come from, if it was read as it is: the places outside, or else in the host.
    fn origins(&self, value: u32, width: u32) -> Vec<From> {
        let same = self.recent.iter().rev().filter(|seen| seen.value == value && seen.width == width);
        let (host, outside): (Vec<From>, Vec<From>) =
            same.map(|seen| seen.from).partition(|from| matches!(from, From::Host(_)));
        let list = if outside.is_empty() { host } else { outside };
        list.into_iter().take(MOST_ORIGINS).collect()
    }

    fn compared(&mut self, compare: Compare, registers: &Registers) {
        let mut next = 0;
        let source = compare.source.and_then(|mode| self.side(mode, compare.width, registers, &mut next));
        let Some(target) = self.side(compare.target, compare.width, registers, &mut next) else { return };
        let width = compare.width;
        match (source, compare.bit) {
            (Some(source), _) => {
                self.wish(&target, &source, width);
                self.wish(&source, &target, width);
            }
            (None, _) if compare.source.is_some() => {}
            (None, Some(bit)) => {
                let value = target.value ^ 1 << (u32::from(bit) % (8 * width));
                self.wish(&target, &Side::constant(value), width);
            }
            (None, None) => {
                for value in [0, 1, 1 << (8 * width - 1)] {
                    self.wish(&target, &Side::constant(value), width);
                }
            }
        }
    }

    /// `side` would have liked to be `other`.
    fn wish(&mut self, side: &Side, other: &Side, width: u32) {
        let bytes = || other.value.to_be_bytes()[4 - width as usize..].to_vec();
        let host = other.from.iter().find_map(|from| match from {
            From::Host(address) => Some(*address),
            _ => None,
        });
        if side.from.is_empty() {
            self.add(Wish::More { by: other.value.wrapping_sub(side.value) & mask(width), width });
        }
        for from in &side.from {
            match *from {
                From::Image(offset) => self.add(Wish::Bytes { offset, bytes: bytes(), host }),
                From::Port(port) => self.add(Wish::Port { port, value: other.value as u16 }),
                From::Host(_) => {}
            }
        }
    }

    fn add(&mut self, wish: Wish) {
        if self.wishes.len() < MOST_WISHES && !self.wishes.contains(&wish) {
            self.wishes.push(wish);
        }
    }
}

impl Observer for WishObserver {
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        self.reads.clear();
        self.compare = self.decoded(at, bus).compare().map(|compare| (compare, *registers));
    }

    fn read(&mut self, access: &Access) {
        let from = match (access.place, access.offset) {
            (Place::Window, Some(offset)) => From::Image(offset),
            (Place::Port(port), _) => From::Port(port),
            (Place::Host, _) => From::Host(access.address),
            _ => return,
        };
        let width = if access.size == PortSize::Word { 2 } else { 1 };
        if let From::Image(offset) = from {
            for offset in offset..offset + width {
                if self.offsets.len() < MOST_OFFSETS && !self.offsets.contains(&offset) {
                    self.offsets.push(offset);
                }
            }
        }
        self.reads.push(Seen { value: u32::from(access.value), width, from });
    }

    fn edge(&mut self, _: u32, _: u32) {
        if let Some((compare, registers)) = self.compare.take() {
            self.compared(compare, &registers);
        }
        let (mut next, mut longs) = (0, Vec::new());
        while let Some(long) = whole(&self.reads, &mut next, 4) {
            longs.push(long);
        }
        for seen in self.reads.drain(..).chain(longs) {
            if self.recent.len() == RECENT {
                self.recent.pop_front();
            }
            self.recent.push_back(seen);
        }
    }
}

/// The next operand of a width among reads; a long is two words, one behind the other.
fn whole(reads: &[Seen], next: &mut usize, width: u32) -> Option<Seen> {
    let first = *reads.get(*next)?;
    *next += 1;
    if width < 4 {
        return (first.width == width).then_some(first);
    }
    let second = reads.get(*next).filter(|second| first.width == 2 && follows(first.from, second.from))?;
    *next += 1;
    Some(Seen { value: first.value << 16 | second.value, width: 4, from: first.from })
}

fn follows(first: From, second: From) -> bool {
    match (first, second) {
        (From::Image(first), From::Image(second)) | (From::Host(first), From::Host(second)) => second == first + 2,
        _ => false,
    }
}

fn mask(width: u32) -> u32 {
    if width >= 4 { u32::MAX } else { (1 << (8 * width)) - 1 }
}
