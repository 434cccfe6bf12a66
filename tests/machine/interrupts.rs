//! Interrupts: when a request is taken, what is stacked, how long it takes, and what a run makes of those that wait.
//!
//! UM: MC68000 User's Manual; times from its tables 8-13 and 8-14, from memory.

use keyway::cpu::Exception;
use keyway::run::{Crash, End, Exit, Limit, Machine, Timing, Wrong};

use super::support::{Bench, CODE, NOWHERE, RAM, STACK, d};

const HANDLER: u32 = 0x600;

/// Clocks of an interrupt with its acknowledge cycle (UM table 8-14).
const TAKEN: u64 = 44;

/// A NOP, four clocks.
const NOP: u16 = 0x4E71;
const RTE: u16 = 0x4E73;
const RTS: u16 = 0x4E75;

/// A bench with the interrupt mask at 0 from the start.
fn open(code: &[u16]) -> Bench {
    let mut bench = Bench::new(code);
    bench.routine.status = 0x2000;
    bench
}

/// Autovector of a level (UM table 6-2): 25 for level 1.
fn autovector(level: u8) -> u8 {
    24 + level
}

#[test]
fn the_frame_has_three_words_and_takes_44_clocks() {
    let bench = open(&[NOP; 8]).interrupt(4, 8, None).vector(autovector(4), HANDLER);
    let bench = bench.branch("handler", Exit::At(HANDLER), None);
    let mut machine = bench.machine();
    let outcome = machine.run(&bench.setup(), &bench.fills).clone();
    assert_eq!((outcome.end, outcome.instructions, outcome.cycles), (End::Branch(0), 2, 8 + TAKEN));
    // UM 6.3.2: the mask becomes the level of the request, and the old status register is stacked.
    assert_eq!(u16::from(outcome.registers.sr), 0x2400);
    let sp = STACK - 4 - 6;
    assert_eq!(outcome.registers.ssp.0, sp);
    let frame = [0, 2, 4].map(|offset| machine.bus().peek_word(sp + offset));
    assert_eq!(frame, [0x2000, 0, (CODE + 4) as u16]);
}

/// Levels above the mask get through, and 7 always (UM 6.3.2).
#[test]
fn the_mask_holds_back_its_own_level_and_those_below() {
    for level in 1..=7 {
        for mask in 0..=7 {
            let mut bench = Bench::new(&[NOP; 8]).interrupt(level, 8, None).vector(autovector(level), HANDLER);
            bench = bench.branch("handler", Exit::At(HANDLER), None).branch("done", Exit::At(CODE + 16), None);
            bench.routine.status = 0x2000 | u16::from(mask) << 8;
            let outcome = bench.run();
            let taken = level > mask || level == 7;
            assert_eq!(outcome.end, End::Branch(usize::from(!taken)), "level {level}, mask {mask}");
            assert_eq!(outcome.held_back, (!taken).then_some(0), "level {level}, mask {mask}");
            let cycles = if taken { 8 + TAKEN } else { 32 };
            assert_eq!(outcome.cycles, cycles, "level {level}, mask {mask}");
        }
    }
}

/// A handler that writes a digit into D0 when it begins, and this plus 8 when it ends.
fn digits(bench: Bench, vector: u8, digit: u16) -> Bench {
    let at = 0x800 + 0x80 * u32::from(digit);
    let mut code = vec![0xE988, 0x0680, 0, digit]; // lsl.l #4,d0; addi.l #digit,d0
    code.extend([NOP; 20]);
    code.extend([0xE988, 0x0680, 0, digit + 8, RTE]); // lsl.l #4,d0; addi.l #digit+8,d0; rte
    bench.put(at, &code).vector(vector, at)
}

/// Of requests that wait, the highest level comes first; of equal ones the first of the list.
#[test]
fn the_highest_level_comes_first() {
    let mut code = vec![NOP; 4];
    code.extend([0x46FC, 0x2000, NOP, NOP, RTS]); // move.w #0x2000,sr
    let mut bench = Bench::new(&code);
    for (index, level) in [2, 6, 2].into_iter().enumerate() {
        bench = bench.interrupt(level, 4, None);
        bench.interrupts[index].vector = Some(64 + index as u8);
        bench = digits(bench, 64 + index as u8, index as u16 + 1);
    }
    assert_eq!(d(&bench.returns(), 0), 0x2A_193B);
}

