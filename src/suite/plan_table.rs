//! From the harness file to the acceptance table: names become indices, texts become bytes.

use super::complaint::{Complaint, suggestion};
use super::dead_rules;
use super::document::{Document, KeyPath};
use super::plan_board::port_value;
use super::rule_file::{ConditionSpec, Literal, MatchSpec, PartSpec, PortMatchSpec, RuleSpec};
use super::scalar::Number;
use super::sections::Sections;
use crate::board::Map;
use crate::cartridge::{Field, Holds, Layout};
use crate::run::Branch;
use crate::verdict::{Acceptance, Conditions, FieldMatch, PortMatch, Rule};

/// The acceptance table.
pub fn acceptance(
    sections: &Sections,
    map: &Map,
    layout: &Layout,
    branches: &[Branch],
) -> Result<Acceptance, Complaint> {
    let mut rules = Vec::new();
    for (index, spec) in sections.file.acceptance.iter().flatten().enumerate() {
        let path = KeyPath::root().key("acceptance").index(index);
        rules.push(rule(sections, &path, spec, map, layout, branches)?);
    }
    if let Some(dead) = dead_rules::first(&rules) {
        let path = KeyPath::root().key("acceptance").index(dead.rule);
        return Err(sections.complain(&path, dead.message(layout)));
    }
    Ok(Acceptance { rules })
}

fn rule(
    sections: &Sections,
    path: &KeyPath,
    spec: &RuleSpec,
    map: &Map,
    layout: &Layout,
    branches: &[Branch],
) -> Result<Rule, Complaint> {
    let Some(branch) = branches.iter().position(|branch| branch.name == spec.branch) else {
        let mut complaint = sections.complain(&path.key("branch"), format!("there is no branch `{}`", spec.branch));
        complaint.help = suggestion(&spec.branch, branches.iter().map(|branch| branch.name.as_str()));
        return Err(complaint);
    };
    let part = |key: &str, conditions: &Option<ConditionSpec>| {
        let spec = conditions.as_ref();
        spec.map(|spec| conditions_of(sections, &path.key(key), spec, map, layout)).transpose()
    };
    Ok(Rule { when: part("when", &spec.when)?, unless: part("unless", &spec.unless)?, branch })
}

/// Where something stands that may be wrong.
pub(super) trait Complains {
    /// A complaint about the value at a path.
    fn complain(&self, path: &KeyPath, message: String) -> Complaint;
    /// A complaint about the key at the end of a path.
    fn complain_key(&self, path: &KeyPath, message: String) -> Complaint;
}

impl Complains for Sections {
    fn complain(&self, path: &KeyPath, message: String) -> Complaint {
        Sections::complain(self, path, message)
    }

    fn complain_key(&self, path: &KeyPath, message: String) -> Complaint {
        Sections::complain_key(self, path, message)
    }
}

impl Complains for Document {
    fn complain(&self, path: &KeyPath, message: String) -> Complaint {
        Document::complain(self, path, message)
    }

    fn complain_key(&self, path: &KeyPath, message: String) -> Complaint {
        Document::complain_key(self, path, message)
    }
}

/// Conditions on what shows in the window and on ports.
pub(super) fn conditions_of(
    sections: &impl Complains,
    path: &KeyPath,
    spec: &ConditionSpec,
    map: &Map,
    layout: &Layout,
) -> Result<Conditions, Complaint> {
    let mut conditions = Conditions::default();
    for (name, wanted) in &spec.fields {
        let at = path.key(name);
        let Some(index) = layout.fields().iter().position(|field| field.name == *name) else {
            let mut complaint = sections.complain_key(&at, format!("the header has no field `{name}`"));
            let known = layout.fields().iter().map(|field| field.name.as_str()).chain(["ports"]);
            complaint.help = suggestion(name, known);
            return Err(complaint);
        };
        let many = matches!(wanted, MatchSpec::OneOf(values) if values.len() > 1);
        let wanted = field_match(&layout.fields()[index], wanted).map_err(|(place, message)| {
            let at = if many { at.index(place) } else { at.clone() };
            sections.complain(&at, message)
        })?;
        conditions.fields.push((index, wanted));
    }
    for (name, wanted) in &spec.ports {
        conditions.ports.push(port_condition(sections, &path.key("ports").key(name), name, wanted, map)?);
    }
    Ok(conditions)
}

