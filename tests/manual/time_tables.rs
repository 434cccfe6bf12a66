//! The tables of UM section 8, "Instruction Execution Times", as data: clock periods and bus cycles of every
//! instruction, `clocks(reads/writes)`, where the fetches count as reads.
//!
//! Transcribed from memory; the cells are written as the manual writes them. `+` adds table 8-1, `+**` makes six
//! clocks eight when the source is a register or immediate, `*` alone is a maximum. Later processors are left out.
//! The manual's order of instructions is kept.

/// An addressing mode: a row of table 8-1.
pub struct Mode {
    pub name: &'static str,
    /// The six bits of the opcode, with register 1.
    pub bits: u16,
    /// The extension words, for bytes and words and for longs.
    pub words: [&'static [u16]; 2],
    /// The times of table 8-1, likewise.
    pub time: [&'static str; 2],
}

const fn mode(
    name: &'static str,
    bits: u16,
    words: &'static [u16],
    word_time: &'static str,
    long_time: &'static str,
) -> Mode {
    Mode { name, bits, words: [words, words], time: [word_time, long_time] }
}

/// Table 8-1, "Effective Address Calculation Times". The index is D2.
pub const MODES: [Mode; 12] = [
    mode("Dn", 0o01, &[], "0(0/0)", "0(0/0)"),
    mode("An", 0o11, &[], "0(0/0)", "0(0/0)"),
    mode("(An)", 0o21, &[], "4(1/0)", "8(2/0)"),
    mode("(An)+", 0o31, &[], "4(1/0)", "8(2/0)"),
    mode("-(An)", 0o41, &[], "6(1/0)", "10(2/0)"),
    mode("d16(An)", 0o51, &[0x0010], "8(2/0)", "12(3/0)"),
    mode("d8(An,Xn)", 0o61, &[0x2008], "10(2/0)", "14(3/0)"),
    mode("abs.W", 0o70, &[0x4400], "8(2/0)", "12(3/0)"),
    mode("abs.L", 0o71, &[0x0000, 0x4500], "12(3/0)", "16(4/0)"),
    mode("d16(PC)", 0o72, &[0x0010], "8(2/0)", "12(3/0)"),
    mode("d8(PC,Xn)", 0o73, &[0x2008], "10(2/0)", "14(3/0)"),
    Mode { words: [&[0x0012], &[0x0000, 0x0012]], ..mode("#", 0o74, &[], "4(1/0)", "8(2/0)") },
];

/// The columns of tables 8-2 and 8-3: destinations.
pub const DESTINATIONS: [&str; 9] = ["Dn", "An", "(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L"];

/// A row of table 8-2 or 8-3: the source, and a time for each destination.
pub type MoveRow = (&'static str, [&'static str; 9]);

/// Table 8-2, "Move Byte and Word Instruction Execution Times".
#[rustfmt::skip]
pub const MOVE_WORD: [MoveRow; 12] = [
    ("Dn",        ["4(1/0)",  "4(1/0)",  "8(1/1)",  "8(1/1)",  "8(1/1)",  "12(2/1)", "14(2/1)", "12(2/1)", "16(3/1)"]),
    ("An",        ["4(1/0)",  "4(1/0)",  "8(1/1)",  "8(1/1)",  "8(1/1)",  "12(2/1)", "14(2/1)", "12(2/1)", "16(3/1)"]),
    ("(An)",      ["8(2/0)",  "8(2/0)",  "12(2/1)", "12(2/1)", "12(2/1)", "16(3/1)", "18(3/1)", "16(3/1)", "20(4/1)"]),
    ("(An)+",     ["8(2/0)",  "8(2/0)",  "12(2/1)", "12(2/1)", "12(2/1)", "16(3/1)", "18(3/1)", "16(3/1)", "20(4/1)"]),
    ("-(An)",     ["10(2/0)", "10(2/0)", "14(2/1)", "14(2/1)", "14(2/1)", "18(3/1)", "20(3/1)", "18(3/1)", "22(4/1)"]),
    ("d16(An)",   ["12(3/0)", "12(3/0)", "16(3/1)", "16(3/1)", "16(3/1)", "20(4/1)", "22(4/1)", "20(4/1)", "24(5/1)"]),
    ("d8(An,Xn)", ["14(3/0)", "14(3/0)", "18(3/1)", "18(3/1)", "18(3/1)", "22(4/1)", "24(4/1)", "22(4/1)", "26(5/1)"]),
    ("abs.W",     ["12(3/0)", "12(3/0)", "16(3/1)", "16(3/1)", "16(3/1)", "20(4/1)", "22(4/1)", "20(4/1)", "24(5/1)"]),
    ("abs.L",     ["16(4/0)", "16(4/0)", "20(4/1)", "20(4/1)", "20(4/1)", "24(5/1)", "26(5/1)", "24(5/1)", "28(6/1)"]),
    ("d16(PC)",   ["12(3/0)", "12(3/0)", "16(3/1)", "16(3/1)", "16(3/1)", "20(4/1)", "22(4/1)", "20(4/1)", "24(5/1)"]),
    ("d8(PC,Xn)", ["14(3/0)", "14(3/0)", "18(3/1)", "18(3/1)", "18(3/1)", "22(4/1)", "24(4/1)", "22(4/1)", "26(5/1)"]),
    ("#",         ["8(2/0)",  "8(2/0)",  "12(2/1)", "12(2/1)", "12(2/1)", "16(3/1)", "18(3/1)", "16(3/1)", "20(4/1)"]),
];

/// Table 8-3, "Move Long Instruction Execution Times".
#[rustfmt::skip]
pub const MOVE_LONG: [MoveRow; 12] = [
    ("Dn",        ["4(1/0)",  "4(1/0)",  "12(1/2)", "12(1/2)", "12(1/2)", "16(2/2)", "18(2/2)", "16(2/2)", "20(3/2)"]),
    ("An",        ["4(1/0)",  "4(1/0)",  "12(1/2)", "12(1/2)", "12(1/2)", "16(2/2)", "18(2/2)", "16(2/2)", "20(3/2)"]),
    ("(An)",      ["12(3/0)", "12(3/0)", "20(3/2)", "20(3/2)", "20(3/2)", "24(4/2)", "26(4/2)", "24(4/2)", "28(5/2)"]),
    ("(An)+",     ["12(3/0)", "12(3/0)", "20(3/2)", "20(3/2)", "20(3/2)", "24(4/2)", "26(4/2)", "24(4/2)", "28(5/2)"]),
    ("-(An)",     ["14(3/0)", "14(3/0)", "22(3/2)", "22(3/2)", "22(3/2)", "26(4/2)", "28(4/2)", "26(4/2)", "30(5/2)"]),
    ("d16(An)",   ["16(4/0)", "16(4/0)", "24(4/2)", "24(4/2)", "24(4/2)", "28(5/2)", "30(5/2)", "28(5/2)", "32(6/2)"]),
    ("d8(An,Xn)", ["18(4/0)", "18(4/0)", "26(4/2)", "26(4/2)", "26(4/2)", "30(5/2)", "32(5/2)", "30(5/2)", "34(6/2)"]),
    ("abs.W",     ["16(4/0)", "16(4/0)", "24(4/2)", "24(4/2)", "24(4/2)", "28(5/2)", "30(5/2)", "28(5/2)", "32(6/2)"]),
    ("abs.L",     ["20(5/0)", "20(5/0)", "28(5/2)", "28(5/2)", "28(5/2)", "32(6/2)", "34(6/2)", "32(6/2)", "36(7/2)"]),
    ("d16(PC)",   ["16(4/0)", "16(4/0)", "24(4/2)", "24(4/2)", "24(4/2)", "28(5/2)", "30(5/2)", "28(5/2)", "32(6/2)"]),
    ("d8(PC,Xn)", ["18(4/0)", "18(4/0)", "26(4/2)", "26(4/2)", "26(4/2)", "30(5/2)", "32(5/2)", "30(5/2)", "34(6/2)"]),
    ("#",         ["12(3/0)", "12(3/0)", "20(3/2)", "20(3/2)", "20(3/2)", "24(4/2)", "26(4/2)", "24(4/2)", "28(5/2)"]),
];

/// A cell of tables 8-4 to 8-8 and 8-12: an instruction with an effective address.
pub struct Entry {
    pub instruction: &'static str,
    /// The opcode without its effective address, and the size of the operand.
    pub opcodes: &'static [(u16, u32)],
    /// The words between the opcode and the effective address's own.
    pub then: &'static [u16],
    /// The addressing modes that this cell is for.
    pub modes: &'static [&'static str],
    pub cell: &'static str,
}