/// A higher level interrupts a handler; the same level and lower ones wait until it returns.
#[test]
fn handlers_nest_by_level() {
    let mut code = vec![NOP; 10];
    code.push(RTS);
    let mut bench = open(&code).interrupt(3, 8, None).interrupt(5, 90, None).interrupt(3, 92, None);
    bench = bench.interrupt(2, 94, None);
    bench.interrupts[2].vector = Some(64);
    for (vector, digit) in [(autovector(3), 3), (autovector(5), 5), (64, 4), (autovector(2), 2)] {
        bench = digits(bench, vector, digit);
    }
    assert_eq!(d(&bench.returns(), 0), 0x35DB_4C2A);
}

#[test]
fn a_device_may_give_its_vector() {
    let mut bench = open(&[NOP; 8]).interrupt(4, 8, None).vector(200, HANDLER);
    bench.interrupts[0].vector = Some(200);
    assert_eq!(bench.branch("handler", Exit::At(HANDLER), None).run().end, End::Branch(0));
}

/// In user mode the frame goes to the supervisor stack, and RTE goes back.
#[test]
fn a_user_is_interrupted_too() {
    let bench = Bench::new(&[NOP, NOP, NOP, NOP, RTS]).interrupt(1, 4, None).vector(0, STACK - 0x100);
    let mut bench = bench.vector(autovector(1), HANDLER).put(HANDLER, &[0x40C7, 0x3C17, RTE]); // move sr,d7; move (sp),d6
    bench.routine.status = 0;
    let outcome = bench.returns();
    assert_eq!((d(&outcome, 7), d(&outcome, 6)), (0x2100, 0));
    assert_eq!(outcome.registers.ssp.0, STACK - 0x100);
}

/// Level 7 is not masked by itself, but one request is taken once (UM 6.3.2: on a transition).
#[test]
fn level_7_comes_once_a_request() {
    let code = [0x203C, 0, 99, 0x51C8, 0xFFFE, RTS]; // move.l #99,d0; 1: dbra d0,1b
    let bench = Bench::new(&code).interrupt(7, 20, Some(400)).vector(autovector(7), HANDLER);
    let outcome = bench.put(HANDLER, &[0x5287, RTE]).returns(); // addq.l #1,d7
    // The loop takes 12 + 99 * 10 + 14 clocks, the handler 44 + 8 + 20 each time: requests at 20, 420, 820, 1220.
    assert_eq!((d(&outcome, 7), outcome.cycles), (4, 12 + 990 + 14 + 16 + 4 * (TAKEN + 28)));
}

/// A line that is pulled again while it is pulled is one request, and the period goes on from its own times.
#[test]
fn requests_do_not_add_up() {
    let code = [
        0x303C, 0x01F3, // move.w #499,d0
        0x51C8, 0xFFFE, // 1: dbra d0,1b
        0x46FC, 0x2000, // move.w #0x2000,sr
        0x303C, 0x0009, // move.w #9,d0
        0x51C8, 0xFFFE, // 2: dbra d0,2b
        RTS,
    ];
    let bench = Bench::new(&code).interrupt(4, 100, Some(2000)).vector(autovector(4), HANDLER);
    let outcome = bench.put(HANDLER, &[0x5287, RTE]).returns();
    // Unmasked after 8 + 499 * 10 + 14 + 16 = 5028: one request for those at 100, 2100 and 4100. The next at 6100.
    assert_eq!(d(&outcome, 7), 1);
    assert_eq!(outcome.cycles, 5028 + TAKEN + 28 + 8 + 90 + 14 + 16);
}

