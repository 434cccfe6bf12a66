//! What a case expects: from names in the file to branches, ports and probes.

use std::ops::Range;

use super::case_file::{ExpectSpec, PortWritesSpec, WithinSpec, WritesSpec};
use super::collection::Named;
use super::document::KeyPath;
use super::harness::Harness;
use super::harness_file::Forbidden;
use super::place::{CellText, Place};
use super::plan_board::port_value;
use super::plan_leaves;
use super::plan_rules::{self, check_memory_cell};
use super::refusal::Refusal;
use super::scalar::{Count, FromScalar, Number, Range as RangeText, Scalar};
use super::sections::symbol_help;
use crate::board::Place as BusPlace;
use crate::cartridge::LARGEST_IMAGE;
use crate::run::{Cell, Setup, Width};
use crate::units;
use crate::verdict::{Decision, Expectation, Forbid, PortWrites, Shows, Wanted, Within, Writes};

/// A key of `expect`.
fn key(name: &str) -> KeyPath {
    KeyPath::root().key(name)
}

/// Resolves what a case expects, and adds the probes it needs to the setup.
pub fn resolve(harness: &Harness, spec: &ExpectSpec, setup: &mut Setup) -> Result<Expectation, Refusal> {
    check_empty(spec)?;
    let mut resolver = Resolver { harness, setup };
    let branch = resolver.branch(spec)?;
    let mut expectation = harness.expectation(&resolver.setup.inputs);
    expectation.branch = branch;
    expectation.never = match &spec.never {
        Some(names) => resolver.branches("never", &names.0)?,
        None => Vec::new(),
    };
    resolver.check_never(&expectation)?;
    if expectation.branch == Wanted::Specified && !says_more(spec) {
        resolver.check_specified(&expectation.specified)?;
    } else if expectation.branch == Wanted::Specified && !matches!(expectation.specified, Decision::Branch { .. }) {
        expectation.branch = Wanted::Any;
    }
    expectation.shows = resolver.shows(spec, &expectation.branch)?;
    expectation.writes = resolver.writes(spec)?;
    expectation.cells = resolver.cells(spec)?;
    expectation.leaves = resolver.leaves(spec)?;
    expectation.forbid = forbid(spec)?;
    expectation.within = match spec.within {
        Some(spec) => within(harness, &key("within"), spec)?,
        None => Within::default(),
    };
    expectation.reads = resolver.reads(spec)?;
    Ok(expectation)
}

/// An empty mapping looks like an expectation and is none.
fn check_empty(spec: &ExpectSpec) -> Result<(), Refusal> {
    let writes = matches!(&spec.writes, Some(WritesSpec::ByPort(list)) if list.is_empty());
    let empty = |named: &Option<Named<Number>>| named.as_ref().is_some_and(|named| named.0.is_empty());
    let keys = [
        ("writes", writes),
        ("shows", empty(&spec.shows)),
        ("memory", empty(&spec.memory)),
        ("registers", empty(&spec.registers)),
    ];
    match keys.iter().find(|(_, empty)| *empty) {
        None => Ok(()),
        Some((name, _)) => Err(Refusal::new(key(name), "this expects nothing; leave the key out")),
    }
}

/// Whether a case that names no branch still wants something that a run can fail.
fn says_more(spec: &ExpectSpec) -> bool {
    spec.never.is_some()
        || spec.writes.is_some()
        || spec.leaves.is_some()
        || spec.forbid.is_some()
        || spec.memory.is_some()
        || spec.registers.is_some()
        || spec.within.is_some()
        || spec.reads.is_some()
}

/// What a case forbids by itself.
fn forbid(spec: &ExpectSpec) -> Result<Forbid, Refusal> {
    let list = spec.forbid.as_ref().map_or(&[][..], |list| &list.0);
    match list.iter().position(|word| *word == Forbidden::ExecutesOutsideHost) {
        Some(index) => {
            let at = if list.len() > 1 { key("forbid").index(index) } else { key("forbid") };
            Err(Refusal::new(at, "where code may run is said for all cases: under `forbid` of the harness"))
        }
        None => Ok(plan_rules::forbid(list)),
    }
}

struct Resolver<'a> {
    harness: &'a Harness,
    setup: &'a mut Setup,
}

