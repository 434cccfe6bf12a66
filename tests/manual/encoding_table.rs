//! The encodings of the 68000's instructions, as data: PRM section 8, "Instruction Format Summary", from memory.
//!
//! A pattern has 16 bits: `0` and `1` are fixed, `s` is a size (00, 01, 10), `e` an effective address (mode, register),
//! `d` MOVE's destination (register, mode), and any other letter is free. The category says which addressing modes
//! `e` may be (PRM table 2-4); a byte of an address register is none.

/// What an effective address may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Category {
    /// There is no effective address.
    Without,
    All,
    /// Without An.
    Data,
    /// Data without the immediate.
    DataInPlace,
    /// What can be changed.
    Alterable,
    DataAlterable,
    MemoryAlterable,
    Control,
    /// Alterable control, and -(An).
    ControlAlterableOrBefore,
    /// Control, and (An)+.
    ControlOrAfter,
}

/// Bytes, words or longs: what the size is where no `s` says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wide {
    Byte,
    More,
}

use Category::*;
use Wide::{Byte, More};

/// Name, pattern, category, size.
pub type Encoding = (&'static str, &'static str, Category, Wide);

/// All of them, by the upper four bits.
#[rustfmt::skip]
pub const ENCODINGS: &[Encoding] = &[
    ("ORI to CCR",          "0000000000111100", Without, Byte),
    ("ORI to SR",           "0000000001111100", Without, More),
    ("ORI",                 "00000000sseeeeee", DataAlterable, More),
    ("ANDI to CCR",         "0000001000111100", Without, Byte),
    ("ANDI to SR",          "0000001001111100", Without, More),
    ("ANDI",                "00000010sseeeeee", DataAlterable, More),
    ("SUBI",                "00000100sseeeeee", DataAlterable, More),
    ("ADDI",                "00000110sseeeeee", DataAlterable, More),
    ("EORI to CCR",         "0000101000111100", Without, Byte),
    ("EORI to SR",          "0000101001111100", Without, More),
    ("EORI",                "00001010sseeeeee", DataAlterable, More),
    ("CMPI",                "00001100sseeeeee", DataAlterable, More),
    ("BTST #",              "0000100000eeeeee", DataInPlace, Byte),
    ("BCHG #",              "0000100001eeeeee", DataAlterable, Byte),
    ("BCLR #",              "0000100010eeeeee", DataAlterable, Byte),
    ("BSET #",              "0000100011eeeeee", DataAlterable, Byte),
    ("BTST Dn",             "0000rrr100eeeeee", Data, Byte),
    ("BCHG Dn",             "0000rrr101eeeeee", DataAlterable, Byte),
    ("BCLR Dn",             "0000rrr110eeeeee", DataAlterable, Byte),
    ("BSET Dn",             "0000rrr111eeeeee", DataAlterable, Byte),
    ("MOVEP",               "0000rrr1oo001rrr", Without, More),
    ("MOVE.B",              "0001ddddddeeeeee", All, Byte),
    ("MOVEA.L",             "0010rrr001eeeeee", All, More),
    ("MOVE.L",              "0010ddddddeeeeee", All, More),
    ("MOVEA.W",             "0011rrr001eeeeee", All, More),
    ("MOVE.W",              "0011ddddddeeeeee", All, More),
    ("MOVE from SR",        "0100000011eeeeee", DataAlterable, More),
    ("NEGX",                "01000000sseeeeee", DataAlterable, More),
    ("CHK",                 "0100rrr110eeeeee", Data, More),
    ("LEA",                 "0100rrr111eeeeee", Control, More),
    ("CLR",                 "01000010sseeeeee", DataAlterable, More),
    ("MOVE to CCR",         "0100010011eeeeee", Data, More),
    ("NEG",                 "01000100sseeeeee", DataAlterable, More),
    ("MOVE to SR",          "0100011011eeeeee", Data, More),
    ("NOT",                 "01000110sseeeeee", DataAlterable, More),
    ("EXT",                 "010010001z000rrr", Without, More),
    ("NBCD",                "0100100000eeeeee", DataAlterable, Byte),
    ("SWAP",                "0100100001000rrr", Without, More),
    ("PEA",                 "0100100001eeeeee", Control, More),
    ("MOVEM from registers", "010010001zeeeeee", ControlAlterableOrBefore, More),
    ("TAS",                 "0100101011eeeeee", DataAlterable, Byte),
    ("TST",                 "01001010sseeeeee", DataAlterable, More),
    ("MOVEM to registers",  "010011001zeeeeee", ControlOrAfter, More),
    ("TRAP",                "010011100100vvvv", Without, More),
    ("LINK",                "0100111001010rrr", Without, More),
    ("UNLK",                "0100111001011rrr", Without, More),
    ("MOVE USP",            "010011100110xrrr", Without, More),
    ("RESET",               "0100111001110000", Without, More),
    ("NOP",                 "0100111001110001", Without, More),
    ("STOP",                "0100111001110010", Without, More),
    ("RTE",                 "0100111001110011", Without, More),
    ("RTS",                 "0100111001110101", Without, More),
    ("TRAPV",               "0100111001110110", Without, More),
    ("RTR",                 "0100111001110111", Without, More),
    ("JSR",                 "0100111010eeeeee", Control, More),
    ("JMP",                 "0100111011eeeeee", Control, More),
    ("ADDQ",                "0101nnn0sseeeeee", Alterable, More),
    ("SUBQ",                "0101nnn1sseeeeee", Alterable, More),
    ("Scc",                 "0101cccc11eeeeee", DataAlterable, Byte),
    ("DBcc",                "0101cccc11001rrr", Without, More),
    ("Bcc, BRA, BSR",       "0110ccccxxxxxxxx", Without, More),
    ("MOVEQ",               "0111rrr0xxxxxxxx", Without, More),
    ("DIVU",                "1000rrr011eeeeee", Data, More),
    ("DIVS",                "1000rrr111eeeeee", Data, More),
    ("SBCD",                "1000rrr10000mrrr", Without, Byte),
    ("OR to Dn",            "1000rrr0sseeeeee", Data, More),
    ("OR to memory",        "1000rrr1sseeeeee", MemoryAlterable, More),
    ("SUBA",                "1001rrrz11eeeeee", All, More),
    ("SUBX",                "1001rrr1ss00mrrr", Without, More),
    ("SUB to Dn",           "1001rrr0sseeeeee", All, More),
    ("SUB to memory",       "1001rrr1sseeeeee", MemoryAlterable, More),
    ("CMPA",                "1011rrrz11eeeeee", All, More),
    ("CMP",                 "1011rrr0sseeeeee", All, More),
    ("CMPM",                "1011rrr1ss001rrr", Without, More),
    ("EOR",                 "1011rrr1sseeeeee", DataAlterable, More),
    ("MULU",                "1100rrr011eeeeee", Data, More),
    ("MULS",                "1100rrr111eeeeee", Data, More),
    ("ABCD",                "1100rrr10000mrrr", Without, Byte),
    ("EXG Dx,Dy",           "1100rrr101000rrr", Without, More),
    ("EXG Ax,Ay",           "1100rrr101001rrr", Without, More),
    ("EXG Dx,Ay",           "1100rrr110001rrr", Without, More),
    ("AND to Dn",           "1100rrr0sseeeeee", Data, More),
    ("AND to memory",       "1100rrr1sseeeeee", MemoryAlterable, More),
    ("ADDA",                "1101rrrz11eeeeee", All, More),
    ("ADDX",                "1101rrr1ss00mrrr", Without, More),
    ("ADD to Dn",           "1101rrr0sseeeeee", All, More),
    ("ADD to memory",       "1101rrr1sseeeeee", MemoryAlterable, More),
    ("shift of a register", "1110nnnhssiwwrrr", Without, More),
    ("shift of memory",     "11100wwh11eeeeee", MemoryAlterable, More),
];

/// Those of them that are privileged (PRM section 6).
pub const PRIVILEGED: [&str; 8] =
    ["ANDI to SR", "EORI to SR", "ORI to SR", "MOVE to SR", "MOVE USP", "RESET", "STOP", "RTE"];
