//! PRM table 3-18, "Condition Code Computations": what every instruction does to X, N, Z, V and C.
//!
//! [`ROWS`] has the table's rows with the encodings to run (PRM section 4, from memory); each is run from many seeded
//! operands, and every flag held against its rule. What the manual leaves undefined is not looked at.

use keyway::cpu::Step;
use keyway::noise::Noise;

use super::models::{self as is, Answer, Operands};
use super::support::{Bench, DATA, SUPERVISOR, mask, operand, signed};

/// Where an instruction takes its source from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Source {
    /// D1.
    D1,
    /// (A1), or (A1)+ where the opcode says so.
    At,
    /// -(A1).
    Before,
    /// The extension words.
    Follows,
    /// The number of a bit, in the word that follows.
    Number,
    /// Bits 11 to 9 of the opcode: 1 to 8, where 8 is written as 0.
    Quick,
    /// Bits 7 to 0 of the opcode.
    Low,
    /// Nowhere: it is always this.
    Always(u32),
}

/// Where an instruction has its target.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Target {
    D0,
    /// A0 itself.
    A0,
    /// (A0), or (A0)+ where the opcode says so.
    At,
    /// -(A0).
    Before,
}

/// The sizes of an encoding.
#[derive(Clone, Copy)]
enum Size {
    /// Byte, word and long by bits 7 and 6 of the opcode.
    All,
    /// Only this one, which the opcode has already.
    Only(u32),
}

/// The operands that a row is about.
#[derive(Clone, Copy)]
enum Drawn {
    Any,
    /// Two decimal digits in each byte.
    Digits,
    /// A source that is 0 modulo 64, for counts.
    NoCount,
    /// A source that is not 0 modulo 64.
    SomeCount,
    /// A source that is not 0 in its low word.
    Divisor,
    /// A source and a target with 0 <= target <= source, as signed words.
    Within,
    /// A source and a target that are not so.
    Without,
}

type Form = (u16, Size, Source, Target);

/// A row of the table.
struct Row {
    instruction: &'static str,
    /// X N Z V C: `-` not affected, `0` cleared, `1` set, `*` the general case (X as C; N the result's top bit; Z the
    /// result is zero; V and C by signed and unsigned overflow), `U` undefined, `?` a rule of its own.
    codes: &'static str,
    model: fn(&Operands) -> Answer,
    drawn: Drawn,
    /// Whether these operands raise an exception.
    raises: bool,
    forms: &'static [Form],
}

const fn row(
    instruction: &'static str,
    codes: &'static str,
    model: fn(&Operands) -> Answer,
    drawn: Drawn,
    forms: &'static [Form],
) -> Row {
    Row { instruction, codes, model, drawn, raises: false, forms }
}

use Drawn::{Any, Digits, Divisor, NoCount, SomeCount, Within, Without};
use Size::{All, Only};
use Source::{Always, D1, Follows, Low, Number, Quick};
use Target::{A0, D0};

/// Shift with a count in D1, in the opcode, and by one in memory.
const fn shifted(way: u16, left: u16) -> [Form; 3] {
    [
        (0xE220 | left << 8 | way << 3, All, D1, D0),
        (0xE000 | left << 8 | way << 3, All, Quick, D0),
        (0xE0D0 | left << 8 | way << 9, Only(16), Always(1), Target::At),
    ]
}

/// The bit instructions: bit of a data register, bit of memory, both by a register and by a number.
const fn bits(kind: u16) -> [Form; 4] {
    [
        (0x0300 | kind << 6, Only(32), D1, D0),
        (0x0310 | kind << 6, Only(8), D1, Target::At),
        (0x0800 | kind << 6, Only(32), Number, D0),
        (0x0810 | kind << 6, Only(8), Number, Target::At),
    ]
}

