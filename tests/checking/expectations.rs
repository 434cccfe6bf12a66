//! Every expectation can hold and can fail, and all failures of a case are listed.

use crate::support::{Project, Ran};

/// Runs one case of the demo harness.
fn case(body: &str) -> Ran {
    let project = Project::demo();
    project.write(
        "cases/one.yaml",
        format!(
            "harness: ../harness/aria.yaml\n\
             cartridges:\n  \
               drums: {{signature: \"PARLOR16 SYSTEM \", product: \"AW-2100-{{rev}}\", size: 1 MiB}}\n  \
               other: {{signature: \"PARLOR16 SYSTEM \", product: \"HF-0412-00\", size: 1 MiB}}\n\
             cases:\n  - name: one\n{body}"
        ),
    );
    project.run(&["check"])
}

#[track_caller]
fn holds(body: &str) {
    let ran = case(body);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.ends_with("1 case: 1 held\n"), "{}", ran.out);
}

#[track_caller]
fn fails(body: &str, reasons: &[&str]) {
    let ran = case(body);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.ends_with("1 case: 0 held, 1 failed\n"), "{}", ran.out);
    for reason in reasons {
        assert!(ran.out.contains(reason), "no {reason:?} in\n{}", ran.out);
    }
}

const DRUMS: &str = "    attach: {with: drums, rev: \"00\"}\n";
const OTHER: &str = "    attach: other\n";

#[test]
fn branch_kind_and_table() {
    holds(DRUMS);
    holds(&format!("{DRUMS}    expect: {{branch: patched}}\n"));
    holds(&format!("{DRUMS}    expect: {{branch: [noise, patched]}}\n"));
    holds(&format!("{DRUMS}    expect: {{kind: alternate}}\n"));
    fails(
        &format!("{DRUMS}    expect: {{branch: noise}}\n"),
        &[
            "took patched (alternate); wanted noise",
            "the acceptance table (rule 3) says patched for this cartridge, the case says noise",
        ],
    );
    fails(&format!("{DRUMS}    expect: {{kind: rejected}}\n"), &["wanted any rejected branch"]);
}

#[test]
fn what_ports_hold_at_the_end() {
    holds(&format!("{DRUMS}    expect: {{leaves: {{latch: 0}}}}\n"));
    holds(&format!("{OTHER}    expect: {{branch: noise, leaves: {{latch: 0}}}}\n"));
    let latch = "`latch` holds 0 at the end since 0x0002FE <copy_table+6>";
    fails(&format!("{DRUMS}    expect: {{leaves: {{latch: 1}}}}\n"), &[latch, "; wanted 1"]);
    // Nothing was written, so there is no place to name.
    fails(&format!("{OTHER}    expect: {{leaves: {{latch: 1}}}}\n"), &["`latch` holds 0 at the end; wanted 1"]);
}

#[test]
fn what_a_branch_leaves() {
    let run = |branch: &str, case: &str| {
        let project = Project::demo();
        let harness = std::fs::read_to_string(project.path().join("harness/aria.yaml")).unwrap();
        let label = "at: mode_patched";
        assert!(harness.contains(label));
        project.write("harness/aria.yaml", harness.replace(label, &format!("{label}, leaves: {{latch: {branch}}}")));
        let attach = "{signature: \"PARLOR16 SYSTEM \", product: AW-2100-00}";
        let cases = format!("cases:\n  - {{name: one, attach: {attach}{case}}}\n");
        project.write("cases/one.yaml", format!("harness: ../harness/aria.yaml\n{cases}"));
        let ran = project.run(&["check", "cases/one.yaml"]);
        (ran.code, ran.out)
    };
    assert_eq!(run("0", "").0, 0);
    let (code, out) = run("1", "");
    assert_eq!(code, 1);
    assert!(
        out.contains("`latch` holds 0 at the end since") && out.contains("; the branch patched (alternate) leaves 1"),
        "{out}"
    );
    // The case's word counts for the case.
    assert_eq!(run("1", ", expect: {leaves: {latch: 0}}").0, 0);
}

#[test]
fn what_a_case_forbids() {
    // The demo writes declared values only, and reads nothing outside of its map.
    let all =
        "[writes-outside-map, reads-outside-map, reads-ram-before-writing, undeclared-port-writes, executes-remapped]";
    holds(&format!("{DRUMS}    expect: {{forbid: {all}}}\n"));
    holds(&format!("{DRUMS}    expect: {{branch: patched, forbid: undeclared-port-writes}}\n"));
    let project = Project::demo();
    let harness = std::fs::read_to_string(project.path().join("harness/aria.yaml")).unwrap();
    project.write("harness/aria.yaml", harness.replace("writes: [0, 1]", "writes: [1]"));
    let case = |expect: &str| {
        let attach = "{signature: \"PARLOR16 SYSTEM \", product: AW-2100-00}";
        let cases = format!("cases:\n  - {{name: one, attach: {attach}, expect: {expect}}}\n");
        project.write("cases/one.yaml", format!("harness: ../harness/aria.yaml\n{cases}"));
        project.run(&["check", "cases/one.yaml"])
    };
    assert_eq!(case("{branch: patched}").code, 0);
    let ran = case("{branch: patched, forbid: [undeclared-port-writes]}");
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("wrote 0 to `latch`, a value that the harness does not declare"), "{}", ran.out);
}

