//! Any code on any board: the run ends within its limit, says how, and the tool never panics.
//!
//! Programs are seeded random words in the host ROM. A short stub loads random registers, both stack pointers and the
//! status register from the attached image and jumps to the program, so that one rig serves thousands of programs.

use std::sync::Arc;

use keyway::board::{AccessKind, BUS_MASK, Change, OpenBus, Place, RamFill, Schedule};
use keyway::cartridge::{Attached, Contacts, DataFault, Fill, Flaw, Image};
use keyway::cpu::Exception;
use keyway::run::{End, Limit, Machine, Outcome, Setup, Wrong};

use super::support::{Bench, CODE, Dice, NOWHERE, RAM, STACK, WINDOW, byte_port, ram, word_port};

/// Instructions of the stub.
const STUB: u64 = 6;
const RULES: [OpenBus; 5] = [OpenBus::Ones, OpenBus::Zeros, OpenBus::Floating, OpenBus::Noise, OpenBus::BusError];
const FILLS: [RamFill; 3] = [RamFill::Zeros, RamFill::Ones, RamFill::Noise];

/// A board with everything on it: RAM that repeats, ports of both widths, overlays over ROM, RAM and window, holes.
fn bench(rule: OpenBus, executes_anywhere: bool, program: &[u16], at: u32) -> Bench {
    let stub = &[
        0x2079, 0x0020, 0x0040, // move.l 0x200040,a0
        0x4E60, // move a0,usp
        0x4CF9, 0x7FFF, 0x0020, 0x0000, // movem.l 0x200000,d0-d7/a0-a6
        0x2E79, 0x0020, 0x003C, // move.l 0x20003C,sp
        0x46F9, 0x0020, 0x0044, // move.w 0x200044,sr
        0x4ED6, // jmp (a6)
    ];
    let mut bench = Bench::bare();
    bench.rom = vec![0xFF; (at as usize + 2 * program.len()).max(0x1_0000)];
    bench = bench.put(CODE, stub).put(at, program).open(rule);
    bench.memory.push(ram("small", 0xD0_0000, 0x40));
    bench.memory[0].size = 0x8000;
    let sequence = Schedule::Sequence([0x11, 0x22, 0x33].as_slice().into());
    let change = Schedule::Changes { first: 0, then: 0xFFFF, after: Change::Cycles(600) };
    bench.ports = vec![
        byte_port("latch", NOWHERE + 1, None, Some(&[0, 1])),
        byte_port("pedal", NOWHERE + 3, Some(sequence), Some(&[7])),
        byte_port("even", NOWHERE + 4, Some(Schedule::Constant(0x80)), None),
        word_port("wide", NOWHERE + 8, Some(change), Some(&[1, 2])),
        word_port("in the window", WINDOW + 0x1000, Some(Schedule::Constant(0x4E75)), Some(&[])),
    ];
    bench = bench.overlay(WINDOW + 0x2100, WINDOW + 0x30FF, 1, &[0x4E, 0x71]);
    bench = bench.overlay(RAM + 0x1000, RAM + 0x13FF, 0, &[0x4E, 0x75, 0x60]);
    bench = bench.overlay(0xF000, 0xFFFF, 1, &[0x70, 0x01, 0x4E, 0x73]);
    bench.routine.executes_anywhere = executes_anywhere;
    bench.routine.limits.instructions = 400;
    bench.routine.limits.cycles = 30_000;
    bench
}

/// Bits of the status register that may be set: any, and any but T, with which the stub's own jump is traced.
const ANY_STATUS: [u16; 6] = [0x271F, 0x271F, 0x271F, 0xA71F, 0x071F, 0xFFFF];
const NO_TRACE: [u16; 3] = [0x271F, 0x271F, 0x7FFF];

/// An address where something interesting may be.
fn address(dice: &mut Dice) -> u32 {
    let near = dice.below(0x80);
    let base = dice.pick(&[
        0,
        CODE,
        0x1_0000,
        0xFF80,
        WINDOW,
        WINDOW + 0x1000,
        WINDOW + 0x2100,
        0x3F_FFC0,
        NOWHERE,
        NOWHERE,
        RAM,
        STACK,
        RAM + 0xFFC0,
        RAM + 0x1000,
        0xD0_0000,
        0xFF_FFC0,
        0xFFFF_FFC0,
        0x7FFF_FFC0,
        0xA5FF_FFC0,
    ]);
    match dice.below(8) {
        0 => dice.long(),
        _ => base.wrapping_add(near),
    }
}

