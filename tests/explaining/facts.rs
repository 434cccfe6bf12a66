//! What a right explanation says of each shape. The values come from the sources and from the comments of the case
//! files, worked out by hand; a snapshot that is rewritten must still say all of it.

use std::ops::RangeInclusive;

use keyway::explain::{Explanation, Origin, Step, TextCompare};
use keyway::{Checker, Suite};

use super::told::{
    agrees, compares, differs, hangs_on_image, hangs_on_others, near, near_in, near_port, tested, tests,
};
use crate::support::root;

const SIGNATURE: u32 = 0x100;
const PRODUCT: u32 = 0x180;

/// A fact, and whether the explanation says it.
type Fact = (&'static str, bool);

/// A case, what it hangs on in all, and what else is to be said.
struct Shape {
    file: &'static str,
    case: &'static str,
    image: &'static [RangeInclusive<u32>],
    others: &'static [&'static str],
    says: fn(&Explanation) -> Vec<Fact>,
}

/// Facts that explanations do not say yet; each must fail. `FILE: CASE: FACT`.
const NOT_YET: &[&str] = &[
    // An address fault shows another image offset than the bus address says.
    "compare_text: address line 3 stuck high: bus 0x200100 shows image 0x108",
    // Data in the code section take the source line of the code before them.
    "scan_table: entry 2 matches: no wrong source line",
    // Bytes of an overlay are called bytes of the image that it hides.
    "ask_patch: the patch ROM knows it: the overlay's bytes",
    "ask_patch: the patch ROM knows it: not the image's",
    // Texts go on behind what the scan ever compares.
    "detect_in_c: entry 1 from its first revision on: eight bytes count",
    // A mask by AND before the compare is not told.
    "mask_bits: both are right: what features holds",
    "mask_bits: both are right: the mask",
    "mask_bits: bit 3 is too much: the mask",
    // X of the first half is not among what the value hangs on.
    "compare_serial: one below: all eight bytes",
    "compare_serial: the same: all eight bytes",
    // The compare whose answer was kept is not told, only the test of the answer.
    "keep_answer: region 2: the compare behind it",
    "keep_answer: region 3: the compare behind it",
    "keep_flags: revision 1 is below: the compare behind it",
    "keep_flags: revision 2: the compare behind it",
    // The same test of byte after byte, the same way each time, is not one step.
    "count_marks: all of them: alike, so one step",
    // An exception that could have been taken and was not is no step.
    "check_voices: 32 voices: a decision is told",
    "add_steps: as far as it goes: a decision is told",
    // Values that instructions of the cartridge make hang on nothing.
    "call_cartridge: it answers 1: the answer",
    "call_cartridge: it answers 2: the answer",
    // Nearest changes that the search does not come to.
    "detect_in_c: entry 1 before its first revision: near",
    "mask_bits: both are right: near, the mask",
    "mask_bits: bit 3 is too much: near",
    "sum_words: the checksum is wrong: near",
    "follow_table: it leads to the signature: near, the word",
    "follow_table: it leads to the signature: near, the offset",
    "compare_serial: one below: near, the low half",
    "compare_serial: one above: near",
    "keep_answer: region 3: near",
    "keep_flags: revision 1 is below: near",
    "keep_flags: revision 2: near, below",
    "keep_carry: region 0x0F: near",
    "tell_mode: region 0xF5: near, the others",
    "divide_by_steps: four steps: near, by zero",
    "divide_by_steps: four steps: near, the quotient",
    "divide_by_steps: 400 steps: near",
    "divide_by_steps: no steps: near",
    "check_voices: 32 voices: near",
    "check_voices: 33 voices: near",
    "add_steps: as far as it goes: near",
    "add_steps: one further: near",
    "call_cartridge: it answers 1: near",
    "call_cartridge: it answers 2: near",
    "await_blanks: nine blanks are wanted: near",
];

fn shape(
    file: &'static str,
    case: &'static str,
    image: &'static [RangeInclusive<u32>],
    others: &'static [&'static str],
    says: fn(&Explanation) -> Vec<Fact>,
) -> Shape {
    Shape { file, case, image, others, says }
}

