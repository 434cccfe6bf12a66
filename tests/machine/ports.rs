//! Ports: what they read as time goes by, what is written to them, and the overlays that follow a latch.

use keyway::board::{Bus, Change, OpenBus, Place, Port, PortSize, PortWrite, Schedule, StrayKind};
use keyway::cpu::Exception;
use keyway::run::{End, Outcome};

use super::support::{Bench, CODE, NOWHERE, RAM, WINDOW, byte_port, d, pattern, patterned, word_port};

const PEDAL: u32 = NOWHERE + 3;
const LATCH: u32 = NOWHERE + 1;

fn pedal(reads: Schedule) -> Port {
    byte_port("pedal", PEDAL, Some(reads), None)
}

fn latch(values: &[u16]) -> Port {
    byte_port("latch", LATCH, None, Some(values))
}

/// Reads the pedal six times into D0.B to D5.B, with 8 cycles of work before each read.
fn six_reads(reads: Schedule) -> [u32; 6] {
    let code = &[
        0x41F9, 0x00A0, 0x0003, // lea 0xA00003,a0
        0x1010, // move.b (a0),d0
        0x1210, // move.b (a0),d1
        0x1410, // move.b (a0),d2
        0x1610, // move.b (a0),d3
        0x1810, // move.b (a0),d4
        0x1A10, // move.b (a0),d5
        0x4E75, // rts
    ];
    let outcome = Bench::new(code).port(pedal(reads)).returns();
    [0, 1, 2, 3, 4, 5].map(|number| d(&outcome, number))
}

#[test]
fn a_port_reads_what_its_schedule_says() {
    assert_eq!(six_reads(Schedule::Constant(0x5A)), [0x5A; 6]);
    let sequence = Schedule::Sequence([1, 2, 3].as_slice().into());
    assert_eq!(six_reads(sequence), [1, 2, 3, 3, 3, 3]);
    let changes = |after| Schedule::Changes { first: 0x10, then: 0x20, after };
    assert_eq!(six_reads(changes(Change::Reads(0))), [0x20; 6]);
    assert_eq!(six_reads(changes(Change::Reads(2))), [0x10, 0x10, 0x20, 0x20, 0x20, 0x20]);
    assert_eq!(six_reads(changes(Change::Reads(6))), [0x10; 6]);
}

/// LEA xxx.L takes 12 cycles and MOVE.B (An),Dn 8 (UM tables 8-2 and 8-12, from memory): the reads begin at 12, 20, 28...
#[test]
fn a_port_changes_at_a_cycle() {
    let changes = |cycles| Schedule::Changes { first: 0, then: 1, after: Change::Cycles(cycles) };
    for (cycles, sum) in [(0, 6), (12, 6), (13, 5), (20, 5), (21, 4), (52, 1), (53, 0)] {
        assert_eq!(six_reads(changes(cycles)).iter().sum::<u32>(), sum, "after {cycles} cycles");
    }
}

/// A case's schedule replaces the one of the harness for its runs only.
#[test]
fn the_setup_says_otherwise_for_one_run() {
    let mut bench =
        Bench::new(&[0x1039, 0x00A0, 0x0003, 0x4E75] /* move.b 0xA00003,d0; rts */).port(pedal(Schedule::Constant(1)));
    let mut machine = bench.machine();
    assert_eq!(d(machine.run(&bench.setup(), &bench.fills), 0), 1);
    let ordinary = bench.setup();
    bench.inputs.ports = vec![Some(Schedule::Constant(2))];
    assert_eq!(d(machine.run(&bench.setup(), &bench.fills), 0), 2);
    assert_eq!(d(machine.run(&ordinary, &bench.fills), 0), 1);
}

/// How far a sequence has come is forgotten between runs.
#[test]
fn a_sequence_begins_anew_in_each_run() {
    let code = &[
        0x1039, 0x00A0, 0x0003, // move.b 0xA00003,d0
        0x1239, 0x00A0, 0x0003, // move.b 0xA00003,d1
        0x4E75, // rts
    ];
    let bench = Bench::new(code).port(pedal(Schedule::Sequence([7, 8, 9].as_slice().into())));
    let mut machine = bench.machine();
    for _ in 0..3 {
        let outcome = machine.run(&bench.setup(), &bench.fills);
        assert_eq!((d(outcome, 0), d(outcome, 1)), (7, 8));
    }
}