const fn entry(
    instruction: &'static str,
    opcodes: &'static [(u16, u32)],
    modes: &'static [&'static str],
    cell: &'static str,
) -> Entry {
    Entry { instruction, opcodes, then: &[], modes, cell }
}

/// The same with words that follow the opcode.
const fn longer(
    instruction: &'static str,
    opcodes: &'static [(u16, u32)],
    then: &'static [u16],
    modes: &'static [&'static str],
    cell: &'static str,
) -> Entry {
    Entry { instruction, opcodes, then, modes, cell }
}

const ALL: &[&str] =
    &["Dn", "An", "(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L", "d16(PC)", "d8(PC,Xn)", "#"];
/// All but An.
const DATA: &[&str] =
    &["Dn", "(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L", "d16(PC)", "d8(PC,Xn)", "#"];
/// The column `<M>` where the operand is only read.
const MEMORY: &[&str] = &["(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L", "d16(PC)", "d8(PC,Xn)"];
/// And where it is written, or where this processor has no PC-relative form.
const ALTERABLE: &[&str] = &["(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L"];
const DN: &[&str] = &["Dn"];
const AN: &[&str] = &["An"];

/// Table 8-4, "Standard Instruction Execution Times".
pub const STANDARD: &[Entry] = &[
    entry("ADDA.W <ea>,An", &[(0xD0C0, 16)], ALL, "8(1/0)+"),
    entry("ADDA.L <ea>,An", &[(0xD1C0, 32)], ALL, "6(1/0)+**"),
    entry("ADD.BW <ea>,Dn", &[(0xD000, 8), (0xD040, 16)], ALL, "4(1/0)+"),
    entry("ADD.L <ea>,Dn", &[(0xD080, 32)], ALL, "6(1/0)+**"),
    entry("ADD.BW Dn,<M>", &[(0xD100, 8), (0xD140, 16)], ALTERABLE, "8(1/1)+"),
    entry("ADD.L Dn,<M>", &[(0xD180, 32)], ALTERABLE, "12(1/2)+"),
    entry("AND.BW <ea>,Dn", &[(0xC000, 8), (0xC040, 16)], DATA, "4(1/0)+"),
    entry("AND.L <ea>,Dn", &[(0xC080, 32)], DATA, "6(1/0)+**"),
    entry("AND.BW Dn,<M>", &[(0xC100, 8), (0xC140, 16)], ALTERABLE, "8(1/1)+"),
    entry("AND.L Dn,<M>", &[(0xC180, 32)], ALTERABLE, "12(1/2)+"),
    entry("CMPA.W <ea>,An", &[(0xB0C0, 16)], ALL, "6(1/0)+"),
    entry("CMPA.L <ea>,An", &[(0xB1C0, 32)], ALL, "6(1/0)+"),
    entry("CMP.BW <ea>,Dn", &[(0xB000, 8), (0xB040, 16)], ALL, "4(1/0)+"),
    entry("CMP.L <ea>,Dn", &[(0xB080, 32)], ALL, "6(1/0)+"),
    entry("DIVS <ea>,Dn", &[(0x81C0, 16)], DATA, "158(1/0)+*"),
    entry("DIVU <ea>,Dn", &[(0x80C0, 16)], DATA, "140(1/0)+*"),
    entry("EOR.BW Dn,Dn", &[(0xB100, 8), (0xB140, 16)], DN, "4(1/0)"),
    entry("EOR.L Dn,Dn", &[(0xB180, 32)], DN, "8(1/0)"),
    entry("EOR.BW Dn,<M>", &[(0xB100, 8), (0xB140, 16)], ALTERABLE, "8(1/1)+"),
    entry("EOR.L Dn,<M>", &[(0xB180, 32)], ALTERABLE, "12(1/2)+"),
    entry("MULS <ea>,Dn", &[(0xC1C0, 16)], DATA, "70(1/0)+*"),
    entry("MULU <ea>,Dn", &[(0xC0C0, 16)], DATA, "70(1/0)+*"),
    entry("OR.BW <ea>,Dn", &[(0x8000, 8), (0x8040, 16)], DATA, "4(1/0)+"),
    entry("OR.L <ea>,Dn", &[(0x8080, 32)], DATA, "6(1/0)+**"),
    entry("OR.BW Dn,<M>", &[(0x8100, 8), (0x8140, 16)], ALTERABLE, "8(1/1)+"),
    entry("OR.L Dn,<M>", &[(0x8180, 32)], ALTERABLE, "12(1/2)+"),
    entry("SUBA.W <ea>,An", &[(0x90C0, 16)], ALL, "8(1/0)+"),
    entry("SUBA.L <ea>,An", &[(0x91C0, 32)], ALL, "6(1/0)+**"),
    entry("SUB.BW <ea>,Dn", &[(0x9000, 8), (0x9040, 16)], ALL, "4(1/0)+"),
    entry("SUB.L <ea>,Dn", &[(0x9080, 32)], ALL, "6(1/0)+**"),
    entry("SUB.BW Dn,<M>", &[(0x9100, 8), (0x9140, 16)], ALTERABLE, "8(1/1)+"),
    entry("SUB.L Dn,<M>", &[(0x9180, 32)], ALTERABLE, "12(1/2)+"),
];

