//! Code that makes an overlay come or go over itself, and what the prefetch queue makes of it.
//!
//! How many words are in the queue when an instruction writes is the order of its bus cycles in the published vectors:
//! MOVE writes before its last prefetch, so one word behind it has been fetched; CLR and BSET write after it, so two.

use keyway::board::{Remap, Schedule};
use keyway::run::{End, Outcome};

use super::support::{Bench, CODE, WINDOW, byte_port, d};

const OVERLAY: u32 = WINDOW + 0x8_0000;

/// A patch ROM with this code, which the routine calls with the latch on, and a cartridge that is erased.
fn patch(code: &[u16]) -> Bench {
    let bytes: Vec<u8> = code.iter().flat_map(|word| word.to_be_bytes()).collect();
    let call = [
        0x13FC, 0x0001, 0x00B0, 0x0001, // move.b #1,0xB00001
        0x4EB9, 0x0028, 0x0000, // jsr 0x280000
        0x4E75, // rts
    ];
    let latch = byte_port("latch", 0xB0_0001, Some(Schedule::Constant(0)), Some(&[0, 1]));
    let mut bench = Bench::new(&call).port(latch).overlay(OVERLAY, OVERLAY + 0xFFF, 1, &bytes);
    bench = bench.open(keyway::board::OpenBus::Ones);
    bench.routine.executes_anywhere = true;
    bench
}

fn went(outcome: &Outcome) -> Option<u32> {
    outcome.troubles.remap.map(|remap| {
        assert_eq!((remap.overlay, remap.came), (0, false));
        remap.pc
    })
}

#[test]
fn the_word_behind_a_move_was_fetched_before_it_wrote() {
    let outcome = patch(&[0x13FC, 0, 0x00B0, 1, 0x4E75]).returns(); // move.b #0,0xB00001; rts
    assert_eq!(went(&outcome), Some(OVERLAY));
    // One word later it is the cartridge's: a line F opcode, 0xFFFF.
    let outcome = patch(&[0x13FC, 0, 0x00B0, 1, 0x7007, 0x4E75]).run(); // moveq #7,d0 between
    assert!(matches!(outcome.end, End::Crashed(_)), "{:?}", outcome.end);
    assert_eq!((d(&outcome, 0), outcome.last), (7, OVERLAY + 10));
}

#[test]
fn two_words_behind_a_clr_were_fetched_before_it_wrote() {
    let outcome = patch(&[0x4239, 0x00B0, 1, 0x7007, 0x4E75]).returns(); // clr.b 0xB00001; moveq #7,d0; rts
    assert_eq!((went(&outcome), d(&outcome, 0)), (Some(OVERLAY), 7));
    let outcome = patch(&[0x4239, 0x00B0, 1, 0x7007, 0x7208, 0x4E75]).run(); // moveq #8,d1 as well
    assert_eq!((d(&outcome, 1), outcome.last), (8, OVERLAY + 10));
    assert!(matches!(outcome.end, End::Crashed(_)), "{:?}", outcome.end);
}

/// The operand words of a jump count like any others: of a JMP that takes three, two come from the cartridge.
#[test]
fn a_jump_with_operands_is_cut() {
    let outcome = patch(&[0x13FC, 0, 0x00B0, 1, 0x4EF9, 0, CODE as u16]).run(); // move.b #0,0xB00001; jmp 0x400
    assert!(matches!(outcome.end, End::Crashed(_)), "to 0xFFFFFFFF: {:?}", outcome.end);
    // Where the cartridge has the same words it goes well, and is noted all the same.
    let mut image = keyway::cartridge::Image::new(0x10_0000, keyway::cartridge::Fill::Byte(0xFF));
    image.put(0x8_000A, [0, 0, 0x06, 0]);
    let code = [0x13FC, 0, 0x00B0, 1, 0x4EF9, 0, 0x600];
    let bench = patch(&code).put(0x600, &[0x4E75]).attach(image);
    assert_eq!(went(&bench.returns()), Some(OVERLAY));
}

