//! Bus errors: which access they name, whose fault a failed prefetch is, and what a handler finds.

use keyway::board::{AccessKind, OpenBus};
use keyway::cartridge::{Fill, Image};
use keyway::cpu::Exception;
use keyway::run::{Crash, End, Entry, Wrong};

use super::support::{Bench, CODE, NOWHERE, ROM_SIZE, STACK, WINDOW, d};

const HANDLER: u32 = 0x800;

#[test]
fn bus_errors_name_their_access() {
    let cases: [(&[u16], u32, AccessKind); 10] = [
        (&[0x1039, 0x00A0, 0x0001] /* move.b 0xA00001,d0 */, NOWHERE + 1, AccessKind::Read),
        (&[0x3039, 0x00A0, 0x0002] /* move.w 0xA00002,d0 */, NOWHERE + 2, AccessKind::Read),
        (&[0x2039, 0x00A0, 0x0004] /* move.l 0xA00004,d0 */, NOWHERE + 4, AccessKind::Read),
        (&[0x4AB9, 0x009F, 0xFFFE] /* tst.l 0x9FFFFE */, NOWHERE - 2, AccessKind::Read),
        (&[0x13C0, 0x00A0, 0x0001] /* move.b d0,0xA00001 */, NOWHERE + 1, AccessKind::Write),
        (&[0x33C0, 0x00A0, 0x0002] /* move.w d0,0xA00002 */, NOWHERE + 2, AccessKind::Write),
        (&[0x23C0, 0x00E0, 0xFFFE] /* move.l d0,0xE0FFFE */, 0xE1_0000, AccessKind::Write),
        (&[0x2039, 0x00E0, 0xFFFE] /* move.l 0xE0FFFE,d0 */, 0xE1_0000, AccessKind::Read),
        (&[0x4A39, 0x0020, 0x0000] /* tst.b 0x200000 */, WINDOW, AccessKind::Read),
        (&[0x33C0, 0x0020, 0x0000] /* move.w d0,0x200000 */, WINDOW, AccessKind::Write),
    ];
    for (code, address, kind) in cases {
        let found = Bench::new(code).open(OpenBus::BusError).crashes();
        let access = Some((address, kind));
        assert_eq!(found, Crash { exception: Exception::BusError, access, handler: Wrong::NotHandled }, "{code:04X?}");
    }
    // Writes to ROM are acknowledged and lost.
    Bench::new(&[0x31C0, 0x0600, 0x4E75] /* move.w d0,0x600; rts */).open(OpenBus::BusError).returns();
}

fn not_fetched(address: u32) -> End {
    let access = Some((address, AccessKind::Fetch));
    End::Crashed(Crash { exception: Exception::BusError, access, handler: Wrong::NotHandled })
}

