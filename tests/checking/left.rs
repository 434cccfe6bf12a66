//! What ports are left at, as a branch and a case may say it, and what a case forbids besides its harness.

use crate::support::{Project, Ran};

/// `move.b #1,(0xB00001).l` (M68000PRM).
const LATCH: [u16; 4] = [0x13FC, 0x0001, 0x00B0, 0x0001];
/// `move.b #5,(0xB00001).l`
const UNDECLARED: [u16; 4] = [0x13FC, 0x0005, 0x00B0, 0x0001];
/// `move.b #0x80,(0xB00010).l`: the upper half of the lamp.
const LAMP: [u16; 4] = [0x13FC, 0x0080, 0x00B0, 0x0010];
/// `move.b (0xE00010).l,(0xB00001).l`
const FROM_RAM: [u16; 5] = [0x13F9, 0x00E0, 0x0010, 0x00B0, 0x0001];
/// `move.b #1,(0xD00001).l`: nothing is there.
const ASTRAY: [u16; 4] = [0x13FC, 0x0001, 0x00D0, 0x0001];
/// `move.b (0xD00001).l,d0`
const LOST: [u16; 3] = [0x1039, 0x00D0, 0x0001];
const RESET: u16 = 0x4E70;
const RTS: u16 = 0x4E75;
const ILLEGAL: u16 = 0x4AFC;
/// `addq.l #1,d0; bra.s` back: never the same state twice.
const COUNT: [u16; 2] = [0x5280, 0x60FC];
const NOP: u16 = 0x4E71;

const KEYS: &str = "ports:\n  \
      - {name: latch, at: 0xB00001, writes: [0, 1]}\n  \
      - {name: lamp, at: 0xB00010, size: word, writes: [0x8000, 0x8011], power-on: 0x4011}\n\
    routine: {entry: start, stack: 0xE0FE00, limit: {instructions: 5000}}\n";

/// A branch by returning, of which nothing more is said.
const BACK: &str = "branches: {back: {kind: rejected, at: return}}\n";

/// Runs one case of a routine that is these words.
fn case(words: &[&[u16]], harness: &str, expect: &str) -> Ran {
    // No instruction that ends the image: the processor fetches two words ahead.
    let words = [&words.concat()[..], &[NOP; 4]].concat();
    let project = Project::with_rom(&words, &[("start", 0)], &format!("{KEYS}{harness}"));
    let cases = format!("harness: ../harness/rom.yaml\ncases: [{{name: one, attach: nothing, expect: {expect}}}]\n");
    project.write("cases/one.yaml", cases);
    project.run(&["check"])
}

#[track_caller]
fn holds(words: &[&[u16]], harness: &str, expect: &str) {
    let ran = case(words, harness, expect);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.ends_with("1 case: 1 held\n"), "{}", ran.out);
}

/// The case fails and says each of these once.
#[track_caller]
fn fails(words: &[&[u16]], harness: &str, expect: &str, reasons: &[&str]) -> Ran {
    let ran = case(words, harness, expect);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    for reason in reasons {
        assert_eq!(ran.out.matches(reason).count(), 1, "{reason:?} in\n{}", ran.out);
    }
    ran
}

/// The branch by returning, with what it leaves.
fn leaving(leaves: &str) -> String {
    format!("branches: {{back: {{kind: rejected, at: return, leaves: {leaves}}}}}\n")
}

#[test]
fn a_branch_says_what_it_leaves() {
    holds(&[&[RTS]], &leaving("{latch: 0}"), "{branch: back}");
    holds(&[&LATCH, &[RTS]], &leaving("{latch: 1, lamp: 0x4011}"), "{branch: back}");
    fails(
        &[&LATCH, &[RTS]],
        &leaving("{latch: 0}"),
        "{branch: back}",
        &["`latch` holds 1 at the end since 0x000000 <start>; the branch back (rejected) leaves 0"],
    );
    fails(
        &[&[RTS]],
        &leaving("{latch: 1, lamp: 0x8000}"),
        "{kind: rejected}",
        &[
            "`latch` holds 0 at the end; the branch back (rejected) leaves 1",
            "`lamp` holds 0x4011 at the end; the branch back (rejected) \
             leaves 0x8000",
        ],
    );
}

/// Only the branch that was taken counts.
#[test]
fn what_another_branch_leaves_is_not_asked_for() {
    let two = "branches:\n  back: {kind: rejected, at: return}\n  \
               away: {kind: fallback, at: start+10, leaves: {latch: 0}}\n";
    holds(&[&LATCH, &[RTS]], two, "{branch: back}");
    // The second NOP is the exit.
    fails(&[&LATCH, &[NOP, NOP]], two, "{branch: away}", &["the branch away (fallback) leaves 0"]);
}

#[test]
fn a_case_says_what_is_left() {
    holds(&[&LATCH, &[RTS]], BACK, "{leaves: {latch: 1}}");
    fails(
        &[&LATCH, &[RTS]],
        BACK,
        "{leaves: {latch: 0}}",
        &["`latch` holds 1 at the end since 0x000000 <start>; wanted 0"],
    );
}

/// Of a port that both speak of, the case's word counts; of the others the branch's.
#[test]
fn a_case_may_contradict_its_branch() {
    let branch = leaving("{latch: 0, lamp: 0x4011}");
    holds(&[&LATCH, &[RTS]], &branch, "{branch: back, leaves: {latch: 1}}");
    let wrong =
        fails(&[&[RTS]], &branch, "{branch: back, leaves: {latch: 1}}", &["`latch` holds 0 at the end; wanted 1"]);
    assert!(!wrong.out.contains("the branch back (rejected) leaves"), "{}", wrong.out);
    fails(
        &[&LATCH, &LAMP, &[RTS]],
        &branch,
        "{branch: back, leaves: {latch: 1}}",
        &["`lamp` holds 0x8011 at the end since 0x000008 <start+8>; the branch back (rejected) leaves 0x4011"],
    );
}

