//! From the harness file to the board: host ROM, address map, header layout.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::board_file::{FillWord, HostSpec, OverlaySpec, PortSpec, PortWidth, ReadsSpec};
use super::complaint::{Complaint, suggestion};
use super::document::KeyPath;
use super::harness_file::{FieldSpec, HoldsWord, PadWord};
use super::recipe_file::RECIPE_KEYS;
use super::scalar::Number;
use super::sections::Sections;
use crate::board::{
    Change, Map, MapParts, OpenBus, Overlay, Port, PortSize, RamArea, RamFill, Schedule, WaitStates, Whose,
};
use crate::cartridge::{Field, Holds, LARGEST_IMAGE, Layout, Pad};
use crate::rom::{HostRom, HostSource, ImageFiles, RomError, SettingFault};

/// The most wait states of a bus cycle: a device that takes longer does not answer.
const MOST_WAIT_STATES: u32 = 1000;

/// Keys of an acceptance rule's conditions that no header field may be called.
const CONDITION_KEYS: [&str; 1] = ["ports"];

/// Loads the host ROM.
pub fn host(sections: &Sections) -> Result<Arc<HostRom>, Complaint> {
    let path = KeyPath::root().key("host");
    let spec = sections.file.host.as_ref().ok_or_else(|| sections.missing("host"))?;
    let socket = sections.file.socket.as_ref().ok_or_else(|| sections.missing("socket"))?;
    let range = match &spec.range {
        Some(range) => range.0.clone(),
        None if *socket.window.0.start() == 0 => {
            let message = "the window starts at 0, so the host's addresses must be given as `host: {range: ...}`";
            return Err(sections.complain(&path, message));
        }
        None if !socket.window.0.start().is_multiple_of(2) => {
            let path = KeyPath::root().key("socket").key("window");
            return Err(sections.complain(&path, "the window does not begin at an even address"));
        }
        None => 0..=socket.window.0.start() - 1,
    };
    let image = image_files(sections, &path, spec)?;
    let source = HostSource {
        image,
        format: spec.format.map(Into::into),
        byte_order: spec.byte_order.unwrap_or_default().into(),
        origin: spec.origin.map(|origin| origin.0),
        symbols: spec.symbols.as_ref().map(|name| sections.file(&path, name)),
        range,
    };
    let loaded = HostRom::load(&source).map(Arc::new);
    loaded.map_err(|error| sections.complain(&host_key(&path, spec, &source, &error), error.to_string()))
}

/// The key of `host` that is at fault.
fn host_key(path: &KeyPath, spec: &HostSpec, source: &HostSource, error: &RomError) -> KeyPath {
    let key = match error {
        RomError::Range { .. } => "range",
        RomError::Setting { fault, .. } => match fault {
            SettingFault::NotAsDeclared { .. } | SettingFault::HalvesDeclared(_) => "format",
            SettingFault::SwappedNotRaw(_) => "byte-order",
            SettingFault::OriginNotRaw(_) => "origin",
            _ if error.path() == odd_file(source) => "odd",
            _ => "even",
        },
        error if error.path().is_some() && error.path() == source.symbols.as_deref() => "symbols",
        error if error.path().is_some() && error.path() == odd_file(source) => "odd",
        _ if spec.even.is_some() => "even",
        _ => "image",
    };
    path.key(key)
}

fn odd_file(source: &HostSource) -> Option<&Path> {
    match &source.image {
        ImageFiles::Halves { odd, .. } => Some(odd),
        ImageFiles::One(_) => None,
    }
}

fn image_files(sections: &Sections, path: &KeyPath, spec: &HostSpec) -> Result<ImageFiles, Complaint> {
    let file = |name: &String| -> PathBuf { sections.file(path, name) };
    match (&spec.image, &spec.even, &spec.odd) {
        (Some(image), None, None) => Ok(ImageFiles::One(file(image))),
        (None, Some(even), Some(odd)) => Ok(ImageFiles::Halves { even: file(even), odd: file(odd) }),
        _ => Err(sections.complain(path, "give `image`, or `even` and `odd`")),
    }
}

