//! How a run ends when nothing crashes: branches, the return, limits, STOP, and leaving the host's code.

use keyway::board::{Place, Schedule};
use keyway::cartridge::{Fill, Image};
use keyway::run::{Cell, Condition, End, Entry, Exit, Limit, Register, Width};

use super::support::{Bench, CODE, NOWHERE, RAM, STACK, WINDOW, byte_port, d, ram};

const COMMON: u32 = CODE + 0x10;

fn memory(address: u32, width: Width, is: u32) -> Option<Condition> {
    Some(Condition { cell: Cell::Memory { address, width }, is })
}

fn register(name: &str, width: Width, is: u32) -> Option<Condition> {
    Some(Condition { cell: Cell::Register { register: Register::parse(name).expect("a register"), width }, is })
}

#[test]
fn a_run_ends_before_the_instruction_at_a_branch() {
    let code = &[
        0x7001, // moveq #1,d0
        0x7002, // moveq #2,d0
        0x7003, // moveq #3,d0
        0x4E75, // rts
    ];
    let bench = Bench::new(code).branch("first", Exit::At(CODE + 6), None).branch("second", Exit::At(CODE + 4), None);
    let outcome = bench.run();
    assert_eq!(outcome.end, End::Branch(1));
    assert_eq!((outcome.pc, outcome.last, d(&outcome, 0)), (CODE + 4, CODE + 2, 2));
    assert_eq!((outcome.instructions, outcome.cycles), (2, 8));
    assert_eq!(outcome.branch(), Some(1));
}

#[test]
fn an_entry_that_is_a_branch_runs_nothing() {
    let bench = Bench::new(&[0x4E75] /* rts */).branch("at once", Exit::At(CODE), None);
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.instructions, outcome.cycles), (End::Branch(0), 0, 0));
    assert_eq!((outcome.pc, outcome.last), (CODE, CODE));
}

/// Exits far apart, at the first and the last word of the ROM, and their neighbours, which are none.
#[test]
fn exits_may_lie_anywhere_in_the_rom() {
    let code = &[0x4ED0] /* jmp (a0) */;
    let exits = [0x0, 0x3E, 0x40, 0x80, 0x1FFE];
    let mut bench = Bench::new(code);
    for exit in exits {
        bench = bench.branch("exit", Exit::At(exit), None);
    }
    for (index, exit) in exits.into_iter().enumerate() {
        assert_eq!(bench.clone().set("a0", exit).run().end, End::Branch(index), "{exit:#X}");
    }
    for other in [0x2, 0x3C, 0x42, 0x7E, 0x82, 0x1FFC] {
        assert_eq!(bench.clone().set("a0", other).run().branch(), None, "{other:#X}");
    }
}

#[test]
fn conditions_tell_the_branches_of_a_common_exit_apart() {
    let code = &[
        0x23FC, 0x0002, 0x0304, 0x00E0, 0x0010, // move.l #0x00020304,0xE00010
        0x263C, 0x1234, 0x5678, // move.l #0x12345678,d3
    ];
    let bench = Bench::new(code);
    let at = Exit::At(COMMON);
    let cases = [
        (memory(0xE0_0010, Width::Byte, 0), 0),
        (memory(0xE0_0011, Width::Byte, 2), 0),
        (memory(0xE0_0010, Width::Word, 2), 0),
        (memory(0xE0_0010, Width::Long, 0x0002_0304), 0),
        (memory(0xE0_0011, Width::Word, 0x0203), 0),
        (register("d3", Width::Long, 0x1234_5678), 0),
        (register("d3", Width::Word, 0x5678), 0),
        (register("d3", Width::Byte, 0x78), 0),
        (register("sp", Width::Long, STACK - 4), 0),
        (register("sr", Width::Word, 0x2700), 0),
        (memory(0xE0_0010, Width::Byte, 2), 1),
        (register("d3", Width::Word, 0x1234), 1),
        (register("d0", Width::Long, 1), 1),
    ];
    for (when, expected) in cases {
        let bench = bench.clone().branch("told", at, when).branch("else", at, None);
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.pc), (End::Branch(expected), COMMON), "{when:?}");
    }
}

