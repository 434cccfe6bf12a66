//! Loops that never end are found at once, and loops that end, or might, are not taken for them.

use std::time::Instant;

use keyway::board::{Change, OpenBus, Schedule};
use keyway::cartridge::{Contacts, DataFault, Fill, Flaw, Image};
use keyway::cpu::Exception;
use keyway::run::{End, Limit, Outcome};

use super::support::{Bench, CODE, NOWHERE, byte_port, d, patterned};

/// A limit that no test could wait for.
const FAR: u64 = 100_000_000_000;

fn far(mut bench: Bench) -> Bench {
    bench.routine.limits.instructions = FAR;
    bench.routine.limits.cycles = u64::MAX;
    bench
}

/// The loop lies within these addresses, is found early, and goes round in `period` instructions.
fn hangs(bench: Bench, first: u32, last: u32, period: u64) -> Outcome {
    let began = Instant::now();
    let outcome = far(bench).run();
    let End::Hung { first: low, last: high, period: found } = outcome.end else { panic!("{:?}", outcome.end) };
    assert_eq!((low, high), (first, last), "{low:#X}-{high:#X}");
    assert!(found.is_multiple_of(period), "{found} is not a multiple of {period}");
    assert!(outcome.instructions < 10_000, "{} instructions", outcome.instructions);
    assert!(began.elapsed().as_secs() < 10);
    outcome
}

/// It ends by itself.
fn ends(bench: Bench) -> Outcome {
    let outcome = far(bench).run();
    assert_eq!(outcome.end, End::Returned);
    outcome
}

#[test]
fn a_branch_to_itself_hangs() {
    let outcome = hangs(Bench::new(&[0x7001, 0x60FE] /* moveq #1,d0; 1: bra.s 1b */), CODE + 2, CODE + 2, 1);
    assert_eq!((outcome.pc, d(&outcome, 0)), (CODE + 2, 1));
    hangs(Bench::new(&[0x4ED0] /* 1: jmp (a0) */).set("a0", CODE), CODE, CODE, 1);
    hangs(Bench::new(&[0x4E71, 0x4E71, 0x4E71, 0x60F8] /* 1: nop; nop; nop; bra.s 1b */), CODE, CODE + 6, 4);
}

/// A loop with a subroutine writes the stack each time round, always the same.
#[test]
fn a_loop_that_pushes_and_pops_hangs() {
    let code = &[
        0x6102, // 1: bsr.s 2f
        0x60FC, // bra.s 1b
        0x3F00, // 2: move.w d0,-(sp)
        0x548F, // addq.l #2,sp
        0x4E75, // rts
    ];
    hangs(Bench::new(code), CODE, CODE + 8, 5);
}

#[test]
fn polling_a_port_that_never_changes_hangs() {
    let code = &[
        0x0839, 0x0000, 0x00A0, 0x0003, // 1: btst #0,0xA00003
        0x67F6, // beq.s 1b
        0x4E75, // rts
    ];
    let bench = |reads| Bench::new(code).port(byte_port("pedal", NOWHERE + 3, Some(reads), None));
    hangs(bench(Schedule::Constant(0)), CODE, CODE + 8, 2);
    hangs(bench(Schedule::Sequence([0, 2, 4, 6].as_slice().into())), CODE, CODE + 8, 2);
    let changes = |after| Schedule::Changes { first: 0, then: 2, after };
    hangs(bench(changes(Change::Reads(100))), CODE, CODE + 8, 2);
    hangs(bench(changes(Change::Cycles(500))), CODE, CODE + 8, 2);
    // A pressed pedal ends it, however late.
    ends(bench(Schedule::Constant(1)));
}