#[test]
fn never() {
    holds(&format!("{DRUMS}    expect: {{never: [combination, noise]}}\n"));
    fails(
        &format!("{DRUMS}    expect: {{never: [patched]}}\n"),
        &["took patched (alternate), which must never be taken here"],
    );
}

#[test]
fn shows_memory_and_registers() {
    holds(&format!("{DRUMS}    expect: {{memory: {{word mode: 2, long 0xE00010: 0x20000}}}}\n"));
    fails(&format!("{DRUMS}    expect: {{memory: {{word mode: 3}}}}\n"), &["word mode holds 2; wanted 3"]);
    fails(&format!("{OTHER}    expect: {{shows: {{all: 1}}}}\n"), &["`all` shows 0; wanted 1"]);
    holds(&format!("{OTHER}    expect: {{shows: {{all: 0}}}}\n"));
    fails(&format!("{DRUMS}    expect: {{registers: {{d7.w: 77}}}}\n"), &["d7.w holds", "wanted 0x4D"]);
    fails(
        &format!("{DRUMS}    expect: {{kind: alternate, shows: {{preset: 0}}}}\n"),
        &["patched does not show `preset`"],
    );
}

#[test]
fn writes() {
    holds(&format!("{DRUMS}    expect: {{writes: {{latch: [1, 0]}}}}\n"));
    holds(&format!("{DRUMS}    expect: {{writes: {{latch: {{count: 2}}}}}}\n"));
    holds(&format!("{DRUMS}    expect: {{writes: [{{latch: 1}}, {{latch: 0}}]}}\n"));
    holds(&format!("{OTHER}    expect: {{writes: {{latch: []}}}}\n"));
    fails(&format!("{DRUMS}    expect: {{writes: {{latch: [0, 1]}}}}\n"), &["`latch` was written 1, 0; wanted 0, 1"]);
    fails(&format!("{DRUMS}    expect: {{writes: {{latch: [1]}}}}\n"), &["`latch` was written 1, 0; wanted 1"]);
    fails(
        &format!("{DRUMS}    expect: {{writes: {{latch: {{count: 3}}}}}}\n"),
        &["`latch` was written 2 times (1, 0); wanted 3"],
    );
    fails(
        &format!("{DRUMS}    expect: {{writes: [{{latch: 1}}]}}\n"),
        &["the ports were written latch 1, latch 0; wanted latch 1"],
    );
}

#[test]
fn within() {
    // 132 instructions and 1,572 cycles are 0.1965 ms at 8 MHz.
    holds(&format!("{DRUMS}    expect: {{within: {{instructions: 132, cycles: 1572, time: 0.1965 ms}}}}\n"));
    fails(
        &format!("{DRUMS}    expect: {{within: {{instructions: 131}}}}\n"),
        &["took 132 instructions; at most 131 wanted"],
    );
    fails(&format!("{DRUMS}    expect: {{within: {{cycles: 1571}}}}\n"), &["took 1,572 cycles; at most 1,571 wanted"]);
    fails(&format!("{DRUMS}    expect: {{within: {{time: 196 us}}}}\n"), &["at most 0.196 ms wanted"]);
}

#[test]
fn reads() {
    holds(&format!("{DRUMS}    expect: {{reads: [signature, product]}}\n"));
    holds(&format!("{DRUMS}    expect: {{reads: [0x100-0x18D]}}\n"));
    fails(
        &format!("{DRUMS}    expect: {{reads: [signature]}}\n"),
        &["the attached image was read at 0x200180 (offset 0x000180 (product[0]))", "allowed are 0x100-0x10F"],
    );
    fails(
        &format!("{DRUMS}    expect: {{reads: [signature, 0x180-0x18C]}}\n"),
        &["the attached image was read at 0x20018D (offset 0x00018D (product[13]))"],
    );
}

#[test]
fn all_failures_of_a_case_are_listed() {
    fails(
        &format!(
            "{DRUMS}    expect: {{branch: noise, never: [patched], writes: {{latch: [1]}}, memory: {{word mode: 9}}, \
             within: {{cycles: 1}}, reads: signature}}\n"
        ),
        &[
            "wanted noise",
            "never be taken",
            "`latch` was written",
            "word mode holds",
            "at most 1 wanted",
            "was read at",
        ],
    );
}

#[test]
fn a_known_bug_must_fail() {
    let ran = case(&format!("{DRUMS}    expect: {{memory: {{word mode: 9}}}}\n    known-bug: mode is wrong\n"));
    assert_eq!(ran.code, 0, "{}", ran.out);
    assert!(ran.out.ends_with("1 case: 0 held, 1 known bug\n"), "{}", ran.out);
    let ran = case(&format!("{DRUMS}    known-bug: it was once\n"));
    assert_eq!(ran.code, 1, "{}", ran.out);
    assert!(ran.out.contains("it is marked `known-bug: it was once`, but it holds; remove the mark"), "{}", ran.out);
}

#[test]
fn a_failure_shows_its_evidence() {
    let ran = case("    attach: {with: drums, rev: \"03\"}\n    expect: {branch: patched}\n");
    let evidence = [
        "case       cases/one.yaml:6",
        "took refused (rejected); wanted patched",
        "detect.s:",
        "btst #0,0xB00003",
        "port pedal held 0x00, tested for bit 0",
        "rerun      keyway check 'cases/one.yaml:one'",
    ];
    for part in evidence {
        assert!(ran.out.contains(part), "no {part:?} in\n{}", ran.out);
    }
}
