//! An explanation for people: one paragraph a step, the texts of a compare one below the other.

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};

use crate::explain::{
    Change, ExceptionStep, Explanation, Jump, Lookup, Nearby, Origin, PortStep, Scan, Step, Test, Text, TextCompare,
    Told, Value, Went,
};
use crate::units;

const DIM: Style = Style::new().dimmed();
const BOLD: Style = Style::new().bold();
const DIFFERENT: Style = AnsiColor::Red.on_default().bold();

/// Writes an explanation; the writer strips the colours where they are not wanted.
pub fn write(out: &mut impl Write, explanation: &Explanation) -> io::Result<()> {
    Writer { out }.explanation(explanation)
}

/// The most origins that one line names.
const MOST_ORIGINS: usize = 8;

struct Writer<'a, W> {
    out: &'a mut W,
}

impl<W: Write> Writer<'_, W> {
    fn explanation(&mut self, explanation: &Explanation) -> io::Result<()> {
        for step in &explanation.steps {
            self.step(step)?;
        }
        if explanation.steps.is_empty() {
            let text = if explanation.influence.of.is_empty() {
                "nothing: no decision hung on the cartridge, a port or RAM at power-on"
            } else {
                "no branch: only an address, code that ran, or how long an instruction took hung on something from outside"
            };
            self.fact("decided", text)?;
        }
        self.fact("ended", &format!("{BOLD}{}{BOLD:#}", units::tame(&explanation.ended)))?;
        if !explanation.fill.is_empty() {
            self.fact("RAM", &explanation.fill)?;
        }
        for (index, nearby) in explanation.nearest.iter().enumerate() {
            self.fact(if index == 0 { "nearest" } else { "" }, &nearest(nearby))?;
        }
        let changeable = |origin: &Origin| matches!(origin, Origin::Image { .. } | Origin::Port { .. });
        if explanation.nearest.is_empty() && explanation.influence.of.iter().any(changeable) {
            self.fact("nearest", "no change that was tried ends otherwise")?;
        }
        let influence = origins(&explanation.influence.of);
        self.fact("hangs on", if influence.is_empty() { "nothing from outside" } else { &influence })
    }

    fn fact(&mut self, what: &str, text: &str) -> io::Result<()> {
        writeln!(self.out, "  {DIM}{what:<9}{DIM:#}  {text}")
    }

    fn step(&mut self, step: &Step) -> io::Result<()> {
        match step {
            Step::Compare(text) => self.compare(text),
            Step::Scan(scan) => self.scan(scan),
            Step::Test(test) => self.test(test),
            Step::Jump(Jump { at, instruction, to, by }) => {
                self.fact("jumped", &format!("{at}  {instruction}"))?;
                self.fact("", &format!("to {BOLD}{to}{BOLD:#}, by {}", origins(by)))
            }
            Step::Lookup(lookup) => self.lookup(lookup),
            Step::Write(write) => self.port(write),
            Step::Exception(exception) => self.exception(exception),
            Step::Told(Told { branch, found, is }) => {
                let (held, from) = (&found.held_in, origins(&found.from));
                let text = format!("branch {branch} asks for 0x{is:X}; {held} held 0x{:X}, from {from}", found.value);
                self.fact("told", &text)
            }
            Step::Omitted(omitted) => {
                let count = units::thousands(omitted.decisions);
                self.fact("...", &format!("{count} more decisions, left out here"))
            }
        }
    }

    fn compare(&mut self, text: &TextCompare) -> io::Result<()> {
        self.fact("compared", &format!("{}  {}", text.at, text.instruction))?;
        let letters = printable(&text.found) && printable(&text.with);
        self.fact("found", &format!("{}  {DIM}{}{DIM:#}", spelled(&text.found, letters), place(&text.found)))?;
        self.fact("wanted", &format!("{}  {DIM}{}{DIM:#}", spelled(&text.with, letters), place(&text.with)))?;
        if text.equal {
            self.fact("", &agree(text.compared))?;
        } else {
            let indent = if letters { 1 + text.matched } else { 3 * text.matched };
            self.fact("", &format!("{:indent$}{DIFFERENT}^{DIFFERENT:#} {}", "", difference(text)))?;
        }
        self.went(&text.went)
    }

    fn scan(&mut self, scan: &Scan) -> io::Result<()> {
        let Some(first) = scan.entries.first() else { return Ok(()) };
        let letters = scan.entries.iter().all(|entry| printable(&entry.found) && printable(&entry.with));
        self.fact("scanned", &format!("{}  {}", first.at, first.instruction))?;
        self.fact(
            "found",
            &format!("{}  {DIM}{}{DIM:#}", spelled(&longest(scan).found, letters), place(&longest(scan).found)),
        )?;
        for (index, entry) in scan.entries.iter().enumerate() {
            let how = if entry.equal {
                format!("{BOLD}{}{BOLD:#}", agree(entry.compared))
            } else {
                format!("{DIFFERENT}differs{DIFFERENT:#}: {}", difference(entry))
            };
            let (text, whose) = (spelled(&entry.with, letters), place(&entry.with));
            self.fact(&format!("entry {index}"), &format!("{text}  {how}  {DIM}{whose}{DIM:#}"))?;
        }
        match scan.entries.last() {
            Some(last) => self.went(&last.went),
            None => Ok(()),
        }
    }

    fn test(&mut self, test: &Test) -> io::Result<()> {
        self.fact("tested", &format!("{}  {}", test.at, test.instruction))?;
        let mask = match test.mask {
            Some(mask) if mask.is_power_of_two() => format!(", bit {}", mask.trailing_zeros()),
            Some(mask) => format!(", bits 0x{mask:X}"),
            None => String::new(),
        };
        let times = match test.times {
            1 => String::new(),
            times => format!(" {DIM}({} times the same way){DIM:#}", units::thousands(times)),
        };
        self.fact("found", &format!("{}{mask}{times}", value(&test.found, test.width)))?;
        if let Some(with) = &test.with {
            self.fact("with", &value(with, test.width))?;
        }
        if !test.by.is_empty() {
            self.fact("", &format!("hangs on {}", origins(&test.by)))?;
        }
        self.went(&test.went)
    }

    fn went(&mut self, went: &Went) -> io::Result<()> {
        if went.kept {
            let answer = if went.taken { "it held" } else { "it did not hold" };
            return self.fact("kept", &format!("{}  {}  {answer}", went.at, went.instruction));
        }
        let verb = if went.taken { "went to" } else { "went on to" };
        self.fact("then", &format!("{}  {}  {verb} {BOLD}{}{BOLD:#}", went.at, went.instruction, went.to))
    }

    fn lookup(&mut self, lookup: &Lookup) -> io::Result<()> {
        let what = if lookup.writes { "stored" } else { "looked up" };
        self.fact(what, &format!("{}  {}", lookup.at, lookup.instruction))?;
        let digits = 2 * lookup.width as usize;
        let held = lookup.value.map(|value| format!(", which held 0x{value:0digits$X}")).unwrap_or_default();
        let times = match lookup.times {
            1 => String::new(),
            times => format!(" {DIM}({} times){DIM:#}", units::thousands(times)),
        };
        self.fact("", &format!("at {}{held}, by {}{times}", lookup.place, origins(&lookup.by)))
    }

    fn port(&mut self, write: &PortStep) -> io::Result<()> {
        let effect = write.effect.as_ref().map(|effect| format!(": {effect}")).unwrap_or_default();
        let from = if write.from.is_empty() { String::new() } else { format!(", by {}", origins(&write.from)) };
        self.fact("wrote", &format!("{}  port {} = 0x{:02X}{effect}{from}", write.at, write.port, write.value))
    }

    fn exception(&mut self, step: &ExceptionStep) -> io::Result<()> {
        let times = if step.times == 1 { String::new() } else { format!(" ({} times)", units::thousands(step.times)) };
        if !step.raised {
            let name = &step.name;
            return self.fact("not taken", &format!("{}  {name}{times}, by {}", step.from, origins(&step.by)));
        }
        let to = match &step.to {
            Some(to) => format!(", handled at {to}"),
            None => ", which nothing handles".to_owned(),
        };
        let by = if step.by.is_empty() { String::new() } else { format!(", by {}", origins(&step.by)) };
        self.fact("exception", &format!("{}  {}{to}{times}{by}", step.from, step.name))
    }
}

