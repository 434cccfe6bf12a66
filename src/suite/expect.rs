//! What a case expects: from names in the file to branches, ports and probes.

use std::ops::Range;

use super::case_file::{ExpectSpec, PortWritesSpec, WritesSpec};
use super::complaint::{Complaint, suggestion};
use super::harness::Harness;
use super::plan_board::port_value;
use super::scalar::{CellText, FromScalar, Number, Place, Range as RangeText, Scalar};
use super::sections::symbol_help;
use crate::board::BUS_MASK;
use crate::run::{Cell, Setup};
use crate::verdict::{Decision, Expectation, PortWrites, Shows, Wanted, Within, Writes};

/// A complaint about a place below `expect`: the keys to it, and what is wrong.
pub struct Refusal {
    /// Keys below `expect`.
    pub keys: Vec<String>,
    /// What is wrong.
    pub message: String,
    /// What might be meant.
    pub help: Option<String>,
}

impl Refusal {
    fn new(keys: &[&str], message: impl Into<String>) -> Self {
        Self { keys: keys.iter().map(|key| (*key).to_owned()).collect(), message: message.into(), help: None }
    }

    fn unknown<'a>(keys: &[&str], what: &str, name: &str, known: impl IntoIterator<Item = &'a str>) -> Self {
        let mut refusal = Self::new(keys, format!("there is no {what} `{name}`"));
        refusal.help = suggestion(name, known);
        refusal
    }
}

/// Resolves what a case expects, and adds the probes it needs to the setup.
pub fn resolve(harness: &Harness, spec: &ExpectSpec, setup: &mut Setup) -> Result<Expectation, Refusal> {
    let mut resolver = Resolver { harness, setup };
    let branch = resolver.branch(spec)?;
    let mut expectation = harness.expectation(&resolver.setup.inputs);
    expectation.branch = branch;
    expectation.never = match &spec.never {
        Some(names) => resolver.branches("never", &names.0)?,
        None => Vec::new(),
    };
    if expectation.branch == Wanted::Specified && !says_more(spec) {
        resolver.check_specified(&expectation.specified)?;
    } else if expectation.branch == Wanted::Specified && !matches!(expectation.specified, Decision::Branch { .. }) {
        expectation.branch = Wanted::Any;
    }
    expectation.shows = resolver.shows(spec, &expectation.branch)?;
    expectation.writes = resolver.writes(spec)?;
    expectation.cells = resolver.cells(spec)?;
    expectation.within = resolver.within(spec)?;
    expectation.reads = resolver.reads(spec)?;
    Ok(expectation)
}

/// Whether a case that names no branch still wants something that a run can fail.
fn says_more(spec: &ExpectSpec) -> bool {
    spec.never.is_some()
        || spec.writes.is_some()
        || spec.memory.is_some()
        || spec.registers.is_some()
        || spec.within.is_some()
        || spec.reads.is_some()
}

struct Resolver<'a> {
    harness: &'a Harness,
    setup: &'a mut Setup,
}