/// Builds the address map and the RAM fills, by area.
pub fn map(sections: &Sections, host: &Arc<HostRom>) -> Result<(Map, Vec<Vec<RamFill>>), Complaint> {
    let file = &sections.file;
    let socket = file.socket.as_ref().ok_or_else(|| sections.missing("socket"))?;
    let window = socket.window.0.clone();
    let host_range = match file.host.as_ref().and_then(|spec| spec.range.as_ref()) {
        Some(range) => range.0.clone(),
        None => 0..=window.start() - 1,
    };
    let (memory, fills) = memory(sections)?;
    let ports = ports(sections)?;
    let overlays = overlays(sections, &ports)?;
    let unmapped = file.unmapped.map_or(OpenBus::Floating, Into::into);
    let waits = waits(sections)?;
    let parts = MapParts { host: Arc::clone(host), host_range, window, unmapped, memory, ports, overlays, waits };
    let map = Map::new(parts).map_err(|error| {
        let root = KeyPath::root();
        let path = match error.whose {
            Whose::Host => root.key("host").key("range"),
            Whose::Window => root.key("socket").key("window"),
            Whose::Memory(index) => {
                let key =
                    if error.reason.contains("of RAM") || error.reason.contains("RAM of") { "size" } else { "range" };
                root.key("memory").index(index).key(key)
            }
            Whose::Port(index) => root.key("ports").index(index).key("at"),
            Whose::Overlay(index) => root.key("overlays").index(index).key("range"),
            Whose::Waits(index) => root.key("wait-states").index(index).key("range"),
        };
        sections.complain(&path, error.reason)
    })?;
    Ok((map, fills))
}

/// A name that is given to one thing of its list only.
pub(super) fn check_name<'a>(
    sections: &Sections,
    path: &KeyPath,
    name: &str,
    mut earlier: impl Iterator<Item = &'a str>,
) -> Result<(), Complaint> {
    if name.trim().is_empty() {
        return Err(sections.complain(&path.key("name"), "the name is empty"));
    }
    if earlier.any(|other| other == name) {
        return Err(sections.complain(&path.key("name"), format!("the name `{name}` is given twice")));
    }
    Ok(())
}

fn memory(sections: &Sections) -> Result<(Vec<RamArea>, Vec<Vec<RamFill>>), Complaint> {
    let specs = sections.file.memory.as_deref().unwrap_or_default();
    let mut areas: Vec<RamArea> = Vec::new();
    let mut fills = Vec::new();
    for (index, spec) in specs.iter().enumerate() {
        let path = KeyPath::root().key("memory").index(index);
        check_name(sections, &path, &spec.name, areas.iter().map(|area| area.name.as_str()))?;
        let range = spec.range.0.clone();
        let room = range.end().saturating_sub(*range.start()).saturating_add(1);
        areas.push(RamArea { name: spec.name.clone(), range, size: spec.size.map_or(room, |size| size.0) });
        let words =
            spec.power_on.as_ref().map_or(&[FillWord::Zeros, FillWord::Ones, FillWord::Noise][..], |words| &words.0);
        fills.push(ram_fills(words));
    }
    Ok((areas, fills))
}

/// Fill words as fills, each once.
pub fn ram_fills(words: &[FillWord]) -> Vec<RamFill> {
    let mut fills = Vec::new();
    for word in words {
        let fill = match word {
            FillWord::Zeros => RamFill::Zeros,
            FillWord::Ones => RamFill::Ones,
            FillWord::Noise => RamFill::Noise,
        };
        if !fills.contains(&fill) {
            fills.push(fill);
        }
    }
    fills
}

fn ports(sections: &Sections) -> Result<Vec<Port>, Complaint> {
    let specs = sections.file.ports.as_deref().unwrap_or_default();
    let mut ports: Vec<Port> = Vec::new();
    for (index, spec) in specs.iter().enumerate() {
        let path = KeyPath::root().key("ports").index(index);
        check_name(sections, &path, &spec.name, ports.iter().map(|port| port.name.as_str()))?;
        ports.push(port(sections, &path, spec)?);
    }
    Ok(ports)
}

fn port(sections: &Sections, path: &KeyPath, spec: &PortSpec) -> Result<Port, Complaint> {
    if spec.reads.is_none() && spec.writes.is_none() {
        let message = format!("the port `{}` can neither be read nor written; give `reads` or `writes`", spec.name);
        return Err(sections.complain(path, message));
    }
    let size = match spec.size {
        None | Some(PortWidth::Byte) => PortSize::Byte,
        Some(PortWidth::Word) => PortSize::Word,
    };
    let fit = |at: &KeyPath, number: Number| port_value(number, size).map_err(|message| sections.complain(at, message));
    let reads = spec.reads.as_ref().map(|reads| {
        schedule(reads, size).map_err(|(keys, message)| sections.complain(&path.key("reads").join(&keys), message))
    });
    let each = |(index, value): (usize, &Number)| fit(&path.key("writes").index(index), *value);
    let writes = spec.writes.as_ref().map(|values| values.0.iter().enumerate().map(each).collect());
    Ok(Port {
        name: spec.name.clone(),
        at: spec.at.0,
        size,
        reads: reads.transpose()?,
        writes: writes.transpose()?,
        power_on: spec.power_on.map_or(Ok(0), |value| fit(&path.key("power-on"), value))?,
    })
}