/// The processor fetches two words ahead, so the bus error is that of the instruction which makes the fetch, not of the
/// one that would have been executed (MC68000UM 6.3.9, from memory: bus errors are those of bus cycles). What an
/// instruction does before the fetch is as in the published vectors.
#[test]
fn an_instruction_that_cannot_fetch_what_follows_it_is_named() {
    let operand = |kind| {
        End::Crashed(Crash {
            exception: Exception::BusError,
            access: Some((NOWHERE, kind)),
            handler: Wrong::NotHandled,
        })
    };
    // At the end of the ROM; A0 leads nowhere.
    let cases: [(&[u16; 2], End); 14] = [
        (&[0x4E71, 0x4E71] /* nop */, not_fetched(0x2000)),
        (&[0x7001, 0x4E71] /* moveq #1,d0 */, not_fetched(0x2000)),
        (&[0x303C, 0x0001] /* move.w #1,d0 */, not_fetched(0x2000)),
        (&[0x6700, 0x0010] /* beq.w, not taken */, not_fetched(0x2000)),
        (&[0x3100, 0x4E71] /* move.w d0,-(a0) */, not_fetched(0x2000)),
        // An extension word is replaced in the queue before the operand is accessed.
        (&[0x3028, 0x0000] /* move.w 0(a0),d0 */, not_fetched(0x2000)),
        (&[0x3140, 0x0000] /* move.w d0,0(a0) */, not_fetched(0x2000)),
        // Without one the operand comes first.
        (&[0x3010, 0x4E71] /* move.w (a0),d0 */, operand(AccessKind::Read)),
        (&[0x5250, 0x4E71] /* addq.w #1,(a0) */, operand(AccessKind::Read)),
        (&[0x3080, 0x4E71] /* move.w d0,(a0) */, operand(AccessKind::Write)),
        // These fetch nothing behind them.
        (&[0x4E75, 0x4E71] /* rts */, End::Returned),
        (&[0x6600, 0xE602] /* bne.w 0x600 */, End::Returned),
        (&[0x4EF8, 0x0600] /* jmp 0x600 */, End::Returned),
        (&[0x4E72, 0x2700] /* stop #0x2700 */, End::Stopped),
    ];
    for (code, end) in cases {
        let mut bench = Bench::new(&[]).put(0x1FFC, code).put(0x600, &[0x4E75] /* rts */);
        bench = bench.set("a0", NOWHERE).open(OpenBus::BusError);
        bench.routine.entry = Entry::At(0x1FFC);
        let outcome = bench.run();
        assert_eq!(outcome.end, end, "{code:04X?}");
        assert!(end == End::Returned || outcome.last == 0x1FFC, "{code:04X?}");
    }
}

/// The last word of a ROM cannot be an opcode there: going to it takes the next word too.
#[test]
fn a_jump_to_the_last_word_before_a_hole_fails() {
    let jumps: [&[u16]; 6] = [
        &[0x4EF8, 0x1FFE], // jmp 0x1FFE
        &[0x4EB8, 0x1FFE], // jsr 0x1FFE
        &[0x6000, 0x1BFC], // bra.w 0x1FFE
        &[0x6100, 0x1BFC], // bsr.w 0x1FFE
        &[0x51C8, 0x1BFC], // dbra d0,0x1FFE
        &[0x4E90],         // jsr (a0)
    ];
    let handler = &[
        0x341F, // move.w (sp)+,d2
        0x261F, // move.l (sp)+,d3
        0x508F, // addq.l #8,sp
        0x4E72, 0x2700, // stop #0x2700
    ];
    for code in jumps.map(|code| [code, &[0x4E75] /* rts */].concat()) {
        let mut bench = Bench::new(&code).put(0x1FFE, &[0x4E75] /* rts */).set("d0", 5).set("a0", 0x1FFE);
        assert_eq!(bench.run().end, End::Returned, "{code:04X?}: the hole floats");
        bench = bench.open(OpenBus::BusError);
        let outcome = bench.run();
        assert_eq!((outcome.end, outcome.last), (not_fetched(0x2000), CODE), "{code:04X?}");
        let outcome = bench.handles(Exception::BusError, HANDLER).put(HANDLER, handler).run();
        assert_eq!((outcome.end, d(&outcome, 3)), (End::Stopped, 0x2000), "handled {code:04X?}");
        // A read as supervisor program (UM figure 6-7 and table 3-2, from memory).
        assert_eq!(d(&outcome, 2) & 0x1F, 0x16, "{code:04X?}");
        // A subroutine call has pushed its return address before it fetches the second word.
        let pushed = if code[0] & 0xFF00 == 0x6100 || code[0] & 0xFFC0 == 0x4E80 { 4 } else { 0 };
        assert_eq!(outcome.registers.ssp.0, STACK - 4 - pushed, "{code:04X?}");
    }
    // At the start of the run, before any instruction; and the first word of a target.
    let mut bench = Bench::new(&[0x4EF9, 0x0020, 0x0100] /* jmp 0x200100 */).open(OpenBus::BusError);
    bench.routine.executes_anywhere = true;
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.last), (not_fetched(WINDOW + 0x100), CODE));
    bench.routine.entry = Entry::At(0x1FFE);
    let outcome = bench.run();
    assert_eq!((outcome.end, outcome.instructions), (not_fetched(0x2000), 0));
}

