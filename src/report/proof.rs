//! What is seen of a proof: for people on a terminal, and as one JSON line.

use std::io::{self, Write};

use schemars::JsonSchema;
use serde::Serialize;

use super::records::FORMAT;
use super::words::{BAD, BOLD, DIM, GOOD, OPEN, write_fact, write_harness};
use crate::prove::{
    Answer, DeadCode, DeadEntry, DoubtAt, EndAnswer, FieldInfluence, PathAnswer, RuleAnswer, Scenario, Violation,
};
use crate::suite::Harness;
use crate::units;

/// The line of `keyway prove --format json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(tag = "record", rename_all = "kebab-case")]
pub enum ProofRecord<'a> {
    /// The answer.
    Proof {
        /// The version of the format.
        format: u32,
        /// The answer.
        answer: &'a Answer,
    },
}

/// Writes an answer as a JSON line.
pub fn write_proof_line(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    serde_json::to_writer(&mut *out, &ProofRecord::Proof { format: FORMAT, answer })?;
    out.write_all(b"\n")
}

/// The most ways of being attached that are written one by one.
pub const MOST_WAYS: usize = 3;

/// Writes an answer for people.
pub fn write_proof(out: &mut impl Write, harness: &Harness, answer: &Answer) -> io::Result<()> {
    write_harness(out, harness)?;
    write_scope(out, answer)?;
    answer.scenarios.iter().try_for_each(|scenario| write_scenario(out, scenario))?;
    write_never(out, answer)?;
    answer.violations.iter().try_for_each(|violation| write_violation(out, violation))?;
    write_rules(out, answer)?;
    write_dead(out, &answer.dead, &answer.dead_entries)?;
    write_influence(out, &answer.influence)?;
    write_paths(out, answer)?;
    write_verdict(out, answer)
}

fn write_scope(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    writeln!(out)?;
    facts(out, "unknown", &answer.scope.unknown)?;
    facts(out, "fixed", &answer.scope.fixed)
}

/// A heading on the first line of a list only.
pub(super) fn facts(out: &mut impl Write, what: &'static str, lines: &[String]) -> io::Result<()> {
    for (index, line) in lines.iter().enumerate() {
        write_fact(out, &(if index == 0 { what } else { "" }, units::tame(line).into_owned()))?;
    }
    Ok(())
}

fn write_scenario(out: &mut impl Write, scenario: &Scenario) -> io::Result<()> {
    writeln!(out, "\n{BOLD}Attached: {}{BOLD:#}", ways(&scenario.ways))?;
    scenario.ends.iter().try_for_each(|end| write_end(out, end))
}

/// The ways in a few words: the first, and how many more show the same.
pub(super) fn ways(ways: &[String]) -> String {
    if ways.len() <= MOST_WAYS {
        return ways.join("; ");
    }
    format!("{}; the same for {} more ways of being attached", ways[0], ways.len() - 1)
}

fn write_end(out: &mut impl Write, end: &EndAnswer) -> io::Result<()> {
    let style = if end.branch.is_some() { GOOD } else { BAD };
    writeln!(out, "  {style}{}{style:#}", units::tame(&end.end))?;
    let condition = match &end.condition {
        Some(condition) => units::tame(&condition.text).into_owned(),
        None => "a condition without a short form".to_owned(),
    };
    write_fact(out, &("when", condition))?;
    if let Some(headers) = &end.headers {
        write_fact(out, &("headers", headers.clone()))?;
    }
    if let Some(witness) = &end.witness {
        write_fact(out, &("witness", units::tame(&witness.label).into_owned()))?;
    }
    Ok(())
}

