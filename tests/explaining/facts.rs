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
    // An address fault shows another image offset than the bus address says.
    "compare_text: address line 3 stuck high: bus 0x200100 shows image 0x108",
    // Data in the code section take the source line of the code before them.
    "scan_table: entry 2 matches: no wrong source line",
    // Bytes of an overlay are called bytes of the image that it hides.
    "ask_patch: the patch ROM knows it: the overlay's bytes",
    "ask_patch: the patch ROM knows it: not the image's",
    // Texts go on behind what the scan ever compares.
    "detect_in_c: entry 1 from its first revision on: eight bytes count",
    // A mask by AND before the compare is not told.
    "mask_bits: both are right: what features holds",
    "mask_bits: both are right: the mask",
    "mask_bits: bit 3 is too much: the mask",
    // X of the first half is not among what the value hangs on.
    "compare_serial: one below: all eight bytes",
    "compare_serial: the same: all eight bytes",
    // The compare whose answer was kept is not told, only the test of the answer.
    "keep_answer: region 2: the compare behind it",
    "keep_answer: region 3: the compare behind it",
    "keep_flags: revision 1 is below: the compare behind it",
    "keep_flags: revision 2: the compare behind it",
    // The same test of byte after byte, the same way each time, is not one step.
    "count_marks: all of them: alike, so one step",
    // An exception that could have been taken and was not is no step.
    "check_voices: 32 voices: a decision is told",
    "add_steps: as far as it goes: a decision is told",
    // An interrupt that could have come in time and did not is not told.
    "multiply_time: no bit is 1: what else it hangs on",
    // Values that instructions of the cartridge make hang on nothing.
    "call_cartridge: it answers 1: the answer",
    "call_cartridge: it answers 2: the answer",
    // Nearest changes that the search does not come to.
    "detect_in_c: entry 1 before its first revision: near",
    "mask_bits: both are right: near, the mask",
    "mask_bits: bit 3 is too much: near",
    "sum_words: the checksum is wrong: near",
    "follow_table: it leads to the signature: near, the word",
    "follow_table: it leads to the signature: near, the offset",
    "compare_serial: one below: near, the low half",
    "compare_serial: one above: near",
    "keep_answer: region 3: near",
    "keep_flags: revision 1 is below: near",
    "keep_flags: revision 2: near, below",
    "keep_carry: region 0x0F: near",
    "tell_mode: region 0xF5: near, the others",
    "divide_by_steps: four steps: near, by zero",
    "divide_by_steps: four steps: near, the quotient",
    "divide_by_steps: 400 steps: near",
    "divide_by_steps: no steps: near",
    "check_voices: 32 voices: near",
    "check_voices: 33 voices: near",
    "add_steps: as far as it goes: near",
    "add_steps: one further: near",
    "call_cartridge: it answers 1: near",
    "call_cartridge: it answers 2: near",
    "await_blanks: nine blanks are wanted: near",
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

/// The source line of an entry of `known` is the one in shapes.s on which it stands, or is not told: assemblers write no
/// line for data.
fn right_line(entry: usize, compare: &TextCompare) -> bool {
    let source = std::fs::read_to_string(root().join("tests/explaining/shapes.s")).expect("the source");
    let stands = |(_, line): &(usize, &str)| line.trim_start().starts_with("product \"");
    let lines: Vec<usize> = source.lines().enumerate().filter(stands).map(|(index, _)| index + 1).collect();
    assert_eq!(lines.len(), 4);
    compare.with.source.as_ref().is_none_or(|source| source.ends_with(&format!("/shapes.s:{}", lines[entry])))
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
