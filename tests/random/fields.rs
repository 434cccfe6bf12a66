//! In what two processors can differ: a set of [`Fields`].

use std::fmt;
use std::ops::BitOr;

use super::flat::{Access, Flat};
use super::processors::Seen;

/// A set of things that were compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fields(u32);

macro_rules! fields {
    ($($name:ident = $bit:literal;)*) => {
        impl Fields {
            $(pub const $name: Self = Self(1 << $bit);)*
            const NAMES: &[(&str, Self)] = &[$((stringify!($name), Self::$name)),*];
        }
    };
}

fields! {
    // The condition codes have the bits that they have in the status register.
    C = 0;
    V = 1;
    Z = 2;
    N = 3;
    X = 4;
    SYSTEM = 5;
    D = 6;
    A = 7;
    USP = 8;
    SSP = 9;
    PC = 10;
    QUEUE = 11;
    STOPPED = 12;
    RAISED = 13;
    // What memory holds afterwards; which accesses there were; their order; when they were; the total.
    MEMORY = 14;
    ACCESSES = 15;
    ORDER = 16;
    TIMES = 17;
    CLOCKS = 18;
}

impl Fields {
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    pub fn within(self, other: Self) -> bool {
        self.0 & !other.0 == 0
    }

    pub fn both(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }
}

impl BitOr for Fields {
    type Output = Self;

    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl fmt::Display for Fields {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names = Self::NAMES.iter().filter(|(_, field)| field.within(*self));
        formatter.write_str(&names.map(|(name, _)| *name).collect::<Vec<_>>().join(" "))
    }
}

/// In what they differ.
pub fn differences(first: &Seen, second: &Seen, flat: &Flat) -> Fields {
    let flags = (first.status ^ second.status) & 0x1F;
    let mut all = Fields(u32::from(flags));
    let mut note = |differ: bool, field: Fields| {
        if differ {
            all = all | field;
        }
    };
    note((first.status ^ second.status) & 0xFFE0 != 0, Fields::SYSTEM);
    note(first.d != second.d, Fields::D);
    note(first.a != second.a, Fields::A);
    note(first.usp != second.usp, Fields::USP);
    note(first.ssp != second.ssp, Fields::SSP);
    note(first.pc != second.pc, Fields::PC);
    note(first.queue != second.queue, Fields::QUEUE);
    note(first.stopped != second.stopped, Fields::STOPPED);
    note(first.raised != second.raised, Fields::RAISED);
    note(first.clocks != second.clocks, Fields::CLOCKS);
    let theirs = restored(second, flags);
    if first.journal != theirs {
        let order = |journal: &[Access]| journal.iter().map(Access::what).collect::<Vec<_>>();
        let sorted = |journal: &[Access]| {
            let mut accesses = order(journal);
            accesses.sort_unstable();
            accesses
        };
        let times = |journal: &[Access]| journal.iter().map(|access| access.clock).collect::<Vec<_>>();
        note(left(&first.journal, flat) != left(&theirs, flat), Fields::MEMORY);
        note(sorted(&first.journal) != sorted(&theirs), Fields::ACCESSES);
        note(order(&first.journal) != order(&theirs), Fields::ORDER);
        note(times(&first.journal) != times(&theirs), Fields::TIMES);
    }
    all
}

/// The second journal, with the first one's flags in the frames: a flag that differs is one difference, not two.
fn restored(second: &Seen, flags: u16) -> Vec<Access> {
    let frames = || (0..second.raised.len() as u32).map(|frame| second.ssp.wrapping_add(6 * frame) & 0xFF_FFFF);
    let mut journal = second.journal.clone();
    for access in journal.iter_mut().rev().filter(|access| access.write) {
        if flags != 0 && access.bytes == 2 && frames().any(|at| at == access.address) {
            access.value ^= flags;
        }
    }
    journal
}

/// The bytes that differ from what memory held before, by address.
fn left(journal: &[Access], flat: &Flat) -> Vec<(u32, u8)> {
    let mut bytes = std::collections::BTreeMap::new();
    for access in journal.iter().filter(|access| access.write) {
        let [high, low] = access.value.to_be_bytes();
        if access.bytes == 2 {
            bytes.insert(access.address & !1, high);
        }
        bytes.insert(if access.bytes == 2 { access.address | 1 } else { access.address }, low);
    }
    bytes.into_iter().filter(|(at, byte)| flat.byte(*at) != *byte).collect()
}