/// UM 6.3.8: an instruction that is traced while an interrupt waits takes the trace first, and the interrupt before the
/// first instruction of its handler.
#[test]
fn the_trace_comes_before_the_interrupt() {
    let bench = Bench::new(&[NOP; 4]).interrupt(4, 4, None).vector(autovector(4), HANDLER);
    let mut bench = bench.handles(Exception::Trace, 0x700).branch("handler", Exit::At(HANDLER), None);
    bench.routine.status = 0xA000;
    let mut machine = bench.machine();
    let outcome = machine.run(&bench.setup(), &bench.fills).clone();
    // A trace takes 34 clocks (UM table 8-14).
    assert_eq!((outcome.end, outcome.instructions, outcome.cycles), (End::Branch(0), 1, 4 + 34 + TAKEN));
    let sp = STACK - 4 - 12;
    let frames = [0, 2, 4, 6, 8, 10].map(|offset| machine.bus().peek_word(sp + offset));
    assert_eq!(frames, [0x2000, 0, 0x700, 0xA000, 0, (CODE + 2) as u16]);
}

#[test]
fn a_request_wakes_a_stopped_processor() {
    let code = [0x7001, 0x4E72, 0x2000, 0x7202, RTS]; // moveq #1,d0; stop #0x2000; moveq #2,d1
    let bench = Bench::new(&code).interrupt(4, 1000, None).vector(autovector(4), HANDLER);
    let bench = bench.put(HANDLER, &[0x2C2F, 0x0002, RTE]); // move.l 2(sp),d6
    let outcome = bench.returns();
    assert_eq!((d(&outcome, 1), d(&outcome, 6)), (2, CODE + 6), "it goes on behind the STOP");
    // move.l 2(sp),d6 takes 16, RTE 20, moveq 4, RTS 16.
    assert_eq!(outcome.cycles, 1000 + TAKEN + 16 + 20 + 4 + 16);
    // A request that waits already is taken at once.
    let mut early = bench;
    early.interrupts[0].timing.first = Some(0);
    assert_eq!(early.returns().cycles, 8 + TAKEN + 16 + 20 + 4 + 16);
}

/// The label behind a STOP is not reached before the processor goes on.
#[test]
fn an_exit_behind_a_stop_waits_for_the_handler() {
    let bench = Bench::new(&[0x4E72, 0x2000, NOP]).interrupt(4, 1000, None).vector(autovector(4), HANDLER);
    let bench = bench.put(HANDLER, &[0x7007, RTE]).branch("behind", Exit::At(CODE + 4), None);
    let outcome = bench.run();
    assert_eq!((outcome.end, d(&outcome, 0), outcome.cycles), (End::Branch(0), 7, 1000 + TAKEN + 4 + 20));
}

#[test]
fn a_stop_that_nothing_wakes_is_an_end() {
    let stop = |status: u16, level, first, every| {
        let bench = Bench::new(&[0x4E72, status, 0x4E72, status, RTS]).interrupt(level, first, every);
        bench.vector(autovector(level), HANDLER).put(HANDLER, &[0x5287, RTE])
    };
    for (status, level, every, served) in
        [(0x2400, 4, Some(100), 0), (0x2600, 6, None, 0), (0x2700, 6, Some(9), 0), (0x2000, 1, None, 1)]
    {
        let outcome = stop(status, level, 100, every).run();
        assert_eq!((outcome.end, d(&outcome, 7)), (End::Stopped, served), "{status:04X}, level {level}");
    }
    // Level 7 wakes it, whatever the mask.
    assert_eq!(d(&stop(0x2700, 7, 100, Some(500)).returns(), 7), 2);
}

#[test]
fn the_limit_of_cycles_holds_for_a_stopped_processor() {
    let mut bench = open(&[0x4E72, 0x2000, RTS]).interrupt(4, 5000, None).vector(autovector(4), HANDLER);
    bench = bench.put(HANDLER, &[RTE]);
    bench.returns();
    bench.routine.limits.cycles = 4999;
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.cycles), (End::Limit(Limit::Cycles), 5000), "no further than one past the limit");
}

