//! Exceptions: which one, from where, what a handler finds, and what happens when there is none.

use keyway::board::{OpenBus, Overlay};
use keyway::cpu::Exception;
use keyway::run::{Crash, End, Entry, Exit, Limit, Outcome, Wrong};

use super::support::{Bench, CODE, NOWHERE, RAM, STACK, WINDOW, byte_port, d};

const HANDLER: u32 = 0x800;
/// What an erased vector holds.
const ERASED: Wrong = Wrong::NoHandler(0xFFFF_FFFF);

fn crash(exception: Exception, handler: Wrong) -> Crash {
    Crash { exception, access: None, handler }
}

#[test]
fn exceptions_that_nobody_handles_are_crashes() {
    let cases: [(&[u16], Exception); 9] = [
        (&[0x4AFC] /* illegal */, Exception::Illegal),
        (&[0x4E7B, 0x0801], Exception::Illegal), // movec of the later processors
        (&[0x007D], Exception::Illegal),         // ori.w # to a mode that does not exist
        (&[0x80FC, 0x0000] /* divu #0,d0 */, Exception::ZeroDivide),
        (&[0x81C1] /* divs d1,d0 */, Exception::ZeroDivide),
        (&[0xA000], Exception::LineA),
        (&[0xAFFF], Exception::LineA),
        (&[0xF000], Exception::LineF),
        (&[0xFFFF], Exception::LineF),
    ];
    for (code, exception) in cases {
        let outcome = Bench::new(code).run();
        assert_eq!(outcome.end, End::Crashed(crash(exception, Wrong::NotHandled)), "{code:04X?}");
        assert_eq!((outcome.last, outcome.instructions), (CODE, 1));
    }
}

/// PRM: privileged instructions, in user mode. In supervisor mode each of them runs.
#[test]
fn privileged_instructions_in_user_mode_are_crashes() {
    let cases: [&[u16]; 7] = [
        &[0x46C0],         /* move.w d0,sr */
        &[0x027C, 0x2700], /* andi #0x2700,sr */
        &[0x007C, 0x0000], /* ori #0,sr */
        &[0x0A7C, 0x0000], /* eori #0,sr */
        &[0x4E68],         /* move usp,a0 */
        &[0x4E72, 0x2000], /* stop #0x2000 */
        &[0x4E70],         /* reset */
    ];
    for code in cases {
        let mut bench = Bench::new(code);
        bench.routine.status = 0;
        assert_eq!(bench.crashes(), crash(Exception::Privilege, Wrong::NotHandled), "{code:04X?}");
        bench.routine.status = 0x2700;
        bench = bench.branch("next", Exit::At(CODE + 2 * code.len() as u32), None);
        assert!(matches!(bench.run().end, End::Branch(0) | End::Stopped), "{code:04X?}");
    }
    let mut bench = Bench::new(&[0x4E73] /* rte */);
    bench.routine.status = 0;
    assert_eq!(bench.crashes(), crash(Exception::Privilege, Wrong::NotHandled));
}

/// TRAP, TRAPV and CHK are asked for: their handlers run unasked, and a missing one is the crash.
#[test]
fn traps_without_a_handler_are_crashes() {
    for number in 0..16u8 {
        let bench = Bench::new(&[0x4E40 + u16::from(number)]);
        assert_eq!(bench.crashes(), crash(Exception::Trap(number), ERASED));
    }
    assert_eq!(
        Bench::new(&[0x003C, 0x0002, 0x4E76] /* ori #2,ccr; trapv */).crashes(),
        crash(Exception::Trapv, ERASED)
    );
    assert_eq!(
        Bench::new(&[0x70FF, 0x41BC, 0x0005] /* moveq #-1,d0; chk #5,d0 */).crashes(),
        crash(Exception::Chk, ERASED)
    );
    for (vector, fits) in [(0x800, true), (0x801, false), (0x2000, false), (RAM, false), (WINDOW, false)] {
        let bench =
            Bench::new(&[0x4E40, 0x4E75] /* trap #0; rts */).put(HANDLER, &[0x4E73] /* rte */).vector(32, vector);
        let expected = End::Crashed(crash(Exception::Trap(0), Wrong::NoHandler(vector)));
        assert_eq!(bench.run().end, if fits { End::Returned } else { expected }, "{vector:#X}");
    }
}

