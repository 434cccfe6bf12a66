//! Conditions in terms of header fields: what people read, and what the JSON has.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::{Cube, Described};
use super::unknowns::{Source, Unknowns};
use crate::cartridge::{Field, Holds};
use crate::suite::Harness;
use crate::units;

/// What a field or a part of it holds, or what a port or RAM does.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Holding {
    /// `product`, `product[3-9]`, `image 0x200`, `pedal read 4`, `RAM 0xE00010`.
    pub of: String,
    /// How: `is`, or `starts` of a field of which only the beginning counts.
    pub how: How,
    /// The value, as people write it: a text in quotes, or hexadecimal.
    pub value: String,
}

/// How a value is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// All of it is this.
    Is,
    /// It begins with this.
    Starts,
}

/// When a branch is taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Condition {
    /// As people read it.
    pub text: String,
    /// All of these hold.
    pub all: Vec<Holding>,
    /// One of these combinations holds, unless there are none.
    pub one_of: Vec<Vec<Holding>>,
    /// None of these combinations holds.
    pub none_of: Vec<Vec<Holding>>,
}

/// Says a described guard.
pub fn said(described: &Described, unknowns: &Unknowns, harness: &Harness) -> Condition {
    let mut sayer = Sayer { unknowns, harness };
    let one_of = sayer.with_rest(&described.one_of, &described.all);
    let none_of = sayer.with_rest(&described.none_of, &described.all);
    // What every combination says again needs no saying twice.
    let mut all_cube = described.all.clone();
    let complete = !one_of.is_empty();
    if complete {
        let again = &one_of;
        all_cube.retain(|unknown, value| !again.iter().all(|cube| cube.get(unknown) == Some(value)));
    }
    let all = sayer.cube(&all_cube);
    let one_of: Vec<Vec<Holding>> = sorted(one_of.iter().map(|cube| sayer.cube(cube)).collect());
    let none_of: Vec<Vec<Holding>> = sorted(none_of.iter().map(|cube| sayer.cube(cube)).collect());
    let text = text(&all, &one_of, &none_of);
    Condition { text, all, one_of, none_of }
}

fn sorted(mut list: Vec<Vec<Holding>>) -> Vec<Vec<Holding>> {
    list.sort();
    list
}

struct Sayer<'a> {
    unknowns: &'a Unknowns,
    harness: &'a Harness,
}

impl Sayer<'_> {
    /// Each combination with the rest of the fields of which it speaks, as far as that is always the same.
    fn with_rest(&mut self, cubes: &[Cube], all: &Cube) -> Vec<Cube> {
        let field_of = |unknown: &super::logic::Unknown| match self.unknowns.source(*unknown) {
            Source::Image(offset) => self.harness.layout.at(offset).map(|field| field.at),
            _ => None,
        };
        let widen = |cube: &Cube| {
            let mut wide = cube.clone();
            for (unknown, value) in all {
                let field = field_of(unknown);
                if field.is_some() && cube.keys().any(|other| field_of(other) == field) {
                    wide.insert(*unknown, *value);
                }
            }
            wide
        };
        cubes.iter().map(widen).collect()
    }

    /// What a combination says, field by field.
    fn cube(&mut self, cube: &Cube) -> Vec<Holding> {
        let mut bytes: BTreeMap<u32, u8> = BTreeMap::new();
        let mut others = Vec::new();
        for (unknown, value) in cube {
            match self.unknowns.source(*unknown) {
                Source::Image(offset) => {
                    bytes.insert(offset, *value as u8);
                }
                source => others.push(self.other(source, *value)),
            }
        }
        let mut list = Vec::new();
        for field in self.harness.layout.fields() {
            let held: Vec<(u32, u8)> = bytes.range(field.range()).map(|(offset, byte)| (*offset, *byte)).collect();
            if held.is_empty() {
                continue;
            }
            held.iter().for_each(|(offset, _)| {
                bytes.remove(offset);
            });
            list.extend(field_parts(field, &held));
        }
        for run in runs(&bytes.into_iter().collect::<Vec<_>>()) {
            let of = match run {
                [one] => format!("image 0x{:X}", one.0),
                run => format!("image 0x{:X}-0x{:X}", run[0].0, run[run.len() - 1].0),
            };
            list.push(Holding { of, how: How::Is, value: hex(run.iter().map(|(_, byte)| *byte)) });
        }
        list.extend(others);
        list
    }

    fn other(&self, source: Source, value: u64) -> Holding {
        let port = |port: usize| self.harness.rig.map.ports()[port].name.as_str();
        let (of, value) = match source {
            Source::Port { port: index, read } => {
                (format!("{} (read {})", port(index), read + 1), format!("0x{value:02X}"))
            }
            Source::PortSomewhen { port: index, .. } => {
                (format!("{} (a later read)", port(index)), format!("0x{value:02X}"))
            }
            Source::Ram(address) | Source::OtherRam(address) => {
                (format!("RAM at {}", units::address(address)), format!("0x{value:02X}"))
            }
            Source::Open(_) => ("open lines".to_owned(), format!("0x{value:02X}")),
            Source::Image(offset) => (format!("image 0x{offset:X}"), format!("0x{value:02X}")),
        };
        Holding { of, how: How::Is, value }
    }
}