const ASL: &[Form] = &shifted(0, 1);
const ASR: &[Form] = &shifted(0, 0);
const LSL: &[Form] = &shifted(1, 1);
const LSR: &[Form] = &shifted(1, 0);
const ROXL: &[Form] = &shifted(2, 1);
const ROXR: &[Form] = &shifted(2, 0);
const ROL: &[Form] = &shifted(3, 1);
const ROR: &[Form] = &shifted(3, 0);

const ADD: &[Form] = &[(0xD001, All, D1, D0), (0xD011, All, Source::At, D0), (0xD310, All, D1, Target::At)];
const SUB: &[Form] = &[(0x9001, All, D1, D0), (0x9011, All, Source::At, D0), (0x9310, All, D1, Target::At)];
const AND: &[Form] = &[(0xC001, All, D1, D0), (0xC011, All, Source::At, D0), (0xC310, All, D1, Target::At)];
const OR: &[Form] = &[(0x8001, All, D1, D0), (0x8011, All, Source::At, D0), (0x8310, All, D1, Target::At)];
const CMPA_WORD: &[Form] =
    &[(0xB0C1, Only(16), D1, A0), (0xB0D1, Only(16), Source::At, A0), (0xB0FC, Only(16), Follows, A0)];
const CMPA_LONG: &[Form] =
    &[(0xB1C1, Only(32), D1, A0), (0xB1D1, Only(32), Source::At, A0), (0xB1FC, Only(32), Follows, A0)];
const MOVE: &[Form] = &[
    (0x1001, Only(8), D1, D0),
    (0x3001, Only(16), D1, D0),
    (0x2001, Only(32), D1, D0),
    (0x1081, Only(8), D1, Target::At),
    (0x3101, Only(16), D1, Target::Before),
    (0x20C1, Only(32), D1, Target::At),
    (0x10A1, Only(8), Source::Before, Target::At),
    (0x3091, Only(16), Source::At, Target::At),
    (0x2119, Only(32), Source::At, Target::Before),
    (0x103C, Only(8), Follows, D0),
    (0x303C, Only(16), Follows, D0),
    (0x20BC, Only(32), Follows, Target::At),
];

/// One operand, in D0 and in memory.
const fn single(opcode: u16) -> [Form; 2] {
    [(opcode, All, Always(0), D0), (opcode | 0x10, All, Always(0), Target::At)]
}

/// An immediate with D0 and with memory.
const fn immediate(opcode: u16) -> [Form; 2] {
    [(opcode, All, Follows, D0), (opcode | 0x10, All, Follows, Target::At)]
}

/// Registers, and memory by predecrement.
const fn extended(opcode: u16, size: Size) -> [Form; 2] {
    [(opcode | 1, size, D1, D0), (opcode | 9, size, Source::Before, Target::Before)]
}

/// The source of a word operation of a data register: a register, memory, an immediate.
const fn word(opcode: u16, bits: u32) -> [Form; 3] {
    [
        (opcode | 1, Only(bits), D1, D0),
        (opcode | 0o21, Only(bits), Source::At, D0),
        (opcode | 0o74, Only(bits), Follows, D0),
    ]
}

