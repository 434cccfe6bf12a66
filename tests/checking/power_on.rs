//! RAM at power-on: every fill is tried, and a branch that depends on it is found.

use crate::support::Project;

/// tst.w 0xE00010 / beq +8 -> label `zero` at 0x10 / else label `other` at 0x0E; vectors are not needed.
const LOOKS_AT_RAM: [u16; 10] = [0x4E71, 0x4E71, 0x4A79, 0x00E0, 0x0010, 0x6704, 0x4E71, 0x60FE, 0x60FE, 0x4E71];

const KEYS: &str = "routine: {entry: start, stack: 0xE0FE00}\n\
     branches:\n  zero: {kind: rejected, at: zero}\n  other: {kind: fallback, at: other}\n";

fn project(extra: &str) -> Project {
    let symbols = [("start", 0u32), ("other", 0x0E), ("zero", 0x10)];
    let project = Project::with_rom(&LOOKS_AT_RAM, &symbols, &format!("{KEYS}{extra}"));
    project.write(
        "cases/one.yaml",
        "harness: ../harness/rom.yaml\ncases: [{name: one, attach: nothing, expect: {branch: zero}}]\n",
    );
    project
}

#[test]
fn a_branch_that_depends_on_the_fill_fails_and_says_what_was_read() {
    let ran = project("forbid: []\n").run(&["check"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let parts = [
        "with RAM ones: took other (fallback); wanted zero",
        "the end depends on RAM at power-on: zero with zeros, other with ones",
        "RAM read before it was written: 0xE00010 at 0x000004 <start+4>",
    ];
    for part in parts {
        assert!(ran.out.contains(part), "no {part:?} in\n{}", ran.out);
    }
}

#[test]
fn reading_early_is_forbidden_by_default() {
    let project = project("");
    project.write(
        "cases/one.yaml",
        "harness: ../harness/rom.yaml\n\
         cases: [{name: one, attach: nothing, power-on: zeros, expect: {branch: zero}}]\n",
    );
    let ran = project.run(&["check"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let read = "read RAM before writing it: 0xE00010 at 0x000004 <start+4> (and 1 more)";
    assert!(ran.out.contains(read), "{}", ran.out);
}

#[test]
fn a_branch_told_by_ram_that_nothing_wrote_depends_on_the_fill() {
    // The routine returns at once; the harness looks at RAM that nothing has written.
    let keys = "routine: {entry: start, stack: 0xE0FE00}\nforbid: []\n\
         branches:\n  zero: {kind: rejected, at: return, when: {word: 0xE00010, is: 0}}\n  \
         other: {kind: fallback, at: return}\n";
    let project = Project::with_rom(&[0x4E75, 0x4E71, 0x4E71, 0x4E71, 0x4E71, 0x4E71], &[("start", 0)], keys);
    project.write(
        "cases/one.yaml",
        "harness: ../harness/rom.yaml\ncases: [{name: one, attach: nothing, expect: {branch: zero}}]\n",
    );
    let ran = project.run(&["check"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(
        ran.out.contains("the branch is told by word 0xE00010, which nothing has written: RAM at power-on decides"),
        "{}",
        ran.out
    );
}

#[test]
fn one_run_stands_for_all_fills_when_no_ram_was_looked_at() {
    let project = Project::demo();
    project.write("cases/one.yaml", "harness: ../harness/aria.yaml\ncases: [{name: one, attach: nothing}]\n");
    let ran = project.run(&["check", "--format", "json"]);
    let case: serde_json::Value = serde_json::from_str(ran.out.lines().nth(2).expect("the case")).expect("JSON");
    assert_eq!((&case["fills"], &case["fills-run"]), (&3.into(), &1.into()), "{case}");
}
