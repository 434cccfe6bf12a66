//! Where the second processor differs, and why keyway does not follow it.
//!
//! A [`Known`] lets through what it names, in the states that it names. It must be needed: each of its fields differs
//! in some case, or the test fails.

use super::fields::Fields;
use super::processors::Seen;
use super::start::Start;

/// A difference that is known, for the opcodes with `value` under `mask`.
pub struct Known {
    pub mask: u16,
    pub value: u16,
    /// In which cases: the state, what keyway's processor did, what the other one did.
    pub when: fn(&Start, &Seen, &Seen) -> bool,
    /// What differs then.
    pub fields: &'static [Fields],
    pub why: &'static str,
}

impl Known {
    /// Whether it is about this case.
    pub fn applies(&self, start: &Start, mine: &Seen, theirs: &Seen) -> bool {
        start.opcode & self.mask == self.value && (self.when)(start, mine, theirs)
    }

    pub fn all(&self) -> Fields {
        self.fields.iter().fold(Fields::default(), |all, field| all | *field)
    }
}

/// The first exception was this one.
fn raised(seen: &Seen, vector: u8) -> bool {
    seen.raised.first() == Some(&vector)
}

/// DBcc has counted down from 0.
fn expired(start: &Start, theirs: &Seen) -> bool {
    start.d[usize::from(start.opcode & 7)] as u16 == 0 && theirs.d != start.d
}

/// The data register in bits 11 to 9.
fn register(start: &Start) -> u16 {
    start.d[usize::from(start.opcode >> 9 & 7)] as u16
}

/// The source of a CHK, where it is a data register.
fn bound(start: &Start) -> Option<u16> {
    match (start.opcode >> 3 & 7, start.opcode & 7) {
        (0, number) => Some(start.d[usize::from(number)] as u16),
        _ => None,
    }
}

/// Clocks for the effective address of a word (UM table 8-1, from memory).
fn address_time(opcode: u16) -> u32 {
    match (opcode >> 3 & 7, opcode & 7) {
        (0, _) => 0,
        (2 | 3, _) | (7, 4) => 4,
        (4, _) => 6,
        (5, _) | (7, 0 | 2) => 8,
        (6, _) | (7, 3) => 10,
        _ => 12,
    }
}

pub const KNOWN: &[Known] = &[
    Known {
        mask: 0xF1C0,
        value: 0x4180,
        when: |start, _, _| register(start) == 0,
        fields: &[Fields::Z],
        why: "CHK of 0: undefined, and in no published vector; keyway compares with 0, the other clears Z",
    },
    Known {
        mask: 0xF1C0,
        value: 0x4180,
        when: |start, mine, theirs| {
            let just = register(start) >= 0x8000 && bound(start).is_none_or(|bound| bound == register(start) ^ 0x8000);
            raised(mine, 6) && just && mine.clocks + 2 == theirs.clocks
        },
        fields: &[Fields::TIMES, Fields::CLOCKS],
        why: "CHK with the bound just 32768 above the register: the vectors fit if the overflow is that of bound - Dn, \
              the other takes Dn - bound; none has this very difference",
    },
    Known {
        mask: 0xF0C0,
        value: 0x80C0,
        when: |_, mine, _| raised(mine, 5) && mine.status & 1 == 0,
        fields: &[Fields::N, Fields::Z, Fields::V, Fields::C],
        why: "division by zero: C is cleared (PRM), the rest undefined and in no vector; the other leaves all alone",
    },
    Known {
        mask: 0xF0C0,
        value: 0x80C0,
        when: |start, mine, theirs| raised(mine, 5) && mine.clocks == theirs.clocks + address_time(start.opcode),
        fields: &[Fields::CLOCKS],
        why: "division by zero takes 38 and the address (UM table 8-14); the other's total leaves the address out",
    },
    Known {
        mask: 0xFFC0,
        value: 0x4E80,
        when: |_, _, _| true,
        fields: &[Fields::ORDER],
        why: "JSR fetches from its target before it pushes (published vectors)",
    },
    Known {
        mask: 0xF0F8,
        value: 0x50C8,
        when: |start, _, theirs| expired(start, theirs),
        fields: &[Fields::ACCESSES, Fields::ORDER],
        why: "DBcc that runs out makes three fetches (UM table 8-9), and no vector shows the first: keyway takes it \
              from the target, the other from the next instruction",
    },
    Known {
        mask: 0xF0F8,
        value: 0x50C8,
        when: |start, _, theirs| expired(start, theirs) && start.extension[0] & 1 == 1,
        fields: &[Fields::RAISED],
        why: "DBcc that runs out, with an odd target: an address error for the same reason",
    },
    Known {
        mask: 0xFFFF,
        value: 0x4E72,
        when: |_, mine, _| mine.stopped,
        fields: &[Fields::QUEUE],
        why: "STOP leaves the queue as it is, and nothing sees it any more",
    },
    Known {
        mask: 0xF000,
        value: 0xE000,
        when: |start, mine, _| start.traced() && start.opcode & 0xC0 != 0xC0 && mine.raised == [9],
        fields: &[Fields::TIMES],
        why: "shifts end idle; the other takes its trace before that time has passed, and gets the total right",
    },
    Known {
        mask: 0xF1FF,
        value: 0x013C,
        when: |_, mine, _| mine.raised == [9],
        fields: &[Fields::TIMES],
        why: "BTST Dn,#: the same",
    },
    Known {
        mask: 0xFFFF,
        value: 0x4E72,
        when: |_, mine, _| mine.raised == [9],
        fields: &[Fields::TIMES],
        why: "STOP: the same",
    },
];