/// Reads of the other lane, peeks and RESET do not count as reads of a port; a word access counts once.
#[test]
fn only_reads_of_the_port_count() {
    let bench = Bench::bare().port(pedal(Schedule::Sequence([1, 2, 3, 4].as_slice().into())));
    let mut bus = bench.bus();
    assert_eq!(bus.read_byte(PEDAL), Some(1));
    assert!(bus.read_byte(PEDAL - 1).is_some());
    let _ = bus.peek(PEDAL);
    bus.reset_devices();
    assert_eq!(bus.read_word(PEDAL - 1).map(|word| word & 0xFF), Some(2));
    assert_eq!(bus.read_byte(PEDAL), Some(3));
    let word = word_port("pair", NOWHERE, Some(Schedule::Sequence([0x102, 0x304, 0x506].as_slice().into())), None);
    let mut bus = Bench::bare().port(word).bus();
    assert_eq!(bus.read_word(NOWHERE), Some(0x102));
    assert_eq!(bus.read_byte(NOWHERE), Some(0x03));
    assert_eq!(bus.read_byte(NOWHERE + 1), Some(0x06));
}

#[test]
fn writes_are_logged_in_order_with_values_and_addresses() {
    let code = &[
        0x13FC, 0x0001, 0x00A0, 0x0001, // move.b #1,0xA00001
        0x33FC, 0x1234, 0x00A0, 0x0010, // move.w #0x1234,0xA00010
        0x13FC, 0x0055, 0x00A0, 0x0010, // move.b #0x55,0xA00010
        0x13FC, 0x0066, 0x00A0, 0x0011, // move.b #0x66,0xA00011
        0x33FC, 0x7788, 0x00A0, 0x0000, // move.w #0x7788,0xA00000
        0x4E75, // rts
    ];
    let any: Vec<u16> = vec![0x1234, 0x5534, 0x5566];
    let bench = Bench::new(code).port(latch(&[1, 0x88])).port(word_port("pair", NOWHERE + 0x10, None, Some(&any)));
    let outcome = bench.returns();
    let write = |port, value, pc| PortWrite { port, value, pc };
    let expected = [
        write(0, 1, CODE),
        write(1, 0x1234, CODE + 8),
        write(1, 0x5534, CODE + 16),
        write(1, 0x5566, CODE + 24),
        write(0, 0x88, CODE + 32),
    ];
    assert_eq!(outcome.writes, expected);
    assert_eq!(outcome.troubles.stray_counts, [0; 3], "all values are declared");
}

/// A long write to a word port and its neighbour is two accesses, high word first.
#[test]
fn a_long_write_is_two_accesses() {
    let code = &[
        0x23FC, 0x0001, 0x0002, 0x00A0, 0x0010, // move.l #0x00010002,0xA00010
        0x4E75, // rts
    ];
    let bench = Bench::new(code).port(word_port("high", NOWHERE + 0x10, None, Some(&[1]))).port(word_port(
        "low",
        NOWHERE + 0x12,
        None,
        Some(&[2]),
    ));
    let writes: Vec<(usize, u16)> = bench.returns().writes.iter().map(|write| (write.port, write.value)).collect();
    assert_eq!(writes, [(0, 1), (1, 2)]);
}

#[test]
fn a_byte_port_latches_its_own_lane() {
    for (at, value) in [(NOWHERE, 0x12), (NOWHERE + 1, 0x34)] {
        let mut bus = Bench::bare().port(byte_port("latch", at, None, Some(&[value]))).bus();
        bus.write_word(NOWHERE, 0x1234).expect("a port");
        assert_eq!(bus.writes(), [PortWrite { port: 0, value, pc: 0 }]);
        bus.write_byte(at ^ 1, 0x77).expect("noted");
        assert_eq!(bus.writes().len(), 1, "the other lane is no write to the port");
        assert_eq!(bus.troubles().stray_counts, [1, 0, 0]);
    }
}

#[test]
fn undeclared_values_are_latched_and_noted() {
    let outcome = Bench::new(&[0x13FC, 0x0007, 0x00A0, 0x0001, 0x4E75] /* move.b #7,0xA00001; rts */)
        .port(latch(&[0, 1]))
        .returns();
    assert_eq!(outcome.writes, [PortWrite { port: 0, value: 7, pc: CODE }]);
    assert_eq!(outcome.troubles.stray_counts, [0, 0, 1]);
    let stray = outcome.troubles.strays[0];
    assert_eq!((stray.kind, stray.address, stray.value, stray.pc), (StrayKind::Undeclared(0), LATCH, 7, CODE));
    assert_eq!(stray.size, PortSize::Byte);
}

/// Writing to a port that can only be read lands nowhere.
#[test]
fn a_read_only_port_takes_no_writes() {
    let outcome = Bench::new(&[0x13FC, 0x0007, 0x00A0, 0x0003, 0x4E75] /* move.b #7,0xA00003; rts */)
        .port(pedal(Schedule::Constant(0)))
        .returns();
    assert_eq!(outcome.writes, []);
    assert_eq!(outcome.troubles.stray_counts, [1, 0, 0]);
}