/// Parts of a field without a gap between their bytes.
fn field_parts(field: &Field, held: &[(u32, u8)]) -> Vec<Holding> {
    let text = matches!(field.holds, Holds::Text(_));
    let whole = held.len() == field.length as usize;
    runs(held)
        .into_iter()
        .map(|run| {
            let bytes: Vec<u8> = run.iter().map(|(_, byte)| *byte).collect();
            let start = run[0].0 - field.at;
            let value = if text { quoted(&bytes, whole.then_some(field)) } else { None };
            let value = value.unwrap_or_else(|| hex(bytes.iter().copied()));
            let (of, how) = match (whole, start) {
                (true, _) => (field.name.clone(), How::Is),
                (false, 0) if text => (field.name.clone(), How::Starts),
                (false, _) => (format!("{}[{}]", field.name, span(start, bytes.len())), How::Is),
            };
            Holding { of, how, value }
        })
        .collect()
}

fn runs(held: &[(u32, u8)]) -> Vec<&[(u32, u8)]> {
    held.chunk_by(|left, right| left.0 + 1 == right.0).collect()
}

fn span(start: u32, length: usize) -> String {
    match length {
        1 => start.to_string(),
        length => format!("{start}-{}", start + length as u32 - 1),
    }
}

/// A text in quotes, without the padding of its field.
fn quoted(bytes: &[u8], whole: Option<&Field>) -> Option<String> {
    let used = match whole.map(|field| &field.holds) {
        Some(Holds::Text(pad)) => bytes.iter().rposition(|byte| *byte != pad.byte()).map_or(0, |last| last + 1),
        _ => bytes.len(),
    };
    let plain = bytes[..used].iter().all(|byte| (0x20..0x7F).contains(byte));
    plain.then(|| format!("{:?}", String::from_utf8_lossy(&bytes[..used])))
}

fn hex(bytes: impl Iterator<Item = u8>) -> String {
    bytes.map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
}

/// The sentence.
fn text(all: &[Holding], one_of: &[Vec<Holding>], none_of: &[Vec<Holding>]) -> String {
    let mut parts: Vec<String> = all.iter().map(|holding| phrase(holding, false)).collect();
    parts.extend(listed(one_of, false));
    parts.extend(listed(none_of, true));
    if parts.is_empty() { "always".to_owned() } else { parts.join(" and ") }
}

fn phrase(holding: &Holding, not: bool) -> String {
    let relation = match (holding.how, not) {
        (How::Is, false) => "=",
        (How::Is, true) => "is not",
        (How::Starts, false) => "starts",
        (How::Starts, true) => "does not start",
    };
    format!("{} {relation} {}", holding.of, holding.value)
}

/// `product in {"A", "B"}`, or the combinations one by one.
fn listed(cubes: &[Vec<Holding>], not: bool) -> Option<String> {
    let first = cubes.first()?;
    let alike = |cube: &Vec<Holding>| cube.len() == 1 && cube[0].of == first[0].of && cube[0].how == first[0].how;
    if cubes.iter().all(alike) {
        if cubes.len() == 1 {
            return Some(phrase(&first[0], not));
        }
        let values: Vec<&str> = cubes.iter().map(|cube| cube[0].value.as_str()).collect();
        let values = values.join(", ");
        return Some(match (first[0].how, not) {
            (How::Is, false) => format!("{} in {{{values}}}", first[0].of),
            (How::Is, true) => format!("{} not in {{{values}}}", first[0].of),
            (How::Starts, false) => format!("{} starts with one of {{{values}}}", first[0].of),
            (How::Starts, true) => format!("{} starts with none of {{{values}}}", first[0].of),
        });
    }
    let each = cubes.iter().map(|cube| {
        let phrases: Vec<String> = cube.iter().map(|holding| phrase(holding, false)).collect();
        format!("({})", phrases.join(" and "))
    });
    let each = each.collect::<Vec<_>>().join(", ");
    let how_many = if not { "none of" } else { "one of" };
    Some(format!("{how_many} {each}"))
}
