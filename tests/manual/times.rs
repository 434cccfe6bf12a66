//! Runs every cell of the tables in [`time_tables`](super::time_tables): clocks, reads and writes, for every addressing
//! mode that the cell is for.
//!
//! What is expected is the manual's cell, or the other value if [`DIFFERENCES`] lists it. Exceptions and the
//! formulas behind the maxima have files of their own.

use std::collections::BTreeSet;

use super::differences::{DIFFERENCES, Difference};
use super::support::{Bench, DATA};
use super::time_tables::*;

/// `clocks(reads/writes)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Time {
    pub clocks: u32,
    pub reads: u32,
    pub writes: u32,
}

impl Time {
    pub fn plus(self, other: Time) -> Time {
        Time { clocks: self.clocks + other.clocks, reads: self.reads + other.reads, writes: self.writes + other.writes }
    }
}

/// What a cell says, for some n.
pub struct Cell {
    pub time: Time,
    /// `+`: add table 8-1.
    pub adds: bool,
    /// `*`: a maximum.
    most: bool,
    /// `**`: six clocks are eight for a register or an immediate.
    eight: bool,
}

/// Reads a cell; `12+4n(3+n/0)` for `n` registers.
pub fn cell(text: &str, n: u32) -> Cell {
    let parts: Vec<&str> = text.split(['(', '/', ')']).collect();
    let &[clocks, reads, writes, marks] = parts.as_slice() else { panic!("no cell: {text}") };
    let sum = |text: &str| text.split('+').map(|term| product(term, n)).sum();
    Cell {
        time: Time { clocks: sum(clocks), reads: sum(reads), writes: sum(writes) },
        adds: marks.contains('+'),
        most: marks.ends_with('*') && !marks.ends_with("**"),
        eight: marks.ends_with("**"),
    }
}

/// `4`, `4n` or `n`.
fn product(term: &str, n: u32) -> u32 {
    match term.strip_suffix('n') {
        Some("") => n,
        Some(factor) => factor.parse::<u32>().expect("a factor") * n,
        None => term.parse().expect("a number"),
    }
}

#[test]
fn cells_are_read_as_they_are_meant() {
    let cell = cell("12+4n(3+n/2n)+**", 5);
    assert_eq!(cell.time, Time { clocks: 32, reads: 8, writes: 10 });
    assert!(cell.adds && cell.eight && !cell.most);
}

/// The checks of one table: what went wrong, and which differences were met.
pub struct Table {
    name: &'static str,
    wrong: Vec<String>,
    met: BTreeSet<usize>,
    checked: usize,
}

impl Table {
    pub fn new(name: &'static str) -> Self {
        Self { name, wrong: Vec::new(), met: BTreeSet::new(), checked: 0 }
    }

    /// The cell that counts: the manual's, or the chosen one. The list must quote the manual as the table does, and
    /// must not choose the same.
    pub fn choose(&mut self, instruction: &str, mode: &str, manual: &'static str) -> &'static str {
        let listed =
            |d: &Difference| d.table == self.name && d.instruction == instruction && [mode, ""].contains(&d.mode);
        let Some(index) = DIFFERENCES.iter().position(listed) else { return manual };
        self.met.insert(index);
        let found = &DIFFERENCES[index];
        assert_eq!(found.manual, manual, "{instruction}: the list quotes the table wrongly");
        assert_ne!(found.chosen, manual, "{instruction}: no difference");
        found.chosen
    }

    pub fn check(&mut self, what: &str, got: Time, expected: Time, most: bool) {
        self.checked += 1;
        let clocks = if most { got.clocks <= expected.clocks } else { got.clocks == expected.clocks };
        if !clocks || (got.reads, got.writes) != (expected.reads, expected.writes) {
            self.wrong.push(format!("{what}: {got:?}, and not {expected:?}"));
        }
    }

    /// Fails if anything was wrong, nothing checked, or a listed difference of this table not met.
    pub fn finish(self) {
        assert!(self.wrong.is_empty(), "table {}:\n{}", self.name, self.wrong.join("\n"));
        assert!(self.checked > 0);
        for (index, difference) in DIFFERENCES.iter().enumerate().filter(|(_, d)| d.table == self.name) {
            let Difference { instruction, reason, .. } = difference;
            assert!(self.met.contains(&index), "{instruction} is listed ({reason}) and never met");
        }
    }
}

/// A difference in a table that nobody checks would never fail.
#[test]
fn differences_are_of_tables_that_are_checked() {
    for difference in DIFFERENCES {
        assert!(["8-5", "8-6", "8-8", "8-10", "8-14"].contains(&difference.table), "{}", difference.table);
    }
}

/// What the memory counted in the last step.
pub fn measured(bench: &Bench) -> Time {
    let memory = &bench.memory;
    Time { clocks: memory.clocks, reads: memory.reads, writes: memory.writes }
}

/// A bench on which every form runs: operands are small and positive, no divisor is zero, every address even.
pub fn benign() -> Bench {
    let mut bench = Bench::new();
    bench.memory.put(DATA - 0x100, &OPERANDS);
    bench
}

const OPERANDS: [u16; 0x400] = [0x0101; 0x400];

pub fn mode(name: &str) -> &'static Mode {
    MODES.iter().find(|mode| mode.name == name).unwrap_or_else(|| panic!("no mode {name}"))
}

