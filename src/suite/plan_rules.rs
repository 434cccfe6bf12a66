//! From the harness file to the routine and its branches.

use super::complaint::Complaint;
use super::document::KeyPath;
use super::harness_file::{BranchSpec, Forbidden, HandledWord, RoutineSpec, StateSpec};
use super::place::{CellText, Place};
use super::plan_leaves;
use super::scalar::Number;
use super::sections::Sections;
use crate::board::{BUS_MASK, Map, Place as BusPlace};
use crate::cpu::Exception;
use crate::run::{Branch, Cell, Condition, Entry, Exit, Limits, Register, Routine, Width};
use crate::verdict::Forbid;

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
        executes_remapped: list.contains(&Forbidden::ExecutesRemapped),
    }
}

/// The routine.
pub fn routine(sections: &Sections, map: &Map, executes_anywhere: bool) -> Result<Routine, Complaint> {
    let path = KeyPath::root().key("routine");
    let spec = sections.file.routine.as_ref().ok_or_else(|| sections.missing("routine"))?;
    let entry = entry(sections, &path.key("entry"), &spec.entry, map)?;
    let given = [("stack", spec.stack.is_some()), ("status", spec.status.is_some())];
    if let (Entry::Reset, Some((key, _))) = (entry, given.iter().find(|(_, given)| *given)) {
        let message = format!("`entry: reset` starts as the processor does: `{key}` has no effect; leave it out");
        return Err(sections.complain(&path.key(key), message));
    }
    let stack = match (&spec.stack, map.host().long(0)) {
        (Some(place), _) => sections.address(&path.key("stack"), place, map.host())?,
        (None, Some(stack)) => stack,
        (None, None) => {
            return Err(sections.complain(&path, "the host image has no vector 0, so `stack` must be given"));
        }
    };
    check_stack(sections, &path, stack, map, spec.stack.is_some())?;
    let status = spec.status.map_or(0x2700, |status| status.0);
    if status > 0xFFFF {
        return Err(sections.complain(&path.key("status"), "the status register has 16 bits"));
    }
    let handles = spec.handles.iter().flatten().map(|word| handled(*word)).collect();
    Ok(Routine {
        entry,
        stack,
        status: status as u16,
        registers: registers(sections, &path.key("registers"), spec, map)?,
        limits: limits(sections, &path.key("limit"), spec)?,
        handles,
        executes_anywhere,
    })
}

/// The registers at the start, by name.
fn registers(
    sections: &Sections,
    path: &KeyPath,
    spec: &RoutineSpec,
    map: &Map,
) -> Result<Vec<(Register, u32)>, Complaint> {
    let mut registers = Vec::new();
    for (name, place) in spec.registers.iter().flat_map(|registers| &registers.0) {
        let at = path.key(name);
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
    Ok(registers)
}

fn limits(sections: &Sections, path: &KeyPath, spec: &RoutineSpec) -> Result<Limits, Complaint> {
    let limit = spec.limit.as_ref();
    if limit.is_some_and(|limit| limit.instructions.is_none() && limit.cycles.is_none()) {
        return Err(sections.complain(path, "give `instructions` or `cycles`"));
    }
    let cycles = limit.and_then(|limit| limit.cycles).map(|count| count.0);
    let instructions = limit.and_then(|limit| limit.instructions).map(|count| count.0);
    let fallback = if cycles.is_some() { u64::MAX } else { DEFAULT_LIMIT };
    Ok(Limits { instructions: instructions.unwrap_or(fallback), cycles: cycles.unwrap_or(u64::MAX) })
}

fn handled(word: HandledWord) -> Exception {
    match word {
        HandledWord::BusError => Exception::BusError,
        HandledWord::AddressError => Exception::AddressError,
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
            check_memory_cell(address, *width).map_err(|message| sections.complain(path, message))?;
            Ok(Cell::Memory { address, width: *width })
        }
    }
}

/// A cell in memory lies on the bus, and as the 68000 can read it.
pub fn check_memory_cell(address: u32, width: Width) -> Result<(), String> {
    if address > BUS_MASK - (width.bytes() - 1) {
        return Err(format!("0x{address:X} lies beyond the 24-bit bus"));
    }
    if width != Width::Byte && !address.is_multiple_of(2) {
        return Err(format!("a {} cannot lie at the odd address 0x{address:06X}", width.name()));
    }
    Ok(())
}

/// The branches, in order.
pub fn branches(sections: &Sections, map: &Map, routine: &Routine) -> Result<Vec<Branch>, Complaint> {
    let entry = match routine.entry {
        Entry::At(address) => address,
        Entry::Reset => map.host().long(4).unwrap_or(0) & BUS_MASK,
    };
    let root = KeyPath::root().key("branches");
    let specs = sections.file.branches.as_ref().ok_or_else(|| sections.missing("branches"))?;
    let mut branches: Vec<Branch> = Vec::new();
    for (name, spec) in &specs.0 {
        let path = root.key(name);
        let branch = branch(sections, &path, name, spec, map, routine)?;
        if branch.exit == Exit::At(entry) {
            let message = "the routine starts there, so every run would be over before it begins";
            return Err(sections.complain(&path.key("at"), message));
        }
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
    routine: &Routine,
) -> Result<Branch, Complaint> {
    let returns = Place::Symbol("return".to_owned(), 0);
    let exit = match &spec.at {
        None => Exit::Return,
        Some(place) if *place == returns => Exit::Return,
        Some(place) => {
            let at = path.key("at");
            let address = sections.address(&at, place, map.host())?;
            let overlaid = map.overlays().iter().any(|overlay| overlay.range.contains(&address));
            if !routine.executes_anywhere && !overlaid {
                check_code(sections, &at, address, map, "the label")?;
            }
            Exit::At(address & BUS_MASK)
        }
    };
    if exit == Exit::Return && routine.entry == Entry::Reset {
        let message = format!("`{name}` is reached by returning, but a routine that starts at reset has no caller");
        return Err(sections.complain_key(path, message));
    }
    let when = spec.when.as_ref().map(|state| condition(sections, &path.key("when"), state, map)).transpose()?;
    let mut shows = Vec::new();
    for (show, text) in spec.shows.iter().flat_map(|shows| &shows.0) {
        shows.push((show.clone(), cell(sections, &path.key("shows").key(show), text, map)?));
    }
    let leaves = spec.leaves.as_ref().map_or(Ok(Vec::new()), |leaves| plan_leaves::leaves(map, &leaves.0));
    let leaves = leaves.map_err(|refusal| {
        let at = path.key("leaves").join(&refusal.path);
        refusal.complain(sections.document(&at), &at)
    })?;
    Ok(Branch { name: name.to_owned(), kind: spec.kind, exit, when, shows, leaves })
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
    if key == "register" && matches!(text, CellText::Memory(..)) {
        return Err(sections.complain(&path.key(key), "expected a register like `d0` or `d0.w`"));
    }
    let cell = cell(sections, &path.key(key), &text, map)?;
    let Number(is) = state.is;
    if is & !cell.width().mask() != 0 {
        return Err(sections.complain(&path.key("is"), format!("0x{is:X} does not fit a {}", cell.width().name())));
    }
    Ok(Condition { cell, is })
}