/// TRAPV and CHK that are not due do nothing.
#[test]
fn traps_that_are_not_due_do_nothing() {
    let code = &[
        0x023C, 0x001D, // andi #0x1D,ccr
        0x4E76, // trapv
        0x7005, // moveq #5,d0
        0x41BC, 0x0005, // chk #5,d0
        0x7000, // moveq #0,d0
        0x41BC, 0x0005, // chk #5,d0
        0x4E75, // rts
    ];
    Bench::new(code).returns();
    assert_eq!(Bench::new(&[0x7006, 0x41BC, 0x0005] /* moveq #6,d0; chk #5,d0 */).crashes().exception, Exception::Chk);
}

/// What each handler finds: the status of before in the frame, the supervisor state, and where to return to. TRAP,
/// TRAPV, CHK and the zero divide stack the next instruction, the others their own (MC68000UM 6.3, from memory).
#[test]
fn handlers_find_the_frame_of_three_words() {
    let handler = &[
        0x3A17, // move.w (sp),d5
        0x2C2F, 0x0002, // move.l 2(sp),d6
        0x40C7, // move.w sr,d7
        0x2A4F, // move.l sp,a5
        0x4ED4, // jmp (a4)
    ];
    let cases: [(&[u16], Exception, u32); 9] = [
        (&[0x4E43] /* trap #3 */, Exception::Trap(3), CODE + 6),
        (&[0x4E76] /* trapv */, Exception::Trapv, CODE + 6),
        (&[0x4181] /* chk d1,d0 */, Exception::Chk, CODE + 6),
        (&[0x80FC, 0x0000] /* divu #0,d0 */, Exception::ZeroDivide, CODE + 8),
        (&[0x4AFC] /* illegal */, Exception::Illegal, CODE + 4),
        (&[0xA123], Exception::LineA, CODE + 4),
        (&[0xF123], Exception::LineF, CODE + 4),
        (&[0x4E72, 0x0000] /* stop #0 */, Exception::Privilege, CODE + 4),
        (&[0x46FC, 0x0000] /* move.w #0,sr */, Exception::Privilege, CODE + 4),
    ];
    for (code, exception, stacked) in cases {
        let words = [&[0x003C, 0x0002] /* ori #2,ccr */, code].concat();
        let user = exception == Exception::Privilege;
        let mut bench = Bench::new(&words).put(HANDLER, handler).handles(exception, HANDLER);
        bench = bench
            .put(0x900, &[0x200D, 0x4E72, 0x2700] /* move.l a5,d0; stop #0x2700 */)
            .set("a4", 0x900)
            .set("d0", 7)
            .set("d1", 3);
        if user {
            // The supervisor stack is set by code, then the user state is entered.
            bench = bench.put(
                0xA00,
                &[
                    0x4FF9, 0x00E0, 0xF000, // lea 0xE0F000,sp
                    0x46FC, 0x0002, // move.w #0x0002,sr
                    0x4EF8, 0x0404, // jmp 0x404
                ],
            );
            bench.routine.entry = Entry::At(0xA00);
        }
        let outcome = bench.run();
        assert_eq!(outcome.end, End::Stopped, "{exception:?}");
        let status = if user { 0x0002 } else { 0x2702 };
        // CHK and the divisions change flags before they trap; which ones, the manual leaves open.
        let open = matches!(exception, Exception::Chk | Exception::ZeroDivide);
        let mask = if open { 0xFF10 } else { 0xFFFF };
        assert_eq!((d(&outcome, 5) & mask, d(&outcome, 6)), (status & mask, stacked), "{exception:?}");
        assert_eq!(d(&outcome, 7) & 0xA000, 0x2000, "{exception:?}: supervisor, no trace");
        let stack = if user { 0xE0_F000 } else { STACK - 4 };
        assert_eq!(d(&outcome, 0), stack - 6, "{exception:?}");
    }
}

/// An illegal instruction that its handler skips, and one that it emulates: RTE goes on where the frame says.
#[test]
fn a_handler_that_is_listed_runs_and_returns() {
    let bench = Bench::new(&[0x4AFC, 0x5240, 0x4E75] /* illegal; addq.w #1,d0; rts */).put(
        HANDLER,
        &[
            0x54AF, 0x0002, // addq.l #2,2(sp)
            0x5841, // addq.w #4,d1
            0x4E73, // rte
        ],
    );
    let outcome = bench.handles(Exception::Illegal, HANDLER).returns();
    assert_eq!((d(&outcome, 0), d(&outcome, 1)), (1, 4));
    let outcome = Bench::new(&[0xA055, 0x7009, 0x4E75] /* .short 0xA055; moveq #9,d0; rts */)
        .put(HANDLER, &[0x54AF, 0x0002, 0x4E73] /* addq.l #2,2(sp); rte */)
        .handles(Exception::LineA, HANDLER)
        .returns();
    assert_eq!(d(&outcome, 0), 9);
}

