//! JUnit XML, read back by a parser that knows JUnit and by a strict parser of XML.

use junit_parser::{TestCase, TestSuites};
use keyway::report::Junit;
use pretty_assertions::assert_eq;

use super::{NASTY, mixed, nasty};
use crate::support::Project;

fn parse(text: &str) -> TestSuites {
    // This parser takes what is no XML at all; the other one does not.
    roxmltree::Document::parse(text).unwrap_or_else(|error| panic!("{error}:\n{text}"));
    junit_parser::from_reader(text.as_bytes()).unwrap_or_else(|error| panic!("{error}:\n{text}"))
}

fn written(project: &Project, arguments: &[&str], code: i32) -> (String, TestSuites) {
    let ran = project.run(&[&["check", "--junit", "out.xml"], arguments].concat());
    assert_eq!(ran.code, code, "{}{}", ran.out, ran.err);
    let text = std::fs::read_to_string(project.path().join("out.xml")).expect("the file");
    let suites = parse(&text);
    (text, suites)
}

fn find<'a>(suites: &'a TestSuites, name: &str) -> &'a TestCase {
    let mut cases = suites.suites.iter().flat_map(|suite| &suite.cases);
    cases.find(|case| case.original_name == name).unwrap_or_else(|| panic!("no case {name:?}"))
}

#[test]
fn every_verdict_has_its_element() {
    let (text, suites) = written(&mixed(), &[], 1);
    let counts = |tests: u64, failures: u64, errors: u64, skipped: u64| (tests, failures, errors, skipped);
    assert_eq!((suites.tests, suites.failures, suites.errors, suites.skipped), counts(6, 2, 1, 1));
    let of: Vec<_> = suites
        .suites
        .iter()
        .map(|suite| (suite.name.as_str(), counts(suite.tests, suite.failures, suite.errors, suite.skipped)))
        .collect();
    assert_eq!(of, [("cases/all.yaml", counts(4, 2, 0, 1)), ("cases/short.yaml", counts(2, 0, 1, 0))]);

    assert!(find(&suites, "it holds").status.is_success());
    let failed = find(&suites, "it fails");
    assert_eq!((failed.classname.as_deref(), failed.file.as_deref()), (Some("cases/all"), Some("cases/all.yaml")));
    assert_eq!(failed.line, Some(4));
    let failure = failed.status.failure_as_ref();
    assert_eq!(failure.message, "took alone (rejected); wanted patched");
    // The parser that knows JUnit drops entities in texts.
    let document = roxmltree::Document::parse(&text).expect("XML");
    let told = document.descendants().find(|node| node.has_tag_name("failure")).and_then(|node| node.text());
    let told = told.expect("a text");
    for part in
        ["says alone for this cartridge", "decided ", "compared ", "rerun ", "keyway check 'cases/all.yaml:it fails'"]
    {
        assert!(told.contains(part), "no {part:?} in\n{told}");
    }
    assert_eq!(find(&suites, "it is known").status.skipped_as_ref().message, "known bug: nobody has mended it");
    let gone = find(&suites, "it is mended").status.failure_as_ref();
    assert_eq!(gone.message, "it is marked `known-bug: it was broken`, but it holds; remove the mark");
    let error = find(&suites, "it is given up").status.error_as_ref();
    assert!(error.message.contains("after 1,000 instructions, the limit"), "{}", error.message);
    // Nothing in it depends on when or how quickly it was made.
    assert!(!text.contains("time"), "{text}");
}

#[test]
fn a_suite_says_what_was_run() {
    let (_, suites) = written(&mixed(), &[], 1);
    let properties = &suites.suites[1].properties.hashmap;
    let value = |name: &str| properties.get(name).map(String::as_str);
    assert_eq!(value("host"), Some("Aria Workshop, in a hurry"));
    assert_eq!(value("harness"), Some("harness/short.yaml"));
    assert_eq!((value("image"), value("crc32")), (Some("harness/aria.elf"), Some("531C8A03")));
    assert_eq!((value("seed"), value("keyway")), (Some("1"), Some(env!("CARGO_PKG_VERSION"))));
}

#[test]
fn cases_that_were_not_run_are_skipped() {
    let (_, suites) = written(&mixed(), &["--fail-fast"], 1);
    assert_eq!((suites.tests, suites.failures, suites.skipped), (6, 1, 4));
    let case = find(&suites, "it is given up");
    assert_eq!(case.status.skipped_as_ref().message, "not run: an earlier case failed");
    assert_eq!((case.classname.as_deref(), case.line), (Some("cases/short"), Some(3)));
    // The second harness never began, so nothing is said of it.
    assert_eq!(suites.suites[1].properties.hashmap.get("host"), None);
}

#[test]
fn no_name_breaks_the_file() {
    let text = nasty(Junit::new);
    let suites = parse(&text);
    assert_eq!((suites.tests, suites.failures), (NASTY.len() as u64, NASTY.len() as u64));
    let document = roxmltree::Document::parse(&text).unwrap();
    let names = document.descendants().filter(|node| node.has_tag_name("testcase"));
    let names: Vec<&str> = names.filter_map(|node| node.attribute("name")).collect();
    assert_eq!(names, NASTY.map(|(_, tamed)| tamed));
    let texts = document.descendants().filter(|node| node.has_tag_name("failure")).filter_map(|node| node.text());
    for (text, (_, tamed)) in texts.zip(NASTY) {
        assert!(text.contains(&format!("attached   {tamed}\n")), "{tamed:?} in {text:?}");
    }
}

#[test]
fn what_xml_cannot_hold_is_replaced() {
    let harness = super::demo_harness();
    let written = super::Written::default();
    let result = super::failing(&harness, "a\u{FFFE}b\u{FFFF}c");
    super::show(&mut Junit::new(written.clone()), &harness, &[result]);
    let suites = parse(&written.text());
    assert_eq!(suites.suites[0].cases[0].original_name, "a\u{FFFD}b\u{FFFD}c");
}
