//! Selection, order, exit codes and formats.

use pretty_assertions::assert_eq;

use crate::support::{Project, root, run};

#[test]
fn the_demo_suite_holds() {
    let ran = run(root(), &["check"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let last = ran.out.lines().last().expect("a line");
    let count: usize = last.split(' ').next().and_then(|count| count.parse().ok()).expect("a count");
    assert!(count >= 60, "{last}");
    // Two cases show bugs that the demo keeps.
    assert_eq!(last, format!("{count} cases: {} held, 2 known bugs", count - 2));
}

#[test]
fn the_output_is_the_same_for_any_number_of_jobs() {
    for format in ["terminal", "json"] {
        let one = run(root(), &["check", "--boundary", "--format", format, "--jobs", "1"]);
        assert_eq!(one.code, 0, "{}", one.err);
        for jobs in ["2", "5", "16"] {
            let many = run(root(), &["check", "--boundary", "--format", format, "--jobs", jobs]);
            assert!(one.out == many.out, "{format} with {jobs} jobs differs");
        }
    }
}

#[test]
fn derived_cases_are_counted() {
    let ran = run(root(), &["check", "--boundary", "cases/choir.yaml"]);
    let last = ran.out.lines().last().expect("a line");
    assert!(last.contains(" of them from the acceptance table): "), "{last}");
    let codes = ["AW-3200-00", "AW-2100-00", "AW-2100-01", "AW-2100-02", "AW-2100-0B"];
    for code in codes {
        assert!(ran.out.contains(&format!("product \"{code}\" as listed")), "{code}");
    }
    // Counted here by other means: every text that differs from a listed one in one byte as the issue asks.
    let products: Vec<Vec<u8>> = codes.iter().map(|code| format!("{code:<14}").into_bytes()).collect();
    let altered = one_byte_altered(&products).len() + one_byte_altered(&[b"PARLOR16 SYSTEM ".to_vec()]).len();
    assert_eq!(ran.out.lines().filter(|line| line.contains(" with byte ")).count(), altered);
    for size in ["2,097,151 bytes", "of 2 MiB", "2,097,153 bytes", "4 MiB (0x400000) with a header copy at 0x200000"] {
        assert!(ran.out.contains(size), "{size}");
    }
}

/// All texts with one byte replaced by its neighbours, its other case, 0x00, 0xFF or a space; none that is listed.
fn one_byte_altered(listed: &[Vec<u8>]) -> std::collections::BTreeSet<Vec<u8>> {
    let mut all = std::collections::BTreeSet::new();
    for text in listed {
        for (place, byte) in text.iter().enumerate() {
            let other_case = if byte.is_ascii_alphabetic() { byte ^ 0x20 } else { *byte };
            for value in [byte.wrapping_add(1), byte.wrapping_sub(1), other_case, 0x00, 0xFF, b' '] {
                let mut other = text.clone();
                other[place] = value;
                all.insert(other);
            }
        }
    }
    listed.iter().for_each(|text| {
        all.remove(text);
    });
    all
}

#[test]
fn a_wrong_table_is_noticed_by_derived_cases() {
    let project = Project::demo();
    let harness = std::fs::read_to_string(project.path().join("harness/aria.yaml")).expect("the harness");
    project.write("harness/aria.yaml", harness.replace("AW-2100-02, AW-2100-0B]", "AW-2100-02, AW-2100-0C]"));
    let ran = project.run(&["check", "--boundary", "harness/aria.yaml"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("took refused (rejected); wanted patched (acceptance rule 3)"), "{}", ran.out);
    let rerun = "rerun      keyway check --boundary 'harness/aria.yaml:boundary: product \"AW-2100-0C\" as listed'";
    assert!(ran.out.contains(rerun), "{}", ran.out);
    let again = project.run(&["check", "--boundary", "harness/aria.yaml:boundary: product \"AW-2100-0C\" as listed"]);
    assert_eq!(again.code, 1, "{}", again.err);
    assert!(again.out.ends_with("1 case (1 of them from the acceptance table): 0 held, 1 failed\n"), "{}", again.out);
}

#[test]
fn single_cases_are_chosen_by_line_name_and_filter() {
    let count = |arguments: &[&str]| {
        let ran = run(root(), arguments);
        (ran.code, ran.out.lines().last().unwrap_or_default().to_owned())
    };
    let text = std::fs::read_to_string(root().join("cases/drums.yaml")).expect("the suite");
    let line = text.lines().position(|line| line.contains("- name:")).expect("a case") + 1;
    let ran = run(root(), &["check", &format!("cases/drums.yaml:{line}")]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(count(&["check", "--name", "POLL OF NOTHING"]).0, 4);
    let (code, last) = count(&["check", "cases/sockets.yaml", "--name", "nothing"]);
    assert!(code == 0 && !last.starts_with("0 "), "{last}");
    assert_eq!(count(&["check", "cases/sockets.yaml:no such case"]).0, 2);
    assert_eq!(count(&["check", "cases/sockets.yaml:1"]).0, 2);
    assert_eq!(count(&["check", "cases/none.yaml"]).0, 2);
}

#[test]
fn running_out_of_instructions_is_undecided() {
    let keys = "routine: {entry: start, stack: 0xE0FE00, limit: {instructions: 500}}\n\
         branches: {done: {kind: rejected, at: return}}\n";
    // moveq #-1,d0 / subq.l #1,d0 / bne / rts: far more than 500 instructions, and no hang.
    let project = Project::with_rom(&[0x70FF, 0x5380, 0x66FC, 0x4E75, 0, 0, 0, 0], &[("start", 0)], keys);
    project.write(
        "cases/one.yaml",
        "harness: ../harness/rom.yaml\ncases: [{name: one, attach: nothing, expect: {branch: done}}]\n",
    );
    let ran = project.run(&["check"]);
    assert_eq!(ran.code, 5, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("after 500 instructions, the limit; wanted done"), "{}", ran.out);
    assert!(ran.out.ends_with("1 case: 0 held, 1 undecided\n"), "{}", ran.out);
}

#[test]
fn fail_fast_stops_in_order() {
    let project = Project::demo();
    project.write(
        "cases/one.yaml",
        "harness: ../harness/aria.yaml\ncases:\n\
         - {name: a, attach: nothing}\n\
         - {name: b, attach: nothing, expect: {branch: alone, within: {cycles: 1}}}\n\
         - {name: c, attach: nothing}\n- {name: d, attach: nothing}\n",
    );
    for jobs in ["1", "8"] {
        let ran = project.run(&["check", "--fail-fast", "--jobs", jobs]);
        assert_eq!(ran.code, 1);
        assert!(ran.out.ends_with("2 cases: 1 held, 1 failed, 2 not run\n"), "{}", ran.out);
    }
}

#[test]
fn json_lines_say_what_they_are() {
    let ran = run(root(), &["check", "cases/choir.yaml", "--format", "json"]);
    let lines: Vec<serde_json::Value> =
        ran.out.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect();
    assert_eq!(lines[0]["record"], "start");
    assert_eq!(lines[0]["format"], 1);
    assert_eq!(lines[1]["record"], "harness");
    assert_eq!(lines.last().expect("a line")["record"], "summary");
    let cases = lines.iter().filter(|line| line["record"] == "case").count();
    assert_eq!(lines[0]["cases"], cases);
    assert_eq!(lines.last().expect("a line")["held"], cases);
    assert!(ran.err.is_empty(), "{}", ran.err);
}

#[test]
fn noise_follows_the_seed() {
    let project = Project::demo();
    project.write(
        "cases/one.yaml",
        "harness: ../harness/aria.yaml\ncases:\n\
         - {name: a, attach: {fill: noise, signature: \"PARLOR16 SYSTEM \", size: 1 MiB}, expect: {branch: noise}}\n",
    );
    let run = |seed: &str| project.run(&["check", "--format", "json", "--seed", seed]);
    let (one, again, two) = (run("5"), run("5"), run("6"));
    assert_eq!(one.out, again.out);
    assert!(one.out != two.out, "the seed makes no difference");
}

#[test]
fn new_writes_a_project_that_holds_and_never_overwrites() {
    let project = Project::new();
    project.write("boot.elf", std::fs::read(root().join("harness/aria.elf")).expect("the demo ROM"));
    let arguments = ["new", "boot.elf", "--branch", "mode_alone", "--branch", "mode_noise"];
    let ran = project.run(&arguments);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let ran = project.run(&["check"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let before = std::fs::read(project.path().join("cases/first.yaml")).expect("the suite");
    let ran = project.run(&arguments);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("is there already; nothing has been written"), "{}", ran.err);
    assert_eq!(before, std::fs::read(project.path().join("cases/first.yaml")).expect("the suite"));
}

#[test]
fn texts_are_generated() {
    for (arguments, part) in [
        (&["completions", "bash"][..], "_keyway"),
        (&["completions", "zsh"][..], "#compdef keyway"),
        (&["man"][..], ".TH keyway"),
        (&["list", "cases/choir.yaml"][..], "branch combination"),
        (&["list", "cases/choir.yaml", "--format", "json"][..], "\"record\":\"branch\""),
        (&["--help"][..], "Exit codes"),
    ] {
        let ran = run(root(), arguments);
        assert_eq!(ran.code, 0, "{arguments:?}: {}", ran.err);
        assert!(ran.out.contains(part), "{arguments:?}:\n{}", ran.out);
    }
}
