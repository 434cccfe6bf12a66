//! Bad input: one clear error, exit code 2, nothing written, no panic.

use keyway::fuzz::Promise;
use pretty_assertions::assert_eq;

use crate::support::{Project, Ran};

const HARNESS: &str = "harness/aria.yaml";

#[track_caller]
fn refused(ran: &Ran, text: &str) {
    assert_eq!(ran.code, 2, "{}{}", ran.out, ran.err);
    assert!(ran.err.contains(text), "no {text:?} in\n{}", ran.err);
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
}

#[test]
fn arguments() {
    let project = Project::demo();
    let fuzz = |more: &[&str]| project.run(&[&["fuzz", HARNESS, "--trials", "10"], more].concat());
    refused(&fuzz(&["--part", "9/8"]), "expected a part like 3/8");
    refused(&fuzz(&["--part", "0/8"]), "expected a part like 3/8");
    refused(&fuzz(&["--part", "3"]), "expected a part like 3/8");
    refused(&fuzz(&["--time", "0 s"]), "the time is zero");
    refused(&fuzz(&["--time", "soon"]), "expected a time like");
    refused(&fuzz(&["--time", "5 parsec"]), "unknown unit `parsec`");
    refused(&fuzz(&["--time", "1e300 h"]), "this is no time to wait");
    refused(&fuzz(&["--pin", "sinature"]), "did you mean `signature`?");
    refused(&fuzz(&["--only", "headers"]), "header");
    refused(&fuzz(&["--without", "crashes"]), "crash");
    refused(&fuzz(&["--plateau", "0"]), "0 is not in");
    refused(&fuzz(&["--from", "cases/nowhere.yaml"]), "cases/nowhere.yaml");
    refused(&project.run(&["fuzz", "harness/nowhere.yaml"]), "harness/nowhere.yaml");
    refused(&project.run(&["fuzz", HARNESS, "--tidy"]), "--corpus");
    refused(&project.run(&["fuzz", HARNESS, "--tidy", "--corpus", "nowhere"]), "there is no such folder");
    let all: Vec<&str> = Promise::ALL.iter().map(|promise| promise.name()).collect();
    refused(&fuzz(&["--without", &all.join(",")]), "--without leaves no promise that could be broken");
    assert!(!project.path().join("cases").exists(), "something was written");
}

