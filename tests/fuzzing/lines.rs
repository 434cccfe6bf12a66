//! The JSON lines of a work fit their schema, and tell all that the terminal tells.

use std::collections::BTreeSet;

use pretty_assertions::assert_eq;
use serde_json::Value;

use crate::reports::fits_schema;
use crate::support::{Project, root};

const SCHEMA: &str = "cases/fuzz.schema.json";

#[test]
fn lines_fit_the_schema() {
    let project = Project::demo();
    for name in ["harness/defects/stride.yaml", "harness/defects/stride.elf"] {
        project.write(name, std::fs::read(root().join(name)).unwrap());
    }
    let arguments = ["fuzz", "harness/defects/stride.yaml", "--trials", "3000", "--format", "json", "--seed", "4"];
    let ran = project.run(&arguments);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let kinds = fits_schema(SCHEMA, &ran.out);
    let wanted = ["start", "finding", "one-way", "report"].map(str::to_owned);
    assert!(kinds.is_superset(&BTreeSet::from(wanted)), "{kinds:?}");
    let lines: Vec<Value> = ran.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let findings: Vec<&Value> = lines.iter().filter(|line| line["record"] == "finding").collect();
    let report = lines.last().unwrap();
    assert_eq!(report["findings"].as_array().unwrap().len(), findings.len());
    for finding in findings {
        let file = std::fs::read_to_string(project.path().join(finding["file"].as_str().unwrap())).unwrap();
        assert_eq!(finding["case"], file);
        assert!(file.contains("--seed 4"), "{file}");
    }
}
