//! Sign extension: wherever a byte or a word becomes a long, or an address.
//!
//! Sources, from memory: PRM section 2 (addressing modes: 16-bit displacements, 8-bit displacements and word indexes are
//! sign-extended, and so is an absolute short address) and section 4 (each instruction). Every value is tried where
//! there are 65,536 of them or fewer.

use super::support::{Bench, CODE, DATA, STACK};

/// A word as a signed long, by Rust's own conversion.
fn long(word: u16) -> u32 {
    word as i16 as u32
}

/// A byte as a signed long.
fn byte(value: u16) -> u32 {
    value as u8 as i8 as u32
}

fn words() -> impl Iterator<Item = u16> {
    0..=0xFFFF
}

#[test]
fn words_become_addresses() {
    let mut bench = Bench::new();
    let a0 = 0x1234_5678u32;
    for word in words() {
        let source = 0x5555_0000 | u32::from(word);
        let mut run = |opcode: u16| bench.fresh().code(&[opcode]).a(0, a0).d(1, source).runs().a_now(0);
        assert_eq!(run(0x3041), long(word), "movea.w d1,a0");
        assert_eq!(run(0xD0C1), a0.wrapping_add(long(word)), "adda.w d1,a0");
        assert_eq!(run(0x90C1), a0.wrapping_sub(long(word)), "suba.w d1,a0");
    }
}

/// From memory and as an immediate; and CMPA.W compares all 32 bits.
#[test]
fn words_become_addresses_from_elsewhere_too() {
    let mut bench = Bench::new();
    for word in words().step_by(257) {
        assert_eq!(bench.fresh().code(&[0x307C, word]).runs().a_now(0), long(word), "movea.w #,a0");
        bench.memory.put(DATA + 0x100, &[word]);
        assert_eq!(bench.fresh().code(&[0x3051]).runs().a_now(0), long(word), "movea.w (a1),a0");
        for (a0, equal) in [(long(word), true), (long(word) ^ 0x1_0000, false)] {
            bench.fresh().code(&[0xB0FC, word]).a(0, a0).runs();
            assert_eq!(bench.codes_now() & 4 != 0, equal, "cmpa.w #{word:X},a0 with {a0:X}");
        }
    }
}

/// ADDQ and SUBQ to an address register are long, whatever size they say (PRM, ADDQ).
#[test]
fn quick_values_go_into_all_of_an_address() {
    let mut bench = Bench::new();
    for quick in 0..8u16 {
        let value = if quick == 0 { 8 } else { u32::from(quick) };
        for (size, a0) in [(1u16, 0xFFFFu32), (2, 0xFFFF), (1, 0xFFFF_FFFF), (2, 0x7FFF_FFFF), (1, 0), (2, 0)] {
            let mut run = |base: u16| {
                bench.fresh().code(&[base | quick << 9 | size << 6]).a(0, a0).runs();
                bench.a_now(0)
            };
            assert_eq!(run(0x5008), a0.wrapping_add(value), "addq #{value},a0");
            assert_eq!(run(0x5108), a0.wrapping_sub(value), "subq #{value},a0");
        }
    }
}

#[test]
fn ext_and_moveq() {
    let mut bench = Bench::new();
    for word in words() {
        let d0 = 0x1357_0000 | u32::from(word);
        let extended = bench.fresh().code(&[0x48C0]).d(0, d0).runs().d_now(0);
        assert_eq!(extended, long(word), "ext.l d0");
        let extended = bench.fresh().code(&[0x4880]).d(0, d0).runs().d_now(0);
        assert_eq!(extended, 0x1357_0000 | byte(word) & 0xFFFF, "ext.w d0");
    }
    for value in 0..0x100 {
        assert_eq!(bench.fresh().code(&[0x7000 | value]).d(0, 0xAAAA_AAAA).runs().d_now(0), byte(value), "moveq");
    }
}

/// LEA shows all 32 bits of an effective address.
#[test]
fn displacements_of_sixteen_bits() {
    let mut bench = Bench::new();
    for word in words() {
        let mut lea = |opcode: u16| bench.fresh().code(&[opcode, word]).a(1, 0x8000_1000).runs().a_now(0);
        assert_eq!(lea(0x41F8), long(word), "lea (xxx).w,a0");
        assert_eq!(lea(0x41E9), 0x8000_1000u32.wrapping_add(long(word)), "lea d16(a1),a0");
        // The base is the address of the extension word (PRM 2.2.11).
        assert_eq!(lea(0x41FA), (CODE + 2).wrapping_add(long(word)), "lea d16(pc),a0");
    }
}

#[test]
fn indexes_and_displacements_of_eight_bits() {
    let mut bench = Bench::new();
    let indexes = [0u32, 1, 0x7FFF, 0x8000, 0xFFFF, 0x1_0000, 0x1234_8000, 0xFFFF_7FFF, 0x8000_0000, 0xFFFF_FFFF];
    for low in 0..0x100u16 {
        for index in indexes {
            for (extension, value) in [(0x3000, long(index as u16)), (0x3800, index)] {
                // D3 as the index, then A3: bit 15.
                for register in [0u16, 0x8000] {
                    let offset = value.wrapping_add(byte(low));
                    let mut lea = |opcode: u16| {
                        bench.fresh().code(&[opcode, register | extension | low]).a(1, 0x10_0000).d(3, 0).a(3, 0);
                        if register == 0 {
                            bench.d(3, index)
                        } else {
                            bench.a(3, index)
                        };
                        bench.runs().a_now(0)
                    };
                    assert_eq!(lea(0x41F1), 0x10_0000u32.wrapping_add(offset), "lea {low:X}(a1,{index:X}),a0");
                    assert_eq!(lea(0x41FB), (CODE + 2).wrapping_add(offset), "lea {low:X}(pc,{index:X}),a0");
                }
            }
        }
    }
}