/// Of an exit and a request at the same time the exit comes first, be it a label or the return.
#[test]
fn an_exit_that_is_reached_comes_first() {
    for (request, taken) in [(8, true), (9, false), (12, false)] {
        let bench = open(&[NOP; 4]).interrupt(4, request, None).vector(autovector(4), HANDLER);
        let bench = bench.put(HANDLER, &[0x5287, RTE]).branch("done", Exit::At(CODE + 6), None);
        let outcome = bench.run();
        assert_eq!((outcome.end, d(&outcome, 7)), (End::Branch(0), u32::from(taken)), "request at {request}");
        assert_eq!(outcome.cycles, if taken { 12 + TAKEN + 28 } else { 12 });
    }
    let bench = open(&[RTS]).interrupt(4, 10, None).vector(autovector(4), HANDLER).put(HANDLER, &[0x5287, RTE]);
    let outcome = bench.returns();
    assert_eq!((outcome.cycles, d(&outcome, 7)), (16, 0));
}

/// The routine waits for a counter that a handler keeps: no hang, however long it takes.
#[test]
fn waiting_for_a_counter_is_no_hang() {
    let wait = [0x4A79, 0x00E0, 0x0010, 0x67F8, RTS]; // 1: tst.w 0xE00010; beq.s 1b
    let bench = open(&wait).interrupt(6, 200_000, None).vector(autovector(6), HANDLER);
    let bench = bench.put(HANDLER, &[0x5279, 0x00E0, 0x0010, RTE]); // addq.w #1,0xE00010
    assert!(bench.returns().cycles > 200_000);
    // The same with the interrupt masked: a hang, as soon as the request waits and the state has come again.
    let mut masked = bench.clone();
    masked.routine.status = 0x2600;
    masked.interrupts[0].timing.every = Some(133_333);
    let outcome = masked.run();
    assert_eq!(outcome.end, End::Hung { first: CODE, last: CODE + 6, period: 2 });
    assert_eq!(outcome.held_back, Some(0));
    assert!(outcome.instructions < 40_000, "{}", outcome.instructions);
    // And where no request ever comes.
    let mut setup = bench.setup();
    setup.interrupts = vec![Some(Timing { first: None, every: None })];
    let outcome = bench.machine().run(&setup, &bench.fills).clone();
    assert_eq!((outcome.end, outcome.held_back), (End::Hung { first: CODE, last: CODE + 6, period: 2 }, None));
}

/// A handler that changes nothing does not end an endless loop; one that counts makes it no repeat.
#[test]
fn a_loop_with_a_periodic_interrupt_hangs_unless_the_handler_counts() {
    let bench = open(&[0x60FE]).interrupt(2, 1000, Some(1000)).vector(autovector(2), HANDLER); // 1: bra.s 1b
    let outcome = bench.clone().put(HANDLER, &[RTE]).run();
    assert!(matches!(outcome.end, End::Hung { first: CODE, last: HANDLER, .. }), "{:?}", outcome.end);
    let outcome = bench.put(HANDLER, &[0x5279, 0x00E0, 0x0010, RTE]).run();
    assert_eq!(outcome.end, End::Limit(Limit::Instructions));
}

/// A loop that opens the mask for a moment, and a handler that ends it once the request comes just then. The states in
/// between differ by nothing but the time of the next request, often while one waits.
#[test]
fn the_time_of_a_request_is_part_of_the_state() {
    let mut code = vec![0x46FC, 0x2000, NOP, 0x46FC, 0x2700]; // 1: move.w #0x2000,sr; nop; move.w #0x2700,sr
    code.extend([NOP; 50]);
    code.extend([0x6000, (-112_i16) as u16]); // bra.w 1b
    let bench = Bench::new(&code).vector(autovector(3), HANDLER);
    let handler = [
        0x0CAF,
        0,
        (CODE + 6) as u16,
        2, // cmpi.l #CODE+6,2(sp)
        0x6702,
        RTE, // beq.s 2f; rte
        0x5C8F,
        RTS, // 2: addq.l #6,sp; rts
    ];
    let bench = bench.put(HANDLER, &handler);
    // Long past the first state that is kept, and there is no other way to return.
    for every in [1187, 1199, 1291] {
        let outcome = bench.clone().interrupt(3, every, Some(every)).returns();
        assert!(outcome.instructions > 30_000, "every {every}: {}", outcome.instructions);
    }
    // With this period the request never comes just then.
    let outcome = bench.interrupt(3, 1285, Some(1285)).run();
    assert!(matches!(outcome.end, End::Hung { .. }), "{:?}", outcome.end);
}