#[test]
fn explanations_say_what_the_sources_say() {
    let mut wrong = Vec::new();
    let mut not_yet = Vec::new();
    let mut count = 0;
    for shape in [texts(), numbers(), waits()].into_iter().flatten() {
        let explanation = explain(&shape);
        let mut facts = (shape.says)(&explanation);
        facts.push(("what it hangs on in the image", hangs_on_image(&explanation, shape.image)));
        facts.push(("what else it hangs on", hangs_on_others(&explanation, shape.others)));
        for (fact, said) in facts {
            count += 1;
            let fact = format!("{}: {}: {fact}", shape.file, shape.case);
            match (said, NOT_YET.contains(&fact.as_str())) {
                (false, true) => not_yet.push(fact),
                (false, false) => wrong.push(format!("not said: {fact}")),
                (true, true) => wrong.push(format!("said now, take it out of NOT_YET: {fact}")),
                (true, false) => {}
            }
        }
    }
    assert!(count > 150, "the facts are gone: {count}");
    assert_eq!(not_yet.len() + wrong.iter().filter(|fact| fact.starts_with("said")).count(), NOT_YET.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn explain(shape: &Shape) -> Explanation {
    let path = root().join(format!("tests/explaining/cases/{}.yaml", shape.file));
    let suite = Suite::load(&path).expect("a case file");
    let case = suite.cases().map(|case| case.expect("a case")).find(|case| case.name == shape.case);
    let case = case.unwrap_or_else(|| panic!("no case {} in {}", shape.case, shape.file));
    Checker::new(suite.harness.clone()).explain(&case)
}

/// The host's bytes that a text was compared with belong to this symbol.
fn of_symbol(explanation: &Explanation, index: usize, symbol: &str) -> bool {
    compares(explanation).get(index).is_some_and(|compare| compare.with.whose.contains(&format!("<{symbol}")))
}

fn nth(explanation: &Explanation, index: usize, holds: impl Fn(&TextCompare) -> bool) -> bool {
    compares(explanation).get(index).is_some_and(|compare| holds(compare))
}

/// The source line of an entry of `known` is the one in shapes.s on which it stands, or is not told: assemblers write no
/// line for data.
fn right_line(entry: usize, compare: &TextCompare) -> bool {
    let source = std::fs::read_to_string(root().join("tests/explaining/shapes.s")).expect("the source");
    let stands = |(_, line): &(usize, &str)| line.trim_start().starts_with("product \"");
    let lines: Vec<usize> = source.lines().enumerate().filter(stands).map(|(index, _)| index + 1).collect();
    assert_eq!(lines.len(), 4);
    compare.with.source.as_ref().is_none_or(|source| source.ends_with(&format!("/shapes.s:{}", lines[entry])))
}

fn wrote(explanation: &Explanation, port: &str) -> Vec<u32> {
    let write = |step: &Step| match step {
        Step::Write(write) if write.port == port => Some(write.value),
        _ => None,
    };
    explanation.steps.iter().filter_map(write).collect()
}

/// How often exceptions were taken by this handler.
fn handled(explanation: &Explanation, handler: &str) -> u64 {
    let times = |step: &Step| match step {
        Step::Exception(exception) => {
            let to = exception.to.as_ref().and_then(|to| to.symbol.as_deref());
            if to == Some(handler) { exception.times } else { 0 }
        }
        _ => 0,
    };
    explanation.steps.iter().map(times).sum()
}

/// Some test's found value hangs on the image at these offsets, and on nothing else of it.
fn test_from(explanation: &Explanation, range: RangeInclusive<u32>) -> bool {
    let image = |origin: &Origin| match origin {
        Origin::Image { first, last, .. } => Some(*first..=*last),
        _ => None,
    };
    tests(explanation).iter().any(|test| {
        let from = test.found.from.iter().filter_map(image).flatten();
        from.eq(range.clone())
    })
}

fn texts() -> Vec<Shape> {
    vec![
        shape("compare_text", "all of it agrees", &[0x100..=0x10F], &[], |e| {
            vec![
                ("16 bytes agree", nth(e, 0, |compare| agrees(compare, SIGNATURE, 16))),
                ("whose", of_symbol(e, 0, "own_signature")),
                ("any byte changed ends in alone", near_in(e, 0x100..=0x10F, "alone")),
            ]
        }),
        shape("compare_text", "it fails at byte 11", &[0x100..=0x10B], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 11, b'X', b'S'))),
                ("whose", of_symbol(e, 0, "own_signature")),
                ("where on the bus", nth(e, 0, |compare| compare.found.address == Some(0x20_0100))),
                ("near", near(e, &[(0x10B, b'S')], "combination")),
            ]
        }),
        shape("compare_text", "two bytes differ", &[0x100..=0x100], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 0, b'Q', b'P'))),
                ("near, both", near(e, &[(0x100, b'P'), (0x107, b'6')], "combination")),
            ]
        }),
        shape("compare_text", "data line 15 stuck high", &[0x100..=0x100], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 0, 0xD0, b'P'))),
                ("what the image holds", nth(e, 0, |compare| compare.stored == Some(b'P'))),
                ("nothing is near", e.nearest.is_empty()),
            ]
        }),
        shape("compare_text", "data line 1 stuck low", &[0x100..=0x105], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 5, 0x50, b'R'))),
                ("what the image holds", nth(e, 0, |compare| compare.stored == Some(b'R'))),
                ("nothing is near", e.nearest.is_empty()),
            ]
        }),
        shape("compare_text", "address line 3 stuck high", &[0x108..=0x108], &[], |e| {
            vec![
                ("bus 0x200100 shows image 0x108", nth(e, 0, |compare| differs(compare, 0x108, 0, b' ', b'P'))),
                ("its address", nth(e, 0, |compare| compare.found.address == Some(0x20_0100))),
            ]
        }),
        shape("compare_text", "swapped bytes", &[0x100..=0x100], &[], |e| {
            vec![("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 0, b'A', b'P')))]
        }),
        shape(
            "compare_text",
            "an image that ends within its signature",
            &[0x100..=0x107],
            &["open 200108-200108"],
            |e| {
                vec![
                    ("8 agree", nth(e, 0, |compare| !compare.equal && compare.matched == 8)),
                    ("nothing is near", e.nearest.is_empty()),
                ]
            },
        ),
        shape("compare_text", "nothing attached", &[], &["open 200100-200100"], |e| {
            vec![("open bus decides", nth(e, 0, |compare| compare.found.offset.is_none() && compare.matched == 0))]
        }),
        shape("scan_table", "entry 2 matches", &[0x180..=0x18D], &[], |e| {
            vec![
                ("entry 0", nth(e, 0, |compare| differs(compare, PRODUCT, 3, b'2', b'3'))),
                ("entry 1", nth(e, 1, |compare| differs(compare, PRODUCT, 9, b'B', b'0'))),
                ("entry 2", nth(e, 2, |compare| agrees(compare, PRODUCT, 14))),
                ("one scan", e.steps.iter().any(|step| matches!(step, Step::Scan(scan) if scan.matched == Some(2)))),
                ("near", near_in(e, 0x180..=0x18D, "refused")),
                ("no wrong source line", compares(e).iter().enumerate().all(|(entry, it)| right_line(entry, it))),
            ]
        }),
        shape("scan_table", "no entry matches, one is near", &[0x180..=0x189], &[], |e| {
            vec![
                ("entry 0", nth(e, 0, |compare| differs(compare, PRODUCT, 3, b'2', b'3'))),
                ("entry 1", nth(e, 1, |compare| differs(compare, PRODUCT, 4, b'3', b'1'))),
                ("entry 2", nth(e, 2, |compare| differs(compare, PRODUCT, 4, b'3', b'1'))),
                ("entry 3", nth(e, 3, |compare| differs(compare, PRODUCT, 9, b'1', b'0'))),
                ("near first", e.nearest.first().is_some_and(|first| first.ends == "noise")),
                ("near", near(e, &[(0x189, b'0')], "noise")),
                (
                    "next",
                    near(e, &[(0x184, b'1'), (0x189, b'0')], "patched")
                        || near(e, &[(0x184, b'1'), (0x189, b'B')], "patched"),
                ),
            ]
        }),
        shape("scan_table", "no entry matches, none is near", &[0x180..=0x181], &[], |e| {
            vec![
                ("four entries", compares(e).len() == 4),
                ("all at the first byte", compares(e).iter().all(|compare| differs(compare, PRODUCT, 0, b'H', b'A'))),
            ]
        }),
        shape("ask_patch", "the patch ROM knows it", &[0x180..=0x18D], &[], |e| {
            vec![
                ("entry 0", nth(e, 0, |compare| differs(compare, PRODUCT, 9, b'B', b'0'))),
                ("entry 1", nth(e, 1, |compare| agrees(compare, PRODUCT, 14))),
                ("the overlay's bytes", compares(e).iter().all(|compare| compare.with.whose.contains("format patch"))),
                ("not the image's", compares(e).iter().all(|compare| compare.with.offset.is_none())),
                ("the latch", wrote(e, "latch") == [1, 0]),
            ]
        }),
        shape("ask_patch", "the patch ROM does not know it", &[0x180..=0x189], &[], |e| {
            vec![
                ("entry 0", nth(e, 0, |compare| differs(compare, PRODUCT, 9, b'1', b'0'))),
                ("entry 1", nth(e, 1, |compare| differs(compare, PRODUCT, 9, b'1', b'B'))),
                ("near", near(e, &[(0x189, b'0')], "patched") && near(e, &[(0x189, b'B')], "patched")),
                ("the latch", wrote(e, "latch") == [1, 0]),
            ]
        }),
        shape("compare_copy", "both agree", &[0x100..=0x10F, 0x180..=0x182], &[], |e| {
            vec![
                ("the signature", nth(e, 0, |compare| agrees(compare, SIGNATURE, 16))),
                ("the publisher", nth(e, 1, |compare| agrees(compare, PRODUCT, 3))),
                ("near", near_in(e, 0x100..=0x10F, "alone") && near_in(e, 0x180..=0x182, "noise")),
            ]
        }),
        shape("compare_copy", "the last byte of the signature", &[0x100..=0x10F], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 15, b'X', b' '))),
                ("near", near(e, &[(0x10F, b' ')], "combination")),
            ]
        }),
        shape("compare_copy", "another publisher", &[0x100..=0x10F, 0x180..=0x180], &[], |e| {
            vec![
                ("the first difference", nth(e, 1, |compare| differs(compare, PRODUCT, 0, b'H', b'A'))),
                ("whose", of_symbol(e, 1, "own_product")),
                ("near", near(e, &[(0x180, b'A'), (0x181, b'W')], "combination")),
            ]
        }),
        shape(
            "compare_copy",
            "4 MiB with a header copy in sight",
            &[0x20_0100..=0x20_010F, 0x20_0180..=0x20_0182],
            &[],
            |e| vec![("the copy", nth(e, 0, |compare| agrees(compare, 0x20_0100, 16)))],
        ),
        shape("compare_copy", "4 MiB without", &[0x20_0100..=0x20_0100], &[], |e| {
            vec![("the first difference", nth(e, 0, |compare| differs(compare, 0x20_0100, 0, 0xFF, b'P')))]
        }),
        shape("compare_mirrors", "a mirrored image", &[0x100..=0x10F], &[], |e| {
            vec![
                ("16 agree", nth(e, 0, |compare| agrees(compare, SIGNATURE, 16))),
                ("both are the image's", nth(e, 0, |compare| compare.with.offset == Some(SIGNATURE))),
                ("nothing is near", e.nearest.is_empty()),
            ]
        }),
        shape("compare_mirrors", "an image of 1 MiB", &[0x100..=0x100, 0x8_0100..=0x8_0100], &[], |e| {
            vec![("no byte agrees", nth(e, 0, |compare| !compare.equal && compare.matched == 0))]
        }),
        shape("compare_mirrors", "almost a mirror", &[0x100..=0x10F, 0x8_0100..=0x8_010F], &[], |e| {
            vec![
                ("15 agree", nth(e, 0, |compare| !compare.equal && compare.matched == 15)),
                ("near", near(e, &[(0x8_010F, b' ')], "patched") || near(e, &[(0x10F, b'!')], "patched")),
            ]
        }),
        shape("compare_longs", "all of it agrees", &[0x100..=0x10F], &[], |e| {
            vec![("16 agree", nth(e, 0, |compare| agrees(compare, SIGNATURE, 16)))]
        }),
        shape("compare_longs", "the third long word", &[0x100..=0x10B], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 11, b'X', b'S'))),
                ("in the instructions", nth(e, 0, |compare| compare.with.address.is_none())),
                ("near", near(e, &[(0x10B, b'S')], "combination")),
            ]
        }),
        shape(
            "detect_in_c",
            "entry 1 from its first revision on",
            &[0x100..=0x10F, 0x180..=0x187, 0x18E..=0x18F],
            &[],
            |e| {
                vec![
                    ("the signature", nth(e, 0, |compare| agrees(compare, SIGNATURE, 16))),
                    ("entry 0", nth(e, 1, |compare| differs(compare, PRODUCT, 3, b'2', b'3'))),
                    ("entry 1", nth(e, 2, |compare| agrees(compare, PRODUCT, 8))),
                    ("whose", of_symbol(e, 2, "formats+12")),
                    ("eight bytes count", compares(e)[1].found.hex.len() <= 8 * 3 - 1),
                    ("the revision", tested(e, 3, 3)),
                    ("near", near(e, &[(0x18F, 2)], "refused")),
                ]
            },
        ),
        shape(
            "detect_in_c",
            "entry 1 before its first revision",
            &[0x100..=0x10F, 0x180..=0x187, 0x18E..=0x18F],
            &[],
            |e| {
                vec![
                    ("the revision", tested(e, 2, 3)),
                    ("entry 2", nth(e, 3, |compare| differs(compare, PRODUCT, 4, b'1', b'3'))),
                    ("near", near(e, &[(0x18F, 3)], "patched")),
                ]
            },
        ),
        shape("detect_in_c", "the signature fails at byte 5", &[0x100..=0x105], &[], |e| {
            vec![
                ("the first difference", nth(e, 0, |compare| differs(compare, SIGNATURE, 5, b'Q', b'R'))),
                ("near", near(e, &[(0x105, b'R')], "patched")),
            ]
        }),
    ]
}

