//! JSON lines fit the committed schema, which is what the types say.

use std::collections::BTreeSet;
use std::sync::Arc;

use keyway::Checker;
use keyway::report::JsonLines;
use pretty_assertions::{assert_eq, assert_str_eq};
use serde_json::{Value, json};

use super::{Written, demo_harness, failing, mixed, show};
use crate::reference::keys;
use crate::support::{root, run};

const RESULTS: &str = "cases/results.schema.json";
const EXPLANATION: &str = "cases/explanation.schema.json";
const LIST: &str = "cases/list.schema.json";
const FUZZ: &str = "cases/fuzz.schema.json";

fn schema(file: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(root().join(file)).expect("the schema")).expect("JSON")
}

/// Checks every line, and returns the kinds of records.
pub fn check(file: &str, text: &str) -> BTreeSet<String> {
    let schema = schema(file);
    let validator = jsonschema::draft7::new(&schema).expect("a schema");
    let mut known = BTreeSet::new();
    keys(&schema, &schema, "", &mut known);
    let mut records = BTreeSet::new();
    for line in text.lines() {
        let value: Value = serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"));
        let errors: Vec<String> =
            validator.iter_errors(&value).map(|error| format!("{}: {error}", error.instance_path())).collect();
        assert!(errors.is_empty(), "{errors:#?} in\n{line}");
        // Readers pass over keys that they do not know, so the schema allows them; but keyway writes none.
        let mut used = BTreeSet::new();
        paths(&value, "", &mut used);
        let unknown: Vec<&String> = used.difference(&known).collect();
        assert!(unknown.is_empty(), "{file} lacks {unknown:?}, which are in\n{line}");
        records.insert(value["record"].as_str().expect("a kind").to_owned());
    }
    records
}

/// The paths of the keys of a value, as [`keys`] spells them.
fn paths(value: &Value, path: &str, found: &mut BTreeSet<String>) {
    for (key, inner) in value.as_object().into_iter().flatten() {
        let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
        paths(inner, &path, found);
        found.insert(path);
    }
    value.as_array().into_iter().flatten().for_each(|inner| paths(inner, &format!("{path}[]"), found));
}

fn set(words: &[&str]) -> BTreeSet<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// Explanations of every kind of step, instructions, and failures explained within the results.
#[test]
fn lines_of_explain_fit_the_schema() {
    let folder = root().join("tests/explaining/cases");
    let told = run(&folder, &["explain", ".", "--format", "json"]);
    assert_eq!((told.code, &*told.err), (0, ""));
    assert_eq!(check(EXPLANATION, &told.out), set(&["start", "explanation"]));
    let told = run(root(), &["explain", "cases/idle.yaml", "--instructions", "--format", "json"]);
    assert_eq!(check(EXPLANATION, &told.out), set(&["start", "explanation", "instruction"]));
    let failed = run(root(), &["check", "tests/readme/almost.yaml", "--explain", "--format", "json"]);
    assert!(failed.out.contains("\"explanation\":{\"steps\""), "{}", failed.out);
    check(RESULTS, &failed.out);
}

#[test]
fn lines_of_check_fit_the_schema() {
    let all = set(&["start", "harness", "case", "coverage", "summary"]);
    for arguments in
        [&["check", "--proofs"][..], &["check", "--boundary", "--proofs"], &["check", "tests/readme/almost.yaml"]]
    {
        let ran = run(root(), &[arguments, &["--format", "json", "--coverage"]].concat());
        assert_eq!(ran.err, "", "{arguments:?}");
        assert_eq!(check(RESULTS, &ran.out), all, "{arguments:?}");
    }
    let ran = mixed().run(&["check", "--format", "json"]);
    assert_eq!(check(RESULTS, &ran.out), set(&["start", "harness", "case", "summary"]));
    let verdicts = ["held", "failed", "undecided", "known-bug", "bug-gone"];
    assert!(verdicts.iter().all(|is| ran.out.contains(&format!("\"verdict\":{{\"is\":\"{is}\""))), "{}", ran.out);
}

#[test]
fn explanations_fit_the_schema() {
    let suite = keyway::Suite::load(root().join("cases/own-unknown.yaml")).expect("the suite");
    let mut checker = Checker::new(Arc::clone(&suite.harness));
    let results = suite.cases().map(|case| {
        let case = case.expect("a case");
        let mut result = checker.check(&case);
        result.explanation = Some(Box::new(checker.explain(&case)));
        result
    });
    let results: Vec<_> = results.collect();
    let written = Written::default();
    show(&mut JsonLines::new(written.clone()).with_explanations(true), &suite.harness, &results);
    assert!(written.text().contains("\"explanation\":{\"steps\":[{\"step\":"));
    check(RESULTS, &written.text());
}

#[test]
fn lines_of_list_fit_the_schema() {
    let ran = run(root(), &["list", "--format", "json", "--boundary"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(check(LIST, &ran.out), set(&["start", "harness", "branch", "case"]));
}

#[test]
fn other_lines_do_not_fit() {
    let schema = schema(RESULTS);
    let validator = jsonschema::draft7::new(&schema).expect("a schema");
    let harness = demo_harness();
    let written = Written::default();
    show(&mut JsonLines::new(written.clone()), &harness, &[failing(&harness, "it")]);
    let lines: Vec<Value> = written.text().lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert!(lines.iter().all(|line| validator.is_valid(line)));
    let with = |line: usize, path: &str, value: Value| {
        let mut other = lines[line].clone();
        *other.pointer_mut(path).expect("a key") = value;
        other
    };
    for wrong in [
        with(0, "/record", json!("begin")),
        with(0, "/format", json!("1")),
        with(1, "/cases", json!(-1)),
        with(2, "/verdict/is", json!("maybe")),
        with(2, "/verdict/reasons/0/why", json!("because")),
        with(2, "/reached", json!("alone")),
        with(2, "/evidence/decided/at/address", json!("0x25E")),
        with(3, "/held", Value::Null),
        json!({}),
        json!([]),
    ] {
        assert!(!validator.is_valid(&wrong), "{wrong} fits");
    }
    for line in &lines {
        for key in ["record", "cases", "verdict", "name"] {
            let mut other = line.clone();
            if other.as_object_mut().expect("an object").remove(key).is_some() {
                assert!(!validator.is_valid(&other), "{other} fits");
            }
        }
    }
}

#[test]
fn committed_schemas_of_lines_are_what_the_types_say() {
    for (word, file) in [("results", RESULTS), ("list", LIST), ("explanation", EXPLANATION), ("fuzz", FUZZ)] {
        let printed = run(root(), &["schema", word]).out;
        let committed = std::fs::read_to_string(root().join(file)).expect("the schema");
        assert_str_eq!(committed, printed, "{file} is out of date; rewrite it: keyway schema {word} > {file}");
    }
}