/// The rows. Where the manual has one row for several instructions they are apart here, and so are those that have
/// rules of their own for a count of zero. The later processors' instructions are left out, and MULU and MULS never
/// overflow: their V is for the 32-bit forms.
const ROWS: &[Row] = &[
    row("ABCD", "*U?U*", is::add_decimal, Digits, &extended(0xC100, Only(8))),
    row("ADD", "*****", is::add, Any, ADD),
    row("ADDI", "*****", is::add, Any, &immediate(0x0600)),
    row("ADDQ", "*****", is::add, Any, &[(0x5000, All, Quick, D0), (0x5010, All, Quick, Target::At)]),
    row("ADDX", "**?**", is::add_extended, Any, &extended(0xD100, All)),
    row("AND", "-**00", is::and, Any, AND),
    row("ANDI", "-**00", is::and, Any, &immediate(0x0200)),
    row("EOR", "-**00", is::exclusive_or, Any, &[(0xB300, All, D1, D0), (0xB310, All, D1, Target::At)]),
    row("EORI", "-**00", is::exclusive_or, Any, &immediate(0x0A00)),
    row("MOVEQ", "-**00", is::copy_quick, Any, &[(0x7000, Only(32), Low, D0)]),
    row("MOVE", "-**00", is::copy, Any, MOVE),
    row("OR", "-**00", is::or, Any, OR),
    row("ORI", "-**00", is::or, Any, &immediate(0x0000)),
    row("CLR", "-0100", is::clear, Any, &single(0x4200)),
    row("EXT", "-**00", is::extend, Any, &[(0x4880, Only(16), Always(0), D0), (0x48C0, Only(32), Always(0), D0)]),
    row("NOT", "-**00", is::not, Any, &single(0x4600)),
    row(
        "TAS",
        "-**00",
        is::test_and_set,
        Any,
        &[(0x4AC0, Only(8), Always(0), D0), (0x4AD0, Only(8), Always(0), Target::At)],
    ),
    row("TST", "-**00", is::test, Any, &single(0x4A00)),
    row("CHK within bounds", "-UUUU", is::within_bounds, Within, &word(0x4180, 16)),
    Row { raises: true, ..row("CHK out of bounds", "-?UUU", is::out_of_bounds, Without, &word(0x4180, 16)) },
    row("SUB", "*****", is::subtract, Any, SUB),
    row("SUBI", "*****", is::subtract, Any, &immediate(0x0400)),
    row("SUBQ", "*****", is::subtract, Any, &[(0x5100, All, Quick, D0), (0x5110, All, Quick, Target::At)]),
    row("SUBX", "**?**", is::subtract_extended, Any, &extended(0x9100, All)),
    row("CMP", "-****", is::compare, Any, &[(0xB001, All, D1, D0), (0xB011, All, Source::At, D0)]),
    row("CMPI", "-****", is::compare, Any, &immediate(0x0C00)),
    row("CMPA.W", "-****", is::compare_address_word, Any, CMPA_WORD),
    row("CMPA.L", "-****", is::compare, Any, CMPA_LONG),
    row("CMPM", "-****", is::compare, Any, &[(0xB109, All, Source::At, Target::At)]),
    row("DIVS", "-***0", is::divide_signed, Divisor, &word(0x81C0, 16)),
    row("DIVU", "-***0", is::divide_unsigned, Divisor, &word(0x80C0, 16)),
    row("MULS", "-**00", is::multiply_signed, Any, &word(0xC1C0, 16)),
    row("MULU", "-**00", is::multiply_unsigned, Any, &word(0xC0C0, 16)),
    row("SBCD", "*U?U*", is::subtract_decimal, Digits, &extended(0x8100, Only(8))),
    row(
        "NBCD",
        "*U?U*",
        is::negate_decimal,
        Digits,
        &[(0x4800, Only(8), Always(0), D0), (0x4810, Only(8), Always(0), Target::At)],
    ),
    row("NEG", "*****", is::negate, Any, &single(0x4400)),
    row("NEGX", "**?**", is::negate_extended, Any, &single(0x4000)),
    row("BTST", "--?--", is::bit_test, Any, &bits(0)),
    row("BCHG", "--?--", is::bit_change, Any, &bits(1)),
    row("BCLR", "--?--", is::bit_clear, Any, &bits(2)),
    row("BSET", "--?--", is::bit_set, Any, &bits(3)),
    row("ASL", "*****", is::asl, SomeCount, ASL),
    row("ASL by 0", "-**00", is::asl, NoCount, ASL),
    row("LSL", "***0*", is::lsl, SomeCount, LSL),
    row("LSL by 0", "-**00", is::lsl, NoCount, LSL),
    row("ROXL", "***0*", is::roxl, SomeCount, ROXL),
    row("ROXL by 0", "-**0?", is::roxl, NoCount, ROXL),
    row("ROL", "-**0*", is::rol, SomeCount, ROL),
    row("ROL by 0", "-**00", is::rol, NoCount, ROL),
    row("ASR", "***0*", is::asr, SomeCount, ASR),
    row("ASR by 0", "-**00", is::asr, NoCount, ASR),
    row("LSR", "***0*", is::lsr, SomeCount, LSR),
    row("LSR by 0", "-**00", is::lsr, NoCount, LSR),
    row("ROXR", "***0*", is::roxr, SomeCount, ROXR),
    row("ROXR by 0", "-**0?", is::roxr, NoCount, ROXR),
    row("ROR", "-**0*", is::ror, SomeCount, ROR),
    row("ROR by 0", "-**00", is::ror, NoCount, ROR),
    row("SWAP", "-**00", is::swap, Any, &[(0x4840, Only(32), Always(0), D0)]),
    row("MOVE to CCR", "?????", is::to_codes, Any, &word(0x44C0, 16)),
    row("ANDI to CCR", "?????", is::and_to_codes, Any, &[(0x023C, Only(8), Follows, D0)]),
    row("ORI to CCR", "?????", is::or_to_codes, Any, &[(0x003C, Only(8), Follows, D0)]),
    row("EORI to CCR", "?????", is::exclusive_or_to_codes, Any, &[(0x0A3C, Only(8), Follows, D0)]),
];