fn numbers() -> Vec<Shape> {
    vec![
        shape("mask_bits", "both are right", &[0x191..=0x191], &[], |e| {
            vec![
                ("what features holds", tests(e).iter().all(|test| test.found.value == 0x84)),
                ("the mask", tests(e).first().is_some_and(|test| test.mask == Some(0x0C))),
                ("the bit", tests(e).get(1).is_some_and(|test| test.mask == Some(0x80))),
                ("near, bit 7", near(e, &[(0x191, 0x04)], "patched")),
                ("near, the mask", near_in(e, 0x191..=0x191, "refused")),
            ]
        }),
        shape("mask_bits", "bit 7 is missing", &[0x191..=0x191], &[], |e| {
            vec![("near", near(e, &[(0x191, 0xF5)], "combination"))]
        }),
        shape("mask_bits", "bit 3 is too much", &[0x191..=0x191], &[], |e| {
            vec![
                ("bit 7 is not looked at", tests(e).len() == 1),
                ("the mask", tests(e).first().is_some_and(|test| test.mask == Some(0x0C))),
                ("near", near(e, &[(0x191, 0x84)], "combination")),
            ]
        }),
        shape("hash_jump", "the hash is 1", &[0x180..=0x18D], &[], |e| {
            vec![
                ("no test", tests(e).is_empty() && compares(e).is_empty()),
                ("the table", looked_up(e, "hash_table+4")),
                ("the jump", jumped(e, "mode_patched")),
                ("near", !e.nearest.is_empty()),
            ]
        }),
        shape("hash_jump", "the hash is 0", &[0x180..=0x18D], &[], |e| {
            vec![("the table", looked_up(e, "hash_table>")), ("the jump", jumped(e, "mode_combination"))]
        }),
        shape("hash_jump", "the hash is 3", &[0x180..=0x18D], &[], |e| {
            vec![("the table", looked_up(e, "hash_table+12")), ("the jump", jumped(e, "mode_refused"))]
        }),
        shape("hash_return", "the hash is 2", &[0x180..=0x18D], &[], |e| {
            let jumps = e.steps.iter().filter(|step| matches!(step, Step::Jump(_))).count();
            vec![
                ("the table", looked_up(e, "hash_table+8")),
                ("the jump", jumped(e, "mode_noise")),
                ("one jump", jumps == 1),
            ]
        }),
        shape("sum_words", "the checksum is right", &[0x1A0..=0x1A1, 0x200..=0x2FF], &[], |e| {
            vec![
                ("the sum", tested(e, 0x8880, 0x8880)),
                ("where from", test_from(e, 0x200..=0x2FF)),
                ("near", near_in(e, 0x1A0..=0x2FF, "refused")),
            ]
        }),
        shape("sum_words", "the checksum is wrong", &[0x1A0..=0x1A1, 0x200..=0x2FF], &[], |e| {
            vec![("the sum", tested(e, 0x8880, 0x8881)), ("near", near(e, &[(0x1A1, 0x80)], "combination"))]
        }),
        shape("follow_table", "it leads to the product code", &[0x180..=0x181, 0x192..=0x193], &[], |e| {
            vec![("the word", tested(e, 0x4157, 0x4157)), ("near", near_in(e, 0x180..=0x181, "alone"))]
        }),
        shape("follow_table", "it leads to the signature", &[0x100..=0x101, 0x192..=0x193], &[], |e| {
            vec![
                ("the word", tested(e, 0x5041, 0x4157)),
                ("near, the word", near(e, &[(0x100, b'A'), (0x101, b'W')], "combination")),
                ("near, the offset", near(e, &[(0x193, 0x80)], "combination")),
            ]
        }),
        shape("follow_table", "it is odd", &[0x192..=0x193], &[], |e| {
            let failed =
                |step: &Step| matches!(step, Step::Lookup(it) if it.address == 0x20_0181 && it.value.is_none());
            vec![
                ("the access", e.steps.iter().any(failed)),
                ("how it ended", e.ended.contains("address error")),
                ("near", near(e, &[(0x193, 0x80)], "combination")),
            ]
        }),
        shape("join_fields", "revision 1 in region 2", &[0x18E..=0x190], &[], |e| {
            vec![("the number", tested(e, 0x12, 0x12)), ("where from", test_from(e, 0x18E..=0x190))]
        }),
        shape("join_fields", "revision 1 in region 3", &[0x18E..=0x190], &[], |e| {
            vec![("the number", tested(e, 0x13, 0x12)), ("near", near(e, &[(0x190, 2)], "combination"))]
        }),
        shape("compare_serial", "one below", &[0x198..=0x19F], &[], |e| {
            vec![
                ("all eight bytes", test_from(e, 0x198..=0x19F)),
                ("near, the low half", near_in(e, 0x19C..=0x19F, "combination")),
            ]
        }),
        shape("compare_serial", "the same", &[0x198..=0x19F], &[], |e| {
            vec![
                ("all eight bytes", test_from(e, 0x198..=0x19F)),
                ("near, below", near_in(e, 0x198..=0x19F, "patched")),
                ("near, above", near_in(e, 0x198..=0x19F, "combination")),
            ]
        }),
        shape("compare_serial", "one above", &[0x198..=0x19F], &[], |e| {
            vec![("near", near(e, &[(0x19F, 0)], "noise"))]
        }),
        shape("keep_answer", "region 2", &[0x190..=0x190], &[], |e| {
            vec![("the compare behind it", tested(e, 2, 2)), ("near", near_in(e, 0x190..=0x190, "alone"))]
        }),
        shape("keep_answer", "region 3", &[0x190..=0x190], &[], |e| {
            vec![("the compare behind it", tested(e, 3, 2)), ("near", near(e, &[(0x190, 2)], "combination"))]
        }),
        shape("keep_flags", "revision 1 is below", &[0x18F..=0x18F], &[], |e| {
            vec![("the compare behind it", tested(e, 1, 2)), ("near", near(e, &[(0x18F, 2)], "combination"))]
        }),
        shape("keep_flags", "revision 2", &[0x18F..=0x18F], &[], |e| {
            vec![
                ("the compare behind it", tested(e, 2, 2)),
                ("near, below", near_in(e, 0x18F..=0x18F, "patched")),
                ("near, above", near_in(e, 0x18F..=0x18F, "noise")),
            ]
        }),
        shape("keep_flags", "revision 0x0703 is above", &[0x18F..=0x18F], &[], |e| {
            vec![("near", near(e, &[(0x18F, 2)], "combination"))]
        }),
        shape("keep_carry", "region 0x0F", &[0x190..=0x190], &[], |e| {
            vec![("near", near_in(e, 0x190..=0x190, "refused"))]
        }),
        shape("keep_carry", "region 0x10", &[0x190..=0x190], &[], |e| {
            vec![("near", near_in(e, 0x190..=0x190, "combination"))]
        }),
        shape("tell_mode", "region 0xF5", &[0x190..=0x190], &[], |e| {
            vec![
                ("the cell", told(e) == [("alone", 1, 0), ("combination", 1, 1)]),
                ("near", near(e, &[(0x190, 0xF4)], "alone")),
                ("near, the others", near(e, &[(0x190, 0xF7)], "noise") || near(e, &[(0x190, 0xF6)], "patched")),
            ]
        }),
        shape("tell_mode", "region 3", &[0x190..=0x190], &[], |e| {
            vec![
                ("the cell", told(e) == [("alone", 3, 0), ("combination", 3, 1), ("patched", 3, 2)]),
                ("near", near_in(e, 0x190..=0x190, "patched")),
            ]
        }),
        shape("count_marks", "as many as the header says", &[0x1A2..=0x1A3, 0x200..=0x3FF], &[], |e| {
            vec![("the count", tested(e, 0x100, 0x100)), ("near", near_in(e, 0x1A2..=0x3FF, "refused"))]
        }),
        shape("count_marks", "one fewer", &[0x1A2..=0x1A3, 0x200..=0x3FF], &[], |e| {
            vec![
                ("the count", tested(e, 0x100, 0x101) || tested(e, 0x101, 0x100)),
                ("near, the header", near(e, &[(0x1A3, 0)], "combination")),
            ]
        }),
        shape("count_marks", "all of them", &[0x1A2..=0x1A3, 0x200..=0x3FF], &[], |e| {
            vec![("alike, so one step", e.steps.len() < 5)]
        }),
        shape("divide_by_steps", "four steps", &[0x194..=0x195], &[], |e| {
            vec![
                ("the quotient", tested(e, 1200, 16)),
                ("near, by zero", near(e, &[(0x195, 0)], "alone")),
                ("near, the quotient", near_in(e, 0x194..=0x194, "refused")),
            ]
        }),
        shape("divide_by_steps", "400 steps", &[0x194..=0x195], &[], |e| {
            vec![("the quotient", tested(e, 12, 16)), ("near", near_in(e, 0x194..=0x195, "combination"))]
        }),
        shape("divide_by_steps", "no steps", &[0x194..=0x195], &[], |e| {
            vec![
                ("the exception", handled(e, "on_zero_divide") == 1),
                ("near", near_in(e, 0x194..=0x195, "combination")),
            ]
        }),
        shape("check_voices", "32 voices", &[0x196..=0x196], &[], |e| {
            vec![("a decision is told", !e.steps.is_empty()), ("near", near_in(e, 0x196..=0x196, "refused"))]
        }),
        shape("check_voices", "33 voices", &[0x196..=0x196], &[], |e| {
            vec![("the exception", handled(e, "on_bounds") == 1), ("near", near_in(e, 0x196..=0x196, "combination"))]
        }),
        shape("add_steps", "as far as it goes", &[0x194..=0x195], &[], |e| {
            vec![("a decision is told", !e.steps.is_empty()), ("near", near_in(e, 0x194..=0x195, "refused"))]
        }),
        shape("add_steps", "one further", &[0x194..=0x195], &[], |e| {
            vec![("the exception", handled(e, "on_overflow") == 1), ("near", near(e, &[(0x194, 0)], "combination"))]
        }),
        shape("call_cartridge", "it answers 1", &[0x200..=0x203], &[], |e| {
            vec![("the answer", tested(e, 1, 1)), ("near", near_in(e, 0x200..=0x203, "alone"))]
        }),
        shape("call_cartridge", "it answers 2", &[0x200..=0x203], &[], |e| {
            vec![("the answer", tested(e, 2, 1)), ("near", near(e, &[(0x201, 1)], "combination"))]
        }),
    ]
}

