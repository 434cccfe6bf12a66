//! A trial as an ordinary case file: what people read, paste and keep.

use std::fmt::Write;
use std::path::{Component, Path, PathBuf};

use super::{Held, Plug, Promise, Trial};
use crate::board::{Change, OpenBus, Schedule};
use crate::cartridge::{Checksum, Flaw, Holds};
use crate::run::Timing;
use crate::suite::Harness;

/// The size that a recipe has unless it says otherwise.
const USUAL_SIZE: u32 = 1 << 20;

/// What a recipe is filled with unless it says otherwise.
const USUAL_FILL: u8 = 0xFF;

/// Words that YAML does not take for texts.
const NO_TEXTS: [&str; 9] = ["true", "false", "null", "yes", "no", "on", "off", "y", "n"];

/// What a case says beside its trial.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The promise that was broken, if one was.
    pub promise: Option<Promise>,
    /// The branch that the acceptance table says, by index.
    pub branch: Option<usize>,
    /// The port that must hold a value at the end.
    pub leaves: Option<(usize, u16)>,
}

/// A case file with one case. `comments` are lines without their mark; `folder` is where the file will stand.
pub fn case_text(
    name: &str,
    comments: &[String],
    trial: &Trial,
    wanted: &Wanted,
    harness: &Harness,
    folder: &Path,
) -> String {
    let mut text = String::new();
    for comment in comments {
        let _ = writeln!(text, "# {comment}");
    }
    let _ = writeln!(text, "\nharness: {}\n\ncases:", quoted(&relative(&harness.path, folder).to_string_lossy()));
    let _ = writeln!(text, "  - name: {}", quoted(name));
    match &trial.plug {
        None => text.push_str("    attach: nothing\n"),
        Some(plug) => {
            text.push_str("    attach:\n");
            for (key, value) in recipe(plug, harness) {
                let _ = writeln!(text, "      {key}: {value}");
            }
        }
    }
    for (key, value) in inputs(trial, harness) {
        let _ = writeln!(text, "    {key}: {value}");
    }
    let _ = writeln!(text, "    expect: {{{}}}", expectation(wanted, harness).join(", "));
    text
}

/// What happens, in a few words that go behind the subject. `ends` is how the run ended, `wanted` the branch that the
/// acceptance table says.
pub fn happens(promise: Promise, ends: &str, wanted: Option<usize>, harness: &Harness) -> String {
    let wanted = wanted.map_or("a branch", |index| &harness.rig.branches[index].name);
    match promise {
        Promise::Accepts | Promise::Refuses | Promise::Branch => format!("takes {ends}, not {wanted}"),
        Promise::Crash => format!("crashes the routine: {ends}"),
        Promise::Hang => "hangs the routine".to_owned(),
        Promise::Limit => "is not decided within the limit".to_owned(),
        Promise::Ends => format!("ends in no branch: {ends}"),
        Promise::StrayWrites => "makes the routine write outside the map".to_owned(),
        Promise::Forbidden => "makes the routine do what the harness forbids".to_owned(),
        Promise::PowerOn => "is decided by RAM at power-on".to_owned(),
        Promise::PortValues => "makes the routine write an undeclared value to a port".to_owned(),
        Promise::Latches => "makes the routine leave a latch set".to_owned(),
    }
}