#[test]
fn looking_at_the_empty_socket_for_ever_hangs() {
    let code = &[
        0x0C79, 0x1111, 0x0020, 0x0100, // 1: cmpi.w #0x1111,0x200100
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ];
    for rule in [OpenBus::Floating, OpenBus::Ones, OpenBus::Zeros] {
        hangs(Bench::new(code).open(rule), CODE, CODE + 8, 2);
    }
    hangs(Bench::new(code).attach(patterned(0x1000)), CODE, CODE + 8, 2);
    let nowhere = &[
        0x0C79, 0x1111, 0x00A0, 0x0100, // 1: cmpi.w #0x1111,0xA00100
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ];
    let outcome = hangs(Bench::new(nowhere), CODE, CODE + 8, 2);
    assert_eq!(outcome.troubles.strays.len(), 8);
}

/// A latch written in a loop hangs too, and its journal holds what was written until then.
#[test]
fn writing_a_latch_for_ever_hangs() {
    let code = &[
        0x13FC, 0x0001, 0x00A0, 0x0001, // 1: move.b #1,0xA00001
        0x13FC, 0x0000, 0x00A0, 0x0001, // move.b #0,0xA00001
        0x60EE, // bra.s 1b
    ];
    let bench = Bench::new(code).port(byte_port("latch", NOWHERE + 1, None, Some(&[0, 1])));
    let outcome = hangs(bench, CODE, CODE + 16, 3);
    let expected = (outcome.instructions as usize * 2).div_ceil(3);
    assert!(outcome.writes.len().abs_diff(expected) <= 1, "{} writes", outcome.writes.len());
    for (index, write) in outcome.writes.iter().enumerate() {
        assert_eq!(write.value, 1 - (index as u16 & 1));
    }
}

/// A handler that returns to the instruction that raised its exception.
#[test]
fn an_exception_that_comes_again_and_again_hangs() {
    let bench = Bench::new(&[0x4AFC] /* illegal */).put(0x800, &[0x4E73] /* rte */);
    hangs(bench.handles(Exception::Illegal, 0x800), CODE, 0x800, 2);
    let bench =
        Bench::new(&[0x4E41, 0x60FC] /* 1: trap #1; bra.s 1b */).put(0x800, &[0x4E73] /* rte */).vector(33, 0x800);
    hangs(bench, CODE, 0x800, 3);
}

/// A loop with a long way round: its state comes back only after 3 x 1000 instructions.
#[test]
fn a_loop_within_a_loop_hangs() {
    let code = &[
        0x303C, 0x03E7, // 1: move.w #999,d0
        0x4E71, // 2: nop
        0x51C8, 0xFFFC, // dbra d0,2b
        0x60F4, // bra.s 1b
    ];
    hangs(Bench::new(code), CODE, CODE + 10, 2002);
}

/// The state comes back only when the byte has gone round, 256 times three instructions later.
#[test]
fn a_counter_in_ram_that_wraps_and_is_never_looked_at_hangs() {
    let code = &[
        0x5239, 0x00E0, 0x0010, // 1: addq.b #1,0xE00010
        0x4E71, // nop
        0x60F6, // bra.s 1b
    ];
    hangs(Bench::new(code), CODE, CODE + 8, 768);
}

#[test]
fn counters_in_registers_are_no_hang() {
    let outcome = ends(Bench::new(&[
        0x303C, 0xEA60, // move.w #60000,d0
        0x51C8, 0xFFFE, // 1: dbra d0,1b
        0x4E75, // rts
    ]));
    assert_eq!(outcome.instructions, 60_003);
    let nested = &[
        0x7204, // moveq #4,d1
        0x303C, 0x270F, // 1: move.w #9999,d0
        0x5340, // 2: subq.w #1,d0
        0x66FC, // bne.s 2b
        0x51C9, 0xFFF6, // dbra d1,1b
        0x4E75, // rts
    ];
    ends(Bench::new(nested));
    ends(Bench::new(&[
        0x5488, // 1: addq.l #2,a0
        0xB1FC, 0x0000, 0x4E20, // cmpa.l #20000,a0
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ]));
}