/// The time of table 8-1.
pub fn effective_address(mode: &Mode, bits: u32) -> Time {
    cell(mode.time[usize::from(bits == 32)], 0).time
}

fn run(bench: &mut Bench, code: &[u16]) -> Time {
    // What ran before may have written zeros.
    bench.memory.put(DATA - 0x100, &OPERANDS);
    bench.fresh().code(code).d(2, 4).runs();
    measured(bench)
}

/// An entry for one of its opcodes, in one mode: the manual's times, or the chosen ones.
fn check_entry(table: &mut Table, bench: &mut Bench, entry: &Entry, opcode: (u16, u32), mode: &Mode) {
    let (opcode, bits) = opcode;
    let cell = cell(table.choose(entry.instruction, mode.name, entry.cell), 0);
    let mut expected = cell.time;
    if cell.adds {
        expected = expected.plus(effective_address(mode, bits));
    }
    if cell.eight && ["Dn", "An", "#"].contains(&mode.name) {
        expected.clocks += 2;
    }
    let mut code = vec![opcode | mode.bits];
    code.extend(entry.then);
    code.extend(mode.words[usize::from(bits == 32)]);
    let got = run(bench, &code);
    table.check(&format!("{} with {}: {code:04X?}", entry.instruction, mode.name), got, expected, cell.most);
}

fn check_entries(table: &mut Table, entries: &[Entry]) {
    let mut bench = benign();
    for entry in entries {
        for opcode in entry.opcodes {
            // A byte of an address register is no operand.
            for mode in entry.modes.iter().map(|name| mode(name)).filter(|mode| opcode.1 != 8 || mode.name != "An") {
                check_entry(table, &mut bench, entry, *opcode, mode);
            }
        }
    }
}

/// The entries of [`PLAIN`] for a table.
fn check_plain(table: &mut Table) {
    let mut bench = benign();
    let name = table.name;
    for plain in PLAIN.iter().filter(|plain| plain.table == name) {
        let expected = cell(table.choose(plain.instruction, "", plain.cell), 0).time;
        for code in plain.codes {
            let d0 = if plain.instruction.ends_with("count expired") { 0 } else { 1 };
            bench.fresh().code(code).d(0, d0).runs();
            table.check(plain.instruction, measured(&bench), expected, false);
        }
    }
}

#[test]
fn table_8_4_standard() {
    let mut table = Table::new("8-4");
    check_entries(&mut table, STANDARD);
    table.finish();
}

#[test]
fn table_8_5_immediate() {
    let mut table = Table::new("8-5");
    check_entries(&mut table, IMMEDIATE);
    check_plain(&mut table);
    table.finish();
}

#[test]
fn table_8_6_single_operand() {
    let mut table = Table::new("8-6");
    check_entries(&mut table, SINGLE);
    table.finish();
}