/// Two ports that share a word both see a word write.
#[test]
fn a_word_write_reaches_both_byte_ports() {
    let bench = Bench::bare()
        .port(byte_port("even", NOWHERE, Some(Schedule::Constant(0xAB)), Some(&[0x12])))
        .port(byte_port("odd", NOWHERE + 1, Some(Schedule::Constant(0xCD)), Some(&[0x34])));
    let mut bus = bench.bus();
    bus.write_word(NOWHERE, 0x1234).expect("ports");
    let writes: Vec<(usize, u16)> = bus.writes().iter().map(|write| (write.port, write.value)).collect();
    assert_eq!(writes, [(0, 0x12), (1, 0x34)]);
    assert_eq!(bus.read_word(NOWHERE), Some(0xABCD));
}

const PATCH: [u8; 0x2000] = {
    let mut bytes = [0; 0x2000];
    let mut at = 0;
    while at < bytes.len() {
        bytes[at] = (at / 16) as u8 ^ 0xA5;
        at += 1;
    }
    bytes
};

/// The latch decides at once, and both ways; outside of its range, one byte to either side, nothing changes. The range
/// need not lie on a page.
#[test]
fn an_overlay_shows_at_once_and_goes_at_once() {
    for start in [WINDOW + 0x8_0000, WINDOW + 0x8_0010, WINDOW + 0x8_0FFE, RAM + 0x102, 0x1002, NOWHERE + 0x106] {
        let end = start + 0x1FFF;
        let bench = Bench::bare().attach(patterned(0x10_0000)).port(latch(&[0, 1, 2]));
        let mut bus = bench.overlay(start, end, 1, &PATCH).bus();
        for address in (RAM..RAM + 0x4000).step_by(2) {
            bus.write_word(address, 0x4242).expect("RAM");
        }
        let around = [start - 2, start - 1, start, start + 1, start + 0x1001, end - 1, end, end + 1, end + 2];
        // Open bus floats: a word on the bus first, so that every look finds the same one.
        let look = |bus: &mut Bus| {
            around.map(|address| {
                bus.read_word(RAM + 0x3FF0).expect("RAM");
                bus.read_byte(address).expect("an answer")
            })
        };
        let without = look(&mut bus);
        bus.write_byte(LATCH, 1).expect("the latch");
        let with = look(&mut bus);
        for (index, address) in around.iter().enumerate() {
            let inside = (start..=end).contains(address);
            let expected = if inside { PATCH[(address - start) as usize] } else { without[index] };
            assert_eq!(with[index], expected, "{address:#X} of {start:#X}");
            assert_eq!(bus.place(*address) == Place::Overlay(0), inside);
            assert_eq!(bus.peek(*address).0, if inside { expected } else { bus.peek(*address).0 });
        }
        let odd = start + 0x800;
        assert_eq!(bus.read_word(odd), Some(u16::from_be_bytes([PATCH[0x800], PATCH[0x801]])));
        bus.write_byte(LATCH, 2).expect("the latch");
        assert_eq!(look(&mut bus), without, "{start:#X}");
        bus.write_byte(LATCH, 1).expect("the latch");
        assert_eq!(look(&mut bus), with);
        bus.reset_devices();
        assert_eq!(look(&mut bus), without, "RESET");
    }
}

/// A smaller overlay image repeats in its range, counted from the range's start.
#[test]
fn a_small_overlay_repeats() {
    let bench = Bench::bare().port(latch(&[0, 1])).overlay(WINDOW + 0x110, WINDOW + 0x21F, 0, &[1, 2, 3, 4]);
    let mut bus = bench.bus();
    for offset in 0..0x110 {
        assert_eq!(bus.read_byte(WINDOW + 0x110 + offset), Some(1 + (offset % 4) as u8));
    }
}

/// Where two overlays show, the first one of the list does; a write under an overlay is lost and RAM stays as it was.
#[test]
fn overlays_stack_in_order_and_keep_writes_away() {
    let bench =
        Bench::bare().port(latch(&[0, 1])).overlay(RAM, RAM + 0xFFF, 1, &[0x11]).overlay(RAM, RAM + 0x1FFF, 1, &[0x22]);
    let mut bus = bench.bus();
    bus.write_word(RAM, 0x4242).expect("RAM");
    bus.write_byte(LATCH, 1).expect("the latch");
    assert_eq!((bus.read_byte(RAM), bus.read_byte(RAM + 0x1000)), (Some(0x11), Some(0x22)));
    bus.write_word(RAM, 0x9999).expect("noted");
    assert_eq!(bus.troubles().stray_counts, [1, 0, 0]);
    bus.write_byte(LATCH, 0).expect("the latch");
    assert_eq!(bus.read_word(RAM), Some(0x4242));
    assert_eq!(bus.read_word(RAM + 0x1000), Some(0), "never written");
}

