//! What reads where nothing answers: the empty socket, and addresses that nothing is mapped to.

use keyway::board::{AccessKind, Bus, OpenBus, Schedule, StrayKind};
use keyway::cartridge::{Fill, Image};
use keyway::cpu::Exception;
use keyway::run::{Crash, End, Wrong};

use super::support::{Bench, NOWHERE, RAM, WINDOW, byte_port, d, pattern, patterned, word_port};

const PLACES: [u32; 2] = [WINDOW, NOWHERE];
const ANSWERING: [OpenBus; 4] = [OpenBus::Ones, OpenBus::Zeros, OpenBus::Floating, OpenBus::Noise];

fn put_on_bus(bus: &mut Bus, word: u16) {
    bus.write_word(RAM, word).expect("RAM");
    assert_eq!(bus.read_word(RAM), Some(word));
}

#[test]
fn pulled_lines_read_ones_or_zeros() {
    for (rule, byte) in [(OpenBus::Ones, 0xFFu8), (OpenBus::Zeros, 0)] {
        let mut bus = Bench::bare().open(rule).bus();
        for place in PLACES {
            put_on_bus(&mut bus, 0x1234);
            assert_eq!(bus.read_byte(place), Some(byte));
            assert_eq!(bus.read_byte(place + 1), Some(byte));
            assert_eq!(bus.read_word(place + 2), Some(u16::from_be_bytes([byte; 2])));
        }
    }
}

/// The window has its own rule: the socket's, not the map's.
#[test]
fn the_window_and_unmapped_addresses_have_rules_of_their_own() {
    let mut bench = Bench::bare().open(OpenBus::Ones);
    bench.inputs.empty = OpenBus::Zeros;
    let mut bus = bench.bus();
    assert_eq!((bus.read_word(WINDOW), bus.read_word(NOWHERE)), (Some(0), Some(0xFFFF)));
    assert_eq!((bus.read_byte(WINDOW + 1), bus.read_byte(NOWHERE + 1)), (Some(0), Some(0xFF)));
}

#[test]
fn a_floating_bus_keeps_its_last_word_by_lane() {
    let mut bus = Bench::bare().bus();
    for place in PLACES {
        put_on_bus(&mut bus, 0x1234);
        assert_eq!(bus.read_word(place), Some(0x1234));
        assert_eq!(bus.read_byte(place), Some(0x12));
        assert_eq!(bus.read_byte(place + 1), Some(0x34));
        // A byte that something drives changes its own lane only.
        bus.write_word(RAM + 2, 0xABCD).expect("RAM");
        put_on_bus(&mut bus, 0x5678);
        assert_eq!(bus.read_byte(RAM + 3), Some(0xCD));
        assert_eq!(bus.read_word(place), Some(0x56CD));
        assert_eq!(bus.read_byte(RAM + 2), Some(0xAB));
        assert_eq!(bus.read_word(place), Some(0xABCD));
        // The 68000 drives a byte that it writes on both lanes (UM, section 5, from memory).
        bus.write_byte(RAM + 4, 0x99).expect("RAM");
        assert_eq!(bus.read_word(place), Some(0x9999));
    }
}

