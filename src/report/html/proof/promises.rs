//! The promises: what is kept, what is broken, and the counterexamples.

use super::super::blocks::{Tone, case, facts, heading, list, nothing, place, table, verdict, words};
use super::super::markup::{Markup, el, none, of_text, text};
use super::Sheet;
use super::branches::condition;
use crate::prove::Violation;

/// What is kept and what is broken.
pub fn section(sheet: &Sheet) -> Markup {
    let broken = &sheet.answer.violations;
    let mut inside = vec![heading(sheet.depth, "Broken")];
    if broken.is_empty() {
        let none = if sheet.proved { "None." } else { "No breach was met. That does not say that there is none." };
        inside.push(nothing(none));
    }
    inside.extend(broken.iter().map(|violation| counterexample(sheet, violation)));
    inside.extend(kept(sheet));
    sheet.part("promises", "Promises", inside)
}

fn kept(sheet: &Sheet) -> [Markup; 2] {
    let kept = &sheet.answer.kept;
    let title = if sheet.proved { "Kept" } else { "Not found broken" };
    let rows = kept.iter().map(|promise| vec![text(promise.name()), text(&format!("the routine {}", promise.text()))]);
    let list = if kept.is_empty() {
        nothing("None.")
    } else {
        let caption = if sheet.proved { "Kept whatever is plugged in" } else { "Promises of which no breach was met" };
        table("", caption, &[words("Promise"), words("It says that")], rows)
    };
    [heading(sheet.depth, title), list]
}

fn counterexample(sheet: &Sheet, violation: &Violation) -> Markup {
    let title = of_text(sheet.depth.below().below().heading(), "", &violation.name);
    let head = el("div", &[("class", "case-head")], [title, verdict(Tone::Bad, "BROKEN")]);
    let promise = violation.promise;
    let mut told = vec![("Promise", text(&format!("{}: the routine {}", promise.name(), promise.text())))];
    told.push(("When", condition(violation.condition.as_ref())));
    told.extend(violation.at.as_ref().map(|at| ("Where", place(at))));
    told.push(("Case file", file(violation)));
    let reasons = match violation.reasons.as_slice() {
        [] => none(),
        reasons => list("reasons", reasons.iter().map(|reason| text(reason))),
    };
    el("article", &[], [head, facts(told), reasons, case(&violation.name, &violation.case, true)])
}

fn file(violation: &Violation) -> Markup {
    match &violation.file {
        Some(file) => {
            let known = if violation.known { text(", which was there before") } else { none() };
            [of_text("code", "", file), known].into_iter().collect()
        }
        None if violation.case.is_empty() => nothing("none: no case file can say these inputs"),
        None => nothing("not written"),
    }
}