/// How often each form and size runs.
const TRIALS: usize = 300;

#[test]
fn every_flag_follows_its_rule() {
    for (number, row) in ROWS.iter().enumerate() {
        let mut noise = Noise::new(0xC0DE + number as u64);
        let mut bench = Bench::new();
        let mut seen = Seen::default();
        for form in row.forms {
            // A count of zero cannot be written into an opcode or a memory shift.
            if matches!(row.drawn, NoCount) && form.2 != D1 {
                continue;
            }
            for bits in [8, 16, 32] {
                match form.1 {
                    Only(only) if only != bits => continue,
                    _ => (0..TRIALS).for_each(|_| trial(row, form, bits, &mut noise, &mut bench, &mut seen)),
                }
            }
        }
        seen.both_ways(row);
    }
}

/// Which values each flag took, before and after: a rule that was only ever looked at one way is no check.
#[derive(Default)]
struct Seen {
    before: [u16; 2],
    after: [u16; 2],
}

impl Seen {
    fn note(&mut self, before: u16, after: u16) {
        self.before = [self.before[0] | !before, self.before[1] | before];
        self.after = [self.after[0] | !after, self.after[1] | after];
    }

    /// (LSR by one or more always leaves N clear, though the table has the general case there.)
    fn both_ways(&self, row: &Row) {
        for (column, rule) in row.codes.chars().enumerate().filter(|column| (row.instruction, column.0) != ("LSR", 1)) {
            let bit = 0x10 >> column;
            let values = if "*?".contains(rule) { self.after } else { self.before };
            assert!(values[0] & values[1] & bit != 0, "{}: column {column} was only seen one way", row.instruction);
        }
    }
}

fn trial(row: &Row, form: &Form, bits: u32, noise: &mut Noise, bench: &mut Bench, seen: &mut Seen) {
    let mut operands = draw(row, form, bits, noise);
    let opcode = set_up(bench, form, &mut operands, noise);
    let what = || format!("{} ({opcode:04X}) with {operands:X?}", row.instruction);
    let raised = bench.run() != Step::Ran;
    assert_eq!(raised, row.raises, "{} raises", what());
    let answer = (row.model)(&operands);
    let (before, after) = (operands.codes, bench.codes_now());
    check_flags(row, &answer, before, after, &what);
    check_target(form, &operands, &answer, bench, &what);
    assert_eq!(bench.cpu.status() & !0x1F, SUPERVISOR, "{}: the system byte", what());
    seen.note(before, after);
}