fn recipe(plug: &Plug, harness: &Harness) -> Vec<(String, String)> {
    let mut keys: Vec<(String, String)> = Vec::new();
    let mut bytes: Vec<(u32, Vec<u8>)> = Vec::new();
    for (field, held) in harness.layout.fields().iter().zip(&plug.fields) {
        let value = match (held, &field.holds) {
            (Held::Absent, _) => continue,
            (Held::Sum(Checksum::Right), _) => Some("right".to_owned()),
            (Held::Sum(Checksum::Wrong), _) => Some("wrong".to_owned()),
            (Held::Bytes(bytes), Holds::Text(pad)) => text_value(bytes, pad.byte()),
            (Held::Bytes(bytes), Holds::Number | Holds::Sum16 { .. }) => {
                let number = bytes.iter().fold(0u32, |number, byte| number << 8 | u32::from(*byte));
                Some(format!("0x{number:0digits$X}", digits = 2 * bytes.len()))
            }
        };
        match (value, held) {
            (Some(value), _) => keys.push((key(&field.name), value)),
            (None, Held::Bytes(held)) => bytes.push((field.at, held.to_vec())),
            (None, _) => {}
        }
    }
    for run in plug.raw.chunk_by(|left, right| left.0 + 1 == right.0) {
        bytes.push((run[0].0, run.iter().map(|(_, byte)| *byte).collect()));
    }
    if plug.size != USUAL_SIZE {
        keys.push(("size".to_owned(), size(plug.size)));
    }
    let usual = plug.fill == Some(USUAL_FILL) && !(keys.is_empty() && bytes.is_empty());
    if !usual {
        keys.push(("fill".to_owned(), plug.fill.map_or_else(|| "noise".to_owned(), |fill| format!("0x{fill:02X}"))));
    }
    if !bytes.is_empty() {
        bytes.sort();
        let each = bytes.iter().map(|(at, bytes)| format!("0x{at:X}: \"{}\"", hex(bytes)));
        keys.push(("bytes".to_owned(), format!("{{{}}}", each.collect::<Vec<_>>().join(", "))));
    }
    if !plug.copies.is_empty() {
        let copies: Vec<String> = plug.copies.iter().map(|copy| format!("0x{copy:X}")).collect();
        keys.push(("header-copy".to_owned(), format!("[{}]", copies.join(", "))));
    }
    if plug.swapped {
        keys.push(("byte-order".to_owned(), "swapped".to_owned()));
    }
    if !plug.contacts.good() {
        let line = |kind: &str, line: u8, is: Flaw| format!("{{{kind}: {line}, is: {}}}", word(is));
        let data = plug.contacts.data.iter().map(|fault| line("data", fault.line, fault.is));
        let address = plug.contacts.address.iter().map(|fault| line("address", fault.line, fault.is));
        keys.push(("contacts".to_owned(), format!("[{}]", data.chain(address).collect::<Vec<_>>().join(", "))));
    }
    keys
}

/// A text as a case file can say it; `None` if it cannot.
fn text_value(bytes: &[u8], pad: u8) -> Option<String> {
    let used = bytes.iter().rposition(|byte| *byte != pad).map_or(0, |last| last + 1);
    // Braces would be placeholders.
    let plain = |byte: &u8| (0x20..0x7F).contains(byte) && !b"{}".contains(byte);
    let text = bytes[..used].iter().all(plain).then(|| bytes[..used].iter().map(|byte| char::from(*byte)).collect());
    text.map(|text: String| quoted(&text))
}

fn inputs(trial: &Trial, harness: &Harness) -> Vec<(&'static str, String)> {
    let mut keys = Vec::new();
    if let Some(empty) = trial.empty {
        let word = match empty {
            OpenBus::Ones => "ones",
            OpenBus::Zeros => "zeros",
            OpenBus::Floating => "floating",
            OpenBus::Noise => "noise",
            OpenBus::BusError => "bus-error",
        };
        keys.push(("empty", word.to_owned()));
    }
    let ports = harness.rig.map.ports().iter().zip(&trial.ports);
    let ports = ports.filter_map(|(port, own)| Some(format!("{}: {}", key(&port.name), schedule(own.as_ref()?))));
    let ports: Vec<String> = ports.collect();
    if !ports.is_empty() {
        keys.push(("ports", format!("{{{}}}", ports.join(", "))));
    }
    let devices = harness.rig.interrupts.iter().zip(&trial.interrupts);
    let devices = devices.filter_map(|(device, own)| Some(format!("{}: {}", key(&device.name), timing((*own)?))));
    let devices: Vec<String> = devices.collect();
    if !devices.is_empty() {
        keys.push(("interrupts", format!("{{{}}}", devices.join(", "))));
    }
    keys
}