fn waits() -> Vec<Shape> {
    vec![
        shape("poll_pedal", "never pressed", &[], &["port pedal"], |e| {
            vec![
                ("100 looks", tests(e).iter().map(|test| test.times).sum::<u64>() == 100),
                ("in one step", e.steps.len() == 1),
                ("the bit", tests(e).iter().all(|test| test.mask == Some(1) && test.found.value == 0)),
                ("near", near_port(e, "pedal", "noise")),
            ]
        }),
        shape("poll_pedal", "pressed after 37 looks", &[], &["port pedal"], |e| {
            let looks: Vec<(u64, u32)> = tests(e).iter().map(|test| (test.times, test.found.value)).collect();
            vec![("the looks", looks == [(37, 0), (1, 1)]), ("near", near_port(e, "pedal", "refused"))]
        }),
        shape("await_counter", "it moves on", &[], &["port counter"], |e| {
            vec![
                ("the last look", tested(e, 5, 5)),
                ("seven others", tests(e).first().is_some_and(|test| test.times == 7)),
            ]
        }),
        shape("await_counter", "it stands still", &[], &["port counter"], |e| {
            vec![("the difference", tested(e, 0, 5))]
        }),
        shape("await_blanks", "two blanks are wanted", &[0x197..=0x197], &["interrupt vertical blank"], |e| {
            vec![
                ("two blanks", handled(e, "on_blank") == 2),
                ("the last look", tested(e, 2, 2)),
                ("near", near_in(e, 0x197..=0x197, "refused")),
            ]
        }),
        shape("await_blanks", "nine blanks are wanted", &[0x197..=0x197], &["interrupt vertical blank"], |e| {
            vec![
                ("three blanks", handled(e, "on_blank") == 3),
                ("the last look", tested(e, 9, 3)),
                ("near", near_in(e, 0x197..=0x197, "combination")),
            ]
        }),
        shape("warm_start", "a cold start", &[0x100..=0x100], &["ram E00004-E00005"], |e| {
            vec![
                ("RAM decides", tests(e).first().is_some_and(|test| test.found.value == 0)),
                ("then the signature", tested(e, 0x50, 0x50)),
                ("its fill", e.fill == "zeros"),
            ]
        }),
        shape("warm_start", "RAM of ones", &[], &["ram E00004-E00005"], |e| {
            vec![
                ("RAM decides", tests(e).iter().all(|test| test.found.value == 0xFFFF)),
                ("its fill", e.fill == "ones"),
            ]
        }),
        shape("shift_time", "a short shift", &[0x196..=0x196], &["port pedal"], |e| {
            vec![
                ("the pedal", tests(e).iter().all(|test| test.found.value == 0)),
                ("near, the pedal", near_port(e, "pedal", "noise")),
            ]
        }),
        shape("shift_time", "a long shift", &[0x196..=0x196], &["port pedal"], |e| {
            vec![("the pedal", tests(e).iter().all(|test| test.found.value == 1))]
        }),
    ]
}

fn looked_up(explanation: &Explanation, place: &str) -> bool {
    explanation.steps.iter().any(|step| matches!(step, Step::Lookup(lookup) if lookup.place.contains(place)))
}

fn jumped(explanation: &Explanation, symbol: &str) -> bool {
    let to = |step: &Step| matches!(step, Step::Jump(jump) if jump.to.symbol.as_deref() == Some(symbol));
    explanation.steps.iter().any(to)
}

/// The branches that the end asked for: branch, what the cell held, what it asks for.
fn told(explanation: &Explanation) -> Vec<(&str, u32, u32)> {
    let told = |step| match step {
        &Step::Told(ref told) => Some((told.branch.as_str(), told.found.value, told.is)),
        _ => None,
    };
    explanation.steps.iter().filter_map(told).collect()
}