const ONE: &[u16] = &[0x0012];
const TWO: &[u16] = &[0x0000, 0x0012];

/// Table 8-5, "Immediate Instruction Execution Times".
pub const IMMEDIATE: &[Entry] = &[
    longer("ADDI.BW #,Dn", &[(0x0600, 8), (0x0640, 16)], ONE, DN, "8(2/0)"),
    longer("ADDI.L #,Dn", &[(0x0680, 32)], TWO, DN, "16(3/0)"),
    longer("ADDI.BW #,<M>", &[(0x0600, 8), (0x0640, 16)], ONE, ALTERABLE, "12(2/1)+"),
    longer("ADDI.L #,<M>", &[(0x0680, 32)], TWO, ALTERABLE, "20(3/2)+"),
    entry("ADDQ.BW #,Dn", &[(0x5200, 8), (0x5240, 16)], DN, "4(1/0)"),
    entry("ADDQ.L #,Dn", &[(0x5280, 32)], DN, "8(1/0)"),
    entry("ADDQ.W #,An", &[(0x5240, 16)], AN, "4(1/0)"),
    entry("ADDQ.L #,An", &[(0x5280, 32)], AN, "8(1/0)"),
    entry("ADDQ.BW #,<M>", &[(0x5200, 8), (0x5240, 16)], ALTERABLE, "8(1/1)+"),
    entry("ADDQ.L #,<M>", &[(0x5280, 32)], ALTERABLE, "12(1/2)+"),
    longer("ANDI.BW #,Dn", &[(0x0200, 8), (0x0240, 16)], ONE, DN, "8(2/0)"),
    longer("ANDI.L #,Dn", &[(0x0280, 32)], TWO, DN, "14(3/0)"),
    longer("ANDI.BW #,<M>", &[(0x0200, 8), (0x0240, 16)], ONE, ALTERABLE, "12(2/1)+"),
    longer("ANDI.L #,<M>", &[(0x0280, 32)], TWO, ALTERABLE, "20(3/2)+"),
    longer("CMPI.BW #,Dn", &[(0x0C00, 8), (0x0C40, 16)], ONE, DN, "8(2/0)"),
    longer("CMPI.L #,Dn", &[(0x0C80, 32)], TWO, DN, "14(3/0)"),
    longer("CMPI.BW #,<M>", &[(0x0C00, 8), (0x0C40, 16)], ONE, ALTERABLE, "8(2/0)+"),
    longer("CMPI.L #,<M>", &[(0x0C80, 32)], TWO, ALTERABLE, "12(3/0)+"),
    longer("EORI.BW #,Dn", &[(0x0A00, 8), (0x0A40, 16)], ONE, DN, "8(2/0)"),
    longer("EORI.L #,Dn", &[(0x0A80, 32)], TWO, DN, "16(3/0)"),
    longer("EORI.BW #,<M>", &[(0x0A00, 8), (0x0A40, 16)], ONE, ALTERABLE, "12(2/1)+"),
    longer("EORI.L #,<M>", &[(0x0A80, 32)], TWO, ALTERABLE, "20(3/2)+"),
    longer("ORI.BW #,Dn", &[(0x0000, 8), (0x0040, 16)], ONE, DN, "8(2/0)"),
    longer("ORI.L #,Dn", &[(0x0080, 32)], TWO, DN, "16(3/0)"),
    longer("ORI.BW #,<M>", &[(0x0000, 8), (0x0040, 16)], ONE, ALTERABLE, "12(2/1)+"),
    longer("ORI.L #,<M>", &[(0x0080, 32)], TWO, ALTERABLE, "20(3/2)+"),
    longer("SUBI.BW #,Dn", &[(0x0400, 8), (0x0440, 16)], ONE, DN, "8(2/0)"),
    longer("SUBI.L #,Dn", &[(0x0480, 32)], TWO, DN, "16(3/0)"),
    longer("SUBI.BW #,<M>", &[(0x0400, 8), (0x0440, 16)], ONE, ALTERABLE, "12(2/1)+"),
    longer("SUBI.L #,<M>", &[(0x0480, 32)], TWO, ALTERABLE, "20(3/2)+"),
    entry("SUBQ.BW #,Dn", &[(0x5300, 8), (0x5340, 16)], DN, "4(1/0)"),
    entry("SUBQ.L #,Dn", &[(0x5380, 32)], DN, "8(1/0)"),
    entry("SUBQ.W #,An", &[(0x5340, 16)], AN, "8(1/0)"),
    entry("SUBQ.L #,An", &[(0x5380, 32)], AN, "8(1/0)"),
    entry("SUBQ.BW #,<M>", &[(0x5300, 8), (0x5340, 16)], ALTERABLE, "8(1/1)+"),
    entry("SUBQ.L #,<M>", &[(0x5380, 32)], ALTERABLE, "12(1/2)+"),
];

