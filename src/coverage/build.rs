//! From what was gathered to the model that reporters render.

use super::flow::{Flow, Step};
use super::gather::{Counts, Gathered, WayKey};
use super::map::decision_map;
use super::model::{
    Coverage, Direction, Directions, FieldUse, Function, HeaderByte, Instruction, Share, Stretch, TableEntry,
};
use super::reasons::never_taken;
use super::stretches;
use crate::board::BUS_MASK;
use crate::cpu::Control;
use crate::run::Rig;
use crate::suite::Harness;
use crate::verdict::Names;

/// Makes the model.
pub fn build(harness: &Harness, gathered: &Gathered) -> Coverage {
    let names = harness.names();
    let flow = Flow::trace(names.rig, gathered.spots.keys().copied(), gathered.targets.keys().copied());
    let listing: Vec<Instruction> =
        flow.steps.iter().map(|(at, step)| instruction(*at, step, gathered, names)).collect();
    let missed = flow.steps.keys().copied().filter(|at| !gathered.spots.contains_key(at));
    Coverage {
        harness: harness.name.clone(),
        file: harness.path.display().to_string(),
        cases: gathered.cases,
        instructions: share(listing.iter().map(|instruction| instruction.cases)),
        directions: share(listing.iter().filter_map(|instruction| instruction.directions.as_ref()).flat_map(both)),
        functions: functions(&flow, gathered, names),
        unreached: stretches::of_flow(&flow, missed, names),
        outside: outside(&flow, gathered, names),
        never_taken: never_taken(&flow, gathered, names),
        unresolved: unresolved(&flow).map(|at| names.spot(at)).collect(),
        paths: gathered.paths.len() as u64,
        paths_followed: gathered.followed.paths,
        never_matched: never_matched(gathered),
        fields: fields(harness, gathered),
        header: header(gathered),
        map: decision_map(&flow, gathered, names),
        listing,
    }
}

fn never_matched(gathered: &Gathered) -> Vec<TableEntry> {
    let entries = gathered.followed.tables.iter().filter(|(_, entry)| !entry.agreed);
    let entries = entries.map(|(address, entry)| TableEntry {
        whose: entry.whose.clone(),
        address: *address,
        source: entry.source.clone(),
        text: entry.text.clone(),
        cases: entry.cases,
    });
    entries.collect()
}

/// Whether any instruction that the entry of a rig reaches has a source line.
pub fn has_lines(rig: &Rig) -> bool {
    let lines = rig.map.host().lines();
    !lines.is_empty() && Flow::trace(rig, [], []).steps.keys().any(|at| lines.at(*at).is_some())
}

fn share(cases: impl Iterator<Item = u64>) -> Share {
    cases.fold(Share::default(), |share, cases| Share {
        covered: share.covered + u64::from(cases > 0),
        total: share.total + 1,
    })
}

fn both(directions: &Directions) -> [u64; 2] {
    [directions.taken.cases, directions.fell_through.cases]
}

fn instruction(at: u32, step: &Step, gathered: &Gathered, names: Names) -> Instruction {
    let map = &names.rig.map;
    let counts = gathered.spots.get(&at).copied().unwrap_or_default();
    let direction = |to: u32, counts: Counts| Direction { to: names.spot(to), runs: counts.runs, cases: counts.cases };
    let way = |taken, to| direction(to, gathered.ways.get(&WayKey::Branch { at, taken }).copied().unwrap_or_default());
    let directions = match step.control {
        Control::Branch(target) => Some(Directions { taken: way(true, target), fell_through: way(false, step.next()) }),
        _ => None,
    };
    let targets = match step.control {
        Control::ComputedJump | Control::ComputedCall => gathered.targets.range((at, 0)..=(at, u32::MAX)),
        _ => gathered.targets.range((at, 0)..(at, 0)),
    };
    let words = (at..at + step.decoded.length).step_by(2).filter_map(|at| map.code_word(at & BUS_MASK));
    let bytes = words.flat_map(u16::to_be_bytes).map(|byte| format!("{byte:02X}"));
    Instruction {
        at: names.spot(at),
        hex: bytes.collect::<Vec<_>>().join(" "),
        text: step.decoded.text(map.host().symbols()),
        runs: counts.runs,
        cases: counts.cases,
        directions,
        targets: targets.map(|((_, to), counts)| direction(*to, *counts)).collect(),
    }
}

fn functions(flow: &Flow, gathered: &Gathered, names: Names) -> Vec<Function> {
    let functions = names.rig.map.host().symbols().functions();
    let reachable = functions.filter(|(_, at)| flow.steps.contains_key(at));
    let function = |(name, at): (&str, u32)| Function {
        at: names.spot(at),
        name: name.to_owned(),
        runs: gathered.spots.get(&at).map_or(0, |counts| counts.runs),
    };
    reachable.map(function).collect()
}

/// What ran where the host has no code. The lengths of these instructions are not kept: a gap of up to the longest one
/// counts as none.
fn outside(flow: &Flow, gathered: &Gathered, names: Names) -> Vec<Stretch> {
    const LONGEST: u32 = 10;
    let mut ran = gathered.spots.keys().copied().filter(|at| !flow.steps.contains_key(at)).peekable();
    let mut instructions = Vec::new();
    while let Some(at) = ran.next() {
        let next = ran.peek().filter(|next| **next - at <= LONGEST);
        instructions.push((at, next.copied().unwrap_or(at + 2)));
    }
    stretches::join(instructions, names)
}

fn unresolved(flow: &Flow) -> impl Iterator<Item = u32> + '_ {
    let computed = |step: &Step| matches!(step.control, Control::ComputedJump | Control::ComputedCall);
    let sites = flow.steps.iter().filter(move |(_, step)| computed(step)).map(|(at, _)| *at);
    sites.filter(|at| flow.seen(*at).next().is_none())
}

fn fields(harness: &Harness, gathered: &Gathered) -> Vec<FieldUse> {
    let fields = harness.layout.fields().iter().zip(&gathered.header.fields);
    let field_use = |(field, (read_by, contents)): (&crate::cartridge::Field, &(u64, _))| {
        let contents: &std::collections::BTreeSet<u64> = contents;
        FieldUse {
            name: field.name.clone(),
            at: field.at,
            length: field.length,
            read_by: *read_by,
            contents: contents.len() as u64,
            never_varied: *read_by > 0 && contents.len() < 2,
        }
    };
    fields.map(field_use).collect()
}

fn header(gathered: &Gathered) -> Vec<HeaderByte> {
    let tried = |bits: &[u64; 4]| -> Vec<u8> {
        (0..=u8::MAX).filter(|value| bits[usize::from(*value) / 64] >> (value % 64) & 1 == 1).collect()
    };
    let byte = |(offset, read_by, values): &(u32, u64, [u64; 4])| HeaderByte {
        offset: *offset,
        read_by: *read_by,
        decisions: gathered.followed.deciders.get(offset).map_or(0, |at| at.len() as u64),
        values: tried(values),
    };
    gathered.header.bytes.iter().map(byte).collect()
}