/// The first branch of the list that holds wins; at an exit of which none holds the run ends too.
#[test]
fn the_first_that_holds_wins_and_none_is_an_end() {
    let at = Exit::At(COMMON);
    let bench = Bench::new(&[
        0x7003, // move.l #3,d0
        0x7204, // move.l #4,d1
        0x4E71, // nop
        0x4E71, // nop
        0x4E71, // nop
        0x4E71, // nop
        0x4E71, // nop
        0x4E71, // nop
    ]);
    let first = bench
        .clone()
        .branch("d0 is 4", at, register("d0", Width::Long, 4))
        .branch("d0 is 3", at, register("d0", Width::Long, 3))
        .branch("d1 is 4", at, register("d1", Width::Long, 4));
    assert_eq!(first.run().end, End::Branch(1));
    let none = bench
        .branch("d0 is 4", at, register("d0", Width::Long, 4))
        .branch("elsewhere", Exit::At(COMMON + 2), None)
        .branch("d1 is 3", at, register("d1", Width::Long, 3));
    let outcome = none.run();
    assert_eq!((outcome.end, outcome.branch()), (End::NoBranch(Some(COMMON)), None));
    assert_eq!(outcome.pc, COMMON);
}

#[test]
fn a_return_is_a_branch_if_one_is_declared() {
    let code = &[0x7005, 0x4E75] /* moveq #5,d0; rts */;
    let bench = Bench::new(code);
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.instructions, outcome.cycles), (End::Returned, 2, 20));
    assert_eq!(outcome.registers.ssp.0, STACK);
    assert_eq!(outcome.last, CODE + 2);
    let told = |is| bench.clone().branch("five", Exit::Return, register("d0", Width::Word, is));
    assert_eq!(told(5).run().end, End::Branch(0));
    assert_eq!(told(6).run().end, End::NoBranch(None));
    assert_eq!(told(6).branch("else", Exit::Return, None).run().end, End::Branch(1));
    let label_only = bench.branch("label", Exit::At(0x1000), None);
    assert_eq!(label_only.run().end, End::Returned);
}

/// Subroutines inside the routine return to it; only the last RTS returns to the caller. A return by other means counts.
#[test]
fn only_a_return_to_the_caller_is_one() {
    let code = &[
        0x6108, // bsr.s 1f
        0x4EBA, 0x0006, // jsr 1f(pc)
        0x7007, // moveq #7,d0
        0x4E75, // rts
        0x5241, // 1: addq.w #1,d1
        0x4E75, // rts
    ];
    let outcome = Bench::new(code).returns();
    assert_eq!((d(&outcome, 0), d(&outcome, 1)), (7, 2));
    Bench::new(&[0x205F, 0x4ED0] /* move.l (sp)+,a0; jmp (a0) */).returns();
    Bench::new(&[0x40E7, 0x4E73] /* move.w sr,-(sp); rte */).returns();
}

/// Absolute short addresses are sign-extended, so 0xFFFFFFF0 is an ordinary target on machines with RAM at the top of
/// the bus; it is no return.
#[test]
fn a_jump_to_the_top_of_the_bus_is_no_return() {
    let bench = Bench::new(&[0x4EF8, 0xFFF0] /* jmp (0xFFFFFFF0).w */);
    assert_eq!(bench.run().end, End::LeftHost { to: 0xFF_FFF0, place: Place::Nothing });
    let mut bench = Bench::new(&[
        0x31FC, 0x702A, 0xFFF0, // move.w #0x702A,(0xFFFFFFF0).w
        0x31FC, 0x4E75, 0xFFF2, // move.w #0x4E75,(0xFFFFFFF2).w
        0x4EF8, 0xFFF0, // jmp (0xFFFFFFF0).w
    ]);
    bench.memory.push(ram("top", 0xFF_0000, 0x1_0000));
    bench.routine.executes_anywhere = true;
    assert_eq!(d(&bench.returns(), 0), 42);
}

#[test]
fn limits_are_the_most_that_may_be_spent() {
    let code = &[0x7001, 0x4E71, 0x4E71, 0x4E71] /* moveq #1,d0; nop; nop; nop */;
    let done = Exit::At(CODE + 8);
    for (limit, end) in [(3, End::Limit(Limit::Instructions)), (4, End::Branch(0)), (5, End::Branch(0))] {
        let mut bench = Bench::new(code).branch("done", done, None);
        bench.routine.limits.instructions = limit;
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.instructions), (end, limit.min(4)), "{limit} instructions");
    }
    for (limit, end) in [(15, End::Limit(Limit::Cycles)), (16, End::Branch(0)), (17, End::Branch(0))] {
        let mut bench = Bench::new(code).branch("done", done, None);
        bench.routine.limits.cycles = limit;
        assert_eq!(bench.run().end, end, "{limit} cycles");
    }
}