/// Table 8-6, "Single Operand Instruction Execution Times".
pub const SINGLE: &[Entry] = &[
    entry("CLR.BW Dn", &[(0x4200, 8), (0x4240, 16)], DN, "4(1/0)"),
    entry("CLR.L Dn", &[(0x4280, 32)], DN, "6(1/0)"),
    entry("CLR.BW <M>", &[(0x4200, 8), (0x4240, 16)], ALTERABLE, "8(1/1)+"),
    entry("CLR.L <M>", &[(0x4280, 32)], ALTERABLE, "12(1/2)+"),
    entry("NBCD Dn", &[(0x4800, 8)], DN, "6(1/0)"),
    entry("NBCD <M>", &[(0x4800, 8)], ALTERABLE, "8(1/1)+"),
    entry("NEG.BW Dn", &[(0x4400, 8), (0x4440, 16)], DN, "4(1/0)"),
    entry("NEG.L Dn", &[(0x4480, 32)], DN, "6(1/0)"),
    entry("NEG.BW <M>", &[(0x4400, 8), (0x4440, 16)], ALTERABLE, "8(1/1)+"),
    entry("NEG.L <M>", &[(0x4480, 32)], ALTERABLE, "12(1/2)+"),
    entry("NEGX.BW Dn", &[(0x4000, 8), (0x4040, 16)], DN, "4(1/0)"),
    entry("NEGX.L Dn", &[(0x4080, 32)], DN, "6(1/0)"),
    entry("NEGX.BW <M>", &[(0x4000, 8), (0x4040, 16)], ALTERABLE, "8(1/1)+"),
    entry("NEGX.L <M>", &[(0x4080, 32)], ALTERABLE, "12(1/2)+"),
    entry("NOT.BW Dn", &[(0x4600, 8), (0x4640, 16)], DN, "4(1/0)"),
    entry("NOT.L Dn", &[(0x4680, 32)], DN, "6(1/0)"),
    entry("NOT.BW <M>", &[(0x4600, 8), (0x4640, 16)], ALTERABLE, "8(1/1)+"),
    entry("NOT.L <M>", &[(0x4680, 32)], ALTERABLE, "12(1/2)+"),
    entry("Scc Dn, false", &[(0x51C0, 8), (0x55C0, 8), (0x57C0, 8)], DN, "4(1/0)"),
    entry("Scc Dn, true", &[(0x50C0, 8), (0x54C0, 8), (0x56C0, 8)], DN, "6(1/0)"),
    entry("Scc <M>, false", &[(0x51C0, 8), (0x55C0, 8), (0x57C0, 8)], ALTERABLE, "8(1/1)+"),
    entry("Scc <M>, true", &[(0x50C0, 8), (0x54C0, 8), (0x56C0, 8)], ALTERABLE, "8(1/1)+"),
    entry("TAS Dn", &[(0x4AC0, 8)], DN, "4(1/0)"),
    entry("TAS <M>", &[(0x4AC0, 8)], ALTERABLE, "14(2/1)+"),
    entry("TST.BW Dn", &[(0x4A00, 8), (0x4A40, 16)], DN, "4(1/0)"),
    entry("TST.L Dn", &[(0x4A80, 32)], DN, "4(1/0)"),
    entry("TST.BW <M>", &[(0x4A00, 8), (0x4A40, 16)], ALTERABLE, "4(1/0)+"),
    entry("TST.L <M>", &[(0x4A80, 32)], ALTERABLE, "4(1/0)+"),
];

