//! The long job: a loop that sums 2 MiB of the window, three instructions a word.

use std::collections::HashSet;
use std::sync::Arc;

use keyway::board::{Inputs, Map, MapParts, OpenBus, RamArea};
use keyway::cartridge::{Attached, Fill, Image};
use keyway::noise::byte_at;
use keyway::rom::HostRom;
use keyway::run::{Branch, BranchKind, Entry, Exit, Limits, Machine, Rig, Routine, Setup};

use crate::detection::Keyway;
use crate::naive::{Naive, Plan};

const SIZE: u32 = 0x20_0000;
const ENTRY: u32 = 0x400;
const STACK: u32 = 0xE0_FE00;

/// The routine, at 0x400.
const ROUTINE: [u16; 10] = [
    0x41F9, 0x0020, 0x0000, //          lea     0x200000,a0
    0x223C, 0x0010, 0x0000, //          move.l  #0x100000,d1
    0x7000, //                          moveq   #0,d0
    0xD058, //                  sum:    add.w   (a0)+,d0
    0x5381, //                          subq.l  #1,d1
    0x66FA, //                          bne.s   sum
];

/// Behind the routine.
const DONE: u32 = ENTRY + 2 * ROUTINE.len() as u32;

/// The job, two ways.
pub struct Checksum {
    pub keyway: Keyway<()>,
    pub naive: Naive<false>,
}

impl Checksum {
    /// Prepares both and sees to it that they do the same.
    pub fn new() -> Self {
        let bytes: Vec<u8> = (0..SIZE).map(|offset| byte_at(1, offset)).collect();
        let mut image = Image::new(SIZE, Fill::Byte(0xFF));
        image.put(0, bytes.as_slice());
        let sum = image.sum16(0..SIZE);
        let rom = rom();
        let setup =
            Setup { inputs: Inputs { attached: Attached::image(image), ..Inputs::default() }, ..Setup::default() };
        let plan = Plan {
            rom: rom.clone(),
            image: Arc::new(bytes),
            patch: Vec::new(),
            entry: ENTRY,
            stack: STACK,
            labels: HashSet::from([DONE]),
        };
        let mut checksum =
            Self { keyway: Keyway::new(Machine::new(Arc::new(rig(&rom))), setup), naive: Naive::new(plan) };
        assert_eq!(checksum.keyway.run(), Some(0));
        assert_eq!(checksum.naive.run(), Some(DONE));
        let outcome = checksum.keyway.machine.outcome();
        assert_eq!(outcome.instructions, checksum.naive.instructions);
        assert_eq!((outcome.registers.d[0].0 as u16, checksum.naive.d0 as u16), (sum, sum));
        checksum
    }

    /// Instructions of one run.
    pub fn instructions(&self) -> u64 {
        self.naive.instructions
    }
}

/// A host ROM of 4 KiB with the routine in it.
fn rom() -> Vec<u8> {
    let mut rom = vec![0xFF; 0x1000];
    for (place, word) in rom[ENTRY as usize..].chunks_exact_mut(2).zip(ROUTINE) {
        place.copy_from_slice(&word.to_be_bytes());
    }
    rom
}

fn rig(rom: &[u8]) -> Rig {
    let parts = MapParts {
        host: Arc::new(HostRom::from_bytes(rom, 0).expect("a ROM")),
        host_range: 0..=0x1F_FFFF,
        window: 0x20_0000..=0x3F_FFFF,
        unmapped: OpenBus::Floating,
        memory: vec![RamArea { name: "work ram".to_owned(), range: 0xE0_0000..=0xE0_FFFF, size: 0x1_0000 }],
        ports: Vec::new(),
        overlays: Vec::new(),
        waits: Vec::new(),
    };
    let routine = Routine {
        entry: Entry::At(ENTRY),
        stack: STACK,
        status: 0x2700,
        registers: Vec::new(),
        limits: Limits { instructions: 100_000_000, cycles: u64::MAX },
        handles: Vec::new(),
        executes_anywhere: false,
    };
    let done = Branch {
        name: "done".to_owned(),
        kind: BranchKind::Rejected,
        exit: Exit::At(DONE),
        when: None,
        shows: Vec::new(),
        leaves: Vec::new(),
    };
    Rig { map: Arc::new(Map::new(parts).expect("a map")), routine, interrupts: Vec::new(), branches: vec![done] }
}