impl Resolver<'_> {
    fn branch(&self, spec: &ExpectSpec) -> Result<Wanted, Refusal> {
        match (&spec.branch, spec.kind) {
            (Some(_), Some(_)) => Err(Refusal::of_key(key("kind"), "give either `branch` or `kind`")),
            (Some(names), None) => self.branches("branch", &names.0).map(Wanted::Branches),
            (None, Some(kind)) => {
                if !self.harness.rig.branches.iter().any(|branch| branch.kind == kind) {
                    return Err(Refusal::new(
                        key("kind"),
                        format!("no branch of the harness is of kind {}", kind.name()),
                    ));
                }
                Ok(Wanted::Kind(kind))
            }
            (None, None) => Ok(Wanted::Specified),
        }
    }

    fn branches(&self, list: &str, names: &[String]) -> Result<Vec<usize>, Refusal> {
        let known = || self.harness.rig.branches.iter().map(|branch| branch.name.as_str());
        let mut found = Vec::new();
        for (index, name) in names.iter().enumerate() {
            let at = if names.len() > 1 { key(list).index(index) } else { key(list) };
            let Some(branch) = self.harness.branch(name) else {
                return Err(Refusal::unknown(at, "branch", name, known()));
            };
            if found.contains(&branch) {
                return Err(Refusal::new(at, format!("`{name}` is listed twice")));
            }
            found.push(branch);
        }
        Ok(found)
    }

    /// A branch cannot be wanted and ruled out, and one must be left.
    fn check_never(&self, expectation: &Expectation) -> Result<(), Refusal> {
        let branches = &self.harness.rig.branches;
        let wanted = |index: &usize| match &expectation.branch {
            Wanted::Branches(list) => list.contains(index),
            Wanted::Kind(kind) => branches[*index].kind == *kind,
            Wanted::Specified | Wanted::Any => true,
        };
        let left = (0..branches.len()).filter(wanted).any(|index| !expectation.never.contains(&index));
        if left { Ok(()) } else { Err(Refusal::new(key("never"), "every branch that is wanted is ruled out here")) }
    }

    /// A case that names no branch needs an answer from the acceptance table.
    fn check_specified(&self, decision: &Decision) -> Result<(), Refusal> {
        let reason = match decision {
            Decision::Branch { .. } => return Ok(()),
            Decision::Unclear(why) => format!("the acceptance table cannot tell ({why})"),
            Decision::Silent if self.harness.acceptance.rules.is_empty() => {
                "the harness has no acceptance table".to_owned()
            }
            Decision::Silent => "no rule of the acceptance table fits this cartridge".to_owned(),
        };
        Err(Refusal::new(KeyPath::root(), format!("the case expects nothing: {reason}; say `expect: {{branch: ...}}`")))
    }

    fn probe(&mut self, cell: Cell) -> usize {
        self.setup.probes.push(cell);
        self.setup.probes.len() - 1
    }

    fn shows(&mut self, spec: &ExpectSpec, wanted: &Wanted) -> Result<Vec<Shows>, Refusal> {
        let mut list = Vec::new();
        for (name, Number(value)) in spec.shows.iter().flat_map(|shows| &shows.0) {
            let at = key("shows").key(name);
            let branches = &self.harness.rig.branches;
            let cells: Vec<(usize, Cell)> = branches
                .iter()
                .enumerate()
                .filter_map(|(index, branch)| {
                    let shown = branch.shows.iter().find(|(show, _)| show == name);
                    shown.map(|(_, cell)| (index, *cell))
                })
                .collect();
            let lacking = match wanted {
                Wanted::Branches(list) => list.iter().find(|index| !cells.iter().any(|(other, _)| other == *index)),
                _ => None,
            };
            if let (Some(index), false) = (lacking, cells.is_empty()) {
                let message = format!("the branch `{}` shows no `{name}`", branches[*index].name);
                return Err(Refusal::of_key(at, message));
            }
            if cells.is_empty() {
                let known = branches.iter().flat_map(|branch| &branch.shows).map(|(show, _)| show.as_str());
                return Err(Refusal::unknown_key(at, "shown value", name, known.collect::<Vec<_>>()));
            }
            if let Some((_, cell)) = cells.iter().find(|(_, cell)| value & !cell.width().mask() != 0) {
                return Err(Refusal::new(at, format!("0x{value:X} does not fit a {}", cell.width().name())));
            }
            let cleared = cells.iter().all(|(_, cell)| self.harness.knows(*cell));
            let probes = cells.into_iter().map(|(branch, cell)| (branch, self.probe(cell))).collect();
            list.push(Shows { name: name.clone(), value: *value, probes, cleared });
        }
        Ok(list)
    }

    fn port(&self, at: &KeyPath, name: &str) -> Result<usize, Refusal> {
        let ports = self.harness.rig.map.ports();
        let Some(index) = ports.iter().position(|port| port.name == name) else {
            return Err(Refusal::unknown_key(at.clone(), "port", name, ports.iter().map(|port| port.name.as_str())));
        };
        if ports[index].writes.is_none() {
            return Err(Refusal::of_key(at.clone(), format!("the port `{name}` cannot be written")));
        }
        Ok(index)
    }

    fn writes(&self, spec: &ExpectSpec) -> Result<Vec<Writes>, Refusal> {
        let ports = self.harness.rig.map.ports();
        let fit = |at: KeyPath, port: usize, value: Number| {
            port_value(value, ports[port].size).map_err(|message| Refusal::new(at, message))
        };
        let one = |(name, writes): &(String, PortWritesSpec)| {
            let at = key("writes").key(name);
            let port = self.port(&at, name)?;
            let writes = match writes {
                PortWritesSpec::Count(count) => PortWrites::Count(*count),
                PortWritesSpec::Values(values) => {
                    let each = |(index, value): (usize, &Number)| fit(at.index(index), port, *value);
                    PortWrites::Values(values.iter().enumerate().map(each).collect::<Result<_, _>>()?)
                }
            };
            Ok(Writes::Port { port, writes })
        };
        let step = |(index, (name, value)): (usize, &(String, Number))| {
            let at = key("writes").index(index).key(name);
            let port = self.port(&at, name)?;
            Ok((port, fit(at, port, *value)?))
        };
        match &spec.writes {
            None => Ok(Vec::new()),
            Some(WritesSpec::ByPort(list)) => list.iter().map(one).collect(),
            Some(WritesSpec::InOrder(steps)) => {
                let steps: Result<Vec<(usize, u16)>, Refusal> = steps.iter().enumerate().map(step).collect();
                Ok(vec![Writes::InOrder(steps?)])
            }
        }
    }

    fn leaves(&self, spec: &ExpectSpec) -> Result<Vec<(usize, u16)>, Refusal> {
        let Some(leaves) = &spec.leaves else { return Ok(Vec::new()) };
        plan_leaves::leaves(&self.harness.rig.map, &leaves.0)
            .map_err(|refusal| Refusal { path: key("leaves").join(&refusal.path), ..refusal })
    }

    fn cells(&mut self, spec: &ExpectSpec) -> Result<Vec<(usize, String, u32)>, Refusal> {
        let mut list = Vec::new();
        let memory = spec.memory.iter().flat_map(|named| &named.0).map(|entry| ("memory", entry));
        let registers = spec.registers.iter().flat_map(|named| &named.0).map(|entry| ("registers", entry));
        for (list_key, (name, Number(value))) in memory.chain(registers) {
            let at = key(list_key).key(name);
            let cell = match (list_key, CellText::parse(name)) {
                ("memory", Some(CellText::Memory(width, place))) => self.memory(&at, &place, width)?,
                ("registers", Some(CellText::Register(register, width))) => Cell::Register { register, width },
                ("memory", _) => return Err(Refusal::of_key(at, "expected a cell like `word 0xE00010`")),
                _ => return Err(Refusal::of_key(at, "expected a register like `d0` or `d0.w`")),
            };
            if value & !cell.width().mask() != 0 {
                return Err(Refusal::new(at, format!("0x{value:X} does not fit a {}", cell.width().name())));
            }
            list.push((self.probe(cell), name.clone(), *value));
        }
        Ok(list)
    }

    /// A cell that a run can change; any other would hold or fail whatever the routine does.
    fn memory(&self, at: &KeyPath, place: &Place, width: Width) -> Result<Cell, Refusal> {
        let map = &self.harness.rig.map;
        let address = self.address(at, place)?;
        check_memory_cell(address, width).map_err(|message| Refusal::of_key(at.clone(), message))?;
        let overlaid = |address: &u32| map.overlays().iter().any(|overlay| overlay.range.contains(address));
        let fixed = |address: u32| match map.place(address) {
            _ if map.port_at(address).is_some() || overlaid(&address) => None,
            BusPlace::Nothing => Some("nothing answers"),
            BusPlace::Host => Some("the host ROM stands, which no run changes,"),
            BusPlace::Window => Some("the attached cartridge shows, which no run changes,"),
            _ => None,
        };
        match (address..address + width.bytes()).find_map(fixed) {
            None => Ok(Cell::Memory { address, width }),
            Some(what) => Err(Refusal::of_key(at.clone(), format!("{what} at {}", units::address(address)))),
        }
    }

    fn address(&self, at: &KeyPath, place: &Place) -> Result<u32, Refusal> {
        let host = self.harness.rig.map.host();
        let (name, offset) = match place {
            Place::Address(address) => return Ok(*address),
            Place::Symbol(name, offset) => (name, *offset),
        };
        host.symbols().find(name).map(|address| address.wrapping_add(offset)).ok_or_else(|| {
            let message = format!("the host image has no symbol `{name}`");
            Refusal { help: symbol_help(name, host), ..Refusal::of_key(at.clone(), message) }
        })
    }

    fn reads(&self, spec: &ExpectSpec) -> Result<Option<Vec<Range<u32>>>, Refusal> {
        let Some(names) = &spec.reads else { return Ok(None) };
        let layout = &self.harness.layout;
        let mut ranges: Vec<Range<u32>> = Vec::new();
        for (index, name) in names.0.iter().enumerate() {
            let at = if names.0.len() > 1 { key("reads").index(index) } else { key("reads") };
            ranges.push(match layout.find(name) {
                Some(field) => field.range(),
                None => read_range(name).map_err(|problem| match problem {
                    Some(message) => Refusal::new(at, message),
                    None => {
                        let known = layout.fields().iter().map(|field| field.name.as_str());
                        Refusal::unknown(at, "header field", name, known)
                    }
                })?,
            });
        }
        let size = self.setup.inputs.attached.image.as_ref().map_or(u32::MAX, |image| image.size());
        ranges.sort_by_key(|range| range.start);
        let covered = ranges.iter().fold(0, |end, range| if range.start <= end { end.max(range.end) } else { end });
        if covered >= size {
            return Err(Refusal::new(key("reads"), "this allows every read: it covers the whole image"));
        }
        Ok(Some(ranges))
    }
}