/// Through the processor: what floats is the bus cycle before, and that is mostly a prefetch. The queue holds the word
/// behind the opcode; each extension word that an instruction takes out fetches one more (MC68000UM on the prefetch, from
/// memory; which accesses come before the last prefetch is as in the published vectors, `tests/vectors.rs`).
#[test]
fn a_floating_bus_shows_the_word_prefetched_last() {
    const RTS: u32 = 0x4E75;
    let cases: [(&[u16], u32); 8] = [
        (&[0x3010] /* move.w (a0),d0 */, RTS),
        (&[0x2010] /* move.l (a0),d0 */, RTS << 16 | RTS),
        (&[0x3028, 0x0010] /* move.w 0x10(a0),d0 */, RTS),
        (&[0x3039, 0x00A0, 0x0ABC] /* move.w 0xA00ABC,d0 */, RTS),
        // The source is read before the destination's words are taken: behind it stand these.
        (&[0x33F9, 0x00A0, 0x0ABC, 0x00E0, 0x0010, 0x3039, 0x00E0, 0x0010], 0x00E0), // move.w 0xA00ABC,0xE00010
        // The write comes before the last prefetch, or after it.
        (&[0x32BC, 0x1233, 0x3010] /* move.w #0x1233,(a1) */, RTS),
        (&[0x333C, 0x1233, 0x3010] /* move.w #0x1233,-(a1) */, 0x1233),
        (&[0x32BC, 0x1233, 0x5251, 0x3010] /* addq.w #1,(a1) */, 0x1234),
    ];
    for (code, expected) in cases {
        let code = [code, &[RTS as u16]].concat();
        let outcome = Bench::new(&code).set("a0", NOWHERE).set("a1", RAM + 0x100).returns();
        assert_eq!(d(&outcome, 0), expected, "{code:04X?}");
    }
    // The window floats likewise.
    let outcome = Bench::new(&[0x3239, 0x0020, 0x0DEE, 0x4E75] /* move.w 0x200DEE,d1; rts */).returns();
    assert_eq!(d(&outcome, 1), RTS);
}

#[test]
fn noise_differs_from_access_to_access_and_repeats_with_its_seed() {
    let listen = |seed: u64| {
        let mut bench = Bench::bare().open(OpenBus::Noise);
        bench.inputs.seed = seed;
        let mut bus = bench.bus();
        let words: Vec<u16> = (0..64).map(|at| bus.read_word(PLACES[at % 2]).expect("noise")).collect();
        bus.power_on(&bench.inputs, &bench.fills);
        let again: Vec<u16> = (0..64).map(|at| bus.read_word(PLACES[at % 2]).expect("noise")).collect();
        assert_eq!(words, again, "the same after power-on");
        words
    };
    let words = listen(1);
    assert_eq!(words, listen(1));
    assert_ne!(words, listen(2));
    let mut distinct = words.clone();
    distinct.sort_unstable();
    distinct.dedup();
    assert!(distinct.len() > 60, "{} of 64 differ", distinct.len());
    for line in 0..16 {
        let high = words.iter().filter(|word| *word >> line & 1 == 1).count();
        assert!((10..54).contains(&high), "line {line} is high {high} times of 64");
    }
}

/// Bytes of noise come from the lane of their address.
#[test]
fn noise_comes_in_bytes_too() {
    let bench = Bench::bare().open(OpenBus::Noise);
    let (mut words, mut bytes) = (bench.bus(), bench.bus());
    for index in 0..40 {
        let word = words.read_word(NOWHERE).expect("noise").to_be_bytes();
        assert_eq!(bytes.read_byte(NOWHERE + index % 2), Some(word[index as usize % 2]));
    }
}

#[test]
fn without_dtack_nothing_acknowledges() {
    let mut bus = Bench::bare().open(OpenBus::BusError).bus();
    for place in PLACES {
        assert_eq!(bus.read_byte(place + 1), None);
        assert_eq!(bus.read_word(place + 0x100), None);
        assert_eq!(bus.write_byte(place + 3, 1), None);
        assert_eq!(bus.write_word(place + 4, 1), None);
    }
    let crash = Bench::new(&[0x3039, 0x0020, 0x0100] /* move.w 0x200100,d0 */).open(OpenBus::BusError).crashes();
    let access = Some((0x20_0100, AccessKind::Read));
    assert_eq!(crash, Crash { exception: Exception::BusError, access, handler: Wrong::NotHandled });
}

/// An attached cartridge acknowledges for what it has; a write to it is lost, not a bus error.
#[test]
fn what_an_image_has_is_acknowledged() {
    let mut bus = Bench::bare().open(OpenBus::BusError).attach(patterned(3 << 20)).bus();
    assert!(bus.read_word(WINDOW + 0xF_FFFE).is_some());
    assert_eq!(bus.write_word(WINDOW, 1), Some(()));
    assert_eq!(bus.read_word(WINDOW + 0x10_0000), None, "the open fourth megabyte");
    assert_eq!(bus.write_word(WINDOW + 0x10_0000, 1), None);
}

