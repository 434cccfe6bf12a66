//! From the files to what interrupts the routine, and when.

use super::complaint::Complaint;
use super::document::KeyPath;
use super::harness::Harness;
use super::interrupt_file::{InterruptSpec, RequestTimes, RequestsSpec};
use super::plan_board::check_name;
use super::refusal::Refusal;
use super::scalar::Number;
use super::sections::Sections;
use crate::board::{BUS_MASK, Map, Place};
use crate::run::{Interrupt, Routine, Timing};
use crate::units;

/// What to say if no time is given.
const NO_TIME: &str = "give `after-cycles`, `every-cycles` or both";

/// The devices that interrupt, in order.
pub fn interrupts(sections: &Sections, map: &Map, routine: &Routine) -> Result<Vec<Interrupt>, Complaint> {
    let mut devices: Vec<Interrupt> = Vec::new();
    for (index, spec) in sections.file.interrupts.iter().flatten().enumerate() {
        let path = KeyPath::root().key("interrupts").index(index);
        check_name(sections, &path, &spec.name, devices.iter().map(|device| device.name.as_str()))?;
        let device = device(sections, &path, spec)?;
        check_vector(&device, map, routine).map_err(|message| {
            let key = if spec.vector.is_some() { "vector" } else { "level" };
            sections.complain(&path.key(key), message)
        })?;
        devices.push(device);
    }
    Ok(devices)
}

fn device(sections: &Sections, path: &KeyPath, spec: &InterruptSpec) -> Result<Interrupt, Complaint> {
    let Number(level) = spec.level;
    if !(1..=7).contains(&level) {
        return Err(sections.complain(&path.key("level"), format!("an interrupt has a level of 1 to 7, not {level}")));
    }
    let vector = spec.vector.map(|Number(vector)| {
        u8::try_from(vector).map_err(|_| {
            sections.complain(&path.key("vector"), format!("a vector number is at most 255 (0xFF), not {vector}"))
        })
    });
    let times = RequestTimes { after_cycles: spec.after_cycles, every_cycles: spec.every_cycles };
    let timing = timing(times).ok_or_else(|| sections.complain(path, NO_TIME))?;
    Ok(Interrupt { name: spec.name.clone(), level: level as u8, vector: vector.transpose()?, timing })
}

/// When a device requests; `None` if no time is given.
fn timing(times: RequestTimes) -> Option<Timing> {
    let every = times.every_cycles.map(|count| count.0);
    let first = times.after_cycles.map(|Number(cycles)| u64::from(cycles)).or(every)?;
    Some(Timing { first: Some(first), every })
}

/// The vector must lead to code, as far as that can be told: it may also lie in RAM, in the window or under an overlay.
fn check_vector(device: &Interrupt, map: &Map, routine: &Routine) -> Result<(), String> {
    let number = device.vector();
    let at = u32::from(number) * 4;
    let overlaid = |address: &u32| map.overlays().iter().any(|overlay| overlay.range.contains(address));
    if (at..at + 4).any(|address| overlaid(&address) || map.port_at(address).is_some()) {
        return Ok(());
    }
    let whose =
        if device.vector.is_some() { String::new() } else { format!(" (the autovector of level {})", device.level) };
    let vector = format!("vector {number} at {}{whose}", units::address(at));
    let handler = match (map.place(at), map.host().long(at)) {
        (Place::Host, Some(handler)) => handler,
        (Place::Host | Place::Nothing, _) => return Err(format!("{vector} lies where nothing is mapped")),
        _ => return Ok(()),
    };
    let to = handler & BUS_MASK;
    let runs = match map.place(to) {
        _ if !to.is_multiple_of(2) => false,
        _ if overlaid(&to) => true,
        Place::Host => true,
        Place::Nothing => false,
        _ => routine.executes_anywhere,
    };
    if runs { Ok(()) } else { Err(format!("{vector} holds {}, where no code may run", units::address(handler))) }
}

/// When devices interrupt in a case, by index, from what it says by name. A refusal's place is below `interrupts`.
pub fn timings(harness: &Harness, given: &[(String, RequestsSpec)]) -> Result<Vec<Option<Timing>>, Refusal> {
    let devices = &harness.rig.interrupts;
    let mut timings = vec![None; devices.len()];
    for (name, requests) in given {
        let at = KeyPath::root().key(name);
        let Some(index) = devices.iter().position(|device| device.name == *name) else {
            let known = devices.iter().map(|device| device.name.as_str());
            return Err(Refusal::unknown_key(at, "interrupt", name, known));
        };
        timings[index] = match requests {
            RequestsSpec::Never => Some(Timing { first: None, every: None }),
            RequestsSpec::At(times) => Some(timing(*times).ok_or_else(|| Refusal::new(at, NO_TIME))?),
        };
    }
    Ok(timings)
}