/// A loop that counts for long is given up where the limit says, not later.
#[test]
fn a_long_loop_ends_at_its_limit() {
    let mut bench = Bench::new(&[0x5280, 0x60FC] /* 1: addq.l #1,d0; bra.s 1b */);
    bench.routine.limits.instructions = 20_001;
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.instructions, d(&outcome, 0)), (End::Limit(Limit::Instructions), 20_001, 10_001));
    bench.routine.limits.instructions = u64::MAX;
    bench.routine.limits.cycles = 180_000;
    let outcome = bench.run();
    assert_eq!(outcome.end, End::Limit(Limit::Cycles));
    assert!((180_000..180_020).contains(&outcome.cycles), "{}", outcome.cycles);
}

#[test]
fn stop_ends_the_run() {
    let outcome = Bench::new(&[
        0x7001, // moveq #1,d0
        0x4E72, 0x2000, // stop #0x2000
        0x7002, // moveq #2,d0
        0x4E75, // rts
    ])
    .run();
    assert_eq!((outcome.end, outcome.instructions, d(&outcome, 0)), (End::Stopped, 2, 1));
    assert_eq!((outcome.last, outcome.pc), (CODE + 2, CODE + 6));
    assert_eq!(u16::from(outcome.registers.sr), 0x2000);
    // And the next run of the same machine is not stopped.
    let bench = Bench::new(&[
        0x4A39, 0x00A0, 0x0003, // tst.b 0xA00003
        0x6704, // beq.s 1f
        0x4E72, 0x2000, // stop #0x2000
        0x4E75, // 1: rts
    ]);
    let mut bench = bench.port(byte_port("pedal", NOWHERE + 3, Some(Schedule::Constant(1)), None));
    let mut machine = bench.machine();
    assert_eq!(machine.run(&bench.setup(), &[]).end, End::Stopped);
    bench.inputs.ports = vec![Some(Schedule::Constant(0))];
    assert_eq!(machine.run(&bench.setup(), &[]).end, End::Returned);
}

#[test]
fn leaving_the_hosts_code_is_an_end() {
    let code = &[0x4ED0] /* jmp (a0) */;
    let pedal = byte_port("pedal", NOWHERE + 0x11, Some(Schedule::Constant(0)), None);
    for (to, place) in [
        (RAM + 0x10, Place::Ram(0)),
        (WINDOW, Place::Window),
        (0x3F_FFFE, Place::Window),
        (NOWHERE, Place::Nothing),
        (0x2000, Place::Nothing),
        (0xFF_FFFE, Place::Nothing),
    ] {
        let bench = Bench::new(code).port(pedal.clone()).set("a0", to);
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.pc, outcome.last), (End::LeftHost { to, place }, to, CODE), "{to:#X}");
        assert_eq!(outcome.instructions, 1, "nothing of it ran");
        assert_eq!(outcome.troubles.early_read_count, 0);
        // The upper byte does not reach the bus.
        assert_eq!(bench.set("a0", to | 0x5A00_0000).run().end, outcome.end);
    }
}

/// Running off the end of the ROM is seen at its last word.
#[test]
fn running_off_the_rom_is_leaving_it() {
    let bench = Bench::new(&[0x4EF8, 0x1FFC] /* jmp 0x1FFC */).put(0x1FFC, &[0x4E71, 0x4E71] /* nop; nop */);
    let outcome = bench.run();
    assert_eq!(outcome.end, End::LeftHost { to: 0x2000, place: Place::Nothing });
    assert_eq!((outcome.instructions, outcome.last), (3, 0x1FFE));
    // The last words of the ROM are code like any other.
    Bench::new(&[0x4EF8, 0x1FFA] /* jmp 0x1FFA */).put(0x1FFA, &[0x4E71, 0x4E71, 0x4E75] /* nop; nop; rts */).returns();
}

