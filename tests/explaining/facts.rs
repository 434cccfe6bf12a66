//! What a right explanation says of each shape. The values come from the sources and from the comments of the case
//! files, worked out by hand; a snapshot that is rewritten must still say all of it.

mod numbers;
mod texts;
mod waits;

use std::ops::RangeInclusive;

use keyway::explain::{Explanation, Origin, Step, TextCompare};
use keyway::{Checker, Suite};

use super::told::{compares, hangs_on_image, hangs_on_others, tests};
use crate::support::root;

const SIGNATURE: u32 = 0x100;
const PRODUCT: u32 = 0x180;

/// A fact, and whether the explanation says it.
type Fact = (&'static str, bool);

/// A case, what it hangs on in all, and what else is to be said.
struct Shape {
    file: &'static str,
    case: &'static str,
    image: &'static [RangeInclusive<u32>],
    others: &'static [&'static str],
    says: fn(&Explanation) -> Vec<Fact>,
}

/// Facts that explanations do not say yet; each must fail. `FILE: CASE: FACT`.
const NOT_YET: &[&str] = &[
    // A mask by AND before the compare is not told.
    "mask_bits: both are right: the mask",
    "mask_bits: bit 3 is too much: the mask",
    // An interrupt that could have come in time and did not is not told.
    "multiply_time: no bit is 1: what else it hangs on",
    // Nearest changes that the search does not come to.
    "detect_in_c: entry 1 before its first revision: near",
    "follow_table: it leads to the signature: near, the word",
    "compare_serial: one below: near, the low half",
];

fn shape(
    file: &'static str,
    case: &'static str,
    image: &'static [RangeInclusive<u32>],
    others: &'static [&'static str],
    says: fn(&Explanation) -> Vec<Fact>,
) -> Shape {
    Shape { file, case, image, others, says }
}

#[test]
fn explanations_say_what_the_sources_say() {
    let mut wrong = Vec::new();
    let mut not_yet = Vec::new();
    let mut count = 0;
    for shape in [texts::shapes(), numbers::shapes(), waits::shapes()].into_iter().flatten() {
        let explanation = explain(&shape);
        let mut facts = (shape.says)(&explanation);
        facts.push(("what it hangs on in the image", hangs_on_image(&explanation, shape.image)));
        facts.push(("what else it hangs on", hangs_on_others(&explanation, shape.others)));
        for (fact, said) in facts {
            count += 1;
            let fact = format!("{}: {}: {fact}", shape.file, shape.case);
            match (said, NOT_YET.contains(&fact.as_str())) {
                (false, true) => not_yet.push(fact),
                (false, false) => wrong.push(format!("not said: {fact}")),
                (true, true) => wrong.push(format!("said now, take it out of NOT_YET: {fact}")),
                (true, false) => {}
            }
        }
    }
    assert!(count > 150, "the facts are gone: {count}");
    assert_eq!(not_yet.len() + wrong.iter().filter(|fact| fact.starts_with("said")).count(), NOT_YET.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn explain(shape: &Shape) -> Explanation {
    let path = root().join(format!("tests/explaining/cases/{}.yaml", shape.file));
    let suite = Suite::load(&path).expect("a case file");
    let case = suite.cases().map(|case| case.expect("a case")).find(|case| case.name == shape.case);
    let case = case.unwrap_or_else(|| panic!("no case {} in {}", shape.case, shape.file));
    Checker::new(suite.harness.clone()).explain(&case)
}

/// The host's bytes that a text was compared with belong to this symbol.
fn of_symbol(explanation: &Explanation, index: usize, symbol: &str) -> bool {
    compares(explanation).get(index).is_some_and(|compare| compare.with.whose.contains(&format!("<{symbol}")))
}

fn nth(explanation: &Explanation, index: usize, holds: impl Fn(&TextCompare) -> bool) -> bool {
    compares(explanation).get(index).is_some_and(|compare| holds(compare))
}

/// Assemblers write no line for data, so what is told is the line of the label before it: that of `known` in shapes.s.
fn label_line(compare: &TextCompare) -> bool {
    let source = std::fs::read_to_string(root().join("tests/explaining/shapes.s")).expect("the source");
    let line = source.lines().position(|line| line.starts_with("known:")).expect("the label") + 1;
    compare.with.source.as_ref().is_some_and(|source| source.ends_with(&format!("shapes.s:{line}")))
}

fn wrote(explanation: &Explanation, port: &str) -> Vec<u32> {
    let write = |step: &Step| match step {
        Step::Write(write) if write.port == port => Some(write.value),
        _ => None,
    };
    explanation.steps.iter().filter_map(write).collect()
}

/// How often exceptions were taken by this handler.
fn handled(explanation: &Explanation, handler: &str) -> u64 {
    let times = |step: &Step| match step {
        Step::Exception(exception) => {
            let to = exception.to.as_ref().and_then(|to| to.symbol.as_deref());
            if to == Some(handler) { exception.times } else { 0 }
        }
        _ => 0,
    };
    explanation.steps.iter().map(times).sum()
}

/// Some test's found value hangs on the image at these offsets, and on nothing else of it.
fn test_from(explanation: &Explanation, range: RangeInclusive<u32>) -> bool {
    let image = |origin: &Origin| match origin {
        Origin::Image { first, last, .. } => Some(*first..=*last),
        _ => None,
    };
    tests(explanation).iter().any(|test| {
        let from = test.found.from.iter().filter_map(image).flatten();
        from.eq(range.clone())
    })
}

/// Some test hangs in all on the image at these offsets, and on nothing else of it.
fn test_by(explanation: &Explanation, range: RangeInclusive<u32>) -> bool {
    let image = |origin: &Origin| match origin {
        Origin::Image { first, last, .. } => Some(*first..=*last),
        _ => None,
    };
    tests(explanation).iter().any(|test| test.by.iter().filter_map(image).flatten().eq(range.clone()))
}

fn looked_up(explanation: &Explanation, place: &str) -> bool {
    explanation.steps.iter().any(|step| matches!(step, Step::Lookup(lookup) if lookup.place.contains(place)))
}

fn jumped(explanation: &Explanation, symbol: &str) -> bool {
    let to = |step: &Step| matches!(step, Step::Jump(jump) if jump.to.symbol.as_deref() == Some(symbol));
    explanation.steps.iter().any(to)
}

/// The branches that the end asked for: branch, what the cell held, what it asks for.
fn told(explanation: &Explanation) -> Vec<(&str, u32, u32)> {
    fn told(step: &Step) -> Option<(&str, u32, u32)> {
        let Step::Told(told) = step else { return None };
        Some((told.branch.as_str(), told.found.value, told.is))
    }
    explanation.steps.iter().filter_map(told).collect()
}
