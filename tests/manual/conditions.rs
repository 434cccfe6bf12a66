//! PRM table 3-19, "Conditional Tests": all sixteen conditions under all sixteen states of N, Z, V and C.
//!
//! The table's formulas are data, from memory; Bcc, Scc and DBcc each are held against them.

use super::support::{Bench, CODE, SUPERVISOR};

/// Mnemonic and formula: alternatives joined by `|`, each a product of flags, where a small letter is a flag's opposite.
/// T is always true, and F, which has no product, never.
const CONDITIONS: [(&str, &str); 16] = [
    ("T", "T"),
    ("F", ""),
    ("HI", "cz"),
    ("LS", "C|Z"),
    ("CC", "c"),
    ("CS", "C"),
    ("NE", "z"),
    ("EQ", "Z"),
    ("VC", "v"),
    ("VS", "V"),
    ("PL", "n"),
    ("MI", "N"),
    ("GE", "NV|nv"),
    ("LT", "Nv|nV"),
    ("GT", "NVz|nvz"),
    ("LE", "Z|Nv|nV"),
];

fn holds(formula: &str, codes: u16) -> bool {
    let flag = |letter: char| match letter {
        'T' => true,
        _ => {
            let bit = "CVZN".find(letter.to_ascii_uppercase()).expect("a flag");
            (codes >> bit & 1 == 1) == letter.is_ascii_uppercase()
        }
    };
    formula.split('|').any(|product| !product.is_empty() && product.chars().all(flag))
}

/// BRA and BSR have the places of T and F among the branches.
#[test]
fn conditions_are_those_of_the_table() {
    let mut bench = Bench::new();
    for (number, (name, formula)) in CONDITIONS.into_iter().enumerate() {
        let condition = (number as u16) << 8;
        for codes in 0..0x20 {
            let holds = holds(formula, codes);
            let what = format!("{name} with {codes:05b}");
            bench.fresh().status(SUPERVISOR | codes).code(&[0x50C0 | condition]).d(0, 0x1234_5678).runs();
            assert_eq!(bench.d_now(0), if holds { 0x1234_56FF } else { 0x1234_5600 }, "S{what}");
            bench.fresh().status(SUPERVISOR | codes).code(&[0x50C8 | condition, 0x0010]).d(0, 7).runs();
            assert_eq!(bench.cpu.pc(), CODE + if holds { 4 } else { 0x12 }, "DB{what}");
            assert_eq!(bench.d_now(0), if holds { 7 } else { 6 }, "DB{what} counts");
            if number > 1 {
                for (code, next) in [(vec![0x6010 | condition], 2), (vec![0x6000 | condition, 0x0010], 4)] {
                    bench.fresh().status(SUPERVISOR | codes).code(&code).runs();
                    assert_eq!(bench.cpu.pc(), CODE + if holds { 0x12 } else { next }, "B{what}");
                }
            }
        }
    }
}