/// Registers for the stub: mostly addresses, some counts and some anything. The stacks are sometimes odd or nowhere.
fn state(dice: &mut Dice, target: u32, status: &[u16]) -> Image {
    let mut longs = Vec::new();
    for index in 0..15 {
        let any = dice.long();
        longs.push(match dice.below(4) {
            0 => any,
            1 => any & 0xFF,
            _ if index < 8 => any & 0xFFFF,
            _ => address(dice),
        });
    }
    longs[14] = target;
    for _ in 0..2 {
        let stack = if dice.below(4) == 0 { address(dice) } else { STACK };
        longs.push(stack);
    }
    let mut bytes: Vec<u8> = longs.iter().flat_map(|long| long.to_be_bytes()).collect();
    let status = dice.word() & dice.pick(status);
    bytes.extend(status.to_be_bytes());
    let mut image = Image::new(0x48 + dice.below(0x8_0000), Fill::Noise(dice.next()));
    image.put(0, bytes);
    image
}

/// A random word, now and then an instruction that changes the course of things: STOP, RTE, RTS, RESET, BRA to itself.
fn sown(dice: &mut Dice) -> u16 {
    let any = dice.word();
    if dice.below(24) == 0 { dice.pick(&[0x4E72, 0x4E73, 0x4E75, 0x4E70, 0x60FE, 0x4EF8, 0x51C8]) } else { any }
}

/// Says which program it was if one panics.
struct Which(u64, u32);

impl Drop for Which {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("program {} at {:06X}", self.0, self.1);
        }
    }
}

/// What must be true of every end.
fn check(outcome: &Outcome, limits: (u64, u64), handles: &[Exception]) {
    assert!(outcome.instructions <= limits.0, "{} instructions", outcome.instructions);
    // The last instruction may overshoot: a division, a long shift or MOVEM, and entering a handler.
    assert!(outcome.cycles <= limits.1 + 400, "{} cycles", outcome.cycles);
    assert!(outcome.pc <= BUS_MASK && outcome.last <= BUS_MASK);
    match outcome.end {
        End::Crashed(crash) => {
            let at_bus = matches!(crash.exception, Exception::BusError | Exception::AddressError);
            // Code in the window can be another one at each look: flickering lines, noise.
            let steady = !(WINDOW..WINDOW + 0x20_0000).contains(&outcome.last);
            assert!(crash.access.is_some() == at_bus || at_bus && !steady, "{crash:?} of {:06X}", outcome.last);
            if let Some((address, kind)) = crash.access {
                assert!(address <= BUS_MASK);
                // An odd target is the fault of what jumps there: the program counter has not moved.
                assert!(address & 1 == 0 || kind != AccessKind::Fetch || outcome.pc & 1 == 0, "{crash:?}");
                assert!(crash.exception == Exception::BusError || address & 1 == 1, "{crash:?}");
            }
            assert_eq!(
                crash.handler == Wrong::NotHandled,
                !handles.contains(&crash.exception) && !crash.exception.asked_for(),
                "{crash:?}"
            );
        }
        End::LeftHost { to, place } => {
            assert_eq!(to, outcome.pc);
            assert!(!matches!(place, Place::Host | Place::Overlay(_)), "{place:?}");
        }
        End::Limit(Limit::Instructions) => assert_eq!(outcome.instructions, limits.0),
        End::Limit(Limit::Cycles) => assert!(outcome.cycles > limits.1),
        End::Hung { first, last, period } => assert!(first <= last && period > 0),
        End::Halted(_) | End::Stopped | End::Returned => (),
        End::Branch(_) | End::NoBranch(_) => panic!("there is no branch"),
    }
}

fn setup(dice: &mut Dice, rule: OpenBus, image: Image) -> Setup {
    let mut setup = Setup::default();
    setup.inputs.empty = rule;
    setup.inputs.seed = dice.next();
    setup.inputs.attached = Attached::image(image);
    setup
}

