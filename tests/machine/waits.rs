//! Wait states: so many clocks more for each bus cycle in a range, and nothing else.
//!
//! Bus cycles of instructions from the UM's tables (the numbers in brackets in section 8), from memory.

use keyway::board::{PortWrite, Schedule, WaitStates, Whose};

use super::support::{Bench, CODE, NOWHERE, RAM, WINDOW, byte_port, d, patterned};

const OVERLAY: u32 = WINDOW + 0x8_0000;
const PORT: u32 = 0xB0_0001;

fn waits(mut bench: Bench, first: u32, last: u32, clocks: u32) -> Bench {
    bench.waits.push(WaitStates { range: first..=last, clocks });
    bench
}

/// The demo's kind of board: a port, an overlay that shows, an attached image.
fn board(code: &[u16]) -> Bench {
    let mut latch = byte_port("latch", PORT, Some(Schedule::Constant(5)), Some(&[0, 1]));
    latch.power_on = 1;
    let bench = Bench::new(code).port(latch).attach(patterned(0x10_0000));
    bench.overlay(OVERLAY, OVERLAY + 0x3_FFFF, 1, &[0x55; 0x1000])
}

/// A loop in slow ROM, counted by hand: 4 clocks and the wait for each word that is fetched.
#[test]
fn each_fetch_from_slow_rom_takes_longer() {
    // move.w #99,d0; 1: dbra d0,1b; nop; rts
    let bench = Bench::new(&[0x303C, 0x0063, 0x51C8, 0xFFFE, 0x4E71, 0x4E75]);
    for clocks in [0, 1, 2, 7, 1000] {
        let outcome = waits(bench.clone(), 0, WINDOW - 1, clocks).returns();
        let w = u64::from(clocks);
        // MOVE 8(2/0), DBcc taken 10(2/0), expired 14(3/0), NOP 4(1/0); RTS 16(4/0) reads its stack and what comes after
        // it elsewhere.
        let expected = (8 + 2 * w) + 99 * (10 + 2 * w) + (14 + 3 * w) + (4 + w) + 16;
        assert_eq!(outcome.cycles, expected, "{clocks} wait states");
        assert_eq!(outcome.instructions, 103);
    }
}

/// One access of each kind and width, at each kind of place: its bus cycles there wait, no other does.
#[test]
fn each_access_waits_wherever_it_is() {
    let accesses: [(&[u16], u64, u64, &str); 7] = [
        (&[0x1010], 8, 1, "move.b (a0),d0"),
        (&[0x3010], 8, 1, "move.w (a0),d0"),
        (&[0x2010], 12, 2, "move.l (a0),d0"),
        (&[0x1080], 8, 1, "move.b d0,(a0)"),
        (&[0x2080], 12, 2, "move.l d0,(a0)"),
        (&[0x4250], 12, 2, "clr.w (a0)"),
        (&[0x4CD0, 0x0003], 28, 5, "movem.l (a0),d0-d1"),
    ];
    for place in [RAM + 0x100, WINDOW + 0x100, OVERLAY + 0x100, NOWHERE, PORT & !1, 0x1000] {
        for (code, cycles, bus_cycles, text) in accesses {
            let mut code = code.to_vec();
            code.push(0x4E75); // rts
            let at = if text.contains(".b") && place == PORT & !1 { PORT } else { place };
            let quick = board(&code).set("a0", at);
            let slow = waits(quick.clone(), place, place + 0xFF, 3);
            let (quick, slow) = (quick.returns(), slow.returns());
            assert_eq!(quick.cycles, cycles + 16, "{text} at {place:06X}");
            assert_eq!(slow.cycles, quick.cycles + 3 * bus_cycles, "{text} at {place:06X}");
            assert_eq!(slow.registers, quick.registers, "{text} at {place:06X}");
            assert_eq!(slow.writes, quick.writes, "{text} at {place:06X}");
            assert_eq!(slow.troubles.stray_counts, quick.troubles.stray_counts, "{text} at {place:06X}");
            assert_eq!(slow.troubles.early_reads, quick.troubles.early_reads, "{text} at {place:06X}");
        }
    }
}