/// A range of image offsets; without a message it is no range at all.
fn read_range(text: &str) -> Result<Range<u32>, Option<String>> {
    let Some(RangeText(range)) = RangeText::from_scalar(Scalar::Text(text.to_owned())) else { return Err(None) };
    if range.is_empty() {
        return Err(Some(format!("the range {text} ends before it begins")));
    }
    if *range.end() >= LARGEST_IMAGE {
        return Err(Some(format!("the range {text} reaches beyond the largest image (16 MiB)")));
    }
    Ok(*range.start()..range.end() + 1)
}

/// Limits; `at` is where they stand.
pub(super) fn within(harness: &Harness, at: &KeyPath, within: WithinSpec) -> Result<Within, Refusal> {
    if within.instructions.is_none() && within.cycles.is_none() && within.time.is_none() {
        return Err(Refusal::new(at.clone(), "give `instructions`, `cycles` or `time`"));
    }
    let limits = harness.rig.routine.limits;
    let beyond = |name: &str, count: Option<Count>, most: u64| {
        let count = count.filter(|count| count.0 > most)?;
        let (count, most) = (units::thousands(count.0), units::thousands(most));
        let message = format!("this can never fail: a run is given up after {most} {name}, before {count}");
        Some(Refusal::new(at.key(name), message))
    };
    let refusal = beyond("instructions", within.instructions, limits.instructions);
    if let Some(refusal) = refusal.or_else(|| beyond("cycles", within.cycles, limits.cycles)) {
        return Err(refusal);
    }
    let time = match (within.time, harness.clock) {
        (None, _) => None,
        (Some(time), Some(clock)) => Some((time.0, clock)),
        (Some(_), None) => {
            return Err(Refusal::of_key(at.key("time"), "the harness gives no `clock` to tell time by"));
        }
    };
    Ok(Within {
        instructions: within.instructions.map(|count| count.0),
        cycles: within.cycles.map(|count| count.0),
        time,
    })
}
