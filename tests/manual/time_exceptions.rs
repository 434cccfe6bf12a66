//! UM table 8-14, "Exception Processing Execution Times" (from memory), and what the frame holds.
//!
//! An exception's time is that of the instruction up to where it raises, and of the entry into the handler with its
//! two fetches. Where a table's time has `+`, table 8-1 is added.

use keyway::cpu::{Cpu, Exception};

use super::support::{Bench, CODE, HANDLER, NOWHERE, STACK, SUPERVISOR};
use super::time_tables::MODES;
use super::times::{Table, Time, benign, cell, effective_address, measured};

/// Instructions that raise, the vector, and the time: opcode, words after it, status, then the name and the cell.
#[rustfmt::skip]
const ROWS: [(&str, u8, &[u16], u16, &str); 16] = [
    ("Illegal instruction", 4, &[0x4AFC], SUPERVISOR, "34(4/3)"),
    ("Illegal instruction", 4, &[0x4E7B], SUPERVISOR, "34(4/3)"),
    ("Illegal instruction", 4, &[0x4AFC], 0, "34(4/3)"),
    // UM 6.3.6: the unimplemented opcodes are illegal instructions with vectors of their own.
    ("Illegal instruction", 10, &[0xA000], SUPERVISOR, "34(4/3)"),
    ("Illegal instruction", 11, &[0xF000], SUPERVISOR, "34(4/3)"),
    ("Privilege violation", 8, &[0x4E70], 0, "34(4/3)"),
    ("Privilege violation", 8, &[0x4E72, 0x2700], 0, "34(4/3)"),
    ("Privilege violation", 8, &[0x46D1], 0, "34(4/3)"),
    ("Privilege violation", 8, &[0x007C, 0x0700], 0, "34(4/3)"),
    ("TRAP", 32, &[0x4E40], SUPERVISOR, "34(4/3)"),
    ("TRAP", 47, &[0x4E4F], 0, "34(4/3)"),
    ("TRAPV", 7, &[0x4E76], SUPERVISOR | 2, "34(5/3)"),
    ("Divide by zero", 5, &[0x80FC, 0x0000], SUPERVISOR, "38(4/3)+"),
    ("Divide by zero", 5, &[0x81FC, 0x0000], SUPERVISOR, "38(4/3)+"),
    ("Address error", 3, &[0x3011], SUPERVISOR, "50(4/7)"),
    ("Address error", 3, &[0x3281], SUPERVISOR, "50(4/7)"),
];

/// A word's immediate, for the divisions of [`ROWS`].
fn immediate() -> Time {
    effective_address(&MODES[11], 16)
}

#[test]
fn table_8_14_exceptions() {
    let mut table = Table::new("8-14");
    let mut bench = benign();
    for (name, vector, code, status, text) in ROWS {
        let cell = cell(table.choose(name, "", text), 0);
        let expected = if cell.adds { cell.time.plus(immediate()) } else { cell.time };
        bench.fresh().code(code).status(status);
        if name == "Address error" {
            bench.a(1, 0x4101);
        }
        let raised = bench.raises();
        assert_eq!(raised.exception.vector(), vector, "{name} {code:04X?}");
        assert_eq!(bench.cpu.pc(), HANDLER, "{name} {code:04X?}");
        table.check(&format!("{name} {code:04X?}"), measured(&bench), expected, false);
    }
    divisions_and_checks(&mut table, &mut bench);
    table.finish();
}