fn schedule(schedule: &Schedule) -> String {
    match schedule {
        Schedule::Constant(value) => format!("0x{value:02X}"),
        Schedule::Sequence(values) => {
            let values: Vec<String> = values.iter().map(|value| format!("0x{value:02X}")).collect();
            format!("[{}]", values.join(", "))
        }
        Schedule::Changes { first, then, after } => {
            let after = match after {
                Change::Reads(reads) => format!("after-reads: {reads}"),
                Change::Cycles(cycles) => format!("after-cycles: {cycles}"),
            };
            format!("{{first: 0x{first:02X}, then: 0x{then:02X}, {after}}}")
        }
    }
}

fn timing(timing: Timing) -> String {
    let first = timing.first.map(|first| format!("after-cycles: {first}"));
    let every = timing.every.map(|every| format!("every-cycles: {every}"));
    let keys: Vec<String> = first.into_iter().chain(every).collect();
    if keys.is_empty() { "never".to_owned() } else { format!("{{{}}}", keys.join(", ")) }
}

fn expectation(wanted: &Wanted, harness: &Harness) -> Vec<String> {
    let branches = &harness.rig.branches;
    let mut keys = match wanted.branch {
        Some(branch) => vec![format!("branch: {}", key(&branches[branch].name))],
        None => {
            let all: Vec<String> = branches.iter().map(|branch| key(&branch.name)).collect();
            vec![format!("branch: [{}]", all.join(", "))]
        }
    };
    match wanted.promise {
        Some(Promise::StrayWrites) if !harness.forbid.writes_outside_map => {
            keys.push("forbid: [writes-outside-map]".to_owned())
        }
        Some(Promise::PortValues) if !harness.forbid.undeclared_port_writes => {
            keys.push("forbid: [undeclared-port-writes]".to_owned());
        }
        _ => {}
    }
    if let Some((port, value)) = wanted.leaves {
        keys.push(format!("leaves: {{{}: {value}}}", key(&harness.rig.map.ports()[port].name)));
    }
    keys
}

/// A key or a word of YAML, in quotes where it needs them.
fn key(name: &str) -> String {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_';
    let starts = name.starts_with(|letter: char| letter.is_ascii_alphabetic());
    let text = starts && name.chars().all(plain) && !NO_TEXTS.contains(&name.to_lowercase().as_str());
    if text { name.to_owned() } else { quoted(name) }
}

/// A text in double quotes; JSON's are YAML's.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
}

fn size(bytes: u32) -> String {
    match bytes {
        bytes if bytes.is_multiple_of(1 << 20) => format!("{} MiB", bytes >> 20),
        bytes if bytes.is_multiple_of(1 << 10) => format!("{} KiB", bytes >> 10),
        bytes => format!("0x{bytes:X}"),
    }
}

/// What is wrong with a line, in a word.
pub fn word(flaw: Flaw) -> &'static str {
    match flaw {
        Flaw::High => "high",
        Flaw::Low => "low",
        Flaw::Open => "open",
        Flaw::Flickering => "flickering",
    }
}

/// The way from a folder to a file: relative if both are on one disk, as written if it cannot be told.
fn relative(file: &Path, folder: &Path) -> PathBuf {
    let (Ok(file), Ok(folder)) = (file.canonicalize(), folder.canonicalize()) else { return file.to_owned() };
    let (to, from): (Vec<Component>, Vec<Component>) = (file.components().collect(), folder.components().collect());
    let common = to.iter().zip(&from).take_while(|(one, two)| one == two).count();
    if common == 0 {
        return file;
    }
    from[common..].iter().map(|_| Component::ParentDir).chain(to[common..].iter().copied()).collect()
}