#[test]
fn code_may_run_anywhere_where_the_harness_says_so() {
    let copy = &[
        0x23FC, 0x702A, 0x4E75, 0x00E0, 0x0100, // move.l #0x702A4E75,0xE00100
        0x4EF9, 0x00E0, 0x0100, // jmp 0xE00100
    ];
    let mut bench = Bench::new(copy);
    assert_eq!(bench.run().end, End::LeftHost { to: 0xE0_0100, place: Place::Ram(0) });
    bench.routine.executes_anywhere = true;
    assert_eq!(d(&bench.returns(), 0), 42);
    let mut image = Image::new(0x1000, Fill::Byte(0));
    image.put(0x20, [0x70, 0x2B, 0x4E, 0x75]);
    let mut bench = Bench::new(&[0x4EF9, 0x0020, 0x0020] /* jmp 0x200020 */).attach(image);
    bench.routine.executes_anywhere = true;
    assert_eq!(d(&bench.returns(), 0), 43);
    let mut bench = Bench::new(&[0x4EF9, 0x00A0, 0x0000] /* jmp 0xA00000 */);
    bench.routine.executes_anywhere = true;
    assert_eq!(bench.run().end, End::LeftHost { to: NOWHERE, place: Place::Nothing }, "there is nothing to run");
}

/// As after power-on: stack pointer and program counter from vectors 0 and 1, and no caller to return to.
#[test]
fn a_reset_starts_from_the_vectors() {
    let mut bench = Bench::new(&[0x4E71] /* nop */)
        .put(0x600, &[0x200F, 0x2F00, 0x4E75] /* move.l sp,d0; move.l d0,-(sp); rts */);
    bench = bench.vector(0, STACK - 0x100).vector(1, 0x600);
    bench.routine.entry = Entry::Reset;
    let outcome = bench.run();
    assert_eq!(d(&outcome, 0), STACK - 0x100);
    assert_eq!(outcome.end, End::LeftHost { to: STACK - 0x100, place: Place::Ram(0) });
}

#[test]
fn registers_start_as_the_routine_says() {
    let mut bench = Bench::new(&[0x40C7, 0x2C17, 0x4E75] /* move.w sr,d7; move.l (sp),d6; rts */);
    for (index, name) in ["d0", "d5", "a0", "a6"].into_iter().enumerate() {
        bench = bench.set(name, 0x1111_1111 * (index as u32 + 1));
    }
    bench.routine.status = 0x2015;
    let mut machine = bench.machine();
    for _ in 0..2 {
        let registers = machine.run(&bench.setup(), &[]).registers;
        let expected = [0x1111_1111, 0, 0, 0, 0, 0x2222_2222];
        assert_eq!(registers.d[..6].iter().map(|value| value.0).collect::<Vec<_>>(), expected);
        assert_eq!((registers.a[0].0, registers.a[1].0, registers.a[6].0), (0x3333_3333, 0, 0x4444_4444));
        assert_eq!(registers.d[7].0, 0x2015);
        assert!(registers.d[6].0 > 0xFF_FFFF, "the caller lies outside of the bus");
    }
}

/// One machine, different cartridges, one after the other: each run ends as it does on a machine of its own.
#[test]
fn a_machine_is_as_good_as_new_after_any_end() {
    let code = &[
        0x1039, 0x00A0, 0x0003, // move.b 0xA00003,d0
        0x6710, // beq.s 1f
        0x5300, // subq.b #1,d0
        0x670E, // beq.s 2f
        0x5300, // subq.b #1,d0
        0x670C, // beq.s 3f
        0x5300, // subq.b #1,d0
        0x670A, // beq.s 4f
        0x4E72, 0x2700, // stop #0x2700
        0x4E75, // 1: rts
        0x4AFC, // 2: illegal
        0x60FE, // 3: bra.s 3b
        0x3039, 0x00E0, 0x0001, // 4: move.w 0xE00001,d0
    ];
    let mut bench = Bench::new(code).port(byte_port("choice", NOWHERE + 3, Some(Schedule::Constant(0)), None));
    let mut machine = bench.machine();
    let mut ends = Vec::new();
    for choice in [0, 1, 2, 3, 4, 3, 2, 1, 0, 4, 2, 0, 3, 3, 1] {
        bench.inputs.ports = vec![Some(Schedule::Constant(choice))];
        let alone = bench.run();
        let again = machine.run(&bench.setup(), &bench.fills);
        assert_eq!((again.end, again.cycles, again.instructions), (alone.end, alone.cycles, alone.instructions));
        assert_eq!(again.registers, alone.registers, "{choice}");
        ends.push(alone.end);
    }
    ends.dedup();
    assert_eq!(ends.len(), 14);
}
