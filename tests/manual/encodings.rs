//! Which of the 65,536 opcodes are instructions: each is run once, in supervisor state and in user state.
//!
//! What the table does not have is an illegal instruction, line A or line F by its upper four bits (UM 6.3.6), and
//! ILLEGAL itself is one. The frame has the instruction's own address, and nothing but the stack has changed.

use keyway::cpu::{Exception, Step};

use super::encoding_table::{Category, ENCODINGS, Encoding, PRIVILEGED, Wide};
use super::support::{Bench, CODE, HANDLER, STACK, SUPERVISOR};

/// Whether an effective address (mode, register) is of a category (PRM table 2-4).
fn admits(category: Category, mode: u16, register: u16) -> bool {
    let absolute = mode == 7 && register <= 1;
    let relative = mode == 7 && (register == 2 || register == 3);
    let immediate = mode == 7 && register == 4;
    let indirect = mode == 2 || mode == 5 || mode == 6;
    let stepping = mode == 3 || mode == 4;
    let memory_alterable = indirect || stepping || absolute;
    match category {
        Category::Without => true,
        Category::All => mode < 7 || absolute || relative || immediate,
        Category::Data => mode == 0 || memory_alterable || relative || immediate,
        Category::DataInPlace => mode == 0 || memory_alterable || relative,
        Category::Alterable => mode < 7 || absolute,
        Category::DataAlterable => mode == 0 || memory_alterable,
        Category::MemoryAlterable => memory_alterable,
        Category::Control => indirect || absolute || relative,
        Category::ControlAlterableOrBefore => indirect || absolute || mode == 4,
        Category::ControlOrAfter => indirect || absolute || relative || mode == 3,
    }
}

/// The bits of an opcode that a letter of the pattern stands for.
fn field(pattern: &str, letter: char, opcode: u16) -> Option<u16> {
    let bits = pattern.chars().enumerate().filter(|(_, found)| *found == letter);
    bits.fold(None, |field, (index, _)| Some(field.unwrap_or(0) << 1 | opcode >> (15 - index) & 1))
}

/// The fixed bits of a pattern and their values.
fn fixed(pattern: &str) -> (u16, u16) {
    assert_eq!(pattern.len(), 16, "{pattern}");
    pattern.chars().fold((0, 0), |(mask, value), letter| {
        (mask << 1 | u16::from("01".contains(letter)), value << 1 | u16::from(letter == '1'))
    })
}

fn matches(encoding: &Encoding, opcode: u16) -> bool {
    let (_, pattern, category, wide) = *encoding;
    let size = field(pattern, 's', opcode);
    let address = field(pattern, 'e', opcode);
    let byte = size.map_or(wide == Wide::Byte, |size| size == 0);
    size != Some(3)
        && address.is_none_or(|address| admits(category, address >> 3, address & 7) && !(byte && address >> 3 == 1))
        // The destination is written register first.
        && field(pattern, 'd', opcode).is_none_or(|to| admits(Category::DataAlterable, to & 7, to >> 3))
}

/// The instruction of each opcode, if it is one.
fn instructions() -> Vec<Option<&'static str>> {
    let mut names: Vec<Option<&'static str>> = vec![None; 0x1_0000];
    for encoding in ENCODINGS {
        let (mask, value) = fixed(encoding.1);
        let mut found = 0;
        for opcode in (0..=0xFFFFu16).filter(|opcode| opcode & mask == value && matches(encoding, *opcode)) {
            let before = names[usize::from(opcode)].replace(encoding.0);
            assert_eq!(before, None, "{opcode:04X} is {} as well", encoding.0);
            found += 1;
        }
        assert!(found > 0, "{} has no encoding", encoding.0);
    }
    for name in PRIVILEGED {
        assert!(names.contains(&Some(name)), "{name} is no encoding");
    }
    names
}

/// What the table says that an opcode raises because of what it is.
fn expected(opcode: u16, name: Option<&str>, supervisor: bool) -> Option<Exception> {
    match (name, opcode >> 12) {
        (Some(name), _) if !supervisor && PRIVILEGED.contains(&name) => Some(Exception::Privilege),
        (Some(_), _) => None,
        (None, 0xA) => Some(Exception::LineA),
        (None, 0xF) => Some(Exception::LineF),
        (None, _) => Some(Exception::Illegal),
    }
}

/// All of this kind that an opcode can raise for what it is.
fn refused(step: Step) -> Option<Exception> {
    let Step::Raised(raised) = step else { return None };
    match raised.exception {
        found @ (Exception::Illegal | Exception::LineA | Exception::LineF | Exception::Privilege) => {
            assert_eq!((raised.pc, raised.fault), (CODE, None));
            Some(found)
        }
        _ => None,
    }
}

fn check(supervisor: bool) {
    let names = instructions();
    let mut bench = Bench::new();
    let status = if supervisor { SUPERVISOR } else { 0x0700 };
    let mut wrong = Vec::new();
    for opcode in 0..=0xFFFFu16 {
        let name = names[usize::from(opcode)];
        bench.memory.put(STACK, &[0; 4]);
        // Extension words of zero: D0 as an index or a list of registers, even displacements, address 0.
        let step = bench.fresh().code(&[opcode, 0, 0, 0, 0]).status(status).d(0, 2).run();
        let (found, wanted) = (refused(step), expected(opcode, name, supervisor));
        if found != wanted {
            wrong.push(format!("{opcode:04X} ({}): {found:?}, and not {wanted:?}", name.unwrap_or("no instruction")));
        }
        if let (Step::Raised(raised), Some(_)) = (step, wanted) {
            assert!(bench.memory.accesses.is_empty(), "{opcode:04X} touched memory");
            assert_eq!(bench.cpu.enter(&mut bench.memory, &raised), Ok(None));
            assert_eq!(bench.memory.peek(STACK - 4, 32), CODE, "{opcode:04X}: the stacked program counter");
            assert_eq!(bench.memory.peek(STACK - 6, 16), u32::from(status), "{opcode:04X}: the stacked status");
            assert_eq!((bench.cpu.pc(), bench.a_now(7)), (HANDLER, STACK - 6), "{opcode:04X}");
        }
    }
    assert!(wrong.is_empty(), "{} opcodes:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn opcodes_in_supervisor_state() {
    check(true);
}

#[test]
fn opcodes_in_user_state() {
    check(false);
}