/// An overlay that comes under running code: the next word is still the cartridge's.
#[test]
fn an_overlay_that_comes_is_noted_too() {
    let latch = byte_port("latch", 0xB0_0001, None, Some(&[0, 1]));
    let mut image = keyway::cartridge::Image::new(0x10_0000, keyway::cartridge::Fill::Byte(0xFF));
    image.put(0x8_0000, [0x13, 0xFC, 0, 1, 0, 0xB0, 0, 1, 0x4E, 0x75]); // move.b #1,0xB00001; rts
    let mut bench = Bench::new(&[0x4EB9, 0x0028, 0x0000, 0x4E75]) /* jsr 0x280000; rts */
        .port(latch)
        .attach(image);
    bench = bench.overlay(OVERLAY, OVERLAY + 0xFFF, 1, &[0xFF; 0x1000]);
    bench.routine.executes_anywhere = true;
    let remap = Remap { overlay: 0, came: true, pc: OVERLAY };
    assert_eq!(bench.returns().troubles.remap, Some(remap));
}

/// Nothing is noted of code elsewhere, nor of an overlay that starts behind the two words that follow.
#[test]
fn only_what_lies_under_the_code_counts() {
    let latch = || byte_port("latch", 0xB0_0001, None, Some(&[0, 1]));
    let code = [0x13FC, 0x0001, 0x00B0, 0x0001, 0x4E75]; // move.b #1,0xB00001; rts
    let of = |start: u32| {
        let bench = Bench::new(&code).port(latch()).put(0x7FE, &[0]);
        bench.overlay(start, start + 0x7F, 1, &[0x4E; 0x80]).returns().troubles.remap.map(|remap| remap.pc)
    };
    // The instruction has 8 bytes, the queue 4.
    assert_eq!(of(CODE + 12), None);
    assert_eq!(of(CODE + 10), Some(CODE));
    assert_eq!(of(CODE + 8), Some(CODE));
    assert_eq!(of(CODE - 0x80), None);
    assert_eq!(of(OVERLAY), None);
}

/// An overlay that comes or goes behind another one changes nothing that the code could see.
#[test]
fn an_overlay_behind_another_one_does_not_count() {
    let bytes = [0x13, 0xFC, 0, 2, 0, 0xB0, 0, 1, 0x4E, 0x75]; // move.b #2,0xB00001; rts
    let mut latch = byte_port("latch", 0xB0_0001, None, Some(&[0, 1, 2]));
    latch.power_on = 1;
    let mut front = byte_port("front", 0xB0_0003, None, Some(&[1]));
    front.power_on = 1;
    let mut bench = Bench::new(&[0x4EB9, 0x0028, 0x0000, 0x4E75]) /* jsr 0x280000; rts */
        .port(latch)
        .port(front);
    bench = bench.overlay(OVERLAY, OVERLAY + 0xFFF, 1, &bytes).overlay(OVERLAY, OVERLAY + 0xFFF, 1, &bytes);
    bench.overlays[0].port = 1;
    assert_eq!(bench.returns().troubles.remap, None);
    // Without the one in front it is noted.
    bench.overlays.swap(0, 1);
    let remap = bench.run().troubles.remap;
    assert_eq!(remap, Some(Remap { overlay: 1, came: true, pc: OVERLAY }));
}

/// What the run before left in the latches is no trouble of the next one.
#[test]
fn the_run_before_does_not_count() {
    let latch = byte_port("latch", 0xB0_0001, None, Some(&[0, 1]));
    let code = [0x13FC, 0x0001, 0x00B0, 0x0001, 0x4E75]; // move.b #1,0xB00001; rts
    let bench = Bench::new(&code).port(latch).overlay(0, 0xFF, 1, &[0; 0x100]);
    let mut machine = bench.machine();
    for _ in 0..3 {
        assert_eq!(machine.run(&bench.setup(), &bench.fills).troubles.remap, None);
    }
}