#[test]
fn files_of_a_corpus() {
    let whole =
        r#"{"corpus": 1, "met": {"plan": 1, "seed": 1, "part": "1/1", "batch": 0, "trial": 0}, "trial": TRIAL}"#;
    let plug = |more: &str| whole.replace("TRIAL", &format!(r#"{{"attached": {{"size": 1024, "fill": 255{more}}}}}"#));
    let cases = [
        ("", "this is no file of a corpus: EOF"),
        ("[1, 2", "this is no file of a corpus"),
        (&whole.replace("TRIAL", "null"), "invalid type: null"),
        (&whole.replace("TRIAL", r#"{"attached": null, "colour": 1}"#), "unknown field `colour`"),
        (&whole.replace("TRIAL", r#"{"attached": null, "ports": {"padel": {"always": 1}}}"#), "did you mean `pedal`?"),
        (&whole.replace("TRIAL", r#"{"attached": null, "ports": {"latch": {"always": 1}}}"#), "cannot be read"),
        (
            &whole.replace("TRIAL", r#"{"attached": null, "ports": {"pedal": {"always": 256}}}"#),
            "bad values of port `pedal`",
        ),
        (
            &whole.replace("TRIAL", r#"{"attached": null, "ports": {"pedal": {"values": []}}}"#),
            "bad values of port `pedal`",
        ),
        (&whole.replace("\"corpus\": 1", "\"corpus\": 9").replace("TRIAL", r#"{"attached": null}"#), "version 9"),
        (&whole.replace("1/1", "2/1").replace("TRIAL", r#"{"attached": null}"#), "expected a part like 3/8"),
        (&plug(r#", "fields": {"sinature": {"hex": "00"}}"#), "did you mean `signature`?"),
        (&plug(r#", "fields": {"signature": {"hex": "00"}}"#), "the field `signature` has 16 bytes"),
        (&plug(r#", "fields": {"signature": {"hex": "é"}}"#), "the field `signature` has 16 bytes"),
        (&plug(r#", "fields": {"signature": {"sum": "right"}}"#), "the field `signature` holds no checksum"),
        (&plug(r#", "data-lines": [{"line": 16, "is": "high"}]"#), "data lines are 0 to 15"),
        (&plug(r#", "address-lines": [{"line": 3, "is": "open"}]"#), "address lines are 1 to 23"),
        (&plug(r#", "bytes": {"-1": 3}"#), "this is no file of a corpus"),
        (&plug("").replace("1024", "0"), "an image has 1 byte to 16 MiB, not 0"),
        (&plug("").replace("1024", "4000000000"), "an image has 1 byte to 16 MiB, not 4000000000"),
    ];
    for (text, error) in cases {
        let project = Project::demo();
        project.write("corpus/bad.json", text);
        let arguments = ["fuzz", HARNESS, "--trials", "10", "--corpus", "corpus"];
        let ran = project.run(&arguments);
        refused(&ran, error);
        assert!(ran.err.contains("corpus/bad.json"), "{}", ran.err);
        assert!(!project.path().join("cases").exists(), "something was written");
    }
    // What is no entry by its name is none of our business, and odd sizes are put right.
    let project = Project::demo();
    project.write("corpus/README.md", "hello");
    let odd = r#"{"attached": {"size": 16777216, "fill": null, "copies": [1, 7], "bytes": {"9": 9}}}"#;
    project.write("corpus/odd.json", whole.replace("TRIAL", odd));
    let ran = project.run(&["fuzz", HARNESS, "--trials", "10", "--corpus", "corpus"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
}

#[test]
fn folders() {
    let project = Project::demo();
    project.write("taken", "a file");
    refused(&project.run(&["fuzz", HARNESS, "--trials", "10", "--corpus", "taken"]), "the folder cannot be made");
    let project = Project::demo();
    project.write("taken", "a file");
    refused(&project.run(&["fuzz", HARNESS, "--trials", "10", "--found", "taken"]), "taken");
}

/// A file of the same name that is somebody else's stays, and hides nothing.
#[test]
fn findings_have_names_of_their_own() {
    let project = Project::demo();
    for name in ["harness/defects/shadowed.yaml", "harness/defects/shadowed.elf"] {
        project.write(name, std::fs::read(crate::support::root().join(name)).unwrap());
    }
    let first = "cases/found/branch-at-compare_product-6.yaml";
    // A case of another ROM, which this one is right about.
    let other = "harness: ../../harness/defects/shadowed.yaml\ncases:\n  - {name: old, attach: nothing, expect: {branch: alone}}\n";
    project.write(first, other);
    project.write("cases/found/branch-at-compare_product-6-2.yaml", "mine");
    // A case that fails, but for another harness: the demo's own.
    let strange = other.replace("defects/shadowed", "aria").replace("branch: alone", "branch: noise");
    project.write("cases/found/branch-at-compare_product-6-3.yaml", &strange);
    let fuzz = || project.run(&["fuzz", "harness/defects/shadowed.yaml", "--trials", "2000"]);
    let ran = fuzz();
    let third = "cases/found/branch-at-compare_product-6-4.yaml";
    assert!(ran.code == 1 && ran.out.contains(third) && !ran.out.contains("there before"), "{}{}", ran.out, ran.err);
    assert_eq!(std::fs::read_to_string(project.path().join(first)).unwrap(), other);
    assert_eq!(project.run(&["check", third]).code, 1);
    let ran = fuzz();
    assert!(ran.code == 1 && ran.out.contains(third) && ran.out.contains("which was there before"), "{}", ran.out);
}

#[test]
fn numbers_of_progress_go_together() {
    let project = Project::demo();
    let fuzz = || project.run(&["fuzz", HARNESS, "--trials", "10", "--corpus", "corpus"]);
    assert_eq!(fuzz().code, 0);
    let file = project.path().join("corpus/progress-1-1-of-1.json");
    let text = std::fs::read_to_string(&file).unwrap();
    let trials = text.lines().find(|line| line.contains("\"trials\"")).unwrap();
    std::fs::write(&file, text.replace(trials, "  \"trials\": 18446744073709551615,")).unwrap();
    refused(&fuzz(), "these numbers of batches and trials do not go together");
}

#[test]
fn what_was_found_is_not_overwritten() {
    let project = Project::demo();
    for name in ["harness/defects/shadowed.yaml", "harness/defects/shadowed.elf"] {
        project.write(name, std::fs::read(crate::support::root().join(name)).unwrap());
    }
    let fuzz = || project.run(&["fuzz", "harness/defects/shadowed.yaml", "--trials", "2000"]);
    let ran = fuzz();
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let file = project.path().join("cases/found/branch-at-compare_product-6.yaml");
    let text = std::fs::read_to_string(&file).unwrap_or_else(|_| panic!("{}", ran.out));
    // The suite fails with it, and its own command tells why.
    let ran = project.run(&["check", "cases/found"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let ran = project.run(&["explain", "cases/found/branch-at-compare_product-6.yaml"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    // A person has edited it: that stays.
    let edited = text.replace("# Found", "# Seen and found");
    std::fs::write(&file, &edited).unwrap();
    let ran = fuzz();
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("which was there before"), "{}", ran.out);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), edited);
}