/// The RESET instruction takes latches back to power-on, and what is written after it stays.
#[test]
fn a_reset_takes_back_what_was_written() {
    holds(&[&LATCH, &LAMP, &[RESET, RTS]], &leaving("{latch: 0, lamp: 0x4011}"), "{branch: back}");
    holds(&[&LATCH, &[RESET, RTS]], BACK, "{leaves: {latch: 0}, writes: {latch: [1]}}");
    holds(&[&[RESET], &LATCH, &[RTS]], BACK, "{leaves: {latch: 1}}");
    fails(
        &[&LATCH, &[RESET, RTS]],
        BACK,
        "{leaves: {latch: 1}}",
        &["`latch` holds 0 at the end: a RESET took back the 1 written at 0x000000 <start>; wanted 1"],
    );
}

/// A byte written to half of a word-wide port leaves the other half as it was.
#[test]
fn half_of_a_word_is_written() {
    holds(&[&LAMP, &[RTS]], BACK, "{leaves: {lamp: 0x8011}}");
    fails(&[&LAMP, &[RTS]], BACK, "{leaves: {lamp: 0x8000}}", &["`lamp` holds 0x8011 at the end since"]);
}

#[test]
fn a_run_without_a_branch() {
    let crash = [&LATCH[..], &[ILLEGAL]];
    fails(&crash, BACK, "{leaves: {latch: 1}}", &["wanted any branch"]);
    fails(&crash, BACK, "{leaves: {latch: 0}}", &["wanted any branch", "`latch` holds 1"]);
    // The branch's word is about runs that take it.
    let only = fails(&crash, &leaving("{latch: 0}"), "{branch: back}", &["wanted back"]);
    assert!(!only.out.contains("at the end"), "{}", only.out);
    // A run that was given up is neither a pass nor a failure.
    let ran = case(&[&LATCH, &COUNT], BACK, "{leaves: {latch: 0}}");
    assert_eq!(ran.code, 5, "{}{}", ran.out, ran.err);
}

/// What is left may hang on what RAM holds at power-on.
#[test]
fn every_fill_is_judged() {
    fails(
        &[&FROM_RAM, &[RTS]],
        &format!("{BACK}forbid: []\n"),
        "{leaves: {latch: 0}}",
        &["with RAM ones: `latch` holds 0xFF at the end since 0x000000 <start>; wanted 0"],
    );
}

#[test]
fn the_kind_of_reason_has_a_name() {
    let words = [&LATCH[..], &[RTS, NOP, NOP]].concat();
    let project = Project::with_rom(&words, &[("start", 0)], &format!("{KEYS}{}", leaving("{latch: 0}")));
    let cases = "harness: ../harness/rom.yaml\ncases: [{name: one, attach: nothing, expect: {branch: back}}]\n";
    project.write("cases/one.yaml", cases);
    let ran = project.run(&["check", "--format", "json"]);
    assert!(ran.out.contains(r#""why":"leaves""#), "{}", ran.out);
}

/// Each word, by a case whose harness forbids nothing: it holds without the word and fails with it.
#[test]
fn a_case_forbids_more() {
    let harness = format!("{BACK}forbid: []\n");
    for (word, code, text) in [
        ("writes-outside-map", &ASTRAY[..], "wrote byte 1 to 0xD00001"),
        ("reads-outside-map", &LOST, "read a byte at 0xD00001, where nothing is mapped"),
        ("reads-ram-before-writing", &FROM_RAM, "read RAM before writing it: 0xE00010"),
        ("undeclared-port-writes", &UNDECLARED, "wrote 5 to `latch`, a value that the harness does not declare"),
    ] {
        holds(&[code, &[RTS]], &harness, "{branch: back}");
        let ran = fails(&[code, &[RTS]], &harness, &format!("{{forbid: [{word}]}}"), &[]);
        assert!(ran.out.contains(text), "{word}: {}", ran.out);
        holds(&[&[RTS]], &harness, &format!("{{forbid: {word}}}"));
    }
}

#[test]
fn a_case_forbids_code_that_remaps_itself() {
    let project = Project::demo();
    let run = |expect: &str| {
        let cases =
            format!("harness: ../harness/convert.yaml\ncases: [{{name: one, attach: nothing, expect: {expect}}}]\n");
        project.write("cases/one.yaml", cases);
        project.run(&["check"])
    };
    let without = run("{within: {cycles: 100000}}");
    assert_eq!(without.code, 0, "{}{}", without.out, without.err);
    let with = run("{forbid: [executes-remapped]}");
    assert_eq!(with.code, 1, "{}{}", with.out, with.err);
    assert!(with.out.contains("itself; what runs behind it may have come from the prefetch queue"), "{}", with.out);
}

/// What the harness forbids stays forbidden, and what both forbid is told once.
#[test]
fn a_case_adds_to_what_its_harness_forbids() {
    let harness = format!("{BACK}forbid: [writes-outside-map, undeclared-port-writes]\n");
    let text = "wrote 5 to `latch`, a value that the harness does not declare";
    fails(&[&UNDECLARED, &[RTS]], &harness, "{forbid: [undeclared-port-writes]}", &[text]);
    fails(&[&UNDECLARED, &[RTS]], &harness, "{forbid: [reads-outside-map]}", &[text]);
    fails(
        &[&UNDECLARED, &LOST, &[RTS]],
        &harness,
        "{forbid: [reads-outside-map]}",
        &[text, "read a byte at 0xD00001, where nothing is mapped"],
    );
}
