//! Random states of the processor: [`Start`], one instruction about to run.
//!
//! Every case has a number and is made from that number alone, so a failure is repeated by its number, whatever thread
//! found it. The mix is one in which things happen: mostly even addresses, small numbers, the ends of every size.

use super::super::support::Random;

/// One instruction about to run.
#[derive(Clone, Debug)]
pub struct Start {
    pub opcode: u16,
    /// The words behind the opcode.
    pub extension: [u16; 4],
    pub d: [u32; 8],
    pub a: [u32; 7],
    pub usp: u32,
    pub ssp: u32,
    pub status: u16,
    pub pc: u32,
    /// What lies on the stack in use.
    pub stacked: [u16; 3],
}

/// Numbers at which something changes: signs, carries, digits, counts of shifts.
const EDGES: [u32; 24] = [
    0,
    1,
    2,
    7,
    8,
    31,
    32,
    33,
    63,
    0x7F,
    0x80,
    0x99,
    0xFF,
    0x7FFE,
    0x7FFF,
    0x8000,
    0xFFFF,
    0x1_0000,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_7FFF,
    0xFFFF_8000,
    0xFFFF_FF80,
    0xFFFF_FFFF,
];

/// A generator for the case of this number.
pub fn dice(case: u64) -> Random {
    let mut random = Random((case + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    // Neighbouring numbers start out alike.
    for _ in 0..3 {
        random.next();
    }
    random
}

fn long(random: &mut Random) -> u32 {
    (random.next() >> 32) as u32
}

/// Whether one of `chances` comes up.
pub fn one_in(random: &mut Random, chances: usize) -> bool {
    random.below(chances) == 0
}

/// A number for a data register.
fn number(random: &mut Random) -> u32 {
    let any = long(random);
    match random.below(8) {
        0 | 1 => EDGES[random.below(EDGES.len())],
        2 => any & 0x3F,
        3 => (any & 0xFF).wrapping_neg(),
        // Decimal digits only.
        4 => any & 0x7777_7777 | (any & 0x8888_8888 & !(any << 1 | any << 2)),
        5 => any & 0xFF_FFFF,
        _ => any,
    }
}

/// An address; `odd` is how seldom it is odd.
fn address(random: &mut Random, odd: usize) -> u32 {
    let any = long(random);
    let at = match random.below(16) {
        0 => EDGES[random.below(EDGES.len())],
        1 | 2 => any,
        3 => any | 0xFFFF_FF00,
        4 => any & 0x00FF_FFFF | 0x00FF_FF00,
        _ => any & 0x00FF_FFFF,
    };
    at & !1 | u32::from(one_in(random, odd))
}

/// A word behind the opcode: an immediate, a displacement, an index, half an address.
fn word(random: &mut Random) -> u16 {
    let any = long(random);
    match random.below(8) {
        0 => EDGES[random.below(EDGES.len())] as u16,
        1 => any as u16,
        2 => any as u16 & 0x3E,
        _ => any as u16 & !1,
    }
}

impl Start {
    /// A random state in which `opcode` runs. Stacks are even.
    pub fn new(random: &mut Random, opcode: u16) -> Self {
        let traced = if one_in(random, 8) { 0x8000 } else { 0 };
        let supervisor = (long(random) as u16 & 1) << 13;
        let [high, low] = [word(random) & 0xFE, long(random) as u16 & !u16::from(!one_in(random, 8))];
        let stacked = if one_in(random, 2) { [high, low, word(random)] } else { [long(random) as u16, high, low] };
        Self {
            opcode,
            extension: std::array::from_fn(|_| word(random)),
            d: std::array::from_fn(|_| number(random)),
            a: std::array::from_fn(|_| if one_in(random, 8) { number(random) } else { address(random, 16) }),
            usp: address(random, 16),
            ssp: address(random, usize::MAX) & !1,
            status: long(random) as u16 & 0x071F | supervisor | traced,
            // Beyond the vectors, which stay even that way.
            pc: address(random, usize::MAX) & 0xFF_FFFE | 0x400,
            stacked,
        }
    }

    /// Where the stack in use ends.
    pub fn stack(&self) -> u32 {
        if self.status & 0x2000 == 0 { self.usp } else { self.ssp }
    }

    /// Whether the instruction is traced.
    pub fn traced(&self) -> bool {
        self.status & 0x8000 != 0
    }
}