/// What shares a page with slow addresses is as quick as ever, and a long word may wait in one half.
#[test]
fn only_the_addresses_of_the_range_wait() {
    let read = |address: u32, clocks: u32| {
        let bench = waits(board(&[0x2010, 0x4E75]).set("a0", address), RAM + 0x100, RAM + 0x101, clocks); // move.l (a0),d0
        bench.returns().cycles
    };
    for (address, words) in [(RAM + 0xFC, 0), (RAM + 0xFE, 1), (RAM + 0x100, 1), (RAM + 0x102, 0)] {
        assert_eq!(read(address, 9), read(address, 0) + 9 * words, "{address:06X}");
    }
}

/// Of ranges that overlap the first counts.
#[test]
fn the_first_range_counts() {
    let bench = board(&[0x3010, 0x4E75]).set("a0", RAM); // move.w (a0),d0
    let bench = waits(waits(bench, RAM, RAM + 0xFF, 0), RAM, RAM + 0x7FFF, 5);
    assert_eq!(bench.returns().cycles, 24);
    assert_eq!(bench.set("a0", RAM + 0x100).returns().cycles, 29);
}

/// A range stays slow when an overlay comes and goes in it, and quick where there is none.
#[test]
fn an_overlay_does_not_make_it_quick() {
    let code = [
        0x13FC, 0x0000, 0x00B0, 0x0001, // move.b #0,0xB00001: 20(4/1)
        0x3010, // move.w (a0),d0: 8(2/0)
        0x13FC, 0x0001, 0x00B0, 0x0001, // move.b #1,0xB00001
        0x3210, // move.w (a0),d1
        0x4E75, // rts
    ];
    let bench = board(&code).set("a0", OVERLAY);
    let outcome = waits(bench.clone(), WINDOW, WINDOW + 0x1F_FFFF, 2).returns();
    assert_eq!(outcome.cycles, 2 * (20 + 8) + 2 * 2 + 16);
    assert_eq!(d(&outcome, 1) & 0xFFFF, 0x5555);
    let values: Vec<u16> = outcome.writes.iter().map(|write: &PortWrite| write.value).collect();
    assert_eq!(values, [0, 1]);
    assert_eq!(waits(bench, WINDOW, WINDOW + 0xFFF, 2).returns().cycles, 2 * (20 + 8) + 16);
}

/// An interrupt writes three words, reads the vector (two) and fetches two: each waits where it goes.
#[test]
fn the_frame_of_an_interrupt_waits_too() {
    let code = [0x4E71, 0x4E71, 0x4E75]; // nop; nop; rts
    let mut bench = Bench::new(&code).interrupt(4, 4, None).vector(28, 0x600).put(0x600, &[0x4E73]); // rte
    bench.routine.status = 0x2000;
    let quick = bench.returns().cycles;
    // RTE 20(5/0) reads three words of the stack, RTS 16(4/0) two.
    assert_eq!(waits(bench.clone(), RAM, RAM + 0xFFFF, 1).returns().cycles, quick + 3 + 3 + 2);
    assert_eq!(waits(bench.clone(), 28 * 4, 28 * 4 + 3, 1).returns().cycles, quick + 2);
    // At the handler: two fetches to enter it, none more, for RTE fetches where it returns.
    assert_eq!(waits(bench, 0x600, 0x603, 1).returns().cycles, quick + 2);
}

#[test]
fn a_port_that_waits_for_a_cycle_sees_the_waits() {
    let ready = Schedule::Changes { first: 0, then: 1, after: keyway::board::Change::Cycles(1000) };
    // 1: tst.b 0xB00003: 16(4/0); beq.s 1b: 10(2/0)
    let code = [0x5280, 0x4A39, 0x00B0, 0x0003, 0x67F6, 0x4E75];
    let bench = Bench::new(&code).port(byte_port("ready", 0xB0_0003, Some(ready), None));
    let looks = |bench: &Bench| d(&bench.returns(), 0);
    let slow = waits(bench.clone(), CODE, CODE + 0xFF, 4);
    assert!(looks(&slow) < looks(&bench), "{} of {}", looks(&slow), looks(&bench));
}

#[test]
fn a_range_lies_on_the_bus_in_whole_words() {
    for (first, last, text) in [
        (1, 0x1FFF, "whole words"),
        (0, 0x1FFE, "whole words"),
        (0xFF_0000, 0x100_FFFF, "24-bit bus"),
        (0x2000, 0x1FFF, "ends before it begins"),
    ] {
        let bench = waits(Bench::bare(), 0, 0xFF, 1);
        let error = waits(bench, first, last, 1).try_map().expect_err("a bad range");
        assert_eq!(error.whose, Whose::Waits(1));
        assert!(error.reason.contains(text), "{}", error.reason);
    }
}
