//! From the harness file to the routine, its branches, and the acceptance table.

use super::complaint::{Complaint, suggestion};
use super::document::KeyPath;
use super::harness_file::{BranchSpec, Forbidden, HandledWord, StateSpec};
use super::plan_board::port_value;
use super::rule_file::{ConditionSpec, Literal, MatchSpec, PartSpec, PortMatchSpec, RuleSpec};
use super::scalar::{CellText, Number, Place};
use super::sections::Sections;
use crate::board::{BUS_MASK, Map, Place as BusPlace};
use crate::cartridge::{Field, Holds, Layout};
use crate::cpu::Exception;
use crate::run::{Branch, Cell, Condition, Entry, Exit, Limits, Register, Routine, Width};
use crate::verdict::{Acceptance, Conditions, FieldMatch, Forbid, PortMatch, Rule};

/// Instructions after which a run is given up, unless the harness says otherwise.
const DEFAULT_LIMIT: u64 = 1_000_000;

/// The forbidden list, or what it is by default.
pub fn forbidden(sections: &Sections) -> Vec<Forbidden> {
    sections.file.forbid.clone().unwrap_or_else(|| {
        vec![Forbidden::WritesOutsideMap, Forbidden::ExecutesOutsideHost, Forbidden::ReadsRamBeforeWriting]
    })
}

/// The forbidden list as the verdict needs it.
pub fn forbid(list: &[Forbidden]) -> Forbid {
    Forbid {
        writes_outside_map: list.contains(&Forbidden::WritesOutsideMap),
        reads_outside_map: list.contains(&Forbidden::ReadsOutsideMap),
        reads_ram_before_writing: list.contains(&Forbidden::ReadsRamBeforeWriting),
        undeclared_port_writes: list.contains(&Forbidden::UndeclaredPortWrites),
    }
}

/// The routine.
pub fn routine(sections: &Sections, map: &Map, executes_anywhere: bool) -> Result<Routine, Complaint> {
    let path = KeyPath::root().key("routine");
    let spec = sections.file.routine.as_ref().ok_or_else(|| sections.missing("routine"))?;
    let entry = entry(sections, &path.key("entry"), &spec.entry, map)?;
    let stack = match (&spec.stack, map.host().long(0)) {
        (Some(place), _) => sections.address(&path.key("stack"), place, map.host())?,
        (None, Some(stack)) => stack,
        (None, None) => {
            return Err(sections.complain(&path, "the host image has no vector 0, so `stack` must be given"));
        }
    };
    check_stack(sections, &path, stack, map, spec.stack.is_some())?;
    let mut registers = Vec::new();
    for (name, place) in spec.registers.iter().flat_map(|registers| &registers.0) {
        let at = path.key("registers").key(name);
        let register = match Register::parse(name) {
            Some(Register::Address(7)) => {
                return Err(sections.complain_key(&at, "the stack pointer is set with `stack`"));
            }
            Some(Register::Status) => {
                return Err(sections.complain_key(&at, "the status register is set with `status`"));
            }
            Some(register) => register,
            None => {
                return Err(
                    sections.complain_key(&at, format!("there is no register `{name}`; known are d0-d7, a0-a6"))
                );
            }
        };
        if registers.iter().any(|(other, _)| *other == register) {
            return Err(sections.complain_key(&at, format!("the register {register} is given twice")));
        }
        registers.push((register, sections.address(&at, place, map.host())?));
    }
    let status = spec.status.map_or(0x2700, |status| status.0);
    if status > 0xFFFF {
        return Err(sections.complain(&path.key("status"), "the status register has 16 bits"));
    }
    let limit = spec.limit.as_ref();
    let cycles = limit.and_then(|limit| limit.cycles).map(|count| count.0);
    let instructions = limit.and_then(|limit| limit.instructions).map(|count| count.0);
    let fallback = if cycles.is_some() { u64::MAX } else { DEFAULT_LIMIT };
    let handles = spec.handles.iter().flatten().map(|word| handled(*word)).collect();
    Ok(Routine {
        entry,
        stack,
        status: status as u16,
        registers,
        limits: Limits { instructions: instructions.unwrap_or(fallback), cycles: cycles.unwrap_or(u64::MAX) },
        handles,
        executes_anywhere,
    })
}

fn handled(word: HandledWord) -> Exception {
    match word {
        HandledWord::BusError => Exception::BusError,
        HandledWord::Illegal => Exception::Illegal,
        HandledWord::ZeroDivide => Exception::ZeroDivide,
        HandledWord::Privilege => Exception::Privilege,
        HandledWord::Trace => Exception::Trace,
        HandledWord::LineA => Exception::LineA,
        HandledWord::LineF => Exception::LineF,
    }
}

