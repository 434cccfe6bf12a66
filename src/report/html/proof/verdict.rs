//! The verdict, what it is about, and what it took.

use super::super::blocks::{Tone, facts, heading, list, nothing, paragraph, place, verdict};
use super::super::markup::{Markup, el, none, of_text, text};
use super::{Sheet, short};
use crate::prove::{Answer, DoubtAt};
use crate::units;

/// The verdict for the head of the page: what it is, and how many promises are broken.
pub fn words(answer: &Answer) -> Vec<Markup> {
    let (tone, word) = short(answer);
    let broken = broken(answer).map(|broken| verdict(Tone::Bad, &broken));
    [verdict(tone, word)].into_iter().chain(broken).collect()
}

fn broken(answer: &Answer) -> Option<String> {
    match answer.violations.len() {
        0 => None,
        1 => Some("1 promise is broken".to_owned()),
        many => Some(format!("{} promises are broken", units::thousands(many as u64))),
    }
}

/// The verdict with all that is to be said about it.
pub fn section(sheet: &Sheet) -> Markup {
    let answer = sheet.answer;
    let inside = if sheet.proved { proved(answer) } else { inconclusive(sheet) };
    sheet.part("verdict", "Verdict", inside)
}

fn outcome(tone: Tone, what: &str) -> Markup {
    of_text("p", &format!("outcome {}", tone.class()), what)
}

fn proved(answer: &Answer) -> Vec<Markup> {
    let broken = broken(answer);
    let broken = broken.map(|broken| outcome(Tone::Bad, &format!("{broken}; each has a counterexample below.")));
    let good = outcome(Tone::Good, "Proved within the scope below: what this page says holds for every input in it.");
    [good].into_iter().chain(broken).collect()
}

fn inconclusive(sheet: &Sheet) -> Vec<Markup> {
    let answer = sheet.answer;
    let mut inside =
        vec![outcome(Tone::Open, "Inconclusive: nothing of this answer is proved."), heading(sheet.depth, "Why")];
    inside.push(match answer.doubts.as_slice() {
        [] => nothing("No reason is given."),
        doubts => list("", doubts.iter().map(doubt)),
    });
    if let Some(broken) = broken(answer) {
        inside.push(outcome(Tone::Bad, &format!("{broken}, as far as it went.")));
        inside.push(paragraph(
            "A counterexample with a case stands however the rest went: the case fails when it is checked.",
        ));
    }
    inside
}

fn doubt(doubt: &DoubtAt) -> Markup {
    let at = doubt.at.as_ref().map(|at| [text(" at "), place(at)].into_iter().collect::<Markup>());
    [text(&doubt.why), at.unwrap_or_default()].into_iter().collect()
}

/// What the answer is about.
pub fn scope(sheet: &Sheet) -> Markup {
    let scope = &sheet.answer.scope;
    let each = |lines: &[String], none: &str| match lines {
        [] => nothing(none),
        lines => list("", lines.iter().map(|line| text(line))),
    };
    let bits = match scope.header_bits {
        0 => nothing("none"),
        bits => text(&format!("{} bits: 2^{bits} headers", units::thousands(u64::from(bits)))),
    };
    let inside = facts([
        ("Can be anything", each(&scope.unknown, "nothing")),
        ("Of the header", bits),
        ("Ways of being attached", each(&scope.ways, "none")),
        ("Is fixed", each(&scope.fixed, "nothing")),
    ]);
    sheet.part("scope", "Scope", [inside])
}

/// What it took.
pub fn effort(sheet: &Sheet) -> Markup {
    let effort = sheet.answer.effort;
    let count = |count: u64| text(&units::thousands(count));
    let inside = facts([
        ("Instructions run on unknowns", count(effort.steps)),
        ("Terms made", count(effort.terms as u64)),
        ("Explorations", count(effort.explorations as u64)),
        ("Witnesses run on the machine", count(effort.witnesses as u64)),
    ]);
    sheet.part("effort", "Effort", [inside])
}

/// A word and, beneath it, what kind it is.
pub fn with_kind(name: Markup, kind: Option<&str>) -> Markup {
    let kind = kind.map_or_else(none, |kind| el("span", &[("class", "kind")], [text(kind)]));
    [name, kind].into_iter().collect()
}