/// A value that fits a port.
pub fn port_value(Number(value): Number, size: PortSize) -> Result<u16, String> {
    let most = match size {
        PortSize::Byte => 0xFF,
        PortSize::Word => 0xFFFF,
    };
    if value > most {
        return Err(format!("0x{value:X} does not fit the port (at most 0x{most:X})"));
    }
    Ok(value as u16)
}

/// What a port reads, checked. An error says which part of it is wrong.
pub fn schedule(spec: &ReadsSpec, size: PortSize) -> Result<Schedule, (KeyPath, String)> {
    let here = KeyPath::root();
    let fit = |at: KeyPath, value: Number| port_value(value, size).map_err(|message| (at, message));
    match spec {
        ReadsSpec::Constant(value) => fit(here, *value).map(Schedule::Constant),
        ReadsSpec::Sequence(values) => {
            let each = |(index, value): (usize, &Number)| fit(here.index(index), *value);
            let values: Result<Vec<u16>, _> = values.iter().enumerate().map(each).collect();
            values.map(|values| Schedule::Sequence(values.into()))
        }
        ReadsSpec::Changes(change) => {
            let after = match (change.after_reads, change.after_cycles) {
                (Some(Number(reads)), None) => Change::Reads(reads),
                (None, Some(Number(cycles))) => Change::Cycles(u64::from(cycles)),
                _ => return Err((here, "give either `after-reads` or `after-cycles`".to_owned())),
            };
            let (first, then) = (fit(here.key("first"), change.first)?, fit(here.key("then"), change.then)?);
            Ok(Schedule::Changes { first, then, after })
        }
    }
}

fn overlays(sections: &Sections, ports: &[Port]) -> Result<Vec<Overlay>, Complaint> {
    let specs = sections.file.overlays.as_deref().unwrap_or_default();
    let mut overlays: Vec<Overlay> = Vec::new();
    for (index, spec) in specs.iter().enumerate() {
        let path = KeyPath::root().key("overlays").index(index);
        check_name(sections, &path, &spec.name, overlays.iter().map(|overlay| overlay.name.as_str()))?;
        if index == 64 {
            return Err(sections.complain(&path, "there are more than 64 overlays"));
        }
        let overlay = overlay(sections, &path, spec, ports)?;
        let both = |other: &&Overlay| {
            let shares = other.range.start() <= overlay.range.end() && overlay.range.start() <= other.range.end();
            shares && other.port == overlay.port && other.is == overlay.is
        };
        if let Some(other) = overlays.iter().find(both) {
            let message = format!("the overlay `{}` shows there for the same value of the port", other.name);
            return Err(sections.complain(&path.key("range"), message));
        }
        overlays.push(overlay);
    }
    Ok(overlays)
}

/// The images of the overlays.
pub fn overlay_files(sections: &Sections) -> Vec<PathBuf> {
    let path = KeyPath::root().key("overlays");
    sections.file.overlays.iter().flatten().map(|overlay| sections.file(&path, &overlay.image)).collect()
}

fn overlay(sections: &Sections, path: &KeyPath, spec: &OverlaySpec, ports: &[Port]) -> Result<Overlay, Complaint> {
    let file = sections.file(&path.key("image"), &spec.image);
    let image = path.key("image");
    let bytes = sections.document(&image).image(&image, &file)?;
    let at = path.key("while").key("port");
    let Some(port) = ports.iter().position(|port| port.name == spec.condition.port) else {
        let mut complaint = sections.complain(&at, format!("there is no port `{}`", spec.condition.port));
        complaint.help = suggestion(&spec.condition.port, ports.iter().map(|port| port.name.as_str()));
        return Err(complaint);
    };
    let Some(writes) = &ports[port].writes else {
        return Err(sections.complain(&at, format!("the port `{}` cannot be written", ports[port].name)));
    };
    let at = path.key("while").key("is");
    let is = port_value(spec.condition.is, ports[port].size).map_err(|message| sections.complain(&at, message))?;
    if is != ports[port].power_on && !writes.contains(&is) {
        let message = format!("the overlay would never show: the `writes` of `{}` do not list {is}", ports[port].name);
        return Err(sections.complain(&at, message));
    }
    Ok(Overlay { name: spec.name.clone(), bytes: bytes.into(), range: spec.range.0.clone(), port, is })
}

