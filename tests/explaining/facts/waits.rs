//! Shapes that wait, and those that time or RAM decides: waiting.s.

use super::super::told::{near_in, near_port, tested, tests};
use super::{Shape, handled, shape};

pub fn shapes() -> Vec<Shape> {
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
                (
                    "its fill",
                    e.fill == "zeros; with ones it ends otherwise: noise; with noise it ends otherwise: noise",
                ),
            ]
        }),
        shape("warm_start", "RAM of ones", &[], &["ram E00004-E00005"], |e| {
            vec![
                ("RAM decides", tests(e).iter().all(|test| test.found.value == 0xFFFF)),
                ("its fill", e.fill == "ones"),
            ]
        }),
        shape("multiply_time", "no bit is 1", &[0x194..=0x195], &["interrupt vertical blank"], |e| {
            vec![("no blank", handled(e, "on_blank") == 0)]
        }),
        shape("multiply_time", "eight bits are 1", &[0x194..=0x195], &["interrupt vertical blank"], |e| {
            vec![("one blank", handled(e, "on_blank") == 1), ("the count", tested(e, 1, 1))]
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