impl Resolver<'_> {
    fn branch(&self, spec: &ExpectSpec) -> Result<Wanted, Refusal> {
        match (&spec.branch, spec.kind) {
            (Some(_), Some(_)) => Err(Refusal::new(&["kind"], "give either `branch` or `kind`")),
            (Some(names), None) => self.branches("branch", &names.0).map(Wanted::Branches),
            (None, Some(kind)) => {
                if !self.harness.rig.branches.iter().any(|branch| branch.kind == kind) {
                    return Err(Refusal::new(
                        &["kind"],
                        format!("no branch of the harness is of kind {}", kind.name()),
                    ));
                }
                Ok(Wanted::Kind(kind))
            }
            (None, None) => Ok(Wanted::Specified),
        }
    }

    fn branches(&self, key: &str, names: &[String]) -> Result<Vec<usize>, Refusal> {
        let known = || self.harness.rig.branches.iter().map(|branch| branch.name.as_str());
        let find =
            |name: &String| self.harness.branch(name).ok_or_else(|| Refusal::unknown(&[key], "branch", name, known()));
        names.iter().map(find).collect()
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
        Err(Refusal::new(&[], format!("the case expects nothing: {reason}; say `expect: {{branch: ...}}`")))
    }

    fn probe(&mut self, cell: Cell) -> usize {
        self.setup.probes.push(cell);
        self.setup.probes.len() - 1
    }

    fn shows(&mut self, spec: &ExpectSpec, wanted: &Wanted) -> Result<Vec<Shows>, Refusal> {
        let mut list = Vec::new();
        for (name, Number(value)) in spec.shows.iter().flat_map(|shows| &shows.0) {
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
                return Err(Refusal::new(&["shows", name], message));
            }
            if cells.is_empty() {
                let known = branches.iter().flat_map(|branch| &branch.shows).map(|(show, _)| show.as_str());
                return Err(Refusal::unknown(&["shows", name], "shown value", name, known.collect::<Vec<_>>()));
            }
            if let Some((_, cell)) = cells.iter().find(|(_, cell)| value & !cell.width().mask() != 0) {
                return Err(Refusal::new(
                    &["shows", name],
                    format!("0x{value:X} does not fit a {}", cell.width().name()),
                ));
            }
            let probes = cells.into_iter().map(|(branch, cell)| (branch, self.probe(cell))).collect();
            list.push(Shows { name: name.clone(), value: *value, probes });
        }
        Ok(list)
    }

    fn port(&self, keys: &[&str], name: &str) -> Result<usize, Refusal> {
        let ports = self.harness.rig.map.ports();
        let Some(index) = ports.iter().position(|port| port.name == name) else {
            return Err(Refusal::unknown(keys, "port", name, ports.iter().map(|port| port.name.as_str())));
        };
        if ports[index].writes.is_none() {
            return Err(Refusal::new(keys, format!("the port `{name}` cannot be written")));
        }
        Ok(index)
    }

    fn writes(&self, spec: &ExpectSpec) -> Result<Vec<Writes>, Refusal> {
        let ports = self.harness.rig.map.ports();
        let fit = |keys: &[&str], port: usize, value: Number| {
            port_value(value, ports[port].size).map_err(|message| Refusal::new(keys, message))
        };
        match &spec.writes {
            None => Ok(Vec::new()),
            Some(WritesSpec::ByPort(list)) => list
                .iter()
                .map(|(name, writes)| {
                    let keys = ["writes", name];
                    let port = self.port(&keys, name)?;
                    let writes = match writes {
                        PortWritesSpec::Count(count) => PortWrites::Count(*count),
                        PortWritesSpec::Values(values) => {
                            let values: Result<_, _> = values.iter().map(|value| fit(&keys, port, *value)).collect();
                            PortWrites::Values(values?)
                        }
                    };
                    Ok(Writes::Port { port, writes })
                })
                .collect(),
            Some(WritesSpec::InOrder(steps)) => {
                let steps: Result<Vec<(usize, u16)>, Refusal> = steps
                    .iter()
                    .map(|(name, value)| {
                        let port = self.port(&["writes"], name)?;
                        Ok((port, fit(&["writes"], port, *value)?))
                    })
                    .collect();
                Ok(vec![Writes::InOrder(steps?)])
            }
        }
    }

    fn cells(&mut self, spec: &ExpectSpec) -> Result<Vec<(usize, String, u32)>, Refusal> {
        let mut list = Vec::new();
        let memory = spec.memory.iter().flat_map(|named| &named.0).map(|entry| ("memory", entry));
        let registers = spec.registers.iter().flat_map(|named| &named.0).map(|entry| ("registers", entry));
        for (key, (name, Number(value))) in memory.chain(registers) {
            let keys = [key, name];
            let cell = match (key, CellText::parse(name)) {
                ("memory", Some(CellText::Memory(width, place))) => {
                    Cell::Memory { address: self.address(&keys, &place)?, width }
                }
                ("registers", Some(CellText::Register(register, width))) => Cell::Register { register, width },
                ("memory", _) => return Err(Refusal::new(&keys, "expected a cell like `word 0xE00010`")),
                _ => return Err(Refusal::new(&keys, "expected a register like `d0` or `d0.w`")),
            };
            if value & !cell.width().mask() != 0 {
                return Err(Refusal::new(&keys, format!("0x{value:X} does not fit a {}", cell.width().name())));
            }
            list.push((self.probe(cell), name.clone(), *value));
        }
        Ok(list)
    }

    fn address(&self, keys: &[&str], place: &Place) -> Result<u32, Refusal> {
        let host = self.harness.rig.map.host();
        let address = match place {
            Place::Address(address) => *address,
            Place::Symbol(name, offset) => match host.symbols().find(name) {
                Some(address) => address.wrapping_add(*offset),
                None => {
                    let mut refusal = Refusal::new(keys, format!("the host image has no symbol `{name}`"));
                    refusal.help = symbol_help(name, host);
                    return Err(refusal);
                }
            },
        };
        if address > BUS_MASK {
            return Err(Refusal::new(keys, format!("0x{address:X} lies beyond the 24-bit bus")));
        }
        Ok(address)
    }

    fn within(&self, spec: &ExpectSpec) -> Result<Within, Refusal> {
        let Some(within) = spec.within else { return Ok(Within::default()) };
        if within.instructions.is_none() && within.cycles.is_none() && within.time.is_none() {
            return Err(Refusal::new(&["within"], "give `instructions`, `cycles` or `time`"));
        }
        let time = match (within.time, self.harness.clock) {
            (None, _) => None,
            (Some(time), Some(clock)) => Some((time.0, clock)),
            (Some(_), None) => {
                return Err(Refusal::new(&["within", "time"], "the harness gives no `clock` to tell time by"));
            }
        };
        Ok(Within {
            instructions: within.instructions.map(|count| count.0),
            cycles: within.cycles.map(|count| count.0),
            time,
        })
    }

    fn reads(&self, spec: &ExpectSpec) -> Result<Option<Vec<Range<u32>>>, Refusal> {
        let Some(names) = &spec.reads else { return Ok(None) };
        let layout = &self.harness.layout;
        let one = |name: &String| match layout.find(name) {
            Some(field) => Ok(field.range()),
            None => match RangeText::from_scalar(Scalar::Text(name.clone())) {
                Some(range) if !range.0.is_empty() => Ok(*range.0.start()..range.0.end().saturating_add(1)),
                Some(_) => Err(Refusal::new(&["reads"], format!("the range {name} ends before it begins"))),
                None => {
                    let known = layout.fields().iter().map(|field| field.name.as_str());
                    Err(Refusal::unknown(&["reads"], "header field", name, known))
                }
            },
        };
        names.0.iter().map(one).collect::<Result<_, _>>().map(Some)
    }
}

/// A refusal as a complaint; `path` leads from keys below `expect` to a place in the file.
pub fn complain(refusal: Refusal, at: impl FnOnce(&[String], String) -> Complaint) -> Complaint {
    let mut complaint = at(&refusal.keys, refusal.message);
    complaint.help = refusal.help;
    complaint
}