fn waits(sections: &Sections) -> Result<Vec<WaitStates>, Complaint> {
    let mut waits: Vec<WaitStates> = Vec::new();
    for (index, spec) in sections.file.wait_states.iter().flatten().enumerate() {
        let path = KeyPath::root().key("wait-states").index(index);
        let (range, Number(clocks)) = (spec.range.0.clone(), spec.clocks);
        if clocks > MOST_WAIT_STATES {
            let message = format!("{clocks} clocks are too many; {MOST_WAIT_STATES} is the most for one bus cycle");
            return Err(sections.complain(&path.key("clocks"), message));
        }
        let covers = |other: &WaitStates| other.range.start() <= range.start() && range.end() <= other.range.end();
        if let Some(first) = waits.iter().position(covers) {
            let message = format!("entry {} has all of these addresses, and the first counts", first + 1);
            return Err(sections.complain(&path.key("range"), message));
        }
        waits.push(WaitStates { range, clocks });
    }
    Ok(waits)
}

/// Builds the header layout.
pub fn layout(sections: &Sections) -> Result<Layout, Complaint> {
    let mut fields = Vec::new();
    for (name, spec) in sections.file.header.iter().flat_map(|header| &header.0) {
        let path = KeyPath::root().key("header").key(name);
        if RECIPE_KEYS.contains(&name.as_str()) || CONDITION_KEYS.contains(&name.as_str()) {
            return Err(sections.complain_key(&path, format!("no field can be called `{name}`: recipes use that key")));
        }
        fields.push(field(sections, &path, name, spec)?);
    }
    check_sums(sections, &fields)?;
    Ok(Layout::new(fields))
}

fn field(sections: &Sections, path: &KeyPath, name: &str, spec: &FieldSpec) -> Result<Field, Complaint> {
    let length = spec.length.map(|length| length.0);
    let holds = match (&spec.sum16, spec.holds, spec.pad) {
        (Some(range), None, None) => Holds::Sum16 { from: range.from, to: range.to.map(|to| to + 1) },
        (Some(_), _, _) => return Err(sections.complain(path, "a field with `sum16` has neither `holds` nor `pad`")),
        (None, Some(HoldsWord::Number), None) => Holds::Number,
        (None, Some(HoldsWord::Number), Some(_)) => {
            return Err(sections.complain(&path.key("pad"), "a number is not padded"));
        }
        (None, _, pad) => Holds::Text(match pad {
            None | Some(PadWord::Space) => Pad::Space,
            Some(PadWord::Zero) => Pad::Zero,
        }),
    };
    let at = if length.is_some() { path.key("length") } else { path.clone() };
    let length = match (&holds, length) {
        (Holds::Sum16 { .. }, None | Some(2)) => 2,
        (Holds::Sum16 { .. }, _) => return Err(sections.complain(&at, "a checksum has 2 bytes")),
        (Holds::Number, Some(length @ (1 | 2 | 4))) => length,
        (Holds::Number, _) => return Err(sections.complain(&at, "a number has a `length` of 1, 2 or 4 bytes")),
        (Holds::Text(_), Some(length)) if length > 0 => length,
        (Holds::Text(_), _) => return Err(sections.complain(&at, "a text field needs a `length` of at least 1 byte")),
    };
    let end = u64::from(spec.at.0) + u64::from(length);
    if end > u64::from(LARGEST_IMAGE) {
        return Err(sections.complain(path, "the field lies beyond the largest image (16 MiB)"));
    }
    Ok(Field { name: name.to_owned(), at: spec.at.0, length, holds })
}

/// A checksum sums whole words, none of them itself.
fn check_sums(sections: &Sections, fields: &[Field]) -> Result<(), Complaint> {
    for field in fields {
        let Holds::Sum16 { from, to } = field.holds else { continue };
        let end = to.unwrap_or(LARGEST_IMAGE);
        let message = if !from.is_multiple_of(2) || to.is_some_and(|to| !to.is_multiple_of(2)) {
            "a checksum sums whole words: from an even offset to an odd one, both included"
        } else if end > LARGEST_IMAGE || from >= end {
            "the sum reaches beyond the largest image (16 MiB)"
        } else if field.at < end && from < field.at + field.length {
            "the sum would include the checksum itself"
        } else {
            continue;
        };
        return Err(sections.complain(&KeyPath::root().key("header").key(&field.name).key("sum16"), message));
    }
    Ok(())
}