/// Table 8-7, "Shift/Rotate Instruction Execution Times", the memory column: ASR ASL, LSR LSL, ROXR ROXL, ROR ROL.
pub const SHIFT_MEMORY: &[Entry] = &[
    entry("ASR, ASL <M>", &[(0xE0C0, 16), (0xE1C0, 16)], ALTERABLE, "8(1/1)+"),
    entry("LSR, LSL <M>", &[(0xE2C0, 16), (0xE3C0, 16)], ALTERABLE, "8(1/1)+"),
    entry("ROR, ROL <M>", &[(0xE6C0, 16), (0xE7C0, 16)], ALTERABLE, "8(1/1)+"),
    entry("ROXR, ROXL <M>", &[(0xE4C0, 16), (0xE5C0, 16)], ALTERABLE, "8(1/1)+"),
];

/// The register column, for all eight alike: the size in bits, and the time for a count of n.
pub const SHIFT_REGISTER: [(u32, &str); 3] = [(8, "6+2n(1/0)"), (16, "6+2n(1/0)"), (32, "8+2n(1/0)")];

const BIT: &[u16] = &[0x0003];

/// Table 8-8, "Bit Manipulation Instruction Execution Times". The dynamic forms take the bit's number from D1.
pub const BIT_MANIPULATION: &[Entry] = &[
    entry("BCHG Dn,<M>", &[(0x0340, 8)], ALTERABLE, "8(1/1)+"),
    entry("BCHG Dn,Dn", &[(0x0340, 32)], DN, "8(1/0)*"),
    longer("BCHG #,<M>", &[(0x0840, 8)], BIT, ALTERABLE, "12(2/1)+"),
    longer("BCHG #,Dn", &[(0x0840, 32)], BIT, DN, "12(2/0)*"),
    entry("BCLR Dn,<M>", &[(0x0380, 8)], ALTERABLE, "8(1/1)+"),
    entry("BCLR Dn,Dn", &[(0x0380, 32)], DN, "10(1/0)*"),
    longer("BCLR #,<M>", &[(0x0880, 8)], BIT, ALTERABLE, "12(2/1)+"),
    longer("BCLR #,Dn", &[(0x0880, 32)], BIT, DN, "14(2/0)*"),
    entry("BSET Dn,<M>", &[(0x03C0, 8)], ALTERABLE, "8(1/1)+"),
    entry("BSET Dn,Dn", &[(0x03C0, 32)], DN, "8(1/0)*"),
    longer("BSET #,<M>", &[(0x08C0, 8)], BIT, ALTERABLE, "12(2/1)+"),
    longer("BSET #,Dn", &[(0x08C0, 32)], BIT, DN, "12(2/0)*"),
    entry("BTST Dn,<M>", &[(0x0300, 8)], MEMORY, "4(1/0)+"),
    entry("BTST Dn,#", &[(0x0300, 8)], &["#"], "4(1/0)+"),
    entry("BTST Dn,Dn", &[(0x0300, 32)], DN, "6(1/0)"),
    longer("BTST #,<M>", &[(0x0800, 8)], BIT, MEMORY, "8(2/0)+"),
    longer("BTST #,Dn", &[(0x0800, 32)], BIT, DN, "10(2/0)"),
];

