//! What `watch` finds and says between two runs.

use keyway::check::{CaseResult, Changes, Reached, Summary};
use keyway::report::{write_changes, write_first};
use keyway::run::BranchKind;
use keyway::verdict::{Reason, Verdict, Why};
use pretty_assertions::assert_eq;

use super::{demo_harness, failing};

/// A case that took a branch.
fn case(name: &str, branch: &str, verdict: Verdict) -> CaseResult {
    let reached = Reached::Branch { branch: branch.to_owned(), kind: BranchKind::Rejected };
    let template = failing(&demo_harness(), name);
    let (file, attached) = ("cases/a.yaml".to_owned(), "nothing".to_owned());
    CaseResult { file, attached, reached, verdict, evidence: None, rerun: String::new(), ..template }
}

fn failed(text: &str) -> Verdict {
    Verdict::Failed { reasons: vec![Reason::new(Why::Branch, text)] }
}

fn undecided() -> Verdict {
    Verdict::Undecided { reasons: vec![Reason::new(Why::Limit, "the limit")] }
}

fn known() -> Verdict {
    Verdict::KnownBug { why: "old".to_owned(), reasons: vec![Reason::new(Why::Branch, "wrong")] }
}

fn names<'a>(cases: impl IntoIterator<Item = &'a CaseResult>) -> Vec<&'a str> {
    cases.into_iter().map(|case| case.name.as_str()).collect()
}

fn summary(results: &[CaseResult]) -> Summary {
    let mut summary = Summary::default();
    results.iter().for_each(|result| summary.count(&result.verdict));
    summary
}

fn told(before: &[CaseResult], now: &[CaseResult]) -> String {
    let mut out = Vec::new();
    write_changes(&mut out, &Changes::between(before, now), &summary(now), 0).unwrap();
    anstream::adapter::strip_str(&String::from_utf8(out).unwrap()).to_string()
}

#[test]
fn each_case_stands_in_one_list() {
    let before = [
        case("same", "alone", Verdict::Held),
        case("breaks", "alone", Verdict::Held),
        case("mended", "noise", failed("wrong")),
        case("still wrong", "noise", failed("wrong")),
        case("wrong otherwise", "noise", failed("wrong")),
        case("decided", "alone", undecided()),
        case("given up", "alone", Verdict::Held),
        case("bug comes", "alone", Verdict::Held),
        case("bug goes", "alone", known()),
        case("quicker", "alone", Verdict::Held),
        case("removed", "alone", failed("wrong")),
    ];
    let mut now = [
        case("new and wrong", "noise", failed("wrong")),
        case("quicker", "alone", Verdict::Held),
        case("bug goes", "alone", Verdict::BugGone { why: "old".to_owned() }),
        case("bug comes", "alone", known()),
        case("given up", "alone", undecided()),
        case("decided", "alone", Verdict::Held),
        case("wrong otherwise", "refused", failed("wrong")),
        case("still wrong", "noise", failed("wrong")),
        case("mended", "alone", Verdict::Held),
        case("breaks", "noise", failed("wrong")),
        case("same", "alone", Verdict::Held),
        case("new", "alone", Verdict::Held),
    ];
    now[1].cycles -= 1;
    // A case that has moved in its file is the same case.
    now.iter_mut().for_each(|case| case.line += 100);
    let changes = Changes::between(&before, &now);
    assert_eq!(names(changes.newly_failing.clone()), ["new and wrong", "bug goes", "breaks"]);
    assert_eq!(names(changes.newly_held.iter().map(|pair| pair.now)), ["decided", "mended"]);
    assert_eq!(names(changes.otherwise.iter().map(|pair| pair.now)), ["bug comes", "given up", "wrong otherwise"]);
    assert_eq!(names(changes.new.clone()), ["new"]);
    assert_eq!(names(changes.gone.clone()), ["removed"]);
    assert_eq!(names(changes.times.iter().map(|pair| pair.now)), ["quicker"]);
}

#[test]
fn cases_of_one_name_in_other_files_are_other_cases() {
    let before = [case("a", "alone", Verdict::Held)];
    let mut now = before.clone();
    now[0].file = "cases/b.yaml".to_owned();
    let changes = Changes::between(&before, &now);
    assert_eq!((names(changes.new), names(changes.gone)), (vec!["a"], vec!["a"]));
    // Derived cases of two harnesses with one table share both; their order tells them apart.
    let before = [case("a", "alone", Verdict::Held), case("a", "alone", Verdict::Held)];
    let now = [case("a", "alone", Verdict::Held), case("a", "noise", failed("wrong"))];
    let changes = Changes::between(&before, &now);
    assert_eq!((changes.newly_failing.len(), changes.new.len(), changes.gone.len()), (1, 0, 0));
}

#[test]
fn nothing_is_one_line() {
    let results = [case("a", "alone", Verdict::Held), case("b", "noise", failed("wrong"))];
    assert!(Changes::between(&results, &results).is_empty());
    assert_eq!(told(&results, &results), "nothing changed: 2 cases: 1 held, 1 failed\n");
}

#[test]
fn failures_come_first_and_the_count_last() {
    let mut before = [
        case("a", "alone", Verdict::Held),
        case("b", "noise", failed("wrong")),
        case("c", "noise", failed("wrong")),
        case("d", "alone", Verdict::Held),
        case("e", "alone", Verdict::Held),
    ];
    let now = [
        case("d", "alone", Verdict::Held),
        case("c", "refused", failed("worse")),
        case("b", "alone", Verdict::Held),
        case("a", "noise", failed("wrong")),
        case("f", "alone", Verdict::Held),
    ];
    before[3].cycles = 1234;
    assert_eq!(
        told(&before, &now),
        "\n\
         FAILED a\n  case       cases/a.yaml:7\n  attached   nothing\n  why        wrong\n\
         \n\
         \x20 now held   b: took alone\n\
         \x20 changed    c: took noise, takes refused; worse\n\
         \x20 new        f: held\n\
         \x20 gone       e: was held\n\
         \x20 times      d took 1,234 cycles, takes 150\n\
         5 cases: 3 held, 2 failed\n"
    );
}

#[test]
fn the_first_run_shows_what_does_not_hold() {
    let results = [
        case("a", "alone", Verdict::Held),
        case("b", "noise", failed("wrong")),
        case("c", "noise", known()),
        case("d", "noise", undecided()),
    ];
    let mut out = Vec::new();
    write_first(&mut out, &results, &summary(&results), 0).unwrap();
    let out = anstream::adapter::strip_str(&String::from_utf8(out).unwrap()).to_string();
    let heads: Vec<&str> = out.lines().filter(|line| !line.starts_with(' ') && !line.is_empty()).collect();
    assert_eq!(heads, ["FAILED b", "undecided d", "4 cases: 1 held, 1 failed, 1 undecided, 1 known bug"]);
}

#[test]
fn a_broken_rom_does_not_flood() {
    let many = |branch: &str, verdict: &Verdict| -> Vec<CaseResult> {
        let template = case("", branch, verdict.clone());
        (0..5000).map(|number| CaseResult { name: format!("case {number}"), ..template.clone() }).collect()
    };
    let (held, broken) = (many("alone", &Verdict::Held), many("noise", &failed("wrong")));
    let out = told(&held, &broken);
    assert_eq!(out.matches("FAILED ").count(), 50);
    assert!(out.contains("\nand 4,950 more like these; `keyway check --format json` has all\n"), "{out}");
    let out = told(&broken, &held);
    assert_eq!(out.matches("  now held ").count(), 50);
    assert!(out.contains("and 4,950 more\n5,000 cases: 5,000 held\n"), "{out}");
}
