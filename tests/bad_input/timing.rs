//! Interrupts and wait states: every way in which their values can be wrong, in harness and case files.

use super::support::{Break, Project, broken, try_all};

/// Where the keys of a harness are put in: the first line.
const TOP: &str = "name: Aria Workshop";

#[rustfmt::skip]
const INTERRUPTS: &[Break] = &[
    broken(TOP, "interrupts: {level: 6}", "1:13", "interrupts", "wrong type: a mapping, expected a list"),
    broken(TOP, "interrupts: [{level: 6, every-cycles: 9}]", "1:14", "interrupts[0]", "the key `name` is missing"),
    broken(TOP, "interrupts: [{name: b, every-cycles: 9}]", "1:14", "interrupts[0]", "the key `level` is missing"),
    broken(TOP, "interrupts: [{name: b, levle: 6, every-cycles: 9}]", "1:24", "interrupts[0].levle", "did you mean `level`?"),
    broken(TOP, "interrupts: [{name: b, level: 6, every: 9}]", "1:34", "interrupts[0].every", "unknown key `every`"),
    broken(TOP, "interrupts: [{name: b, level: 0, every-cycles: 9}]", "1:31", "interrupts[0].level", "an interrupt has a level of 1 to 7, not 0"),
    broken(TOP, "interrupts: [{name: b, level: 8, every-cycles: 9}]", "1:31", "interrupts[0].level", "an interrupt has a level of 1 to 7, not 8"),
    broken(TOP, "interrupts: [{name: b, level: six, every-cycles: 9}]", "1:31", "interrupts[0].level", r#"expected a whole number from 0 to 0xFFFFFFFF, not "six""#),
    broken(TOP, "interrupts: [{name: b, level: 6}]", "1:14", "interrupts[0]", "give `after-cycles`, `every-cycles` or both"),
    broken(TOP, "interrupts: [{name: b, level: 6, every-cycles: 0}]", "1:48", "interrupts[0].every-cycles", "expected a whole number of at least 1, not 0"),
    broken(TOP, "interrupts: [{name: b, level: 6, after-cycles: -1}]", "1:48", "interrupts[0].after-cycles", "expected a whole number from 0 to 0xFFFFFFFF, not -1"),
    broken(TOP, r#"interrupts: [{name: "", level: 6, every-cycles: 9}]"#, "1:21", "interrupts[0].name", "the name is empty"),
    broken(TOP, "interrupts: [{name: b, level: 6, every-cycles: 9}, {name: b, level: 5, every-cycles: 9}]", "1:59", "interrupts[1].name", "the name `b` is given twice"),
    broken(TOP, "interrupts: [{name: b, level: 6, vector: 256, every-cycles: 9}]", "1:42", "interrupts[0].vector", "a vector number is at most 255 (0xFF), not 256"),
    broken("  entry: detect", "  entry: reset", "14:10", "routine.stack", "`entry: reset` starts as the processor does: `stack` has no effect"),
    // The header stands at 0x100: "PARL".
    broken(TOP, "interrupts: [{name: b, level: 6, vector: 64, every-cycles: 9}]", "1:42", "interrupts[0].vector", "vector 64 at 0x000100 holds 0x5041524C, where no code may run"),
    // Vector 0 is the stack pointer; code may not run there unless the harness says so.
    broken(TOP, "interrupts: [{name: b, level: 6, vector: 0, every-cycles: 9}]", "1:42", "interrupts[0].vector", "vector 0 at 0x000000 holds 0xE0FE00, where no code may run"),
];

#[rustfmt::skip]
const WAITS: &[Break] = &[
    broken(TOP, "wait-states: [{range: 0x0-0xFFFF}]", "1:15", "wait-states[0]", "the key `clocks` is missing"),
    broken(TOP, "wait-states: [{clocks: 1}]", "1:15", "wait-states[0]", "the key `range` is missing"),
    broken(TOP, "wait-state: [{range: 0x0-0xFFFF, clocks: 1}]", "1:1", "wait-state", "did you mean `wait-states`?"),
    broken(TOP, "wait-states: [{range: 0x0-0xFFFF, clocks: 1001}]", "1:43", "wait-states[0].clocks", "1001 clocks are too many; 1000 is the most for one bus cycle"),
    broken(TOP, "wait-states: [{range: 0x0-0xFFFF, clocks: 1.5}]", "1:43", "wait-states[0].clocks", "expected a whole number from 0 to 0xFFFFFFFF, not the number 1.5"),
    broken(TOP, "wait-states: [{range: 0x200000, clocks: 1}]", "1:23", "wait-states[0].range", "expected an inclusive range like 0x200000-0x3FFFFF, not 2097152"),
    broken(TOP, "wait-states: [{range: 0x2000-0x1FFF, clocks: 1}]", "1:23", "wait-states[0].range", "the range 0x002000-0x001FFF ends before it begins"),
    broken(TOP, "wait-states: [{range: 0x1-0x1FFF, clocks: 1}]", "1:23", "wait-states[0].range", "0x000001-0x001FFF does not consist of whole words (even start, odd end)"),
    broken(TOP, "wait-states: [{range: 0x0-0x1FFFFFF, clocks: 1}]", "1:23", "wait-states[0].range", "0x000000-0x1FFFFFF lies beyond the 24-bit bus of the 68000 (0xFFFFFF)"),
    broken(TOP, "wait-states: [{range: 0x0-0xFFFF, clocks: 1}, {range: 0x100-0x1FF, clocks: 2}]", "1:55", "wait-states[1].range", "entry 1 has all of these addresses, and the first counts"),
];

/// What the second case has in its place.
const PORTS: &str = "    ports: {pedal: 1}";

#[rustfmt::skip]
const CASES: &[Break] = &[
    broken(PORTS, "    interrupts: {blonk: never}", "13:18", "cases[1].interrupts.blonk", "did you mean `blank`?"),
    broken(PORTS, "    interrupts: {blank: nevr}", "13:25", "cases[1].interrupts.blank", r#"wrong type: text "nevr", expected `never`, or {after-cycles:, every-cycles:}"#),
    broken(PORTS, "    interrupts: {blank: 5000}", "13:25", "cases[1].interrupts.blank", "expected `never`, or {after-cycles:, every-cycles:}"),
    broken(PORTS, "    interrupts: {blank: [1]}", "13:25", "cases[1].interrupts.blank", "wrong type: a list, expected `never`, or {after-cycles:, every-cycles:}"),
    broken(PORTS, "    interrupts: {blank: {}}", "13:25", "cases[1].interrupts.blank", "give `after-cycles`, `every-cycles` or both"),
    broken(PORTS, "    interrupts: {blank: {every-cycles: 0}}", "13:40", "cases[1].interrupts.blank.every-cycles", "expected a whole number of at least 1, not 0"),
    broken(PORTS, "    interrupts: {blank: {level: 5}}", "13:26", "cases[1].interrupts.blank.level", "unknown key `level`"),
    broken(PORTS, "    interrupts: {blank: never, blank: never}", "13:32", "cases[1].interrupts.blank", "`blank` is given twice"),
    broken(PORTS, "    interupts: {blank: never}", "13:5", "cases[1].interupts", "did you mean `interrupts`?"),
    broken("defaults: {empty: ones}", "defaults: {interrupts: {blnk: never}}", "2:25", "defaults.interrupts.blnk", "did you mean `blank`?"),
    broken("defaults: {empty: ones}", "defaults: {interrupts: {blank: {}}}", "2:32", "defaults.interrupts.blank", "give `after-cycles`, `every-cycles` or both"),
];

#[test]
fn interrupts() {
    try_all("h.yaml", INTERRUPTS);
}

#[test]
fn wait_states() {
    try_all("h.yaml", WAITS);
}

#[test]
fn interrupts_of_cases() {
    for line in CASES {
        let project = Project::new();
        project.replace("h.yaml", TOP, "interrupts: [{name: blank, level: 6, every-cycles: 1000}]");
        project.replace("c.yaml", line.from, line.to);
        let what = format!("{:?} for {:?}", line.to, line.from);
        project.complains(&what, &format!("c.yaml:{}", line.at), line.path, line.message);
    }
}

/// A case cannot name an interrupt where the harness has none.
#[test]
fn a_harness_without_interrupts() {
    let project = Project::new();
    project.replace("c.yaml", PORTS, "    interrupts: {blank: never}");
    project.complains("none", "c.yaml:13:18", "cases[1].interrupts.blank", "there is no interrupt `blank`");
}

/// Where a vector may be put by other means, nothing is said of what the ROM holds there.
#[test]
fn a_vector_that_something_else_may_hold() {
    let vector = "interrupts: [{name: b, level: 6, vector: 64, every-cycles: 900000}]";
    let project = Project::new();
    project.replace("h.yaml", TOP, vector);
    project.replace("h.yaml", "range: 0x280000-0x2BFFFF", "range: 0x000000-0x03FFFF");
    assert_eq!(project.run(&["list", "c.yaml"]).status.code(), Some(0), "under an overlay");
    let project = Project::new();
    project.replace("h.yaml", TOP, "interrupts: [{name: b, level: 6, vector: 0, every-cycles: 900000}]\nforbid: []");
    assert_eq!(project.run(&["list", "c.yaml"]).status.code(), Some(0), "code may run in RAM");
}