/// Of table 8-12, the instructions with an effective address. How many reads MOVE to CCR and MOVE to SR have is the
/// one thing in these tables of which the memory is not sure: some printings may say 1.
pub const MISCELLANEOUS: &[Entry] = &[
    entry("CHK, no trap", &[(0x4180, 16)], DATA, "10(1/0)+"),
    entry("MOVE from SR, register", &[(0x40C0, 16)], DN, "6(1/0)"),
    entry("MOVE from SR, memory", &[(0x40C0, 16)], ALTERABLE, "8(1/1)+"),
    entry("MOVE to CCR", &[(0x44C0, 16)], DATA, "12(2/0)+"),
    entry("MOVE to SR", &[(0x46C0, 16)], DATA, "12(2/0)+"),
];

/// An instruction without an effective address: a cell, and encodings that all take this long. D0 to D7 are 1 to 8,
/// and the condition codes are clear.
pub struct Plain {
    pub table: &'static str,
    pub instruction: &'static str,
    pub cell: &'static str,
    pub codes: &'static [&'static [u16]],
}

const fn plain(
    table: &'static str,
    instruction: &'static str,
    cell: &'static str,
    codes: &'static [&'static [u16]],
) -> Plain {
    Plain { table, instruction, cell, codes }
}

/// Table 8-9, "Conditional Instruction Execution Times"; 8-11, "Multiprecision"; the rest of 8-12, "Miscellaneous";
/// 8-13, "Move Peripheral"; and MOVEQ from 8-5.
pub const PLAIN: &[Plain] = &[
    plain("8-5", "MOVEQ", "4(1/0)", &[&[0x7012], &[0x7EFF]]),
    plain("8-9", "Bcc.B taken", "10(2/0)", &[&[0x6410], &[0x6610], &[0x6AF0], &[0x6E10]]),
    plain("8-9", "Bcc.B not taken", "8(1/0)", &[&[0x6510], &[0x6710], &[0x6B10], &[0x6F10]]),
    plain("8-9", "Bcc.W taken", "10(2/0)", &[&[0x6400, 0x0010], &[0x6A00, 0xFFF0]]),
    plain("8-9", "Bcc.W not taken", "12(2/0)", &[&[0x6500, 0x0010], &[0x6700, 0x0010]]),
    plain("8-9", "BRA.B", "10(2/0)", &[&[0x6010], &[0x60F0]]),
    plain("8-9", "BRA.W", "10(2/0)", &[&[0x6000, 0x0010]]),
    plain("8-9", "BSR.B", "18(2/2)", &[&[0x6110], &[0x61F0]]),
    plain("8-9", "BSR.W", "18(2/2)", &[&[0x6100, 0x0010]]),
    plain("8-9", "DBcc, cc true", "12(2/0)", &[&[0x50C9, 0x0010], &[0x54C9, 0x0010]]),
    plain("8-9", "DBcc, count not expired", "10(2/0)", &[&[0x51C9, 0x0010], &[0x57CA, 0xFFF0]]),
    // D0 is 0 where this is run.
    plain("8-9", "DBcc, count expired", "14(3/0)", &[&[0x51C8, 0x0010], &[0x55C8, 0xFFF0]]),
    plain("8-11", "ADDX.BW Dn,Dn", "4(1/0)", &[&[0xD101], &[0xD141]]),
    plain("8-11", "ADDX.L Dn,Dn", "8(1/0)", &[&[0xD181]]),
    plain("8-11", "ADDX.BW M,M", "18(3/1)", &[&[0xD109], &[0xD149]]),
    plain("8-11", "ADDX.L M,M", "30(5/2)", &[&[0xD189]]),
    plain("8-11", "CMPM.BW M,M", "12(3/0)", &[&[0xB109], &[0xB149]]),
    plain("8-11", "CMPM.L M,M", "20(5/0)", &[&[0xB189]]),
    plain("8-11", "SUBX.BW Dn,Dn", "4(1/0)", &[&[0x9101], &[0x9141]]),
    plain("8-11", "SUBX.L Dn,Dn", "8(1/0)", &[&[0x9181]]),
    plain("8-11", "SUBX.BW M,M", "18(3/1)", &[&[0x9109], &[0x9149]]),
    plain("8-11", "SUBX.L M,M", "30(5/2)", &[&[0x9189]]),
    plain("8-11", "ABCD Dn,Dn", "6(1/0)", &[&[0xC101]]),
    plain("8-11", "ABCD M,M", "18(3/1)", &[&[0xC109]]),
    plain("8-11", "SBCD Dn,Dn", "6(1/0)", &[&[0x8101]]),
    plain("8-11", "SBCD M,M", "18(3/1)", &[&[0x8109]]),
    plain("8-12", "ANDI to CCR", "20(3/0)", &[&[0x023C, 0x001F]]),
    plain("8-12", "ANDI to SR", "20(3/0)", &[&[0x027C, 0xFFFF], &[0x027C, 0x0000]]),
    plain("8-12", "EORI to CCR", "20(3/0)", &[&[0x0A3C, 0x001F]]),
    plain("8-12", "EORI to SR", "20(3/0)", &[&[0x0A7C, 0x0000], &[0x0A7C, 0x2000]]),
    plain("8-12", "ORI to CCR", "20(3/0)", &[&[0x003C, 0x001F]]),
    plain("8-12", "ORI to SR", "20(3/0)", &[&[0x007C, 0x001F]]),
    plain("8-12", "EXG", "6(1/0)", &[&[0xC141], &[0xC149], &[0xC189]]),
    plain("8-12", "EXT.W", "4(1/0)", &[&[0x4880]]),
    plain("8-12", "EXT.L", "4(1/0)", &[&[0x48C0]]),
    plain("8-12", "LINK", "16(2/2)", &[&[0x4E50, 0xFFF0], &[0x4E56, 0x0000]]),
    plain("8-12", "MOVE from USP", "4(1/0)", &[&[0x4E68]]),
    plain("8-12", "MOVE to USP", "4(1/0)", &[&[0x4E60]]),
    plain("8-12", "NOP", "4(1/0)", &[&[0x4E71]]),
    plain("8-12", "RESET", "132(1/0)", &[&[0x4E70]]),
    plain("8-12", "RTE", "20(5/0)", &[&[0x4E73]]),
    plain("8-12", "RTR", "20(5/0)", &[&[0x4E77]]),
    plain("8-12", "RTS", "16(4/0)", &[&[0x4E75]]),
    plain("8-12", "STOP", "4(0/0)", &[&[0x4E72, 0x2700]]),
    plain("8-12", "SWAP", "4(1/0)", &[&[0x4840]]),
    plain("8-12", "TRAPV, no trap", "4(1/0)", &[&[0x4E76]]),
    plain("8-12", "UNLK", "12(3/0)", &[&[0x4E58]]),
    plain("8-13", "MOVEP.W Dx,d(Ay)", "16(2/2)", &[&[0x0189, 0x0010]]),
    plain("8-13", "MOVEP.W d(Ay),Dx", "16(4/0)", &[&[0x0109, 0x0010]]),
    plain("8-13", "MOVEP.L Dx,d(Ay)", "24(2/4)", &[&[0x01C9, 0x0010]]),
    plain("8-13", "MOVEP.L d(Ay),Dx", "24(6/0)", &[&[0x0149, 0x0010]]),
];