/// An overlay beside the running code, on the same page of the map: the code runs on, its data is exchanged.
#[test]
fn an_overlay_beside_the_code_leaves_the_code_alone() {
    let code = &[
        0x1038, 0x0440, // move.b 0x440,d0
        0x13FC, 0x0001, 0x00A0, 0x0001, // move.b #1,0xA00001
        0x1238, 0x0440, // move.b 0x440,d1
        0x1438, 0x043F, // move.b 0x43F,d2
        0x13FC, 0x0000, 0x00A0, 0x0001, // move.b #0,0xA00001
        0x1638, 0x0440, // move.b 0x440,d3
        0x4E75, // rts
    ];
    let outcome = Bench::new(code)
        .put(0x43E, &[0x0102, 0x0304])
        .port(latch(&[0, 1]))
        .overlay(0x440, 0x44F, 1, &[0x99; 16])
        .returns();
    assert_eq!([0, 1, 2, 3].map(|number| d(&outcome, number)), [3, 0x99, 2, 3]);
}

/// Code in an overlay is the host's own and may run; the latch shows it while `jsr` is under way.
#[test]
fn code_runs_from_an_overlay() {
    let code = &[
        0x13FC, 0x0001, 0x00A0, 0x0001, // move.b #1,0xA00001
        0x4EB9, 0x0020, 0x8000, // jsr 0x208000
        0x13FC, 0x0000, 0x00A0, 0x0001, // move.b #0,0xA00001
        0x4E75, // rts
    ];
    let patch = [0x70, 0x2A, 0x4E, 0x75]; // moveq #42,d0; rts
    let bench = Bench::new(code).port(latch(&[0, 1])).overlay(0x20_8000, 0x20_8FFF, 1, &patch);
    assert_eq!(d(&bench.returns(), 0), 42);
    let mut without = bench;
    without.overlays.clear();
    let Outcome { end, .. } = without.run();
    assert_eq!(end, End::LeftHost { to: 0x20_8000, place: Place::Window });
}

/// The RESET instruction takes the latches back to power-on, without a write in the log.
#[test]
fn the_reset_instruction_returns_latches_to_power_on() {
    let code = &[
        0x13FC, 0x0001, 0x00A0, 0x0001, // move.b #1,0xA00001
        0x1039, 0x0020, 0x8001, // move.b 0x208001,d0
        0x4E70, // reset
        0x1239, 0x0020, 0x8001, // move.b 0x208001,d1
        0x4E75, // rts
    ];
    for (power_on, expected) in [(0, [0x99, pattern(0x8001)]), (1, [0x99, 0x99])] {
        let mut bench = Bench::new(code).attach(patterned(0x10_0000)).port(Port { power_on, ..latch(&[0, 1]) });
        bench = bench.overlay(0x20_8000, 0x20_8FFF, 1, &[0x99]);
        let outcome = bench.returns();
        assert_eq!([d(&outcome, 0), d(&outcome, 1)], expected.map(u32::from), "power-on {power_on}");
        assert_eq!(outcome.writes.len(), 1);
        assert_eq!(outcome.held, [power_on]);
    }
}

/// A latch whose power-on value shows an overlay shows it from the first access, and again in the next run.
#[test]
fn power_on_shows_its_overlay() {
    let code = &[
        0x1039, 0x0020, 0x8000, // move.b 0x208000,d0
        0x13FC, 0x0000, 0x00A0, 0x0001, // move.b #0,0xA00001
        0x1239, 0x0020, 0x8000, // move.b 0x208000,d1
        0x4E75, // rts
    ];
    let bench = Bench::new(code).open(OpenBus::Zeros).port(Port { power_on: 1, ..latch(&[0, 1]) });
    let bench = bench.overlay(0x20_8000, 0x20_8FFF, 1, &[0x99]);
    let mut machine = bench.machine();
    for _ in 0..2 {
        let outcome = machine.run(&bench.setup(), &bench.fills);
        assert_eq!((d(outcome, 0), d(outcome, 1)), (0x99, 0));
    }
}

/// A board decodes addresses, so a latch acknowledges the read that CLR makes before it writes (common practice, no
/// published source), though nothing else does here.
#[test]
fn a_latch_acknowledges_what_clr_reads_first() {
    let clears = Bench::new(&[0x4239, 0x00A0, 0x0001, 0x4E75] /* clr.b 0xA00001; rts */).open(OpenBus::BusError);
    assert_eq!(clears.clone().crashes().exception, Exception::BusError, "without a port");
    let outcome = clears.port(latch(&[0, 1])).returns();
    assert_eq!(outcome.writes.iter().map(|write| write.value).collect::<Vec<_>>(), [0]);
    assert_eq!(outcome.troubles.stray_counts, [0; 3]);
}
