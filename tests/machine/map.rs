//! The address map: what it refuses, what belongs where, and what an observer is told.

use keyway::board::{Access, Bus, Observer, Place, PortSize, Schedule, Whose};
use keyway::run::{End, Machine};
use m68000::Registers;

use super::support::{Bench, CODE, NOWHERE, RAM, STACK, WINDOW, byte_port, patterned, ram, word_port};

fn refused(bench: &Bench) -> (Whose, String) {
    let error = bench.try_map().map(|_| ()).expect_err("must be refused");
    (error.whose, error.reason)
}

#[test]
fn parts_that_overlap_or_leave_the_bus_are_refused() {
    let with_ram = |start: u32, size: u32| {
        let mut bench = Bench::bare();
        bench.memory.push(ram("more", start, size));
        refused(&bench)
    };
    assert_eq!(with_ram(WINDOW + 0x1F_0000, 0x2_0000).0, Whose::Memory(1), "the window");
    assert_eq!(with_ram(0x1F_FFFE, 2).0, Whose::Memory(1), "the host");
    assert_eq!(with_ram(RAM + 0xFFFE, 0x10).0, Whose::Memory(1), "other RAM");
    assert_eq!(with_ram(0xFF_FFF0, 0x20).0, Whose::Memory(1), "the end of the bus");
    assert_eq!(with_ram(0xD0_0001, 0x10).0, Whose::Memory(1), "an odd start");
    let mut repeats = Bench::bare();
    repeats.memory[0].size = 0x3000;
    assert_eq!(refused(&repeats).0, Whose::Memory(0), "no power of two");
    repeats.memory[0].size = 0x2_0000;
    assert_eq!(refused(&repeats).0, Whose::Memory(0), "larger than its range");
}

#[test]
fn ports_that_collide_are_refused() {
    let constant = || Some(Schedule::Constant(0));
    let two = |first, second| refused(&Bench::bare().port(first).port(second)).0;
    let byte = |at| byte_port("byte", at, constant(), None);
    let word = |at| word_port("word", at, constant(), None);
    assert_eq!(two(byte(NOWHERE), byte(NOWHERE)), Whose::Port(1));
    assert_eq!(two(word(NOWHERE), byte(NOWHERE + 1)), Whose::Port(1));
    assert_eq!(two(byte(NOWHERE + 1), word(NOWHERE)), Whose::Port(1));
    assert_eq!(refused(&Bench::bare().port(word(NOWHERE + 1))).0, Whose::Port(0), "a word at an odd address");
    assert_eq!(refused(&Bench::bare().port(byte(0x100_0000))).0, Whose::Port(0), "beyond the bus");
    Bench::bare().port(byte(NOWHERE)).port(byte(NOWHERE + 1)).port(word(NOWHERE + 2)).rig();
}

#[test]
fn overlays_that_nothing_can_show_are_refused() {
    let latch = byte_port("latch", NOWHERE + 1, None, Some(&[1]));
    let shown = |bench: Bench| bench.overlay(WINDOW, WINDOW + 0xF, 1, &[1]);
    shown(Bench::bare().port(latch.clone())).rig();
    assert_eq!(refused(&shown(Bench::bare())).0, Whose::Overlay(0), "no port");
    let pedal = byte_port("pedal", NOWHERE + 3, Some(Schedule::Constant(0)), None);
    assert_eq!(refused(&shown(Bench::bare().port(pedal))).0, Whose::Overlay(0), "a port that cannot be written");
    let large = Bench::bare().port(latch.clone()).overlay(WINDOW, WINDOW + 1, 1, &[1, 2, 3]);
    assert_eq!(refused(&large).0, Whose::Overlay(0), "an image larger than its range");
    let mut many = Bench::bare().port(latch);
    for index in 0..64 {
        many = many.overlay(WINDOW + 0x1000 * index, WINDOW + 0x1000 * index + 0xF, 1, &[index as u8]);
    }
    let mut bus = many.bus();
    bus.write_byte(NOWHERE + 1, 1).expect("the latch");
    assert_eq!([0, 62, 63].map(|index| bus.read_byte(WINDOW + 0x1000 * index)), [Some(0), Some(62), Some(63)]);
    assert_eq!(refused(&many.overlay(WINDOW + 0x8_0000, WINDOW + 0x8_000F, 1, &[1])).0, Whose::Overlay(64));
}

#[test]
fn every_address_belongs_somewhere() {
    let bench = Bench::bare().port(byte_port("pedal", NOWHERE + 3, Some(Schedule::Constant(0)), None));
    let bus = bench.bus();
    for (address, place) in [
        (0, Place::Host),
        (0x1FFF, Place::Host),
        (0x2000, Place::Nothing),
        (0x1F_FFFF, Place::Nothing),
        (WINDOW, Place::Window),
        (0x3F_FFFF, Place::Window),
        (0x40_0000, Place::Nothing),
        (NOWHERE + 2, Place::Nothing),
        (NOWHERE + 3, Place::Port(0)),
        (NOWHERE + 4, Place::Nothing),
        (RAM, Place::Ram(0)),
        (RAM + 0xFFFF, Place::Ram(0)),
        (RAM + 0x1_0000, Place::Nothing),
        (0xFF_FFFF, Place::Nothing),
    ] {
        assert_eq!(bus.place(address), place, "{address:#X}");
    }
}

/// All that an observer is told, as lines of text.
#[derive(Default)]
struct Diary(Vec<String>);

