//! RAM: what it holds at power-on, what is noted when code reads it too early, and that a new run forgets the last one.

use keyway::board::{EarlyRead, RamArea, RamFill, STRAYS_KEPT, Whose};
use keyway::run::{Branch, BranchKind, Cell, Condition, End, Exit, Probe, Register, Width};

use super::support::{Bench, CODE, RAM, ram};

const FILLS: [RamFill; 3] = [RamFill::Zeros, RamFill::Ones, RamFill::Noise];

fn word_at(address: u32) -> Cell {
    Cell::Memory { address, width: Width::Word }
}

/// Looks at 64 words of RAM under a fill and a seed.
fn listen(fill: RamFill, seed: u64) -> Vec<u16> {
    let mut bench = Bench::bare();
    bench.fills = vec![fill];
    bench.inputs.seed = seed;
    let mut bus = bench.bus();
    (0..64).map(|index| bus.read_word(RAM + 2 * index).expect("RAM")).collect()
}

#[test]
fn power_on_fills_are_zeros_ones_or_noise() {
    assert_eq!(listen(RamFill::Zeros, 1), [0; 64]);
    assert_eq!(listen(RamFill::Ones, 1), [0xFFFF; 64]);
    let noise = listen(RamFill::Noise, 1);
    assert_eq!(noise, listen(RamFill::Noise, 1));
    assert_ne!(noise, listen(RamFill::Noise, 2));
    let mut distinct = noise;
    distinct.sort_unstable();
    distinct.dedup();
    assert!(distinct.len() > 60);
}

/// Noise belongs to the place, not to the access: every read finds the same byte, and so does the debugger's look.
#[test]
fn noise_in_ram_stays_where_it_is() {
    let mut bench = Bench::bare();
    bench.fills = vec![RamFill::Noise];
    let mut bus = bench.bus();
    for address in [RAM, RAM + 1, RAM + 0x1234, RAM + 0xFFFF] {
        let byte = bus.read_byte(address);
        assert_eq!(bus.read_byte(address), byte);
        assert_eq!(bus.peek(address), (byte.expect("RAM"), false));
    }
    // Two areas with one seed differ.
    bench.memory.push(ram("more ram", RAM + 0x2_0000, 0x1000));
    bench.fills = vec![RamFill::Noise; 2];
    let mut bus = bench.bus();
    let of = |bus: &mut keyway::board::Bus, start| (0..32).map(|at| bus.read_byte(start + at)).collect::<Vec<_>>();
    assert_ne!(of(&mut bus, RAM), of(&mut bus, RAM + 0x2_0000));
}

/// Each area has its own fill; areas past the end of the list hold zeros.
#[test]
fn areas_are_filled_each_in_its_own_way() {
    let mut bench = Bench::bare();
    bench.memory.push(ram("second", RAM + 0x2_0000, 0x1000));
    bench.memory.push(ram("third", RAM + 0x3_0000, 0x1000));
    bench.fills = vec![RamFill::Zeros, RamFill::Ones];
    let mut bus = bench.bus();
    let words = [0, 0x2_0000, 0x3_0000].map(|offset| bus.read_word(RAM + offset));
    assert_eq!(words, [Some(0), Some(0xFFFF), Some(0)]);
}

/// Every byte that nothing wrote is noted with its address and the instruction: words by half, longs by access.
#[test]
fn early_reads_are_noted_by_byte_with_their_instruction() {
    let code = &[
        0x1039, 0x00E0, 0x0100, // move.b 0xE00100,d0
        0x13C0, 0x00E0, 0x0200, // move.b d0,0xE00200
        0x3039, 0x00E0, 0x0200, // move.w 0xE00200,d0
        0x2039, 0x00E0, 0x0300, // move.l 0xE00300,d0
        0x33C0, 0x00E0, 0x0400, // move.w d0,0xE00400
        0x3039, 0x00E0, 0x0400, // move.w 0xE00400,d0
        0x4E75, // rts
    ];
    let outcome = Bench::new(code).returns();
    let early = |address, pc| EarlyRead { address, pc };
    let expected = [
        early(0xE0_0100, CODE),
        early(0xE0_0201, CODE + 12),
        early(0xE0_0300, CODE + 18),
        early(0xE0_0301, CODE + 18),
        early(0xE0_0302, CODE + 18),
        early(0xE0_0303, CODE + 18),
    ];
    assert_eq!(outcome.troubles.early_reads, expected);
    assert_eq!(outcome.troubles.early_read_count, 6);
    assert!(outcome.fill_matters);
}