fn draw(row: &Row, form: &Form, bits: u32, noise: &mut Noise) -> Operands {
    let codes = noise.word() & 0x1F;
    loop {
        let (mut source, mut target) = (operand(noise), operand(noise));
        match row.drawn {
            Digits => {
                source = is::digits(i64::from(source % 100));
                target = target & !0xFF | is::digits(i64::from(target % 100));
            }
            NoCount => source &= !63,
            _ => {}
        }
        source = match form.2 {
            Quick => source % 8 + 1,
            Always(value) => value,
            _ => source,
        };
        let (bound, value) = (signed(source, 16), signed(target, 16));
        let fits = match row.drawn {
            SomeCount => source % 64 != 0,
            Divisor => source & 0xFFFF != 0,
            Within => (0..=bound).contains(&value),
            Without => !(0..=bound).contains(&value),
            _ => true,
        };
        if fits {
            return Operands { bits, source, target, codes };
        }
    }
}

/// Puts the operands where the form has them, and gives the opcode. In memory the target is as wide as the operation;
/// the rest of its 32 bits is then as good as zero.
fn set_up(bench: &mut Bench, form: &Form, operands: &mut Operands, noise: &mut Noise) -> u16 {
    let (base, size, from, to) = *form;
    let bits = operands.bits;
    let mut opcode = base;
    if let All = size {
        opcode |= (bits as u16 / 16) << 6;
    }
    bench.fresh();
    let mut words = Vec::with_capacity(3);
    match from {
        D1 => _ = bench.d(1, operands.source),
        Source::At => bench.memory.poke(DATA + 0x100, operands.source, bits),
        Source::Before => bench.memory.poke(DATA + 0x100 - bits / 8, operands.source, bits),
        Follows if bits == 32 => {
            words.extend([(operands.source >> 16) as u16, operands.source as u16]);
        }
        // The high byte before a byte's immediate and a bit's number means nothing: it is noise.
        Follows if bits == 16 => words.push(operands.source as u16),
        Follows | Number => words.push(noise.word() & 0xFF00 | operands.source as u16 & 0xFF),
        Quick => opcode |= (operands.source as u16 & 7) << 9,
        Low => opcode |= operands.source as u16 & 0xFF,
        Always(_) => {}
    }
    match to {
        D0 => _ = bench.d(0, operands.target),
        A0 => _ = bench.a(0, operands.target),
        Target::At | Target::Before => {
            operands.target &= mask(bits);
            let before = if to == Target::Before { bits / 8 } else { 0 };
            bench.memory.poke(DATA - before, operands.target, bits);
        }
    }
    words.insert(0, opcode);
    bench.code(&words).status(SUPERVISOR | operands.codes);
    opcode
}

fn check_flags(row: &Row, answer: &Answer, before: u16, after: u16, what: &dyn Fn() -> String) {
    for (column, (rule, name)) in row.codes.chars().zip("XNZVC".chars()).enumerate() {
        let bit = 0x10 >> column;
        let expected = match (rule, name) {
            ('U', _) => continue,
            (_, name) if answer.undefined.contains(name) => continue,
            ('-', _) => before & bit != 0,
            ('0', _) => false,
            ('1', _) => true,
            ('?', _) => answer.special & bit != 0,
            ('*', 'N') => answer.value >> (answer.bits - 1) == 1,
            ('*', 'Z') => answer.value == 0,
            ('*', 'V') => answer.overflow,
            ('*', 'X' | 'C') => answer.carry,
            _ => unreachable!("no such rule: {rule}"),
        };
        assert_eq!(after & bit != 0, expected, "{}: {name}, rule {rule}", what());
    }
}

fn check_target(form: &Form, operands: &Operands, answer: &Answer, bench: &Bench, what: &dyn Fn() -> String) {
    let expected = answer.stored.unwrap_or(operands.target);
    let got = match form.3 {
        D0 => bench.d_now(0),
        A0 => bench.a_now(0),
        Target::At => bench.memory.peek(DATA, operands.bits),
        Target::Before => bench.memory.peek(DATA - operands.bits / 8, operands.bits),
    };
    assert_eq!(got, expected, "{}: the result is {got:X} and not {expected:X}", what());
}