impl Observer for Diary {
    fn fetch(&mut self, at: u32, registers: &Registers, bus: &Bus) {
        self.0.push(format!("{at:X} d0={:X} cycle {}", registers.d[0].0, bus.now));
    }

    fn read(&mut self, access: &Access) {
        self.0.push(format!("  read {}", line(access)));
    }

    fn write(&mut self, access: &Access) {
        self.0.push(format!("  write {}", line(access)));
    }

    fn edge(&mut self, from: u32, to: u32) {
        self.0.push(format!("  {from:X} -> {to:X}"));
    }
}

fn line(access: &Access) -> String {
    let size = if access.size == PortSize::Byte { 'b' } else { 'w' };
    let offset = access.offset.map_or(String::new(), |offset| format!(" at {offset:X}"));
    format!("{:X}.{size} = {:X} {:?}{offset}", access.address, access.value, access.place)
}

#[test]
fn an_observer_is_told_operands_and_edges() {
    let code = &[
        0x3039, 0x0020, 0x0102, // move.w 0x200102,d0
        0x23C0, 0x00E0, 0x0010, // move.l d0,0xE00010
        0x0839, 0x0000, 0x00A0, 0x0003, // btst #0,0xA00003
        0x6702, // beq.s 1f
        0x4E71, // nop
        0x13F9, 0x003F, 0xFFFF, 0x00A0, 0x0001, // 1: move.b 0x3FFFFF,0xA00001
        0x4E75, // rts
    ];
    let bench = Bench::new(code)
        .attach(patterned(0x1_0000))
        .port(byte_port("latch", NOWHERE + 1, None, Some(&[0])))
        .port(byte_port("pedal", NOWHERE + 3, Some(Schedule::Constant(4)), None));
    let mut machine = Machine::watched(bench.rig(), Diary::default());
    assert_eq!(machine.run(&bench.setup(), &bench.fills).end, End::Returned);
    let stack = STACK - 4;
    let expected = format!(
        "400 d0=0 cycle 0
  read 200102.w = 302 Window at 102
  400 -> 406
406 d0=302 cycle 16
  write E00010.w = 0 Ram(0)
  write E00012.w = 302 Ram(0)
  406 -> 40C
40C d0=302 cycle 36
  read A00003.b = 4 Port(1)
  40C -> 414
414 d0=302 cycle 56
  414 -> 418
418 d0=302 cycle 66
  read 3FFFFF.b = 0 Window at FFFF
  write A00001.b = 0 Port(0)
  418 -> 422
422 d0=302 cycle 94
  read {stack:X}.w = A5FF Ram(0)
  read {:X}.w = FFF0 Ram(0)
  422 -> FFFFF0",
        stack + 2
    );
    assert_eq!(machine.observer().0.join("\n"), expected);
}

/// The offset that an observer sees is the one that showed: after a fault of the address lines too, and not for a lane
/// that the image does not drive.
#[test]
fn an_observer_is_told_the_offset_that_showed() {
    use keyway::cartridge::{AddressFault, Contacts, Flaw};
    let code = &[
        0x1039, 0x0020, 0x0103, // move.b 0x200103,d0
        0x1039, 0x0020, 0x0102, // move.b 0x200102,d0
        0x4E75, // rts
    ];
    let told = |bench: Bench| {
        let mut machine = Machine::watched(bench.rig(), Diary::default());
        machine.run(&bench.setup(), &bench.fills);
        let reads: Vec<String> = machine.observer().0.iter().filter(|line| line.contains("Window")).cloned().collect();
        reads.iter().map(|line| line.split(" at ").nth(1).unwrap_or("open").to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(told(Bench::new(code).attach(patterned(0x1000))), ["103", "102"]);
    assert_eq!(told(Bench::new(code).attach(patterned(0x103))), ["open", "102"]);
    assert_eq!(told(Bench::new(code).attach(patterned(1))), ["0", "0"]);
    assert_eq!(told(Bench::new(code)), ["open", "open"]);
    let contacts = Contacts { data: Vec::new(), address: vec![AddressFault { line: 8, is: Flaw::Low }] };
    assert_eq!(told(Bench::new(code).attach(patterned(0x1000)).contacts(contacts)), ["3", "2"]);
}

/// Finding the address of an address error repeats the run, and so does walking a hang; the observer sees it once.
#[test]
fn an_observer_sees_a_run_once() {
    let crash = &[
        0x4E71, // nop
        0x4A39, 0x00E0, 0x0000, // 1: tst.b 0xE00000
        0x3039, 0x00E0, 0x0001, // move.w 0xE00001,d0
    ];
    let hang = &[
        0x4E71, // nop
        0x4A39, 0x00E0, 0x0000, // 1: tst.b 0xE00000
        0x60F8, // bra.s 1b
    ];
    for code in [&crash[..], hang] {
        let bench = Bench::new(code);
        let mut machine = Machine::watched(bench.rig(), Diary::default());
        let outcome = machine.run(&bench.setup(), &bench.fills).clone();
        let fetches = machine.observer().0.iter().filter(|line| line.contains("cycle")).count();
        assert_eq!(fetches as u64, outcome.instructions, "{:?}", outcome.end);
        let first = machine.observer().0.iter().filter(|line| line.starts_with(&format!("{CODE:X} "))).count();
        assert_eq!(first, 1);
        let tests = machine.observer().0.iter().filter(|line| line.starts_with(&format!("{:X} ", CODE + 2))).count();
        let reads = machine.observer().0.iter().filter(|line| line.contains("read E00000.b")).count();
        assert_eq!(reads, tests, "{:?}", outcome.end);
    }
}
