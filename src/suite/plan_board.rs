//! From the harness file to the board: host ROM, address map, header layout.

use std::path::PathBuf;
use std::sync::Arc;

use super::case_file::RECIPE_KEYS;
use super::complaint::{Complaint, suggestion};
use super::document::{KeyPath, read_limited};
use super::harness_file::{
    FieldSpec, FillWord, HoldsWord, HostSpec, OverlaySpec, PadWord, PortSpec, PortWidth, ReadsSpec,
};
use super::scalar::Number;
use super::sections::Sections;
use crate::board::{Change, Map, MapParts, OpenBus, Overlay, Port, PortSize, RamArea, RamFill, Schedule, Whose};
use crate::cartridge::{Field, Holds, LARGEST_IMAGE, Layout, Pad};
use crate::rom::{HostRom, HostSource, ImageFiles};

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
    HostRom::load(&source).map(Arc::new).map_err(|error| sections.complain(&path, error.to_string()))
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
    let parts = MapParts { host: Arc::clone(host), host_range, window, unmapped, memory, ports, overlays };
    let map = Map::new(parts).map_err(|error| {
        let root = KeyPath::root();
        let path = match error.whose {
            Whose::Host => root.key("host").key("range"),
            Whose::Window => root.key("socket").key("window"),
            Whose::Memory(index) => root.key("memory").index(index).key("range"),
            Whose::Port(index) => root.key("ports").index(index).key("at"),
            Whose::Overlay(index) => root.key("overlays").index(index).key("range"),
        };
        sections.complain(&path, error.reason)
    })?;
    Ok((map, fills))
}

/// A name that is given to one thing of its list only.
fn check_name<'a>(
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
    let fit = |key: &str, number: Number| {
        port_value(number, size).map_err(|message| sections.complain(&path.key(key), message))
    };
    let reads = match &spec.reads {
        Some(reads) => Some(schedule(reads, size).map_err(|message| sections.complain(&path.key("reads"), message))?),
        None => None,
    };
    let writes = spec.writes.as_ref().map(|values| values.0.iter().map(|value| fit("writes", *value)).collect());
    Ok(Port {
        name: spec.name.clone(),
        at: spec.at.0,
        size,
        reads,
        writes: writes.transpose()?,
        power_on: spec.power_on.map_or(Ok(0), |value| fit("power-on", value))?,
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

/// What a port reads, checked.
pub fn schedule(spec: &ReadsSpec, size: PortSize) -> Result<Schedule, String> {
    match spec {
        ReadsSpec::Constant(value) => port_value(*value, size).map(Schedule::Constant),
        ReadsSpec::Sequence(values) => {
            let values: Result<Vec<u16>, String> = values.iter().map(|value| port_value(*value, size)).collect();
            values.map(|values| Schedule::Sequence(values.into()))
        }
        ReadsSpec::Changes(change) => {
            let after = match (change.after_reads, change.after_cycles) {
                (Some(Number(reads)), None) => Change::Reads(reads),
                (None, Some(Number(cycles))) => Change::Cycles(u64::from(cycles)),
                _ => return Err("give either `after-reads` or `after-cycles`".to_owned()),
            };
            let (first, then) = (port_value(change.first, size)?, port_value(change.then, size)?);
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
        overlays.push(overlay(sections, &path, spec, ports)?);
    }
    Ok(overlays)
}

fn overlay(sections: &Sections, path: &KeyPath, spec: &OverlaySpec, ports: &[Port]) -> Result<Overlay, Complaint> {
    let file = sections.file(&path.key("image"), &spec.image);
    let bytes = read_limited(&file, u64::from(LARGEST_IMAGE))
        .map_err(|error| sections.complain(&path.key("image"), format!("{}: {}", file.display(), error.message)))?;
    if bytes.is_empty() {
        return Err(sections.complain(&path.key("image"), format!("{}: the file is empty", file.display())));
    }
    let at = path.key("while").key("port");
    let Some(port) = ports.iter().position(|port| port.name == spec.condition.port) else {
        let mut complaint = sections.complain(&at, format!("there is no port `{}`", spec.condition.port));
        complaint.help = suggestion(&spec.condition.port, ports.iter().map(|port| port.name.as_str()));
        return Err(complaint);
    };
    if ports[port].writes.is_none() {
        return Err(sections.complain(&at, format!("the port `{}` cannot be written", ports[port].name)));
    }
    let is = port_value(spec.condition.is, ports[port].size)
        .map_err(|message| sections.complain(&path.key("while").key("is"), message))?;
    Ok(Overlay { name: spec.name.clone(), bytes: bytes.into(), range: spec.range.0.clone(), port, is })
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
    let length = match (&holds, length) {
        (Holds::Sum16 { .. }, None | Some(2)) => 2,
        (Holds::Sum16 { .. }, _) => return Err(sections.complain(&path.key("length"), "a checksum has 2 bytes")),
        (Holds::Number, Some(length @ (1 | 2 | 4))) => length,
        (Holds::Number, _) => return Err(sections.complain(path, "a number has a `length` of 1, 2 or 4 bytes")),
        (Holds::Text(_), Some(length)) if length > 0 => length,
        (Holds::Text(_), _) => return Err(sections.complain(path, "a text field needs a `length` of at least 1 byte")),
    };
    let end = u64::from(spec.at.0) + u64::from(length);
    if end > u64::from(LARGEST_IMAGE) {
        return Err(sections.complain(path, "the field lies beyond the largest image (16 MiB)"));
    }
    Ok(Field { name: name.to_owned(), at: spec.at.0, length, holds })
}