fn agree(bytes: usize) -> String {
    if bytes == 1 { "the byte agrees".to_owned() } else { format!("all {bytes} bytes agree") }
}

/// The entry for which most of the text was looked at.
fn longest(scan: &Scan) -> &TextCompare {
    scan.entries.iter().max_by_key(|entry| entry.found.text.len()).unwrap_or(&scan.entries[0])
}

/// A text in quotes, or in hexadecimal where it cannot be printed.
fn spelled(text: &Text, letters: bool) -> String {
    if letters { format!("\"{}\"", text.text) } else { text.hex.clone() }
}

fn printable(text: &Text) -> bool {
    text.hex.split(' ').all(|byte| u8::from_str_radix(byte, 16).is_ok_and(|byte| (0x20..0x7F).contains(&byte)))
}

fn place(text: &Text) -> String {
    let at = text
        .address
        .map(|address| format!(" at {}", units::address(address)))
        .filter(|at| !text.whose.contains(&at[4..]));
    let offset = text.offset.map(|offset| format!("0x{offset:06X}")).filter(|offset| !text.whose.contains(&offset[..]));
    let offset = offset.map(|offset| format!(" (image {offset})")).unwrap_or_default();
    let source = text.source.as_ref().map(|source| format!(" {source}")).unwrap_or_default();
    format!("{}{}{offset}{source}", units::tame(&text.whose), at.unwrap_or_default())
}

