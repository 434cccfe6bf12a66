//! The trail: a register that is not among the uses of an instruction can be changed, and nothing changes but that
//! register itself, unless it is wholly written.

use keyway::prove::execute::{Core, Entered, Number, OnMemory, Step, Trail};
use rayon::prelude::*;

use super::bus::{Bus, Event, registers};
use crate::random::start::{Start, dice};

/// What an instruction and the entry into its handler did.
struct Seen {
    core: Core<Number>,
    journal: Vec<Event>,
    clock: u64,
    how: String,
}

fn run(core: &Core<Number>, memory: &Bus) -> Seen {
    let (mut core, mut memory) = (core.clone(), memory.clone());
    let mut world = OnMemory::new(&mut memory);
    let Ok(step) = core.step(&mut world);
    let mut how = format!("{step:?}");
    if let Step::Raised(raised) = step {
        let Ok(entered) = core.enter(&mut world, &raised);
        how += if entered == Entered::Handler { " handled" } else { " not handled" };
    }
    Seen { core, journal: memory.journal, clock: memory.clock, how }
}

/// A register by its bit in the trail.
fn register(core: &mut Core<Number>, bit: u32) -> &mut Number {
    match bit {
        0..8 => &mut core.data[bit as usize],
        8..15 => &mut core.address[bit as usize - 8],
        15 => &mut core.user_stack,
        16 => &mut core.supervisor_stack,
        17 => &mut core.extend,
        18 => &mut core.negative,
        19 => &mut core.zero,
        20 => &mut core.overflow,
        _ => &mut core.carry,
    }
}

/// Returns how many changes were of no use, in each of 22 registers.
fn one(case: u64) -> u64 {
    let mut random = dice(case);
    let start = Start::new(&mut random, case as u16);
    let memory = Bus::of(&start, random.next(), case.is_multiple_of(5));
    let mut before = Core::start(&mut OnMemory::new(&mut Bus::new(0, false)), &registers(&start));
    before.queue = [start.opcode, start.extension[0]].map(|word| Number::new(16, word.into()));
    let mut base = run(&before, &memory);
    let Trail { uses, defines } = base.core.trail;
    let mut changes = 0;
    for bit in 0..Trail::BITS {
        let what = || format!("{start:X?}: bit {bit} of {uses:06X} and {defines:06X}");
        if defines >> bit & 1 == 0 {
            let was = *register(&mut before, bit);
            assert_eq!(*register(&mut base.core, bit), was, "written without a trail, {}", what());
        }
        if uses >> bit & 1 == 1 {
            continue;
        }
        let mut other = before.clone();
        let cell = register(&mut other, bit);
        *cell = Number::new(cell.width.into(), cell.bits ^ (random.next() | 1));
        let changed = *cell;
        let mut seen = run(&other, &memory);
        if defines >> bit & 1 == 0 {
            assert_eq!(*register(&mut seen.core, bit), changed, "{}", what());
            *register(&mut seen.core, bit) = *register(&mut base.core, bit);
        }
        assert_eq!(seen.core, base.core, "{}", what());
        assert_eq!((seen.core.trail, &seen.how), (base.core.trail, &base.how), "{}", what());
        assert_eq!((seen.clock, &seen.journal), (base.clock, &base.journal), "{}", what());
        changes += 1;
    }
    changes
}

#[test]
fn nothing_hangs_on_what_is_not_used() {
    let cases = 1 << 17;
    let changes: u64 = (0..cases).into_par_iter().map(one).sum();
    assert!(changes > 15 * cases, "{changes}");
}

/// Instructions of which the whole trail is known.
#[test]
fn trails_say_no_more_than_needed() {
    let all = Trail::NEGATIVE | Trail::ZERO | Trail::OVERFLOW | Trail::CARRY;
    let (d, a) = (Trail::data, Trail::address);
    let ssp = Trail::SUPERVISOR_STACK;
    for (opcode, uses, defines) in [
        (0x7001, 0, d(0) | all),                                                         // moveq #1,d0
        (0x2202, d(2), d(1) | all),                                                      // move.l d2,d1
        (0x1202, d(1) | d(2), d(1) | all),                                               // move.b d2,d1
        (0xD282, d(1) | d(2), d(1) | all | Trail::EXTEND),                               // add.l d2,d1
        (0xB282, d(1) | d(2), all),                                                      // cmp.l d2,d1
        (0xD382, d(1) | d(2) | Trail::EXTEND | Trail::ZERO, d(1) | all | Trail::EXTEND), // addx.l d2,d1
        (0x4284, 0, d(4) | all),                                                         // clr.l d4
        (0x2448, a(0), a(2)),                                                            // movea.l a0,a2
        (0x2018, a(0), d(0) | a(0) | all),                                               // move.l (a0)+,d0
        (0x67FE, Trail::ZERO, 0),                                                        // beq
        (0x6EFE, Trail::ZERO | Trail::NEGATIVE | Trail::OVERFLOW, 0),                    // bgt
        (0x60FE, 0, 0),                                                                  // bra
        (0x4E71, 0, 0),                                                                  // nop
        (0x4E75, ssp, ssp),                                                              // rts
        (0x4E61, a(1), Trail::USER_STACK),                                               // move a1,usp
        (0xE28A, d(2), d(2) | all | Trail::EXTEND),                                      // lsr.l #1,d2
        (0xE29A, d(2), d(2) | all),                                                      // ror.l #1,d2
        (0x44C3, d(3), all | Trail::EXTEND),                                             // move d3,ccr
        (0x40C3, d(3) | all | Trail::EXTEND, d(3)),                                      // move sr,d3
        (0xC0C1, d(0) | d(1), d(0) | all),                                               // mulu d1,d0
    ] {
        let mut random = dice(0);
        let mut start = Start::new(&mut random, opcode);
        (start.status, start.a[0], start.ssp) = (0x2700, 0x2000, 0x3000);
        start.stacked = [0, 0x1000, 0];
        let memory = Bus::of(&start, 1, false);
        let mut core = Core::start(&mut OnMemory::new(&mut Bus::new(0, false)), &registers(&start));
        core.queue = [opcode, start.extension[0]].map(|word| Number::new(16, word.into()));
        let seen = run(&core, &memory);
        assert_eq!(seen.how, "Ran", "{opcode:04X}");
        assert_eq!(seen.core.trail, Trail { uses, defines }, "{opcode:04X}");
    }
}