/// Divide by zero and CHK, for every addressing mode of their operand: D0 is 1, and the operand 0, or -2 (the bound).
fn divisions_and_checks(table: &mut Table, bench: &mut Bench) {
    let rows: [(&str, u16, u32, u16, &'static str); 4] = [
        ("Divide by zero", 0x80C0, 1, 0, "38(4/3)+"),
        ("Divide by zero", 0x81C0, 1, 0, "38(4/3)+"),
        ("CHK, below zero", 0x4180, 0xFFFF, 5, "40(4/3)+"),
        ("CHK, above the bound", 0x4180, 6, 5, "40(4/3)+"),
    ];
    for (name, opcode, d0, value, text) in rows {
        let cell = cell(table.choose(name, "", text), 0);
        assert!(cell.adds);
        for mode in MODES.iter().filter(|mode| mode.name != "An") {
            let mut code = vec![opcode | mode.bits];
            code.extend(if mode.name == "#" { &[][..] } else { mode.words[0] });
            let own = code.len();
            // What follows the instruction is the immediate, or what the PC-relative forms read.
            code.resize(16, value);
            for base in (0x4000..0x4600).step_by(2) {
                bench.memory.put(base, &[value]);
            }
            bench.fresh().code(&code).d(0, d0).d(1, u32::from(value)).d(2, 4);
            let raised = bench.raises();
            let next = CODE + 2 * own as u32 + if mode.name == "#" { 2 } else { 0 };
            assert_eq!(raised.pc, next, "{name} with {} stacks the next instruction's address", mode.name);
            let expected = cell.time.plus(effective_address(mode, 16));
            table.check(&format!("{name} with {}", mode.name), measured(bench), expected, false);
        }
    }
}

/// The trace exception comes after its instruction, whose time is its own.
#[test]
fn a_trace_takes_34() {
    let mut bench = benign();
    bench.code(&[0x4E71]).status(SUPERVISOR | 0x8000);
    let raised = bench.raises();
    assert_eq!((raised.exception, raised.pc), (Exception::Trace, CODE + 2));
    let nop = Time { clocks: 4, reads: 1, writes: 0 };
    assert_eq!(measured(&bench), nop.plus(cell("34(4/3)", 0).time));
    assert_eq!(bench.cpu.status(), SUPERVISOR, "T is clear in the handler");
    assert_eq!(bench.memory.peek(STACK - 6, 16) as u16, SUPERVISOR | 0x8000);
}

/// Table 8-14 has 44(5/3). The fifth read is the interrupt acknowledge, which the memory here is not asked for: its
/// clocks are there, and it is not counted.
#[test]
fn an_interrupt_takes_44() {
    let mut bench = benign();
    bench.code(&[0x4E71]).status(0x2000).runs();
    let before = measured(&bench);
    assert_eq!(bench.cpu.interrupt(&mut bench.memory, 4, 28), Ok(None));
    assert_eq!(measured(&bench), before.plus(cell("44(4/3)", 0).time));
    assert_eq!((bench.cpu.status(), bench.cpu.pc()), (0x2400, HANDLER));
    assert_eq!(bench.memory.peek(STACK - 4, 32), CODE + 2);
}

/// Table 8-14: from the assertion of reset on, the vectors and two words.
#[test]
fn a_reset_takes_40() {
    let mut bench = benign();
    bench.memory.put_long(0, STACK);
    bench.memory.put_long(4, HANDLER);
    let mut cpu = Cpu::default();
    cpu.reset(&mut bench.memory).expect("vectors");
    assert_eq!(measured(&bench), cell("40(6/0)", 0).time);
    assert_eq!((cpu.pc(), cpu.registers().ssp.0, cpu.status()), (HANDLER, STACK, SUPERVISOR));
}

/// Table 8-14 has 50(4/7), as for the address error, and no published vector has a bus error. That it takes as long as
/// the address error of the vectors is a choice; the access that fails reaches the bus here, and is counted.
#[test]
fn a_bus_error_is_as_long_as_an_address_error() {
    let mut bench = benign();
    for (code, kind) in
        [(0x3011u16, Time { clocks: 58, reads: 5, writes: 7 }), (0x3281, Time { clocks: 58, reads: 4, writes: 8 })]
    {
        bench.fresh().code(&[code]).a(1, NOWHERE);
        let raised = bench.raises();
        assert_eq!(raised.exception, Exception::BusError);
        assert_eq!(measured(&bench), kind, "{code:04X}");
    }
}

/// UM 6.3.8: a traced instruction that itself raises an exception (TRAP, TRAPV, CHK, a division by zero) has that one
/// first; then the trace, which finds the handler's address as the next one.
#[test]
fn a_trace_comes_after_what_its_instruction_raised() {
    let mut bench = benign();
    let cases: [(&[u16], u16, Exception); 5] = [
        (&[0x4E41], 0, Exception::Trap(1)),
        (&[0x4E76], 2, Exception::Trapv),
        (&[0x41BC, 0x0000], 0, Exception::Chk),
        (&[0x80FC, 0x0000], 0, Exception::ZeroDivide),
        (&[0x81FC, 0x0000], 0, Exception::ZeroDivide),
    ];
    for (code, codes, exception) in cases {
        bench.fresh().code(code).status(SUPERVISOR | 0x8000 | codes);
        assert_eq!(bench.raises().exception, exception);
        let before = measured(&bench);
        let trace = bench.cpu.trace_due().expect("a trace");
        assert_eq!((trace.exception, trace.pc), (Exception::Trace, HANDLER));
        assert_eq!(bench.cpu.enter(&mut bench.memory, &trace), Ok(None));
        assert_eq!(measured(&bench), before.plus(cell("34(4/3)", 0).time), "{exception:?}");
        assert_eq!(bench.memory.peek(STACK - 10, 32), HANDLER);
        assert_eq!(bench.memory.peek(STACK - 12, 16), u32::from(bench.cpu.status()), "T was clear already");
        assert_eq!(bench.cpu.trace_due(), None, "only one");
    }
}

/// UM 6.3.8: an instruction that does not run (illegal, privileged) is not traced.
#[test]
fn what_does_not_run_is_not_traced() {
    let mut bench = benign();
    for (opcode, status) in [(0x4AFC, SUPERVISOR), (0xA000, SUPERVISOR), (0xF000, 0), (0x4E70, 0)] {
        bench.fresh().code(&[opcode]).status(status | 0x8000);
        bench.raises();
        assert_eq!(bench.cpu.trace_due(), None, "{opcode:04X}");
    }
}