/// 20,000 programs of random words under every rule, with and without handlers, on good and bad contacts.
#[test]
fn random_programs_end_within_their_limit() {
    const PROGRAMS: u64 = 500;
    let mut dice = Dice::new(2024);
    let mut kinds = std::collections::BTreeMap::<String, usize>::new();
    let mut ran = 0;
    for round in 0..40 {
        let rule = RULES[round % 5];
        let anywhere = round / 5 % 2 == 1;
        let words: Vec<u16> = (0..0x4000).map(|_| sown(&mut dice)).collect();
        let mut bench = bench(rule, anywhere, &words, 0x1_0000);
        // Hangs are looked for after a thousand instructions.
        let limit = if round / 10 == 2 { 2500 } else { 300 };
        bench.routine.limits.instructions = limit;
        if round / 10 % 2 == 1 {
            for vector in (2..=11).chain(32..=47) {
                let handler = 0x1_0000 + 2 * dice.below(0x4000);
                let handler = if dice.below(8) == 0 { address(&mut dice) } else { handler };
                bench = bench.handles(Exception::from_vector(vector).expect("an exception"), handler);
            }
        }
        if round / 5 % 4 == 3 {
            for level in [4, 5, 7] {
                bench = bench.handles(Exception::Interrupt(level), 0x1_0000 + 2 * dice.below(0x4000));
            }
            bench = bench.interrupt(dice.pick(&[4, 7]), 0, Some(200)).interrupt(5, 90, None);
        }
        let mut machine = Machine::new(bench.rig());
        for program in 0..PROGRAMS {
            let target = 0x1_0000 + 2 * dice.below(0x3FF0);
            let image = state(&mut dice, target, &ANY_STATUS);
            let mut setup = setup(&mut dice, rule, image);
            if dice.below(8) == 0 {
                let line = dice.below(16) as u8;
                let is = dice.pick(&[Flaw::High, Flaw::Low, Flaw::Open, Flaw::Flickering]);
                setup.inputs.attached.contacts = Contacts { data: vec![DataFault { line, is }], address: Vec::new() };
            }
            let _which = Which(round as u64 * PROGRAMS + program, target);
            let outcome = machine.run(&setup, &[dice.pick(&FILLS), dice.pick(&FILLS)]);
            check(outcome, (limit, 30_000), &bench.routine.handles);
            let name = format!("{:?}", outcome.end);
            let name = name.split(['(', ' ']).next().unwrap_or_default().to_owned();
            *kinds.entry(name).or_default() += 1;
            ran += 1;
        }
    }
    assert_eq!(ran, 20_000);
    for kind in ["Crashed", "LeftHost", "Halted", "Hung", "Limit", "Stopped"] {
        assert!(kinds.get(kind).is_some_and(|count| *count > 5), "no {kind} among {kinds:?}");
    }
}

/// Every opcode as the first instruction of a program, with random words behind it, in four random states.
#[test]
fn every_opcode_runs_or_crashes_but_never_panics() {
    const ROOM: u32 = 12;
    let mut dice = Dice::new(68_000);
    for rule in [OpenBus::BusError, OpenBus::Floating, OpenBus::BusError, OpenBus::Noise] {
        let mut words = Vec::with_capacity(6 << 16);
        for opcode in 0..=u16::MAX {
            words.push(opcode);
            words.extend((0..5).map(|_| dice.word()));
        }
        let mut bench = bench(rule, true, &words, 0x1_0000);
        bench.routine.limits.instructions = STUB + 4;
        let mut machine = Machine::new(bench.rig());
        for opcode in 0..=u16::MAX {
            let target = 0x1_0000 + ROOM * u32::from(opcode);
            let image = state(&mut dice, target, &NO_TRACE);
            let setup = setup(&mut dice, rule, image);
            let _which = Which(u64::from(opcode), target);
            let outcome = machine.run(&setup, &[dice.pick(&FILLS)]);
            check(outcome, (STUB + 4, 30_000), &[]);
            assert!(outcome.instructions > STUB, "{opcode:04X} was not reached: {:?}", outcome.end);
        }
    }
}

/// The same program on the same board ends the same, on a fresh machine and on one that has run others.
#[test]
fn random_programs_repeat() {
    let mut dice = Dice::new(99);
    for rule in RULES {
        let words: Vec<u16> = (0..0x2000).map(|_| dice.word()).collect();
        let rig = bench(rule, true, &words, 0x1_0000).rig();
        let mut machine = Machine::new(Arc::clone(&rig));
        for _ in 0..40 {
            let target = 0x1_0000 + 2 * dice.below(0x1FF0);
            let image = state(&mut dice, target, &ANY_STATUS);
            let setup = setup(&mut dice, rule, image);
            let fills = [dice.pick(&FILLS), dice.pick(&FILLS)];
            let used = machine.run(&setup, &fills).clone();
            let fresh = Machine::new(Arc::clone(&rig)).run(&setup, &fills).clone();
            assert_eq!((used.end, used.registers), (fresh.end, fresh.registers));
            assert_eq!((used.instructions, used.cycles, used.last), (fresh.instructions, fresh.cycles, fresh.last));
            assert_eq!(used.writes, fresh.writes);
            assert_eq!(used.troubles.stray_counts, fresh.troubles.stray_counts);
            assert_eq!(used.troubles.early_reads, fresh.troubles.early_reads);
            assert_eq!(used.fill_matters, fresh.fill_matters);
        }
    }
}