/// The columns of table 8-10.
pub const CONTROL: [&str; 9] =
    ["(An)", "(An)+", "-(An)", "d16(An)", "d8(An,Xn)", "abs.W", "abs.L", "d16(PC)", "d8(PC,Xn)"];

/// A row of table 8-10: the instruction, its opcode, whether a register list follows, and a time for each column; `-`
/// where there is no such form.
pub type ControlRow = (&'static str, u16, bool, [&'static str; 9]);

/// Table 8-10, "JMP, JSR, LEA, PEA, and MOVEM Instruction Execution Times"; n is the number of registers.
#[rustfmt::skip]
pub const CONTROL_TIMES: [ControlRow; 8] = [
    ("JMP", 0x4EC0, false,
        ["8(2/0)", "-", "-", "10(2/0)", "14(3/0)", "10(2/0)", "12(3/0)", "10(2/0)", "14(3/0)"]),
    ("JSR", 0x4E80, false,
        ["16(2/2)", "-", "-", "18(2/2)", "22(2/2)", "18(2/2)", "20(3/2)", "18(2/2)", "22(2/2)"]),
    ("LEA", 0x41C0, false,
        ["4(1/0)", "-", "-", "8(2/0)", "12(2/0)", "8(2/0)", "12(3/0)", "8(2/0)", "12(2/0)"]),
    ("PEA", 0x4840, false,
        ["12(1/2)", "-", "-", "16(2/2)", "20(2/2)", "16(2/2)", "20(3/2)", "16(2/2)", "20(2/2)"]),
    ("MOVEM.W M,R", 0x4C80, true,
        ["12+4n(3+n/0)", "12+4n(3+n/0)", "-", "16+4n(4+n/0)", "18+4n(4+n/0)", "16+4n(4+n/0)", "20+4n(5+n/0)",
         "16+4n(4+n/0)", "18+4n(4+n/0)"]),
    ("MOVEM.L M,R", 0x4CC0, true,
        ["12+8n(3+2n/0)", "12+8n(3+2n/0)", "-", "16+8n(4+2n/0)", "18+8n(4+2n/0)", "16+8n(4+2n/0)", "20+8n(5+2n/0)",
         "16+8n(4+2n/0)", "18+8n(4+2n/0)"]),
    ("MOVEM.W R,M", 0x4880, true,
        ["8+4n(2/n)", "-", "8+4n(2/n)", "12+4n(3/n)", "14+4n(3/n)", "12+4n(3/n)", "16+4n(4/n)", "-", "-"]),
    ("MOVEM.L R,M", 0x48C0, true,
        ["8+8n(2/2n)", "-", "8+8n(2/2n)", "12+8n(3/2n)", "14+8n(3/2n)", "12+8n(3/2n)", "16+8n(4/2n)", "-", "-"]),
];