fn byte(text: &Text, index: usize) -> String {
    let hex = text.hex.split(' ').nth(index).unwrap_or("--");
    match u8::from_str_radix(hex, 16) {
        Ok(byte) if (0x20..0x7F).contains(&byte) => format!("0x{hex} '{}'", char::from(byte)),
        _ => format!("0x{hex}"),
    }
}

/// The first difference: `product[9] is 0x33 '3', not 0x30 '0'`.
fn difference(text: &TextCompare) -> String {
    let found = byte(&text.found, text.matched);
    let with = byte(&text.with, text.matched);
    let stored = match text.stored {
        Some(stored) => format!("; the image holds 0x{stored:02X} there, and a bad contact spoils it"),
        None => String::new(),
    };
    let name = text.difference.clone().unwrap_or_else(|| format!("byte {}", text.matched));
    format!("{} is {found}, not {with}{stored}", units::tame(&name))
}

/// A value with its place and what it is made of.
fn value(value: &Value, width: u32) -> String {
    let digits = 2 * width.clamp(1, 4) as usize;
    let bytes = &value.value.to_be_bytes()[4 - width.clamp(1, 4) as usize..];
    let text = if bytes.iter().all(|byte| (0x20..0x7F).contains(byte)) {
        let text: String = bytes.iter().map(|byte| char::from(*byte)).collect();
        format!(" {text:?}")
    } else {
        String::new()
    };
    let from = held(&value.from);
    let known = origins(&value.from);
    let from = if from.is_empty() || value.held_in == known { String::new() } else { format!(", from {from}") };
    let held_in = if value.held_in == "the instruction" { String::new() } else { format!(" in {}", value.held_in) };
    format!("0x{:0digits$X}{text}{held_in}{from}", value.value)
}

/// Origins with what the image holds there, if that is little.
fn held(origins: &[Origin]) -> String {
    let held = |one: &Origin| match one {
        Origin::Image { holds: Some(holds), .. } => format!("{} ({holds})", origin(one)),
        one => origin(one),
    };
    origins.iter().map(held).collect::<Vec<_>>().join(", ")
}

