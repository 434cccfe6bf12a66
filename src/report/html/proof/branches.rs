//! How the routine ends: which branch for which headers, which branch never, and how long it takes at the most.

use super::super::blocks::{
    Column, Tone, case, fold, heading, list, nothing, numbers, paragraph, table, verdict, words,
};
use super::super::markup::{Markup, of_text, text};
use super::Sheet;
use super::verdict::with_kind;
use crate::prove::{Answer, Condition, EndAnswer, PathAnswer, Scenario, WitnessAnswer};
use crate::report::proof::{MOST_WAYS, ways};
use crate::units;

/// A table of ends for each scenario.
pub fn reached(sheet: &Sheet) -> Markup {
    let scenarios = &sheet.answer.scenarios;
    let inside: Vec<Markup> = match scenarios.as_slice() {
        [] => vec![nothing("There is no way of being attached, so there are no branches.")],
        some => some.iter().map(|each| scenario(sheet, each)).collect(),
    };
    sheet.part("branches", "Branches", inside)
}

const ENDS: [Column; 4] = [words("Ends in"), words("When"), words("Headers"), words("Witness")];

fn scenario(sheet: &Sheet, scenario: &Scenario) -> Markup {
    let title = heading(sheet.depth, &format!("Attached: {}", ways(&scenario.ways)));
    let all = (scenario.ways.len() > MOST_WAYS).then(|| {
        let summary = format!("All {} ways of being attached", scenario.ways.len());
        fold(&summary, list("", scenario.ways.iter().map(|way| text(way))))
    });
    let ends = match scenario.ends.as_slice() {
        [] => nothing("No end was found."),
        ends => {
            let caption = "How the routine ends, and for which headers";
            table("ends", caption, &ENDS, ends.iter().map(|end| end_row(sheet.answer, end)))
        }
    };
    [title, all.unwrap_or_default(), ends].into_iter().collect()
}

fn end_row(answer: &Answer, end: &EndAnswer) -> Vec<Markup> {
    let name = match &end.branch {
        Some(branch) => with_kind(text(branch), Some(kind(answer, branch))),
        None => with_kind(verdict(Tone::Bad, &end.end), Some("no branch")),
    };
    let headers = end.headers.as_ref().map_or_else(|| nothing("not counted"), |headers| text(headers));
    let witness = end.witness.as_ref().map_or_else(|| nothing("none"), witness);
    vec![name, condition(end.condition.as_ref()), headers, witness]
}

fn kind<'a>(answer: &'a Answer, branch: &str) -> &'a str {
    answer.branches.iter().find(|known| known.branch == branch).map_or("", |known| known.kind.name())
}

/// A condition as a text, or that it has none.
pub fn condition(condition: Option<&Condition>) -> Markup {
    match condition {
        Some(condition) => of_text("code", "condition", &condition.text),
        None => nothing("a condition without a short form"),
    }
}

fn witness(witness: &WitnessAnswer) -> Markup {
    [text(&witness.label), case(&witness.label, &witness.case, false)].into_iter().collect()
}

/// The branches that nothing comes to.
pub fn never(sheet: &Sheet) -> Markup {
    let unreachable: Vec<Vec<Markup>> = sheet
        .answer
        .branches
        .iter()
        .filter(|branch| !branch.reachable)
        .map(|branch| vec![text(&branch.branch), text(branch.kind.name())])
        .collect();
    let inside = match (unreachable.is_empty(), sheet.proved) {
        (true, _) if sheet.answer.branches.is_empty() => vec![nothing("No branch is declared.")],
        (true, true) => vec![nothing("None: some input comes to each declared branch.")],
        (true, false) => vec![nothing("No declared branch was found that nothing comes to.")],
        (false, proved) => {
            let (said, caption) = if proved {
                ("No input within the scope comes to these branches.", "Branches that are never taken")
            } else {
                ("These branches were not met. That does not say that nothing comes to them.", "Branches not met")
            };
            let columns = [words("Branch"), words("Kind")];
            vec![paragraph(said), table("", caption, &columns, unreachable)]
        }
    };
    sheet.part("never", if sheet.proved { "Never taken" } else { "Not seen taken" }, inside)
}

const PATHS: [Column; 6] = [
    words("Path"),
    numbers("Cycles"),
    numbers("Milliseconds"),
    numbers("Instructions"),
    words("Branch"),
    words("Witness"),
];

/// The longest and the shortest paths.
pub fn paths(sheet: &Sheet) -> Markup {
    let paths = &sheet.answer.paths;
    let all = [
        ("longest", &paths.longest),
        ("shortest", &paths.shortest),
        ("most instructions", &paths.most_instructions),
        ("fewest instructions", &paths.fewest_instructions),
    ];
    let rows: Vec<Vec<Markup>> =
        all.into_iter().filter_map(|(what, path)| Some(path_row(what, path.as_ref()?))).collect();
    let inside = if rows.is_empty() {
        nothing("No path to a branch was measured.")
    } else {
        table("", "The longest and shortest paths to a branch", &PATHS, rows)
    };
    sheet.part("paths", "Paths", [inside])
}

fn path_row(what: &'static str, path: &PathAnswer) -> Vec<Markup> {
    vec![
        text(what),
        text(&units::thousands(path.cycles)),
        path.milliseconds.as_ref().map_or_else(|| nothing("no clock"), |time| text(time)),
        text(&units::thousands(path.instructions)),
        text(&path.branch),
        witness(&path.witness),
    ]
}
