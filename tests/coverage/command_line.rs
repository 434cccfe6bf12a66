//! The options of `check`: what they print, the exit codes, and that the number of jobs does not show.

use std::fs;

use pretty_assertions::assert_eq;

use super::routines::{LETTERS, LETTERS_CASES, LETTERS_HARNESS, project};
use crate::support::{Project, root, run};

#[test]
fn the_summary_comes_after_the_failures() {
    let failing = LETTERS_CASES.replacen("branch: found", "branch: second", 1);
    let ran = project(LETTERS, LETTERS_HARNESS, &failing).run(&["check", "--coverage"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    let (_, after) = ran.out.split_once("\n  rerun").expect("a failure");
    let summary = "
tried by 2 cases  rom  harness/rom.yaml
  instructions  9 of 11           81.8%
  directions    5 of 6            83.3%
  not taken     0x00011E <start+30>  beq 0x000124 <start+36>  never went to 0x000124 <start+36>
                no case reaches 0x000124-0x000127; none takes second
  not reached   0x000124-0x000127 <start+36>  2 instructions

2 cases: 1 held, 1 failed
";
    assert_eq!(after.split_once('\n').expect("lines").1, summary);
}

#[test]
fn fields_that_never_vary_are_named() {
    let same = LETTERS_CASES.replace("title: AAXA", "title: AAAA");
    let ran = project(LETTERS, LETTERS_HARNESS, &same).run(&["check", "--coverage"]);
    let line = ran.out.lines().find(|line| line.starts_with("  not varied")).expect("a line");
    // Only `title` is read.
    assert_eq!(line, "  not varied    title (image 0x000100-0x000103), read by 2 cases: the same in every image");
    assert!(!ran.out.contains("maker ("), "{}", ran.out);
}

/// 9 of 11 instructions are 81.81 %, 5 of 6 directions 83.33 %.
#[test]
fn a_threshold_that_is_not_reached_is_exit_code_1() {
    let project = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    for (least, code) in [("0", 0), ("81.8", 0), ("81.8181", 0), ("81.8182", 1), ("100", 1), ("100.0000", 1)] {
        let ran = project.run(&["check", "--coverage-at-least", least]);
        assert_eq!(ran.code, code, "{least}: {}", ran.err);
        assert_eq!(ran.err.is_empty(), code == 0, "{least}: {}", ran.err);
    }
    let ran = project.run(&["check", "--coverage-at-least", "83"]);
    assert_eq!(ran.err, "error: rom: 9 of 11 instructions were tried, 81.8%; 83% would be 10, which is 1 more\n");
    assert!(ran.out.contains("tried by 2 cases"), "{}", ran.out);
    let ran = project.run(&["check", "--coverage-at-least", "90"]);
    assert_eq!(ran.err.lines().count(), 2, "both are below: {}", ran.err);
}

#[test]
fn a_threshold_that_is_no_percentage_is_exit_code_2() {
    let project = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    for least in ["101", "-1", "half", "", "1e1", "99.99999"] {
        let ran = project.run(&["check", &format!("--coverage-at-least={least}")]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{least}: {}", ran.err);
    }
}

/// `tst.b 0x200100; bne.s` out, or `addq.l #1,d0; bra.s` back for ever: the limit ends it. Half of the directions.
#[test]
fn undecided_and_below_the_threshold_is_a_failure() {
    let code = [0x4A39, 0x0020, 0x0100, 0x6604, 0x5280, 0x60FC, 0x4E71];
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00, limit: {instructions: 5000}}\n\
                   branches: {out: {kind: fallback, at: 0x10C}}\n";
    let cases = "harness: ../harness/rom.yaml\n\
                 cases: [{name: it, attach: nothing, empty: zeros, expect: {branch: out}}]\n";
    let project = project(&code, harness, cases);
    for (least, code) in [("50", 5), ("50.0001", 1)] {
        let ran = project.run(&["check", "--coverage-at-least", least]);
        assert_eq!(ran.code, code, "{least}: {}{}", ran.out, ran.err);
    }
}

#[test]
fn the_demo_suite_tries_everything() {
    let ran = run(root(), &["check", "--coverage", "--coverage-at-least", "100"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let (_, summary) = ran.out.split_once("  Aria Workshop  harness/aria.yaml\n").expect("the demo's routine");
    let shares: Vec<&str> = summary.lines().take(2).map(|line| line.split_whitespace().last().unwrap()).collect();
    assert_eq!(shares, ["100.0%", "100.0%"]);
    // Without the cases of the pedal, the notice is not tried, and nothing comes to `refused`.
    let ran = run(root(), &["check", "--coverage", "cases/choir.yaml", "cases/sockets.yaml"]);
    assert!(ran.out.contains("harness/detect.s:78-91; none takes refused\n"), "{}", ran.out);
    assert_eq!(ran.code, 0, "{}", ran.err);
}

#[test]
fn the_number_of_jobs_does_not_show() {
    let outputs = |cases: &[&str], jobs: &str, format: &str| {
        let folder = tempfile::tempdir().unwrap();
        let files = ["out.info", "out.txt", "out.html"].map(|name| folder.path().join(name));
        let [lcov, listing, html] = files.each_ref().map(|file| file.to_str().unwrap());
        let files_asked = ["--lcov", lcov, "--listing", listing, "--html", html];
        // Explanations of all the cases of the acceptance table are another test's.
        let files_asked = if cases == ["--boundary"] { &files_asked[..4] } else { &files_asked[..] };
        let rest = ["check", "--coverage", "--jobs", jobs, "--format", format];
        let ran = run(root(), &[&rest[..], files_asked, cases].concat());
        assert_eq!(ran.code, 0, "{}", ran.err);
        (ran.out, files.map(|file| fs::read_to_string(file).unwrap_or_default()))
    };
    for cases in [&["--boundary"][..], &["cases/own-unknown.yaml", "cases/contacts.yaml"]] {
        for format in ["terminal", "json"] {
            let one = outputs(cases, "1", format);
            assert!(one.1[0].len() > 1000 && one.1[1].len() > 1000);
            // What only a traced run knows is among it.
            assert!(cases == ["--boundary"] || one.1[1].contains("\nnothing matched 0x"), "{}", one.1[1]);
            for jobs in ["2", "7"] {
                assert!(outputs(cases, jobs, format) == one, "{cases:?}, {format} with {jobs} jobs differs");
            }
        }
    }
}

#[test]
fn without_the_options_nothing_is_said() {
    let project: Project = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    let plain = project.run(&["check"]);
    let listed = project.run(&["check", "--listing", "out.txt"]);
    assert_eq!(plain.out, listed.out);
    assert!(!plain.out.contains("tried by"), "{}", plain.out);
}