fn port_condition(
    sections: &impl Complains,
    at: &KeyPath,
    name: &str,
    wanted: &PortMatchSpec,
    map: &Map,
) -> Result<(usize, PortMatch), Complaint> {
    let Some(index) = map.ports().iter().position(|port| port.name == name) else {
        let mut complaint = sections.complain_key(at, format!("there is no port `{name}`"));
        complaint.help = suggestion(name, map.ports().iter().map(|port| port.name.as_str()));
        return Err(complaint);
    };
    if map.ports()[index].reads.is_none() {
        return Err(sections.complain_key(at, format!("the port `{name}` cannot be read")));
    }
    let size = map.ports()[index].size;
    let fit = |at: &KeyPath, number: Number| port_value(number, size).map_err(|message| sections.complain(at, message));
    let wanted = match wanted {
        PortMatchSpec::OneOf(values) => {
            let place = |index| if values.len() > 1 { at.index(index) } else { at.clone() };
            let each = |(index, value): (usize, &Number)| fit(&place(index), *value);
            PortMatch::OneOf(values.iter().enumerate().map(each).collect::<Result<_, _>>()?)
        }
        PortMatchSpec::Bits(bits) => {
            let (mask, is) = (fit(&at.key("mask"), bits.mask)?, fit(&at.key("is"), bits.is)?);
            if mask == 0 {
                return Err(sections.complain(&at.key("mask"), "a mask of 0 looks at no bit".to_owned()));
            }
            if is & !mask != 0 {
                return Err(sections.complain(at, "no value fits: `is` has bits that `mask` leaves out".to_owned()));
            }
            PortMatch::Bits { mask, is }
        }
    };
    Ok((index, wanted))
}

/// An error says which of several values is wrong.
fn field_match(field: &Field, spec: &MatchSpec) -> Result<FieldMatch, (usize, String)> {
    match (spec, &field.holds) {
        (MatchSpec::OneOf(values), Holds::Sum16 { .. })
            if values.iter().any(|value| checksum_word(value).is_some()) =>
        {
            match values.as_slice() {
                [value] => checksum_word(value).map(FieldMatch::Checksum).ok_or_else(Default::default),
                _ => Err((0, "give `right` or `wrong` alone".to_owned())),
            }
        }
        (MatchSpec::OneOf(values), _) => {
            let mut texts: Vec<Vec<u8>> = Vec::new();
            for (index, value) in values.iter().enumerate() {
                let bytes = literal_bytes(field, value).map_err(|message| (index, message))?;
                if texts.contains(&bytes) {
                    return Err((index, "this is listed twice".to_owned()));
                }
                texts.push(bytes);
            }
            Ok(FieldMatch::OneOf(texts))
        }
        (MatchSpec::Part(part), Holds::Text(_)) => text_match(field, part).map_err(|message| (0, message)),
        (MatchSpec::Part(part), _) => number_match(field, part).map_err(|message| (0, message)),
    }
}

/// Whether a literal is one of the words for a checksum, and which.
fn checksum_word(literal: &Literal) -> Option<bool> {
    match literal {
        Literal::Text(text) if text == "right" => Some(true),
        Literal::Text(text) if text == "wrong" => Some(false),
        _ => None,
    }
}

fn text_match(field: &Field, part: &PartSpec) -> Result<FieldMatch, String> {
    if part.at_least.is_some() || part.at_most.is_some() {
        return Err(format!("the field `{}` holds no number", field.name));
    }
    let bytes = |text: &Option<String>| -> Result<Option<Vec<u8>>, String> {
        let Some(text) = text else { return Ok(None) };
        if text.is_empty() || text.len() > field.length as usize {
            return Err(format!("{text:?} is no part of a field of {} bytes", field.length));
        }
        Ok(Some(text.as_bytes().to_vec()))
    };
    Ok(FieldMatch::Part { starts: bytes(&part.starts)?, ends: bytes(&part.ends)?, contains: bytes(&part.contains)? })
}

fn number_match(field: &Field, part: &PartSpec) -> Result<FieldMatch, String> {
    if part.starts.is_some() || part.ends.is_some() || part.contains.is_some() {
        return Err(format!("the field `{}` holds no text", field.name));
    }
    let (from, to) = (part.at_least.map_or(0, |Number(from)| from), part.at_most.map_or(u32::MAX, |Number(to)| to));
    if from > to {
        return Err(format!("no number is at least 0x{from:X} and at most 0x{to:X}"));
    }
    if field.number(from).is_none() {
        return Err(format!("0x{from:X} does not fit the {} bytes of `{}`", field.length, field.name));
    }
    Ok(FieldMatch::Numbers(from..=to))
}

/// The bytes of a literal in a field.
fn literal_bytes(field: &Field, literal: &Literal) -> Result<Vec<u8>, String> {
    let (name, length) = (&field.name, field.length);
    match literal {
        Literal::Text(text) if matches!(field.holds, Holds::Text(_)) => {
            let too_long = || format!("{text:?} has {} bytes, the field `{name}` holds {length}", text.len());
            field.text(text).ok_or_else(too_long)
        }
        Literal::Text(text) => Err(format!("the field `{name}` holds a number, not {text:?}")),
        Literal::Number(number) if matches!(field.holds, Holds::Text(_)) => {
            Err(format!("the field `{name}` holds a text; put {number} in quotes"))
        }
        Literal::Number(number) => {
            field.number(*number).ok_or_else(|| format!("0x{number:X} does not fit the {length} bytes of `{name}`"))
        }
    }
}