fn write_never(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    // Nothing is never where not all was looked at.
    if !answer.proved {
        return Ok(());
    }
    let unreachable: Vec<&str> =
        answer.branches.iter().filter(|branch| !branch.reachable).map(|branch| branch.branch.as_str()).collect();
    if unreachable.is_empty() && answer.kept.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{BOLD}For every header{BOLD:#}")?;
    for branch in unreachable {
        writeln!(out, "  {OPEN}the branch {branch} is never taken{OPEN:#}")?;
    }
    for promise in &answer.kept {
        writeln!(out, "  {GOOD}{:<13}{GOOD:#} the routine {}", promise.name(), promise.text())?;
    }
    Ok(())
}

fn write_violation(out: &mut impl Write, violation: &Violation) -> io::Result<()> {
    writeln!(out, "\n{BAD}BROKEN{BAD:#} {BOLD}{}{BOLD:#}", units::tame(&violation.name))?;
    let promise = violation.promise;
    write_fact(out, &("promise", format!("{}: the routine {}", promise.name(), promise.text())))?;
    if let Some(condition) = &violation.condition {
        write_fact(out, &("when", units::tame(&condition.text).into_owned()))?;
    }
    for (index, reason) in violation.reasons.iter().enumerate() {
        write_fact(out, &(if index == 0 { "why" } else { "" }, units::tame(reason).into_owned()))?;
    }
    if let Some(at) = &violation.at {
        write_fact(out, &("where", at.to_string()))?;
    }
    match &violation.file {
        Some(file) => {
            let known = if violation.known { ", which was there before" } else { "" };
            write_fact(out, &("case", format!("{}{known}", units::tame(file))))
        }
        None => write_fact(out, &("case", "none: no case file can say these inputs".to_owned())),
    }
}

fn write_rules(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    if answer.rules.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{BOLD}Acceptance table{BOLD:#}")?;
    answer.rules.iter().try_for_each(|rule| write_rule(out, rule))?;
    if let Some(open) = &answer.open {
        writeln!(out, "  {OPEN}open{OPEN:#}    {}", units::tame(&open.why))?;
    }
    Ok(())
}

fn write_rule(out: &mut impl Write, rule: &RuleAnswer) -> io::Result<()> {
    let (style, word) = match (rule.holds, rule.decides) {
        (false, _) => (BAD, "broken"),
        (true, true) => (GOOD, "holds"),
        (true, false) => (OPEN, "idle"),
    };
    let note = if rule.decides { "" } else { ": no input within the scope is decided by it" };
    writeln!(out, "  {style}{word:<6}{style:#}  rule {} (line {}), {}{note}", rule.rule, rule.line, rule.branch)
}

fn write_dead(out: &mut impl Write, dead: &[DeadCode], entries: &[DeadEntry]) -> io::Result<()> {
    if dead.is_empty() && entries.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{BOLD}Never reached{BOLD:#}")?;
    for entry in entries {
        writeln!(
            out,
            "  {OPEN}entry{OPEN:#}   {} {}  never found by {}",
            entry.at,
            units::tame(&entry.text),
            entry.decision
        )?;
    }
    for code in dead {
        writeln!(out, "  {OPEN}code{OPEN:#}    {}  {}", code.at, units::counted(code.count as u64, "instruction"))?;
    }
    Ok(())
}

fn write_influence(out: &mut impl Write, fields: &[FieldInfluence]) -> io::Result<()> {
    if fields.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{BOLD}Influence of the header{BOLD:#}")?;
    for field in fields {
        let what = match (field.count, field.read_only) {
            (0, 0) => format!("none of {} bytes", field.bytes),
            (0, read) => format!("none of {} bytes ({read} are read)", field.bytes),
            (count, _) if count == field.bytes => format!("all {count} bytes"),
            (count, _) => format!("{count} of {} bytes: {}", field.bytes, field.influence),
        };
        writeln!(out, "  {:<21} {what}", units::tame(&field.field))?;
    }
    Ok(())
}

fn write_paths(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let paths = &answer.paths;
    let list = [
        ("longest", &paths.longest),
        ("shortest", &paths.shortest),
        ("most", &paths.most_instructions),
        ("fewest", &paths.fewest_instructions),
    ];
    let mut head = false;
    let mut told: Vec<&PathAnswer> = Vec::new();
    for (what, path) in list {
        let Some(path) = path.as_ref().filter(|path| !told.iter().any(|known| same(known, path))) else { continue };
        if !std::mem::replace(&mut head, true) {
            let part = if answer.proved { "" } else { ", as far as they were followed" };
            writeln!(out, "\n{BOLD}Ways to a branch{part}{BOLD:#}")?;
        }
        let time = path.milliseconds.as_ref().map_or_else(String::new, |time| format!(", {time} ms"));
        let bound = path.bound.map_or_else(String::new, |bound| {
            format!(" (this is not proved to be the extreme; {} is not passed)", units::thousands(bound))
        });
        let text = format!(
            "{} cycles{time}, {} instructions, to {}: {}{bound}",
            units::thousands(path.cycles),
            units::thousands(path.instructions),
            path.branch,
            units::tame(&path.witness.label)
        );
        write_fact(out, &(what, text))?;
        told.push(path);
    }
    Ok(())
}

fn same(left: &PathAnswer, right: &PathAnswer) -> bool {
    (left.cycles, left.instructions) == (right.cycles, right.instructions)
}

fn write_verdict(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let effort = answer.effort;
    writeln!(
        out,
        "\n{DIM}{} on unknowns, {}, {} run on the machine{DIM:#}",
        units::counted(effort.steps, "instruction"),
        units::counted(effort.explorations as u64, "exploration"),
        units::counted(effort.witnesses as u64, "witness")
    )?;
    if answer.proved {
        let broken = match answer.violations.len() {
            0 => String::new(),
            1 => "; 1 promise is broken".to_owned(),
            many => format!("; {many} promises are broken"),
        };
        return writeln!(out, "{GOOD}proved{GOOD:#} within the scope above{broken}");
    }
    writeln!(out, "{OPEN}inconclusive{OPEN:#}: nothing above is proved")?;
    write_doubts(out, &answer.doubts)
}

/// Why nothing is proved, and where.
pub(super) fn write_doubts(out: &mut impl Write, doubts: &[DoubtAt]) -> io::Result<()> {
    for doubt in doubts {
        let at = doubt.at.as_ref().map_or_else(String::new, |at| format!(" at {at}"));
        writeln!(out, "  {OPEN}{}{OPEN:#}{at}", units::tame(&doubt.why))?;
    }
    Ok(())
}
