//! LCOV and listings, read back.

use std::collections::BTreeMap;
use std::fs;

use lcov::{Reader, Record};
use pretty_assertions::assert_eq;

use super::routines::{LETTERS, LETTERS_CASES, LETTERS_HARNESS, project};
use crate::support::{Project, root, run};

/// Runs the demo suite and reads its LCOV with the crate `lcov`.
fn demo_records(arguments: &[&str]) -> Vec<Record> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("coverage.info");
    let ran = run(root(), &[&["check", "--lcov", file.to_str().unwrap()], arguments].concat());
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    Reader::open_file(&file).unwrap().map(|record| record.expect("a record")).collect()
}

#[test]
fn lcov_says_what_the_source_says() {
    let records = demo_records(&["cases/drums.yaml"]);
    let source = fs::read_to_string(root().join("harness/detect.s")).unwrap();
    let source: Vec<&str> = source.lines().collect();
    assert_eq!(records[0], Record::TestName { name: "Aria_Workshop".to_owned() });
    assert_eq!(records[1], Record::SourceFile { path: "harness/detect.s".into() });
    let mut counts = BTreeMap::new();
    let mut branches = Vec::new();
    for record in &records {
        match record {
            Record::LineData { line, count, .. } => {
                // Each is a line with an instruction: no comment, no label, no directive.
                let text = source[*line as usize - 1];
                assert!(text.starts_with("        ") && !text.trim().starts_with('.'), "{line}: {text}");
                counts.insert(*line, *count);
            }
            Record::BranchData { line, block, branch, taken } => {
                let word = source[*line as usize - 1].split_whitespace().next().unwrap();
                assert!(word.starts_with('b') || word.starts_with("db"), "{line}: {word}");
                assert_eq!(*block, 0);
                branches.push((*line, *branch, *taken));
            }
            _ => {}
        }
    }
    // 14 cases; each runs the first instruction once.
    let first = source.iter().position(|line| line.contains("moveq   #MODE_ALONE,d7")).unwrap() as u32 + 1;
    assert_eq!(counts[&first], 14);
    let found = |name: &str| records.iter().find(|record| format!("{record:?}").starts_with(name)).unwrap().clone();
    let hit = counts.values().filter(|count| **count > 0).count() as u32;
    assert_eq!(found("LinesFound"), Record::LinesFound { found: counts.len() as u32 });
    assert_eq!(found("LinesHit"), Record::LinesHit { hit });
    assert_eq!(found("BranchesFound"), Record::BranchesFound { found: branches.len() as u32 });
    // A branch that no case reached has no counts at all; the two directions of any other add up to its runs.
    let pedal = source.iter().position(|line| line.contains("bne.s   pedal_pressed")).unwrap() as u32 + 1;
    assert!(branches.contains(&(pedal, 0, None)) && branches.contains(&(pedal, 1, None)), "{branches:?}");
    for pair in branches.chunks(2) {
        let [(line, 0, to), (same, 1, on)] = *pair else { panic!("{pair:?}") };
        assert_eq!(line, same);
        assert_eq!(to.unwrap_or(0) + on.unwrap_or(0), counts[&line], "line {line}");
    }
    let detect =
        records.iter().any(|record| matches!(record, Record::FunctionData { name, count: 14 } if name == "detect"));
    assert!(detect, "{records:?}");
}

#[test]
fn each_harness_is_a_test_of_its_own() {
    let records = demo_records(&[]);
    let tests: Vec<&String> = records
        .iter()
        .filter_map(|record| if let Record::TestName { name } = record { Some(name) } else { None })
        .collect();
    // The harnesses of the demo suite, in the order of its files; two of one name are told apart.
    for name in ["Aria_Workshop__the_picture", "Aria_Workshop", "Aria_Workshop__patched_by_the_patch_ROM_2"] {
        assert!(tests.iter().any(|test| *test == name), "{tests:?}");
    }
    let ends = records.iter().filter(|record| matches!(record, Record::EndOfRecord)).count();
    assert_eq!(ends, tests.len());
}

#[test]
fn lcov_without_source_lines_is_refused_before_anything_runs() {
    let project = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    let ran = project.run(&["check", "--lcov", "out.info"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{}", ran.err);
    assert!(ran.err.contains("use --listing"), "{}", ran.err);
    assert!(!project.path().join("out.info").exists());
}

#[test]
fn harnesses_without_lines_are_named_beside_those_with() {
    let demo = Project::demo();
    let other = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    for file in ["harness/rom.bin", "harness/rom.nm", "harness/rom.yaml", "cases/it.yaml"] {
        demo.write(file, fs::read(other.path().join(file)).unwrap());
    }
    demo.write("cases/choir.yaml", fs::read(root().join("cases/choir.yaml")).unwrap());
    let ran = demo.run(&["check", "--lcov", "out.info"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert_eq!(ran.err, "warning: no source lines, so nothing of this goes to --lcov: harness/rom.yaml\n");
    let text = fs::read_to_string(demo.path().join("out.info")).unwrap();
    assert!(text.contains("TN:Aria_Workshop\n") && !text.contains("TN:rom"), "{text}");
}

#[test]
fn the_listing_marks_what_was_not_tried() {
    let project = project(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    let ran = project.run(&["check", "--listing", "out.txt"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let text = fs::read_to_string(project.path().join("out.txt")).unwrap();
    let line = |address: &str| {
        let line = text.lines().find(|line| line.get(2..10) == Some(address)).expect(address);
        line.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(text.contains("\nstart:\n"), "{text}");
    assert_eq!(line("0x000108"), "0x000108 0C 18 00 41 7 2 cmpi.b #0x41,(a0)+");
    assert_eq!(line("0x00011E"), "? 0x00011E 67 04 1 1 beq 0x000124 <start+36>");
    assert_eq!(line("0x000124"), "! 0x000124 72 02 0 0 moveq.l #2,d1");
    assert_eq!(text.lines().filter(|line| line.starts_with('!')).count(), 2);
    assert_eq!(text.lines().filter(|line| line.starts_with('?')).count(), 1);
}

#[test]
fn the_listing_of_the_demo_has_its_source_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("listing.txt");
    let ran = run(root(), &["check", "cases/choir.yaml", "--listing", file.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let text = fs::read_to_string(&file).unwrap();
    let source = fs::read_to_string(root().join("harness/detect.s")).unwrap();
    let mut seen = 0;
    for line in text.lines().filter_map(|line| line.split_once("  ; detect.s:")).map(|(_, rest)| rest) {
        let (number, text) = line.split_once("  ").expect("a number and a text");
        let number: usize = number.parse().expect("a number");
        assert_eq!(text, source.lines().nth(number - 1).unwrap().trim().replace('\t', " "));
        seen += 1;
    }
    assert!(seen > 50, "{text}");
}