/// A counter that lives in the user stack pointer or in the interrupt mask, and in nothing else when the loop is back at
/// its start; whichever of its instructions the earlier state was kept at.
#[test]
fn counters_in_special_registers_are_no_hang() {
    let usp = &[
        0x4E68, // 1: move usp,a0
        0x5488, // addq.l #2,a0
        0x4E60, // move a0,usp
        0xB1FC, 0x0000, 0x1F40, // cmpa.l #8000,a0
        0x91C8, // suba.l a0,a0
        0x66F0, // bne.s 1b
        0x4E75, // rts
    ];
    let mask = &[
        0x303C, 0x012B, // 1: move.w #299,d0
        0x51C8, 0xFFFE, // 2: dbra d0,2b
        0x40C1, // move.w sr,d1
        0x0641, 0x0100, // addi.w #0x100,d1
        0x46C1, // move.w d1,sr
        0x0241, 0x0700, // andi.w #0x0700,d1
        0x6704, // beq.s 3f
        0x7200, // moveq #0,d1
        0x60E6, // bra.s 1b
        0x4E75, // 3: rts
    ];
    for nops in 0..7 {
        let padded = |code: &[u16]| [&vec![0x4E71; nops][..], code].concat();
        ends(Bench::new(&padded(usp)));
        let mut bench = Bench::new(&padded(mask));
        bench.routine.status = 0x2000;
        // The mask overflows into bit 11, which the 68000 has not.
        assert!(ends(bench).instructions > 2400);
    }
}

#[test]
fn counters_in_ram_are_no_hang() {
    let code = &[
        0x5279, 0x00E0, 0x0010, // 1: addq.w #1,0xE00010
        0x0C79, 0x1388, 0x00E0, 0x0010, // cmpi.w #5000,0xE00010
        0x66F0, // bne.s 1b
        0x4E75, // rts
    ];
    let outcome = ends(Bench::new(code));
    assert_eq!(outcome.instructions, 15_001);
    // The counter lies in the last byte of RAM, and it is the carry of a longer one.
    ends(Bench::new(&[
        0x5239, 0x00E0, 0xFFFF, // 1: addq.b #1,0xE0FFFF
        0x66F8, // bne.s 1b
        0x5239, 0x00E0, 0x0000, // addq.b #1,0xE00000
        0x0C39, 0x0028, 0x00E0, 0x0000, // cmpi.b #40,0xE00000
        0x66E8, // bne.s 1b
        0x4E75, // rts
    ]));
    // Clearing RAM that holds its power-on zeros changes nothing to see but what is written.
    let clear = &[
        0x41F9, 0x00E0, 0x0000, // lea 0xE00000,a0
        0x4218, // 1: clr.b (a0)+
        0xB1FC, 0x00E0, 0xF000, // cmpa.l #0xE0F000,a0
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ];
    ends(Bench::new(clear));
}

#[test]
fn ports_that_change_are_no_hang() {
    let code = &[
        0x0839, 0x0000, 0x00A0, 0x0003, // 1: btst #0,0xA00003
        0x67F6, // beq.s 1b
        0x4E75, // rts
    ];
    let bench = |reads| Bench::new(code).port(byte_port("pedal", NOWHERE + 3, Some(reads), None));
    let mut sequence = vec![0u16; 9000];
    sequence.push(1);
    assert_eq!(ends(bench(Schedule::Sequence(sequence.into()))).instructions, 18_003);
    let changes = |after| Schedule::Changes { first: 0, then: 1, after };
    ends(bench(changes(Change::Reads(20_000))));
    // BTST #,xxx.L is 20 cycles and BEQ 10: 900,000 cycles are 30,000 rounds.
    let outcome = ends(bench(changes(Change::Cycles(900_000))));
    assert_eq!(outcome.instructions, 60_003);
}