/// The count is n, modulo 64 where it comes from a register (PRM, each shift's page).
#[test]
fn table_8_7_shift_and_rotate() {
    let mut table = Table::new("8-7");
    check_entries(&mut table, SHIFT_MEMORY);
    let mut bench = benign();
    for ((bits, text), way) in SHIFT_REGISTER.into_iter().flat_map(|row| (0..8).map(move |way| (row, way))) {
        let opcode = 0xE000 | (way & 4) << 6 | (way & 3) << 3 | (bits as u16 / 16) << 6;
        for count in 0..64 {
            bench.fresh().code(&[opcode | 0x0220]).d(0, 0x1234_5678).d(1, 0xAAAA_AA80 | count).runs();
            let expected = cell(text, count).time;
            table.check(&format!("{opcode:04X} by D1 = {count}"), measured(&bench), expected, false);
        }
        for count in 1..=8u16 {
            let got = run(&mut bench, &[opcode | (count & 7) << 9]);
            table.check(&format!("{opcode:04X} by {count}"), got, cell(text, u32::from(count)).time, false);
        }
    }
    table.finish();
}

#[test]
fn table_8_8_bit_manipulation() {
    let mut table = Table::new("8-8");
    check_entries(&mut table, BIT_MANIPULATION);
    table.finish();
}

#[test]
fn table_8_9_conditional() {
    let mut table = Table::new("8-9");
    check_plain(&mut table);
    table.finish();
}

/// MOVEM with every number of registers, none included.
#[test]
fn table_8_10_control() {
    let mut table = Table::new("8-10");
    let mut bench = benign();
    for (instruction, opcode, list, cells) in CONTROL_TIMES {
        for (name, text) in CONTROL.into_iter().zip(cells).filter(|(_, text)| *text != "-") {
            let mode = mode(name);
            for n in 0..=if list { 16 } else { 0 } {
                let mut code = vec![opcode | mode.bits];
                code.extend(list.then_some(((1u32 << n) - 1) as u16));
                code.extend(mode.words[0]);
                let expected = cell(table.choose(instruction, name, text), n).time;
                let got = run(&mut bench, &code);
                table.check(&format!("{instruction} with {name}, {n} registers"), got, expected, false);
            }
        }
    }
    table.finish();
}

#[test]
fn table_8_11_multiprecision() {
    let mut table = Table::new("8-11");
    check_plain(&mut table);
    table.finish();
}

#[test]
fn table_8_12_miscellaneous() {
    let mut table = Table::new("8-12");
    check_entries(&mut table, MISCELLANEOUS);
    check_plain(&mut table);
    table.finish();
}

#[test]
fn table_8_13_move_peripheral() {
    let mut table = Table::new("8-13");
    check_plain(&mut table);
    table.finish();
}

/// The whole grid of MOVE and MOVEA: 12 sources to 9 destinations.
fn check_moves(name: &'static str, opcode: u16, bits: u32, rows: &[MoveRow; 12]) {
    let mut table = Table::new(name);
    let mut bench = benign();
    let long = usize::from(bits == 32);
    for (source, cells) in rows {
        for (destination, text) in DESTINATIONS.into_iter().zip(cells) {
            if bits == 8 && (destination == "An" || *source == "An") {
                continue;
            }
            let (from, to) = (mode(source), mode(destination));
            // Register 3, where it is a register at all.
            let register = if to.bits < 0o70 { 3 } else { to.bits & 7 };
            let mut code = vec![opcode | register << 9 | (to.bits >> 3) << 6 | from.bits];
            code.extend(from.words[long].iter().chain(to.words[long]));
            let expected = cell(table.choose(source, destination, text), 0).time;
            let got = run(&mut bench, &code);
            table.check(&format!("MOVE {source},{destination} of {bits} bits"), got, expected, false);
        }
    }
    table.finish();
}

#[test]
fn table_8_2_move_byte_and_word() {
    check_moves("8-2", 0x1000, 8, &MOVE_WORD);
    check_moves("8-2", 0x3000, 16, &MOVE_WORD);
}

#[test]
fn table_8_3_move_long() {
    check_moves("8-3", 0x2000, 32, &MOVE_LONG);
}
