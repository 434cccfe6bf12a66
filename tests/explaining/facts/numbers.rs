//! Shapes that compute: numbers.s and traps.s.

use keyway::explain::Step;

use super::super::told::{compares, holds, near, near_in, tested, tests};
use super::{Shape, handled, jumped, looked_up, shape, test_by, test_from, told};

pub fn shapes() -> Vec<Shape> {
    vec![
        shape("mask_bits", "both are right", &[0x191..=0x191], &[], |e| {
            vec![
                ("what features holds", tests(e).iter().all(|test| holds(&test.found.from, "84"))),
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
                ("all eight bytes", test_by(e, 0x198..=0x19F)),
                ("near, the low half", near_in(e, 0x19C..=0x19F, "combination")),
            ]
        }),
        shape("compare_serial", "the same", &[0x198..=0x19F], &[], |e| {
            vec![
                ("all eight bytes", test_by(e, 0x198..=0x19F)),
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