/// 34 for the exception, 20 for RTE, 4 for the MOVEQ and 16 for RTS (UM tables 8-14 and 8-11, from memory).
#[test]
fn a_trap_costs_its_cycles() {
    let bench = Bench::new(&[0x4E40, 0x4E75] /* trap #0; rts */)
        .put(HANDLER, &[0x7001, 0x4E73] /* moveq #1,d0; rte */)
        .vector(32, HANDLER);
    let outcome = bench.returns();
    assert_eq!((outcome.cycles, outcome.instructions), (34 + 4 + 20 + 16, 4));
}

/// A handler in the last words of the ROM is a handler; so is one in RAM where code may run anywhere.
#[test]
fn a_handler_may_stand_anywhere_where_code_may() {
    let bench = Bench::new(&[0x4E40, 0x4E75] /* trap #0; rts */).put(0x1FFE, &[0x4E73] /* rte */).vector(32, 0x1FFE);
    bench.returns();
    let code = &[
        0x33FC, 0x4E73, 0x00E0, 0x0100, // move.w #0x4E73,0xE00100
        0x4E40, // trap #0
        0x4E75, // rts
    ];
    let mut bench = Bench::new(code).vector(32, 0xE0_0100);
    assert_eq!(bench.crashes(), crash(Exception::Trap(0), Wrong::NoHandler(0xE0_0100)));
    bench.routine.executes_anywhere = true;
    bench.returns();
}

#[test]
fn tracing_stops_after_the_first_instruction() {
    let mut bench = Bench::new(&[0x7001, 0x7002, 0x4E75] /* moveq #1,d0; moveq #2,d0; rts */);
    bench.routine.status = 0xA700;
    let outcome = bench.run();
    assert_eq!(outcome.end, End::Crashed(crash(Exception::Trace, Wrong::NotHandled)));
    assert_eq!((d(&outcome, 0), outcome.last, outcome.pc), (1, CODE, CODE + 2));
}

/// A trace handler sees every instruction, with the next one's address; it is not traced itself.
#[test]
fn a_trace_handler_sees_every_instruction() {
    let code = &[
        0x7001, // moveq #1,d0
        0x4E71, // nop
        0x6002, // bra.s 1f
        0x4E71, // nop
        0x7002, // 1: moveq #2,d0
        0x027C, 0x5FFF, // andi #0x5FFF,sr
        0x7003, // moveq #3,d0
        0x4E75, // rts
    ];
    let handler = &[
        0x5247, // addq.w #1,d7
        0x24EF, 0x0002, // move.l 2(sp),(a2)+
        0x4E73, // rte
    ];
    let mut bench = Bench::new(code).put(HANDLER, handler).handles(Exception::Trace, HANDLER).set("a2", RAM);
    bench.routine.status = 0xA700;
    let mut machine = bench.machine();
    machine.run(&bench.setup(), &bench.fills);
    let seen: Vec<u32> = (0..4).map(|index| u32::from(machine.bus().peek_word(RAM + 4 * index + 2))).collect();
    assert_eq!(seen, [0x402, 0x404, 0x408, 0x40A]);
}