/// The frame of a bus error has seven words: status word, access address, opcode, status register, program counter
/// (MC68000UM figure 6-7, from memory). It documents five bits of the status word and a range for the program counter; the
/// other bits, the flags that MOVE has set before it writes, and the program counter are as in the published vectors of
/// address errors, which go the same way.
#[test]
fn a_bus_error_handler_finds_seven_words() {
    let handler = &[
        0x4C9F, 0x000E, // movem.w (sp)+,d1-d3
        0x381F, // move.w (sp)+,d4
        0x3A1F, // move.w (sp)+,d5
        0x2C1F, // move.l (sp)+,d6
        0x4E75, // rts
    ];
    let probe = |code: &[u16], exception, address| {
        let bench = Bench::new(code).put(HANDLER, handler).handles(exception, HANDLER).open(OpenBus::BusError);
        let outcome = bench.returns();
        let low = |number| d(&outcome, number) & 0xFFFF;
        assert_eq!(low(2) << 16 | low(3), address, "the access address");
        assert_eq!(low(4), u32::from(code[0]), "the opcode");
        (low(1), low(5), d(&outcome, 6))
    };
    for (exception, last) in [(Exception::BusError, 0x0122), (Exception::AddressError, 0x0123)] {
        let (last, address) = (last as u16, 0xA0_0000 + last);
        // Supervisor data: a read, and a write of zero.
        let read = probe(&[0x3039, 0x00A0, last] /* move.w 0xA00122,d0 */, exception, address);
        assert_eq!(read, (0x3035, 0x2700, CODE + 6), "{exception:?}");
        let write = probe(&[0x33C0, 0x00A0, last] /* move.w d0,0xA00122 */, exception, address);
        assert_eq!(write, (0x33C5, 0x2704, CODE + 6), "{exception:?}");
    }
}

/// The usual way to find out whether something is there: a handler that notes the bus error and goes on.
#[test]
fn a_probe_for_hardware_survives() {
    let code = &[
        0x4DFA, 0x000A, // lea 1f(pc),a6
        0x4A39, 0x0020, 0x0000, // tst.b 0x200000
        0x7001, // moveq #1,d0
        0x4E75, // 1: rts
    ];
    let handler = &[0x4FEF, 0x000E, 0x4ED6] /* lea 14(sp),sp; jmp (a6) */;
    let bench = Bench::new(code).put(HANDLER, handler).handles(Exception::BusError, HANDLER).open(OpenBus::BusError);
    assert_eq!(d(&bench.returns(), 0), 0);
    let image = Image::new(0x1000, Fill::Byte(0));
    assert_eq!(d(&bench.attach(image).returns(), 0), 1);
}

/// The call of the routine fetches two words. If that fails it is one bus error, and its handler runs like any other.
#[test]
fn an_entry_whose_second_word_is_missing_is_one_bus_error() {
    let last = ROM_SIZE as u32 - 2;
    let mut bench = Bench::bare().put(last, &[0x4E75 /* rts */]).open(OpenBus::BusError);
    bench.routine.entry = Entry::At(last);
    let crash = bench.clone().crashes();
    assert_eq!((crash.exception, crash.access), (Exception::BusError, Some((last + 2, AccessKind::Fetch))));
    // The handler drops its frame of seven words and returns for the routine.
    let handler = &[0x4FEF, 0x000E, 0x7005, 0x4E75]; // lea 14(sp),sp; moveq #5,d0; rts
    let outcome = bench.handles(Exception::BusError, 0x600).put(0x600, handler).returns();
    assert_eq!((outcome.registers.d[0].0, outcome.instructions), (5, 3));
}
