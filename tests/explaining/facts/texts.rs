//! Shapes that compare texts: texts.s and shape.c.

use keyway::explain::Step;

use super::super::told::{agrees, compares, differs, near, near_in, tested};
use super::{PRODUCT, SIGNATURE, Shape, label_line, nth, of_symbol, shape, wrote};

pub fn shapes() -> Vec<Shape> {
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
                ("the source line of the table", compares(e).iter().all(|compare| label_line(compare))),
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
                    ("eight bytes count", compares(e)[1].found.hex.len() < 8 * 3),
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