fn entry(sections: &Sections, path: &KeyPath, place: &Place, map: &Map) -> Result<Entry, Complaint> {
    if *place == Place::Symbol("reset".to_owned(), 0) {
        let (stack, pc) = (map.host().long(0), map.host().long(4));
        let (Some(stack), Some(pc)) = (stack, pc) else {
            return Err(sections.complain(path, "the host image has no reset vector (addresses 0 to 7)"));
        };
        check_code(sections, path, pc & BUS_MASK, map, "the reset vector")?;
        if !stack.is_multiple_of(2) {
            return Err(sections.complain(path, format!("the reset vector's stack pointer 0x{stack:X} is odd")));
        }
        return Ok(Entry::Reset);
    }
    let address = sections.address(path, place, map.host())?;
    check_code(sections, path, address, map, "the entry")?;
    Ok(Entry::At(address))
}

fn check_code(sections: &Sections, path: &KeyPath, address: u32, map: &Map, what: &str) -> Result<(), Complaint> {
    if !address.is_multiple_of(2) {
        return Err(sections.complain(path, format!("{what} 0x{address:06X} is odd; code lies at even addresses")));
    }
    if address > BUS_MASK || map.place(address) != BusPlace::Host {
        return Err(sections.complain(path, format!("{what} 0x{address:06X} lies outside the host image")));
    }
    Ok(())
}

/// The return address is pushed below the stack pointer, so RAM must be there.
fn check_stack(sections: &Sections, path: &KeyPath, stack: u32, map: &Map, given: bool) -> Result<(), Complaint> {
    let in_ram = (1..=4).all(|back| {
        let address = stack.wrapping_sub(back) & BUS_MASK;
        matches!(map.place(address), BusPlace::Ram(_))
    });
    if stack.is_multiple_of(2) && in_ram {
        return Ok(());
    }
    let what = if stack.is_multiple_of(2) { "has no RAM below it" } else { "is odd" };
    let path = if given { path.key("stack") } else { path.clone() };
    let whose = if given { "the stack" } else { "the ROM's own stack (vector 0)" };
    let message = format!("{whose} 0x{stack:06X} {what}; the routine's return address is pushed there");
    Err(sections.complain(&path, message))
}

/// The cell of a text.
pub fn cell(sections: &Sections, path: &KeyPath, text: &CellText, map: &Map) -> Result<Cell, Complaint> {
    match text {
        CellText::Register(register, width) => Ok(Cell::Register { register: *register, width: *width }),
        CellText::Memory(width, place) => {
            let address = sections.address(path, place, map.host())?;
            if address > BUS_MASK {
                return Err(sections.complain(path, format!("0x{address:X} lies beyond the 24-bit bus")));
            }
            Ok(Cell::Memory { address, width: *width })
        }
    }
}

/// The branches, in order.
pub fn branches(sections: &Sections, map: &Map, executes_anywhere: bool) -> Result<Vec<Branch>, Complaint> {
    let root = KeyPath::root().key("branches");
    let specs = sections.file.branches.as_ref().ok_or_else(|| sections.missing("branches"))?;
    let mut branches: Vec<Branch> = Vec::new();
    for (name, spec) in &specs.0 {
        let path = root.key(name);
        let branch = branch(sections, &path, name, spec, map, executes_anywhere)?;
        let shadow = branches
            .iter()
            .find(|other| other.exit == branch.exit && (other.when.is_none() || other.when == branch.when));
        if let Some(other) = shadow {
            let message = format!("`{name}` can never be told: `{}` before it leaves at the same place", other.name);
            return Err(sections.complain_key(&path, message));
        }
        branches.push(branch);
    }
    if branches.is_empty() {
        return Err(sections.complain(&root, "there is no branch, so there is nothing that a run could reach"));
    }
    Ok(branches)
}