/// An image of odd size drives only the high lane of its last word.
#[test]
fn the_last_word_of_an_odd_size_is_driven_by_half() {
    let size = 0x1001;
    let last = WINDOW + size - 1;
    let high = pattern(size - 1);
    for (rule, low) in
        [(OpenBus::Ones, 0xFF), (OpenBus::Zeros, 0), (OpenBus::Floating, 0x34), (OpenBus::BusError, 0x34)]
    {
        let mut bus = Bench::bare().open(rule).attach(patterned(size)).bus();
        put_on_bus(&mut bus, 0x1234);
        assert_eq!(bus.read_word(last), Some(u16::from_be_bytes([high, low])), "{rule:?}");
        assert_eq!(bus.read_byte(last), Some(high), "{rule:?}");
        put_on_bus(&mut bus, 0x1234);
        let odd = (rule != OpenBus::BusError).then_some(low);
        assert_eq!(bus.read_byte(last + 1), odd, "{rule:?}");
    }
}

/// A byte port drives one lane of a word access; the other lane is open and follows the rule, on whichever side it is.
#[test]
fn beside_a_byte_port_the_other_lane_is_open() {
    let port = |at| byte_port("pedal", at, Some(Schedule::Constant(0x42)), None);
    for (rule, open) in [(OpenBus::Ones, 0xFFFF), (OpenBus::Zeros, 0), (OpenBus::Floating, 0x1234)] {
        for at in [NOWHERE, NOWHERE + 1] {
            let mut bus = Bench::bare().open(rule).port(port(at)).bus();
            put_on_bus(&mut bus, 0x1234);
            let expected = if at == NOWHERE { 0x4200 | open & 0xFF } else { open & 0xFF00 | 0x42 };
            assert_eq!(bus.read_word(NOWHERE), Some(expected), "{rule:?} port at {at:#X}");
            assert_eq!(bus.read_byte(at), Some(0x42));
        }
    }
    for at in [NOWHERE, NOWHERE + 1] {
        let mut bus = Bench::bare().open(OpenBus::BusError).port(port(at)).bus();
        assert!(bus.read_word(NOWHERE).is_some(), "the port acknowledges");
        assert_eq!(bus.read_byte(at ^ 1), None, "nothing does on the other lane");
        let mut bus = Bench::bare().open(OpenBus::Noise).port(port(at)).bus();
        let words: Vec<u16> = (0..32).filter_map(|_| bus.read_word(NOWHERE)).collect();
        assert_eq!(words.len(), 32);
        assert!(words.iter().any(|word| word & 0xFF != word >> 8 && *word != words[0]), "{words:X?}");
    }
}

/// Inside the window the open lane beside a byte port follows the socket's rule or the cartridge.
#[test]
fn beside_a_byte_port_in_the_window_the_cartridge_answers() {
    for at in [WINDOW + 0x10, WINDOW + 0x11] {
        let port = byte_port("pedal", at, Some(Schedule::Constant(0x42)), None);
        let word = |other: u8| if at & 1 == 0 { 0x4200 | u16::from(other) } else { u16::from(other) << 8 | 0x42 };
        let mut bench = Bench::bare().open(OpenBus::Ones).port(port);
        bench.inputs.empty = OpenBus::Zeros;
        assert_eq!(bench.bus().read_word(WINDOW + 0x10), Some(word(0)), "empty, port at {at:#X}");
        let mut bus = bench.attach(Image::new(0x100, Fill::Byte(0x77))).bus();
        assert_eq!(bus.read_word(WINDOW + 0x10), Some(word(0x77)), "attached, port at {at:#X}");
        assert_eq!(bus.read_byte(at ^ 1), Some(0x77));
    }
}