fn origins(origins: &[Origin]) -> String {
    let mut texts: Vec<String> = origins.iter().take(MOST_ORIGINS).map(origin).collect();
    if origins.len() > MOST_ORIGINS {
        texts.push(format!("and {} more", units::thousands((origins.len() - MOST_ORIGINS) as u64)));
    }
    texts.join(", ")
}

fn origin(origin: &Origin) -> String {
    let stretch = |what: &str, first: u32, last: u32| {
        if first == last { format!("{what} 0x{first:06X}") } else { format!("{what} 0x{first:06X}-0x{last:06X}") }
    };
    match origin {
        Origin::Image { field: Some(field), .. } => units::tame(field).into_owned(),
        Origin::Image { first, last, field: None, .. } => stretch("image", *first, *last),
        Origin::Port { port } => format!("port {port}"),
        Origin::Ram { first, last } => stretch("RAM at power-on", *first, *last),
        Origin::Interrupt { device } => format!("interrupt {}", units::tame(device)),
        Origin::OpenBus { first, last } => stretch("open bus", *first, *last),
    }
}

fn nearest(nearby: &Nearby) -> String {
    let changes: Vec<String> = stretches(&nearby.changes).iter().map(|changes| change(changes)).collect();
    format!("{} {}: {BOLD}{}{BOLD:#}", changes.join(", "), units::tame(&nearby.would), units::tame(&nearby.ends))
}

/// Changes of neighbouring bytes together.
fn stretches(changes: &[Change]) -> Vec<&[Change]> {
    let beside = |one: &Change, two: &Change| match (one, two) {
        (Change::Byte { offset: one, .. }, Change::Byte { offset: two, .. }) => one + 1 == *two,
        _ => false,
    };
    changes.chunk_by(beside).collect()
}

fn change(changes: &[Change]) -> String {
    let bytes = |pick: fn(&Change) -> Option<u8>| changes.iter().filter_map(pick).collect::<Vec<u8>>();
    let is = bytes(|change| if let Change::Byte { is, .. } = change { Some(*is) } else { None });
    let instead = bytes(|change| if let Change::Byte { instead, .. } = change { Some(*instead) } else { None });
    match (changes.first(), changes.last()) {
        (Some(Change::Port { port, instead }), _) => format!("port {port} = 0x{instead:02X} all the time"),
        (Some(Change::Byte { offset: first, field, .. }), Some(Change::Byte { offset: last, .. })) => {
            let name = match (field, last - first) {
                (Some(field), 0) => field.clone(),
                (Some(field), more) => ranged(field, more),
                (None, 0) => format!("image 0x{first:06X}"),
                (None, _) => format!("image 0x{first:06X}-0x{last:06X}"),
            };
            let text = changes.iter().all(|change| matches!(change, Change::Byte { text: true, .. }));
            format!("{} = {} instead of {}", units::tame(&name), quoted(&instead, text), quoted(&is, text))
        }
        _ => String::new(),
    }
}

/// The name of several bytes from that of the first: `product[3-4]`.
fn ranged(field: &str, more: u32) -> String {
    let known = field.strip_suffix(']').and_then(|head| head.rsplit_once('['));
    match known.and_then(|(name, first)| Some((name, first.parse::<u32>().ok()?))) {
        Some((name, first)) => format!("{name}[{first}-{}]", first + more),
        None => field.to_owned(),
    }
}

fn quoted(bytes: &[u8], text: bool) -> String {
    if text && bytes.iter().all(|byte| (0x20..0x7F).contains(byte)) {
        let text: String = bytes.iter().map(|byte| char::from(*byte)).collect();
        return if bytes.len() == 1 { format!("'{text}'") } else { format!("\"{text}\"") };
    }
    match bytes {
        [first, _, _, ..] if bytes.iter().all(|byte| byte == first) => format!("{} times 0x{first:02X}", bytes.len()),
        _ => bytes.iter().map(|byte| format!("0x{byte:02X}")).collect::<Vec<_>>().join(" "),
    }
}