/// The access itself goes to the extended address, not only LEA's.
#[test]
fn accesses_go_to_the_extended_address() {
    let mut bench = Bench::new();
    let pins = |address: u32| address & 0xFF_FFFF;
    for word in words().step_by(2).filter(|word| long(*word) & 0xF0_0000 != 0x80_0000).step_by(61) {
        let mut at = |code: &[u16]| {
            bench.fresh().code(code).runs();
            bench.memory.accesses.iter().map(|address| pins(*address)).collect::<Vec<u32>>()
        };
        assert_eq!(at(&[0x3038, word]), [pins(long(word))], "move.w (xxx).w,d0");
        assert_eq!(at(&[0x31C0, word]), [pins(long(word))], "move.w d0,(xxx).w");
        assert_eq!(at(&[0x3029, word]), [pins((DATA + 0x100).wrapping_add(long(word)))], "move.w d16(a1),d0");
        let base = (DATA + 0x100).wrapping_add(long(word));
        assert_eq!(at(&[0x0109, word]), [pins(base), pins(base.wrapping_add(2))], "movep.w d16(a1),d0");
    }
}

/// A taken branch goes to the address after the opcode, plus the displacement; odd targets are not for here.
#[test]
fn branches_go_both_ways() {
    let mut bench = Bench::new();
    for low in (2..0x100).step_by(2).filter(|low| *low != 0) {
        let target = (CODE + 2).wrapping_add(byte(low));
        assert_eq!(bench.fresh().code(&[0x6000 | low]).runs().cpu.pc(), target, "bra.b");
        assert_eq!(bench.fresh().code(&[0x6400 | low]).runs().cpu.pc(), target, "bcc.b");
        assert_eq!(bench.fresh().code(&[0x6100 | low]).runs().cpu.pc(), target, "bsr.b");
        assert_eq!(bench.memory.peek(STACK - 4, 32), CODE + 2);
    }
    let far = |word: u16| (CODE + 2).wrapping_add(long(word));
    for word in words().step_by(2).filter(|word| far(*word) & 0xF0_0000 != 0x80_0000) {
        assert_eq!(bench.fresh().code(&[0x6000, word]).runs().cpu.pc(), far(word), "bra.w");
        assert_eq!(bench.fresh().code(&[0x51C9, word]).d(1, 7).runs().cpu.pc(), far(word), "dbf d1");
        assert_eq!(bench.fresh().code(&[0x6100, word]).runs().cpu.pc(), far(word), "bsr.w");
    }
}

/// DBcc counts the low word down and leaves the high one; at -1 it goes on with the next instruction.
#[test]
fn dbcc_counts_a_word() {
    let mut bench = Bench::new();
    for word in words().step_by(7).chain([0, 1, 0xFFFF]) {
        let d1 = 0x1234_0000 | u32::from(word);
        bench.fresh().code(&[0x51C9, 0x0100]).d(1, d1).runs();
        assert_eq!(bench.d_now(1), 0x1234_0000 | u32::from(word.wrapping_sub(1)));
        let target = if word == 0 { CODE + 4 } else { CODE + 2 + 0x100 };
        assert_eq!(bench.cpu.pc(), target, "dbf with {word:X}");
    }
}

#[test]
fn links_displacement() {
    let mut bench = Bench::new();
    for word in words() {
        bench.fresh().code(&[0x4E50, word]).runs();
        assert_eq!(bench.a_now(0), STACK - 4);
        assert_eq!(bench.a_now(7), (STACK - 4).wrapping_add(long(word)), "link a0,#{word:X}");
    }
}

/// MOVEM.W into registers extends into data registers as well as into address registers.
#[test]
fn movem_extends_what_it_loads() {
    let mut bench = Bench::new();
    for word in words().step_by(16).chain([0x7FFF, 0x8000, 0xFFFF]) {
        bench.memory.put(DATA + 0x100, &[word, !word]);
        bench.fresh().code(&[0x4C91, 0x0401]).d(0, 0x5555_5555).a(2, 0x5555_5555).runs();
        assert_eq!((bench.d_now(0), bench.a_now(2)), (long(word), long(!word)), "movem.w (a1),d0/a2");
    }
}

/// Moves of a byte or a word leave the rest of a data register as it is.
#[test]
fn data_registers_are_not_extended() {
    let mut bench = Bench::new();
    for word in words().step_by(97) {
        let d0 = bench.fresh().code(&[0x303C, word]).d(0, 0x1234_5678).runs().d_now(0);
        assert_eq!(d0, 0x1234_0000 | u32::from(word), "move.w #,d0");
        let d0 = bench.fresh().code(&[0x103C, word]).d(0, 0x1234_5678).runs().d_now(0);
        assert_eq!(d0, 0x1234_5600 | u32::from(word & 0xFF), "move.b #,d0");
    }
}