fn branch(
    sections: &Sections,
    path: &KeyPath,
    name: &str,
    spec: &BranchSpec,
    map: &Map,
    executes_anywhere: bool,
) -> Result<Branch, Complaint> {
    let returns = Place::Symbol("return".to_owned(), 0);
    let exit = match &spec.at {
        None => Exit::Return,
        Some(place) if *place == returns => Exit::Return,
        Some(place) => {
            let at = path.key("at");
            let address = sections.address(&at, place, map.host())?;
            let overlaid = map.overlays().iter().any(|overlay| overlay.range.contains(&address));
            if !executes_anywhere && !overlaid {
                check_code(sections, &at, address, map, "the label")?;
            }
            Exit::At(address & BUS_MASK)
        }
    };
    let reset =
        sections.file.routine.as_ref().is_some_and(|routine| routine.entry == Place::Symbol("reset".to_owned(), 0));
    if exit == Exit::Return && reset {
        let message = format!("`{name}` is reached by returning, but a routine that starts at reset has no caller");
        return Err(sections.complain_key(path, message));
    }
    let when = spec.when.as_ref().map(|state| condition(sections, &path.key("when"), state, map)).transpose()?;
    let mut shows = Vec::new();
    for (show, text) in spec.shows.iter().flat_map(|shows| &shows.0) {
        shows.push((show.clone(), cell(sections, &path.key("shows").key(show), text, map)?));
    }
    Ok(Branch { name: name.to_owned(), kind: spec.kind, exit, when, shows })
}

fn condition(sections: &Sections, path: &KeyPath, state: &StateSpec, map: &Map) -> Result<Condition, Complaint> {
    let given = [
        state.byte.as_ref().map(|place| ("byte", CellText::Memory(Width::Byte, place.clone()))),
        state.word.as_ref().map(|place| ("word", CellText::Memory(Width::Word, place.clone()))),
        state.long.as_ref().map(|place| ("long", CellText::Memory(Width::Long, place.clone()))),
        state.register.as_ref().map(|text| ("register", text.clone())),
    ];
    let mut given = given.into_iter().flatten();
    let (Some((key, text)), None) = (given.next(), given.next()) else {
        return Err(sections.complain(path, "give one of `byte`, `word`, `long` and `register`"));
    };
    let cell = cell(sections, &path.key(key), &text, map)?;
    let Number(is) = state.is;
    if is & !cell.width().mask() != 0 {
        return Err(sections.complain(&path.key("is"), format!("0x{is:X} does not fit a {}", cell.width().name())));
    }
    Ok(Condition { cell, is })
}

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
    if let Some(index) = rules.iter().position(|rule| rule.when.is_none() && rule.unless.is_none())
        && index + 1 < rules.len()
    {
        let path = KeyPath::root().key("acceptance").index(index + 1);
        return Err(sections.complain(&path, "no cartridge comes to this rule: the one before it fits every cartridge"));
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

fn conditions_of(
    sections: &Sections,
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
        let wanted = field_match(&layout.fields()[index], wanted).map_err(|message| sections.complain(&at, message))?;
        conditions.fields.push((index, wanted));
    }
    for (name, wanted) in &spec.ports {
        let at = path.key("ports").key(name);
        let Some(index) = map.ports().iter().position(|port| port.name == *name) else {
            let mut complaint = sections.complain_key(&at, format!("there is no port `{name}`"));
            complaint.help = suggestion(name, map.ports().iter().map(|port| port.name.as_str()));
            return Err(complaint);
        };
        let size = map.ports()[index].size;
        let fit = |number: Number| port_value(number, size).map_err(|message| sections.complain(&at, message));
        let wanted = match wanted {
            PortMatchSpec::OneOf(values) => {
                PortMatch::OneOf(values.iter().map(|value| fit(*value)).collect::<Result<_, _>>()?)
            }
            PortMatchSpec::Bits(bits) => {
                let (mask, is) = (fit(bits.mask)?, fit(bits.is)?);
                if is & !mask != 0 {
                    return Err(sections.complain(&at, "no value fits: `is` has bits that `mask` leaves out"));
                }
                PortMatch::Bits { mask, is }
            }
        };
        conditions.ports.push((index, wanted));
    }
    Ok(conditions)
}

fn field_match(field: &Field, spec: &MatchSpec) -> Result<FieldMatch, String> {
    match (spec, &field.holds) {
        (MatchSpec::OneOf(values), Holds::Sum16 { .. })
            if values.iter().any(|value| checksum_word(value).is_some()) =>
        {
            match values.as_slice() {
                [value] => checksum_word(value).map(FieldMatch::Checksum).ok_or_else(String::new),
                _ => Err("give `right` or `wrong` alone".to_owned()),
            }
        }
        (MatchSpec::OneOf(values), _) => {
            let bytes: Result<Vec<Vec<u8>>, String> = values.iter().map(|value| literal_bytes(field, value)).collect();
            bytes.map(FieldMatch::OneOf)
        }
        (MatchSpec::Part(part), Holds::Text(_)) => text_match(field, part),
        (MatchSpec::Part(part), _) => number_match(field, part),
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