#[test]
fn a_vector_that_leads_nowhere_is_a_crash() {
    let bench = open(&[NOP; 8]).interrupt(4, 8, None);
    let handler = Wrong::NoServiceRoutine { device: 0, value: 0xFFFF_FFFF };
    assert_eq!(bench.crashes(), Crash { exception: Exception::Interrupt(4), access: None, handler });
    let handler = Wrong::NoServiceRoutine { device: 0, value: RAM };
    assert_eq!(bench.vector(28, RAM).crashes().handler, handler);
}

/// Where the frame cannot be stacked, and that of the bus error neither, the processor halts.
#[test]
fn a_stack_that_is_not_there_halts() {
    let bench = open(&[0x2E7C, (NOWHERE >> 16) as u16, 0x1000, NOP, NOP]); // movea.l #0xA01000,sp
    let bench = bench.open(keyway::board::OpenBus::BusError).interrupt(4, 14, None).vector(28, HANDLER);
    assert_eq!(bench.run().end, End::Halted(Exception::Interrupt(4)));
}

/// A case's own times replace those of the rig, device by device, and the next run has its own again.
#[test]
fn a_setup_replaces_times_by_index() {
    let code = [0x203C, 0, 99, 0x51C8, 0xFFFE, RTS]; // move.l #99,d0; 1: dbra d0,1b
    let mut bench = open(&code).interrupt(2, 50, Some(300)).interrupt(3, 60, None);
    bench = bench.vector(26, HANDLER).put(HANDLER, &[0x5287, RTE]).vector(27, 0x700).put(0x700, &[0x5286, RTE]);
    let mut machine: Machine = bench.machine();
    let mut count = |interrupts: Vec<Option<Timing>>| {
        let mut setup = bench.setup();
        setup.interrupts = interrupts;
        let outcome = machine.run(&setup, &bench.fills);
        assert_eq!(outcome.end, End::Returned);
        (d(outcome, 7), d(outcome, 6))
    };
    let never = Some(Timing { first: None, every: None });
    let often = Some(Timing { first: Some(100), every: Some(200) });
    // The loop takes 1016 clocks, and each handler 72 more.
    assert_eq!(count(Vec::new()), (5, 1));
    assert_eq!(count(vec![None, never]), (5, 0));
    assert_eq!(count(vec![never]), (0, 1));
    assert_eq!(count(vec![never, often]), (0, 8));
    assert_eq!(count(vec![None, None]), (5, 1));
}

/// A higher request that comes while a handler is entered is taken before the handler's first instruction, which would
/// have masked it. It is the same behind a TRAP.
#[test]
fn a_request_during_an_entry_comes_before_the_handler() {
    let code = [NOP, NOP, NOP, NOP, NOP, NOP, NOP, NOP, NOP, RTS];
    let mut bench = open(&code).interrupt(4, 8, None).interrupt(6, 30, None);
    bench = bench.vector(28, HANDLER).put(HANDLER, &[0x46FC, 0x2700, 0x2207, RTE]); // move #0x2700,sr; move.l d7,d1
    bench = bench.vector(30, 0x700).put(0x700, &[0x7E01, RTE]); // moveq #1,d7
    assert_eq!(bench.returns().registers.d[1].0, 1);
}

/// A device that requests faster than its handler can be entered leaves the handler one instruction each time.
#[test]
fn a_flood_of_level_7_ends_at_the_limit() {
    let bench = open(&[0x60FE]).interrupt(7, 0, Some(10)).vector(31, HANDLER).put(HANDLER, &[NOP, RTE]);
    assert_eq!(bench.run().end, End::Limit(Limit::Instructions));
}