/// A frame that cannot be stacked is a double fault: the processor halts (MC68000UM 6.3.9.1, from memory).
#[test]
fn a_frame_that_cannot_be_stacked_halts_the_processor() {
    let halted = |bench: Bench| match bench.run().end {
        End::Halted(exception) => exception,
        end => panic!("{end:?}"),
    };
    let with_trap = |code: &[u16]| Bench::new(code).put(HANDLER, &[0x4E73] /* rte */).vector(32, HANDLER);
    assert_eq!(halted(with_trap(&[0x4FF9, 0x00E0, 0xF001, 0x4E40] /* lea 0xE0F001,sp; trap #0 */)), Exception::Trap(0));
    let lost = &[
        0x4FF9, 0x00A0, 0x0100, // lea 0xA00100,sp
        0x4E40, // trap #0
        0x4E75, // rts
    ];
    assert_eq!(halted(with_trap(lost).open(OpenBus::BusError)), Exception::Trap(0));
    // The first word fits, the second does not.
    assert_eq!(
        halted(with_trap(&[0x4FF9, 0x00E0, 0x0002, 0x4E40] /* lea 0xE00002,sp; trap #0 */).open(OpenBus::BusError)),
        Exception::Trap(0)
    );
    let bench = Bench::new(&[
        0x4FF9, 0x00A0, 0x0100, // lea 0xA00100,sp
        0x3039, 0x00A0, 0x0000, // move.w 0xA00000,d0
    ])
    .put(HANDLER, &[0x4E73] /* rte */);
    assert_eq!(halted(bench.handles(Exception::BusError, HANDLER).open(OpenBus::BusError)), Exception::BusError);
    let bench = Bench::new(&[0x4FF9, 0x00E0, 0xF001, 0x3017] /* lea 0xE0F001,sp; move.w (sp),d0 */)
        .put(HANDLER, &[0x4E73] /* rte */);
    assert_eq!(halted(bench.handles(Exception::AddressError, HANDLER)), Exception::AddressError);
}

/// Without bus errors a stack that leads nowhere loses its frames, and the handler runs and returns astray.
#[test]
fn a_stack_that_leads_nowhere_loses_its_frame() {
    let bench = Bench::new(&[
        0x4FF9, 0x00A0, 0x0100, // lea 0xA00100,sp
        0x4E40, // trap #0
        0x4E75, // rts
    ])
    .put(HANDLER, &[0x7007, 0x4E72, 0x2700] /* moveq #7,d0; stop #0x2700 */);
    let Outcome { end, troubles, registers, .. } = bench.vector(32, HANDLER).run();
    assert_eq!((end, registers.d[0].0), (End::Stopped, 7));
    assert_eq!(troubles.stray_counts[0], 3);
}

/// A handler that never gets anywhere is bounded like everything else.
#[test]
fn exceptions_within_handlers_end_at_the_limit_or_as_a_hang() {
    // Each entry pushes a frame more, so no state comes twice until the stack has gone round the bus.
    let mut bench = Bench::new(&[0x4E40] /* trap #0 */).put(HANDLER, &[0x4E40] /* trap #0 */).vector(32, HANDLER);
    bench.routine.limits.instructions = 5000;
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.instructions), (End::Limit(Limit::Instructions), 5000));
    assert_eq!(outcome.registers.ssp.0, STACK - 4 - 6 * 5000);
    assert_eq!(outcome.cycles, 34 * 5000);
}

/// A routine that starts in user mode has its own stack; an exception goes to the ROM's supervisor stack (vector 0).
#[test]
fn a_user_mode_routine_takes_exceptions_on_the_roms_stack() {
    let mut bench = Bench::new(&[0x4E43, 0x4E75] /* trap #3; rts */)
        .put(0, &[0x00E0, 0x8000]) // the supervisor stack: 0xE08000
        .put(HANDLER, &[0x200F, 0x4E73] /* move.l sp,d0; rte */)
        .handles(Exception::Trap(3), HANDLER);
    bench.routine.status = 0;
    let outcome = bench.returns();
    assert_eq!(d(&outcome, 0), 0xE0_8000 - 6);
}

/// A latch that shows another vector table: the handler that this one names runs.
#[test]
fn a_vector_under_an_overlay_is_followed() {
    let code = &[
        0x13FC, 0x0001, 0x00A0, 0x0001, // move.b #1,0xA00001
        0x4E40, // trap #0
        0x4E75, // rts
    ];
    let mut bytes = vec![0u8; 0x400];
    bytes[0x80..0x84].copy_from_slice(&HANDLER.to_be_bytes());
    let latch = byte_port("latch", NOWHERE + 1, None, Some(&[0, 1]));
    let mut bench = Bench::new(code).put(HANDLER, &[0x7007, 0x4E73] /* moveq #7,d0; rte */).port(latch);
    assert_eq!(bench.crashes().exception, Exception::Trap(0), "the ROM itself has no handler");
    bench.overlays.push(Overlay { name: "vectors".into(), bytes: bytes.into(), range: 0..=0x3FF, port: 0, is: 1 });
    assert_eq!(d(&bench.returns(), 0), 7);
}