/// The same read in a loop is kept once and counted each time; only the first few are kept.
#[test]
fn many_early_reads_are_counted_and_few_are_kept() {
    let code = &[
        0x41F9, 0x00E0, 0x0000, // lea 0xE00000,a0
        0x7263, // moveq #99,d1
        0x1039, 0x00E0, 0x0FFF, // 1: move.b 0xE00FFF,d0
        0x3018, // move.w (a0)+,d0
        0x51C9, 0xFFF6, // dbra d1,1b
        0x4E75, // rts
    ];
    let troubles = Bench::new(code).returns().troubles;
    assert_eq!(troubles.early_read_count, 300);
    assert_eq!(troubles.early_reads.len(), STRAYS_KEPT);
    let first = troubles.early_reads.iter().filter(|read| read.address == 0xE0_0FFF).count();
    assert_eq!(first, 1);
}

/// Byte reads see the neighbours' bits of the same 64-byte block rightly, at its borders too.
#[test]
fn each_byte_is_told_apart() {
    let mut bus = Bench::bare().bus();
    let written: Vec<u32> = (0..0x200).filter(|offset| offset * 7 % 11 < 4 || offset % 64 == 63).collect();
    for offset in &written {
        bus.write_byte(RAM + offset, *offset as u8 | 1).expect("RAM");
    }
    for offset in 0..0x200 {
        let known = written.contains(&offset);
        assert_eq!(bus.peek(RAM + offset), (if known { offset as u8 | 1 } else { 0 }, known), "{offset:#X}");
        let before = bus.troubles().early_read_count;
        assert!(bus.read_byte(RAM + offset).is_some());
        assert_eq!(bus.troubles().early_read_count - before, u64::from(!known), "{offset:#X}");
    }
}

/// The second run reads the fill again where the first one wrote, whatever the fills and the size of the write.
#[test]
fn a_new_run_forgets_the_last_one() {
    let code = &[
        0x3039, 0x00E0, 0x0000, // move.w 0xE00000,d0
        0x1239, 0x00E0, 0xFFFF, // move.b 0xE0FFFF,d1
        0x2439, 0x00E0, 0x803E, // move.l 0xE0803E,d2
        0x33FC, 0x1234, 0x00E0, 0x0000, // move.w #0x1234,0xE00000
        0x13FC, 0x0056, 0x00E0, 0xFFFF, // move.b #0x56,0xE0FFFF
        0x23FC, 0x789A, 0xBCDE, 0x00E0, 0x803E, // move.l #0x789ABCDE,0xE0803E
        0x4E75, // rts
    ];
    let bench = Bench::new(code);
    let mut machine = bench.machine();
    let mut fresh = Vec::new();
    for fill in FILLS {
        fresh.push(bench.machine().run(&bench.setup(), &[fill]).registers.d);
    }
    assert_eq!((fresh[0][0].0, fresh[1][0].0), (0, 0xFFFF));
    for round in 0..9 {
        let outcome = machine.run(&bench.setup(), &[FILLS[round % 3]]);
        assert_eq!(outcome.end, End::Returned);
        assert_eq!(outcome.registers.d, fresh[round % 3], "run {round}");
        assert_eq!(outcome.troubles.early_read_count, 7);
        assert_eq!(machine.bus().peek_word(0xE0_0000), 0x1234);
    }
}

#[test]
fn mirrors_show_the_same_bytes() {
    let mut bench = Bench::bare();
    bench.memory[0].size = 0x4000;
    let mut bus = bench.bus();
    bus.write_word(RAM + 0x4010, 0xABCD).expect("RAM");
    bus.write_byte(RAM + 0xC011, 0xEE).expect("RAM");
    for mirror in 0..4 {
        assert_eq!(bus.read_word(RAM + mirror * 0x4000 + 0x10), Some(0xABEE));
    }
    assert_eq!(bus.troubles().early_read_count, 0);
    assert_eq!(bus.read_byte(RAM + 0x8012), Some(0));
    assert_eq!(bus.troubles().early_reads, [EarlyRead { address: RAM + 0x8012, pc: 0 }]);
}

