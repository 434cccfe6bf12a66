//! A trial as it stands in a file of a corpus: JSON, everything by name, so that it outlives a change of the harness's
//! order. Whatever is read is checked, as anybody may have written it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::share::Share;
use super::trial::{Held, Plug, Trial};
use crate::board::{Change, OpenBus, Schedule};
use crate::cartridge::{AddressFault, Checksum, Contacts, DataFault, Flaw, Holds, LARGEST_IMAGE, Layout};
use crate::run::Timing;
use crate::suite::{Harness, nearest};

/// The version of the format.
const VERSION: u32 = 1;

/// An entry of a corpus.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct EntryFile {
    /// The version of the format.
    pub corpus: u32,
    /// When it was met.
    pub met: Met,
    /// The trial.
    pub trial: TrialFile,
}

/// In which trial of which work an entry was met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Met {
    /// A number for the harness, the ROM and all that decides what is tried.
    pub plan: u64,
    /// The seed.
    pub seed: u64,
    /// The part of the work.
    pub part: Share,
    /// The batch.
    pub batch: u64,
    /// The trial in its batch.
    pub trial: u64,
}

/// A trial.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct TrialFile {
    attached: Option<PlugFile>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    empty: Option<OpenBus>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    ports: BTreeMap<String, ScheduleFile>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    interrupts: BTreeMap<String, TimingFile>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct PlugFile {
    size: u32,
    /// `null` for noise.
    fill: Option<u8>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    swapped: bool,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    fields: BTreeMap<String, FieldFile>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    bytes: BTreeMap<u32, u8>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    copies: Vec<u32>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    data_lines: Vec<LineFile>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    address_lines: Vec<LineFile>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum FieldFile {
    Hex(String),
    Sum(Checksum),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct LineFile {
    line: u8,
    is: Flaw,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum ScheduleFile {
    Always(u16),
    Values(Vec<u16>),
    Reads { first: u16, then: u16, after: u32 },
    Cycles { first: u16, then: u16, after: u64 },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct TimingFile {
    first: Option<u64>,
    every: Option<u64>,
}

impl EntryFile {
    /// An entry as it is written.
    pub fn new(trial: &Trial, met: Met, harness: &Harness) -> Self {
        Self { corpus: VERSION, met, trial: TrialFile::new(trial, harness) }
    }

    /// The trial of an entry, checked.
    pub fn trial(&self, harness: &Harness) -> Result<Trial, String> {
        if self.corpus != VERSION {
            return Err(format!("this is version {} of the format; known is {VERSION}", self.corpus));
        }
        self.trial.read(harness)
    }
}

impl TrialFile {
    /// A trial as it is written.
    pub fn new(trial: &Trial, harness: &Harness) -> Self {
        let (rig, layout) = (&harness.rig, &harness.layout);
        let ports = rig.map.ports().iter().zip(&trial.ports);
        let ports = ports.filter_map(|(port, own)| Some((port.name.clone(), schedule_file(own.as_ref()?))));
        let devices = rig.interrupts.iter().zip(&trial.interrupts);
        let timing = |timing: Timing| TimingFile { first: timing.first, every: timing.every };
        Self {
            attached: trial.plug.as_ref().map(|plug| PlugFile::new(plug, layout)),
            empty: trial.empty,
            ports: ports.collect(),
            interrupts: devices.filter_map(|(device, own)| Some((device.name.clone(), timing((*own)?)))).collect(),
        }
    }

    /// The trial, checked.
    pub fn read(&self, harness: &Harness) -> Result<Trial, String> {
        let rig = &harness.rig;
        let mut trial = Trial::nothing(harness);
        trial.plug = self.attached.as_ref().map(|plug| plug.read(&harness.layout)).transpose()?;
        trial.empty = self.empty;
        let ports = rig.map.ports().iter().map(|port| port.name.as_str());
        for (name, written) in &self.ports {
            let index = find("port", name, ports.clone())?;
            if rig.map.ports()[index].reads.is_none() {
                return Err(format!("the port `{name}` cannot be read"));
            }
            let most = u16::MAX >> (16 - 8 * rig.map.ports()[index].size.bytes());
            trial.ports[index] = Some(schedule(written, most).ok_or_else(|| format!("bad values of port `{name}`"))?);
        }
        let devices = rig.interrupts.iter().map(|device| device.name.as_str());
        for (name, TimingFile { first, every }) in &self.interrupts {
            let index = find("device", name, devices.clone())?;
            if *every == Some(0) || every.is_some() && first.is_none() {
                return Err(format!("bad times of device `{name}`"));
            }
            trial.interrupts[index] = Some(Timing { first: *first, every: *every });
        }
        trial.repair(harness);
        Ok(trial)
    }
}

impl PlugFile {
    fn new(plug: &Plug, layout: &Layout) -> Self {
        let field = |held: &Held| match held {
            Held::Absent => None,
            Held::Bytes(bytes) => Some(FieldFile::Hex(bytes.iter().map(|byte| format!("{byte:02X}")).collect())),
            Held::Sum(sum) => Some(FieldFile::Sum(*sum)),
        };
        let fields = layout.fields().iter().zip(&plug.fields);
        let data = plug.contacts.data.iter().map(|fault| LineFile { line: fault.line, is: fault.is });
        let address = plug.contacts.address.iter().map(|fault| LineFile { line: fault.line, is: fault.is });
        Self {
            size: plug.size,
            fill: plug.fill,
            swapped: plug.swapped,
            fields: fields.filter_map(|(plan, held)| Some((plan.name.clone(), field(held)?))).collect(),
            bytes: plug.raw.iter().copied().collect(),
            copies: plug.copies.clone(),
            data_lines: data.collect(),
            address_lines: address.collect(),
        }
    }

    fn read(&self, layout: &Layout) -> Result<Plug, String> {
        if !(1..=LARGEST_IMAGE).contains(&self.size) {
            return Err(format!("an image has 1 byte to 16 MiB, not {}", self.size));
        }
        let mut plug = Plug::erased(self.size, layout);
        (plug.fill, plug.swapped) = (self.fill, self.swapped);
        for (name, written) in &self.fields {
            let index = find("header field", name, layout.fields().iter().map(|field| field.name.as_str()))?;
            let field = &layout.fields()[index];
            plug.fields[index] = match (written, &field.holds) {
                (FieldFile::Hex(hex), _) => {
                    let bytes = bytes(hex).filter(|bytes| bytes.len() == field.length as usize);
                    let bytes = bytes.ok_or_else(|| format!("the field `{name}` has {} bytes", field.length))?;
                    Held::Bytes(bytes.into())
                }
                (FieldFile::Sum(sum), Holds::Sum16 { .. }) => Held::Sum(*sum),
                (FieldFile::Sum(_), _) => return Err(format!("the field `{name}` holds no checksum")),
            };
        }
        plug.raw = self.bytes.iter().map(|(offset, byte)| (*offset, *byte)).collect();
        plug.copies.clone_from(&self.copies);
        plug.contacts = self.contacts()?;
        Ok(plug)
    }

    fn contacts(&self) -> Result<Contacts, String> {
        let mut contacts = Contacts::default();
        for LineFile { line, is } in &self.data_lines {
            if *line > 15 || contacts.data.iter().any(|fault| fault.line == *line) {
                return Err("data lines are 0 to 15, each once".to_owned());
            }
            contacts.data.push(DataFault { line: *line, is: *is });
        }
        for LineFile { line, is } in &self.address_lines {
            let known = contacts.address.iter().any(|fault| fault.line == *line);
            if !(1..=23).contains(line) || known || *is == Flaw::Open {
                return Err("address lines are 1 to 23, each once, and never open".to_owned());
            }
            contacts.address.push(AddressFault { line: *line, is: *is });
        }
        Ok(contacts)
    }
}

/// The index of a name.
fn find<'a>(what: &str, name: &str, known: impl Iterator<Item = &'a str> + Clone) -> Result<usize, String> {
    known.clone().position(|other| other == name).ok_or_else(|| {
        let near = nearest(name, known).first().map(|near| format!("; did you mean `{near}`?"));
        format!("the harness has no {what} `{name}`{}", near.unwrap_or_default())
    })
}

fn bytes(hex: &str) -> Option<Vec<u8>> {
    if !hex.is_ascii() || !hex.len().is_multiple_of(2) {
        return None;
    }
    (0..hex.len() / 2).map(|index| u8::from_str_radix(&hex[2 * index..2 * index + 2], 16).ok()).collect()
}

fn schedule_file(schedule: &Schedule) -> ScheduleFile {
    match schedule {
        Schedule::Constant(value) => ScheduleFile::Always(*value),
        Schedule::Sequence(values) => ScheduleFile::Values(values.to_vec()),
        Schedule::Changes { first, then, after: Change::Reads(after) } => {
            ScheduleFile::Reads { first: *first, then: *then, after: *after }
        }
        Schedule::Changes { first, then, after: Change::Cycles(after) } => {
            ScheduleFile::Cycles { first: *first, then: *then, after: *after }
        }
    }
}

/// `None` if a value does not fit.
fn schedule(written: &ScheduleFile, most: u16) -> Option<Schedule> {
    let (schedule, values) = match written {
        ScheduleFile::Always(value) => (Schedule::Constant(*value), vec![*value]),
        ScheduleFile::Values(values) => (Schedule::Sequence(values[..].into()), values.clone()),
        ScheduleFile::Reads { first, then, after } => {
            (Schedule::Changes { first: *first, then: *then, after: Change::Reads(*after) }, vec![*first, *then])
        }
        ScheduleFile::Cycles { first, then, after } => {
            (Schedule::Changes { first: *first, then: *then, after: Change::Cycles(*after) }, vec![*first, *then])
        }
    };
    (!values.is_empty() && values.iter().all(|value| *value <= most)).then_some(schedule)
}
