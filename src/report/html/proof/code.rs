//! The acceptance table rule by rule, what of the ROM is never reached, and which bytes of the header count.

use super::super::blocks::{
    Column, Tone, heading, nothing, numbers, paragraph, place, ranges, strip, table, verdict, words,
};
use super::super::markup::{Markup, of_text, text};
use super::Sheet;
use crate::prove::{DeadCode, DeadEntry, FieldInfluence, RuleAnswer};
use crate::units;

const RULES: [Column; 4] = [words("Rule"), words("Line"), words("Branch"), words("Routine")];

/// The acceptance table.
pub fn rules(sheet: &Sheet) -> Markup {
    let answer = sheet.answer;
    let mut inside = Vec::new();
    if answer.rules.is_empty() {
        inside.push(nothing("The harness has no acceptance table."));
    } else {
        let caption = if sheet.proved {
            "The rules, and whether the routine does what they say for every input that they decide"
        } else {
            "The rules, and whether the routine was seen to do otherwise"
        };
        inside.push(table("", caption, &RULES, answer.rules.iter().map(|rule| rule_row(sheet, rule))));
    }
    if let Some(open) = &answer.open {
        inside.push(paragraph(&format!("The table leaves some inputs open: {}.", open.why)));
    } else if !answer.rules.is_empty() && sheet.proved {
        inside.push(nothing("The table leaves no input open."));
    }
    sheet.part("rules", "Acceptance table", inside)
}

fn rule_row(sheet: &Sheet, rule: &RuleAnswer) -> Vec<Markup> {
    let (tone, word) = match (rule.holds, rule.decides, sheet.proved) {
        (false, ..) => (Tone::Bad, "does otherwise"),
        (true, false, true) => (Tone::Quiet, "the rule decides nothing"),
        (true, true, true) => (Tone::Good, "does what it says"),
        (true, _, false) => (Tone::Open, "open"),
    };
    let place = format!("{}:{}", sheet.answer.file, rule.line);
    vec![text(&rule.rule.to_string()), of_text("code", "", &place), text(&rule.branch), verdict(tone, word)]
}

/// What nothing comes to.
pub fn dead(sheet: &Sheet) -> Markup {
    let answer = sheet.answer;
    let titles = if sheet.proved {
        ["Table entries that no input finds", "Instructions that no input reaches"]
    } else {
        ["Table entries that no path found", "Instructions that no path reached"]
    };
    let entries = [words("Entry"), words("Stands at"), words("Not found by")];
    let code = [words("From"), words("To"), numbers("Instructions")];
    let part = |title: &'static str, columns: &[Column], rows: Vec<Vec<Markup>>| -> Markup {
        let list = if rows.is_empty() { nothing("None.") } else { table("named-above", title, columns, rows) };
        [heading(sheet.depth, title), list].into_iter().collect()
    };
    let inside = [
        part(titles[0], &entries, answer.dead_entries.iter().map(entry_row).collect()),
        part(titles[1], &code, answer.dead.iter().map(code_row).collect()),
    ];
    sheet.part("dead", if sheet.proved { "Never reached" } else { "Not seen reached" }, inside)
}

fn entry_row(entry: &DeadEntry) -> Vec<Markup> {
    vec![of_text("code", "condition", &entry.text), place(&entry.at), place(&entry.decision)]
}

fn code_row(code: &DeadCode) -> Vec<Markup> {
    let last = of_text("code", "", &units::address(code.last));
    vec![place(&code.at), last, text(&units::thousands(code.count as u64))]
}

const INFLUENCE: [Column; 5] =
    [words("Field"), numbers("Bytes"), numbers("Count"), words("Which"), numbers("Read, without influence")];

/// What is no field has no beginning, so its bytes are not drawn.
const OUTSIDE: &str = "outside of all fields";

/// Which bytes of the header count.
pub fn influence(sheet: &Sheet) -> Markup {
    let fields = &sheet.answer.influence;
    let inside = if fields.is_empty() {
        vec![nothing("No byte of the header can be anything.")]
    } else {
        let said = if sheet.proved {
            "Only these bytes can influence what the routine does. Whatever the others hold, it does the same."
        } else {
            "These bytes were seen to influence what the routine does. Others may, too."
        };
        let caption = "The header, field by field. Bytes are counted from 0 at the beginning of their field, or of the \
                       image where they are in none";
        vec![paragraph(said), table("", caption, &INFLUENCE, fields.iter().map(field_row))]
    };
    sheet.part("influence", "Influence of the header", inside)
}

fn field_row(field: &FieldInfluence) -> Vec<Markup> {
    let which = if field.count == 0 { nothing("none") } else { text(&field.influence) };
    let within = ranges(&field.influence, field.bytes).filter(|_| field.field != OUTSIDE);
    let drawn = within.map(|ranges| strip(field.bytes, &ranges));
    let number = |number: u32| text(&units::thousands(u64::from(number)));
    vec![
        text(&field.field),
        number(field.bytes),
        number(field.count),
        [which, drawn.unwrap_or_default()].into_iter().collect(),
        number(field.read_only),
    ]
}