#[test]
fn noise_is_no_hang() {
    let code = &[
        0x0C79, 0x1234, 0x0020, 0x0100, // 1: cmpi.w #0x1234,0x200100
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ];
    let outcome = ends(Bench::new(code).open(OpenBus::Noise));
    assert!(outcome.instructions > 2000, "{} instructions: the noise came too soon to tell", outcome.instructions);
    let outcome = ends(
        Bench::new(&[
            0x0C79, 0x1234, 0x00A0, 0x0100, // 1: cmpi.w #0x1234,0xA00100
            0x66F6, // bne.s 1b
            0x4E75, // rts
        ])
        .open(OpenBus::Noise),
    );
    assert!(outcome.instructions > 2000, "{} instructions", outcome.instructions);
}

#[test]
fn a_flickering_contact_is_no_hang() {
    let contacts =
        Contacts { data: (0..14).map(|line| DataFault { line, is: Flaw::Flickering }).collect(), address: Vec::new() };
    let code = &[
        0x0C79, 0x3FFF, 0x0020, 0x0100, // 1: cmpi.w #0x3FFF,0x200100
        0x66F6, // bne.s 1b
        0x4E75, // rts
    ];
    let image = Image::new(0x1000, Fill::Byte(0));
    ends(Bench::new(code).attach(image).contacts(contacts));
}

/// Given up for want of instructions is not hung, also in the last instruction before the limit.
#[test]
fn a_limit_before_the_loop_closes_is_a_limit() {
    let mut bench = Bench::new(&[0x60FE] /* 1: bra.s 1b */);
    for limit in [1, 100, 1000] {
        bench.routine.limits.instructions = limit;
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.instructions), (End::Limit(Limit::Instructions), limit));
    }
    bench.routine.limits.instructions = FAR;
    bench.routine.limits.cycles = 500;
    assert_eq!(bench.run().end, End::Limit(Limit::Cycles));
}

/// A hang in one run does not shorten the next: what was remembered is forgotten.
#[test]
fn a_hang_is_forgotten_with_its_run() {
    let code = &[
        0x4A39, 0x00A0, 0x0003, // 1: tst.b 0xA00003
        0x67F8, // beq.s 1b
        0x4E75, // rts
    ];
    let mut bench = far(Bench::new(code).port(byte_port("pedal", NOWHERE + 3, Some(Schedule::Constant(0)), None)));
    let mut machine = bench.machine();
    for pedal in [0, 1, 0, 0, 1] {
        bench.inputs.ports = vec![Some(Schedule::Constant(pedal))];
        let end = machine.run(&bench.setup(), &[]).end;
        assert_eq!(end == End::Returned, pedal == 1, "{end:?}");
    }
}

/// The second run comes to the very state that the first one hung in, but on a cartridge that leads out of it.
#[test]
fn a_state_of_the_last_run_is_no_state_of_this_one() {
    let code = &[
        0x3039, 0x0020, 0x0010, // move.w 0x200010,d0
        0x51C8, 0xFFFE, // 1: dbra d0,1b
        0x44FC, 0x0004, // move.w #4,ccr
        0x6008, // bra.s 3f
        0x4A39, 0x0020, 0x0000, // 2: tst.b 0x200000
        0x4E71, // nop
        0x67F6, // 3: beq.s 2b
        0x4E75, // rts
    ];
    let bench = Bench::new(code);
    let with = |rounds: u16, byte| {
        let mut image = Image::new(0x1000, Fill::Byte(byte));
        image.put(0x10, rounds.to_be_bytes());
        bench.clone().attach(image).setup()
    };
    // States are kept after 1024, 2048, 4096 and 8192 instructions; the rounds put the last of them at the TST.
    let mut machine = bench.machine();
    for (rounds, byte) in [(1101, 0), (2500, 1), (5001, 0), (9000, 1)] {
        let outcome = machine.run(&with(rounds, byte), &[]);
        assert_eq!(outcome.end == End::Returned, byte == 1, "{rounds}: {:?}", outcome.end);
    }
}