#[test]
fn a_write_only_port_reads_as_open_bus() {
    for rule in ANSWERING {
        let ports =
            [byte_port("latch", NOWHERE + 1, None, Some(&[1])), word_port("pair", NOWHERE + 2, None, Some(&[1]))];
        let mut bench = Bench::bare().open(rule);
        bench.ports = ports.to_vec();
        let mut bus = bench.bus();
        let mut plain = Bench::bare().open(rule).bus();
        for bus in [&mut bus, &mut plain] {
            put_on_bus(bus, 0x1234);
        }
        for _ in 0..4 {
            assert_eq!(bus.read_byte(NOWHERE + 1), plain.read_byte(NOWHERE + 1), "{rule:?}");
            assert_eq!(bus.read_word(NOWHERE + 2), plain.read_word(NOWHERE + 2), "{rule:?}");
            assert_eq!(bus.read_word(NOWHERE), plain.read_word(NOWHERE), "{rule:?}");
        }
        assert_eq!(bus.troubles().stray_counts, plain.troubles().stray_counts);
    }
}

/// An overlay with a size that is no power of two leaves a hole, which is open.
#[test]
fn the_hole_of_an_overlay_is_open() {
    let bench = |rule| {
        let latch = byte_port("latch", NOWHERE + 1, None, Some(&[0, 1]));
        Bench::bare().open(rule).port(latch).overlay(NOWHERE + 0x1000, NOWHERE + 0x1FFF, 0, &[0x11, 0x22, 0x33])
    };
    for (rule, open) in [(OpenBus::Ones, 0xFF), (OpenBus::Zeros, 0), (OpenBus::Floating, 0x34)] {
        let mut bus = bench(rule).bus();
        assert_eq!(bus.read_word(NOWHERE + 0x1000), Some(0x1122));
        put_on_bus(&mut bus, 0x1234);
        assert_eq!(bus.read_word(NOWHERE + 0x1002), Some(0x3300 | open), "{rule:?}");
        assert_eq!(bus.read_word(NOWHERE + 0x1006), Some(0x3300 | open), "{rule:?}");
    }
    assert_eq!(bench(OpenBus::BusError).bus().read_byte(NOWHERE + 0x1003), None);
}

/// Reads of nothing and writes that land nowhere are noted with their place; reads of an empty socket are the point of
/// the exercise and are not.
#[test]
fn accesses_that_land_nowhere_are_noted() {
    let code = &[
        0x1039, 0x00A0, 0x0001, // move.b 0xA00001,d0
        0x33C0, 0x00A0, 0x0010, // move.w d0,0xA00010
        0x11C0, 0x0600, // move.b d0,0x000600
        0x33C0, 0x0020, 0x0000, // move.w d0,0x200000
        0x3039, 0x0020, 0x0000, // move.w 0x200000,d0
        0x4E75, // rts
    ];
    let troubles = Bench::new(code).returns().troubles;
    let kinds: Vec<(StrayKind, u32, u32)> =
        troubles.strays.iter().map(|stray| (stray.kind, stray.address, stray.pc)).collect();
    let expected = [
        (StrayKind::Read, 0xA0_0001, 0x400),
        (StrayKind::Write, 0xA0_0010, 0x406),
        (StrayKind::Write, 0x00_0600, 0x40C),
        (StrayKind::Write, 0x20_0000, 0x410),
    ];
    assert_eq!(kinds, expected);
    assert_eq!(troubles.stray_counts, [3, 1, 0]);
    assert_eq!(troubles.early_read_count, 0);
}

#[test]
fn a_run_over_an_empty_socket_ends_the_same_each_time() {
    let code = &[
        0x41F9, 0x0020, 0x0000, // lea 0x200000,a0
        0x7263, // moveq #99,d1
        0xD058, // 1: add.w (a0)+,d0
        0xE358, // rol.w #1,d0
        0x51C9, 0xFFFA, // dbra d1,1b
        0x4E75, // rts
    ];
    for rule in ANSWERING {
        let bench = Bench::new(code).open(rule);
        let mut machine = bench.machine();
        let first = machine.run(&bench.setup(), &bench.fills).clone();
        assert_eq!(first.end, End::Returned);
        let again = machine.run(&bench.setup(), &bench.fills);
        assert_eq!((d(&first, 0), first.cycles), (d(again, 0), again.cycles), "{rule:?}");
    }
}