/// RAM smaller than a page of the map, and RAM of a few bytes, also mirrored.
#[test]
fn small_ram_is_ram() {
    for (size, range) in [(2u32, 2u32), (2, 0x100), (0x40, 0x3000), (6, 6), (0x1FE, 0x1FE)] {
        let mut bench = Bench::bare();
        let start = RAM + 0x2_0000;
        bench.memory.push(RamArea { name: "small".into(), range: start..=start + range - 1, size });
        let mut bus = bench.bus();
        for offset in (0..size).step_by(2) {
            bus.write_word(start + offset, 0x4100 + offset as u16).expect("RAM");
        }
        for offset in (0..range).step_by(2) {
            assert_eq!(bus.read_word(start + offset), Some(0x4100 + (offset % size) as u16), "{size} at {offset:#X}");
        }
        assert_eq!(bus.troubles().early_read_count, 0);
    }
}

/// A 68000 system has RAM in words; half a word cannot be.
#[test]
fn ram_of_an_odd_size_is_refused() {
    for (size, range) in [(0u32, 0x1000u32), (1, 0x1000), (1, 2), (3, 0x1000), (0x1001, 0x1000)] {
        let mut bench = Bench::bare();
        bench.memory.push(RamArea { name: "odd".into(), range: 0xD0_0000..=0xD0_0000 + range - 1, size });
        let error = bench.try_map().map(|_| ()).expect_err("an odd size");
        assert_eq!(error.whose, Whose::Memory(1), "{size}");
    }
}

/// Whether the fill matters: not if all RAM is written before it is read.
#[test]
fn a_routine_that_writes_first_does_not_depend_on_the_fill() {
    let bench = Bench::new(&[
        0x33FC, 0x0001, 0x00E0, 0x0000, // move.w #1,0xE00000
        0x3039, 0x00E0, 0x0000, // move.w 0xE00000,d0
        0x4E75, // rts
    ]);
    assert!(!bench.returns().fill_matters);
    let bench = Bench::new(&[
        0x3039, 0x00E0, 0x0000, // move.w 0xE00000,d0
        0x7000, // moveq #0,d0
        0x4E75, // rts
    ]);
    assert!(bench.returns().fill_matters);
}

/// What a case looks at, what tells a branch and what a branch shows count as reads of RAM.
#[test]
fn probes_conditions_and_shown_values_depend_on_the_fill_too() {
    let code = &[0x33FC, 0x0001, 0x00E0, 0x0010, 0x4E75] /* move.w #1,0xE00010; rts */;
    for (address, matters) in [(0xE0_0010, false), (0xE0_0012, true), (0xE0_0011, true)] {
        let bench = Bench::new(code);
        let mut setup = bench.setup();
        setup.probes = vec![word_at(address)];
        let outcome = bench.machine().run(&setup, &bench.fills).clone();
        assert_eq!(outcome.fill_matters, matters, "probe {address:#X}");
        let value = if address == 0xE0_0010 { 1 } else { (address & 1) << 8 };
        assert_eq!(outcome.probes, [Probe { value, known: !matters }]);

        let when = Some(Condition { cell: word_at(address), is: value });
        let bench = Bench::new(code).branch("told", Exit::Return, when);
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.fill_matters), (End::Branch(0), matters), "condition {address:#X}");

        let mut bench = Bench::new(code);
        let shows = vec![("value".to_owned(), word_at(address))];
        let kind = BranchKind::Rejected;
        bench.branches.push(Branch {
            name: "shown".into(),
            kind,
            exit: Exit::Return,
            when: None,
            shows,
            leaves: Vec::new(),
        });
        assert_eq!(bench.run().fill_matters, matters, "shown {address:#X}");
    }
    let mut setup = Bench::new(code).setup();
    setup.probes = vec![Cell::Register { register: Register::Data(0), width: Width::Word }];
    let bench = Bench::new(code);
    assert!(!bench.machine().run(&setup, &bench.fills).fill_matters);
}
