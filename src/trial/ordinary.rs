//! Ordinary trials: what the acceptance table names, what a user's cases attach, an empty socket, an erased cartridge.
//! The work starts from them, and a finding is told by how it differs from the nearest one.

use std::collections::HashSet;

use crate::board::Schedule;
use crate::cartridge::{Checksum, Fill, Holds, Image, Layout};
use crate::suite::{Boundary, Case, Harness};
use crate::units;
use crate::verdict::PortMatch;

use super::{Held, MOST_RAW, Plug, Trial};

/// The most bytes that are put in an image which is varied, in headers.
const MOST_HEADERS: usize = 4;

/// A trial that nobody would find odd.
#[derive(Clone, Debug)]
pub struct Ordinary {
    /// What to call it: empty for one that is best told by what differs.
    pub label: String,
    /// The field after which it is called.
    pub field: Option<usize>,
    /// The trial.
    pub trial: Trial,
}

/// Those of a harness, nearest to the acceptance table first.
pub fn ordinary(harness: &Harness) -> Vec<Ordinary> {
    let (mut list, mut seen): (Vec<Ordinary>, HashSet<Trial>) = Default::default();
    let mut add = |label: String, field: Option<usize>, mut trial: Trial| {
        trial.repair(harness);
        if seen.insert(trial.clone()) {
            list.push(Ordinary { label, field, trial });
        }
    };
    add("nothing attached".to_owned(), None, Trial::nothing(harness));
    let cartridges: Vec<_> =
        Boundary::listed_cartridges(harness).into_iter().flat_map(|fields| [blank(harness, &fields), fields]).collect();
    for fields in &cartridges {
        let field = fields.last().map(|(index, _)| *index);
        let label = fields.last().map_or_else(String::new, |(index, bytes)| field_words(harness, *index, bytes));
        add(label, field, Trial::of(plug(harness, fields), harness));
    }
    let erased = Plug::erased(Boundary::ordinary_size(harness), &harness.layout);
    add("an erased cartridge".to_owned(), None, Trial::of(erased, harness));
    // The plain ones come first, so that they are preferred.
    for (fields, (port, value)) in
        cartridges.iter().flat_map(|fields| port_values(harness).into_iter().map(move |value| (fields, value)))
    {
        let mut trial = Trial::of(plug(harness, fields), harness);
        trial.ports[port] = Some(Schedule::Constant(value));
        let Some((index, bytes)) = fields.last() else { continue };
        let name = &harness.rig.map.ports()[port].name;
        add(format!("{}, {name} 0x{value:02X}", field_words(harness, *index, bytes)), Some(*index), trial);
    }
    list
}

/// The same cartridge with all its other texts blank, as a maker who has nothing to say leaves them.
fn blank(harness: &Harness, fields: &[(usize, Vec<u8>)]) -> Vec<(usize, Vec<u8>)> {
    let others = harness.layout.fields().iter().enumerate().filter_map(|(index, field)| match field.holds {
        Holds::Text(pad) if fields.iter().all(|(other, _)| *other != index) => {
            Some((index, vec![pad.byte(); field.length as usize]))
        }
        _ => None,
    });
    others.chain(fields.iter().cloned()).collect()
}

/// A cartridge with these fields, and checksums that are right.
fn plug(harness: &Harness, fields: &[(usize, Vec<u8>)]) -> Plug {
    let layout = &harness.layout;
    let mut plug = Plug::erased(Boundary::ordinary_size(harness), layout);
    for (index, bytes) in fields {
        plug.fields[*index] = Held::Bytes(bytes[..].into());
    }
    for (held, field) in plug.fields.iter_mut().zip(layout.fields()) {
        if let (Held::Absent, Holds::Sum16 { .. }) = (&*held, &field.holds) {
            *held = Held::Sum(Checksum::Right);
        }
    }
    plug
}

/// The values of ports of which the acceptance table speaks.
fn port_values(harness: &Harness) -> Vec<(usize, u16)> {
    let ports = 0..harness.rig.map.ports().len();
    let asked = ports.flat_map(|port| harness.acceptance.ports(port).map(move |wanted| (port, wanted)));
    let values = asked.flat_map(|(port, wanted)| match wanted {
        PortMatch::OneOf(values) => values.iter().map(|value| (port, *value)).collect(),
        PortMatch::Bits { is, .. } => vec![(port, *is)],
    });
    values.collect()
}

/// `product "AW-2100-00"`, or `revision 0x0012`.
pub fn field_words(harness: &Harness, index: usize, bytes: &[u8]) -> String {
    let field = &harness.layout.fields()[index];
    match field.holds {
        Holds::Text(pad) if bytes.iter().all(|byte| (0x20..0x7F).contains(byte) || *byte == pad.byte()) => {
            let used = bytes.iter().rposition(|byte| *byte != pad.byte()).map_or(0, |last| last + 1);
            let text: String = bytes[..used].iter().map(|byte| units::printable(*byte)).collect();
            format!("{} {text:?}", field.name)
        }
        _ => {
            let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
            format!("{} {}", field.name, hex.join(" "))
        }
    }
}

/// The trial of a case; `None` if it has parts that are not varied here, such as a long image file.
pub fn of_case(case: &Case, harness: &Harness, seed: u64) -> Option<Trial> {
    let inputs = &case.setup.inputs;
    let mut trial = Trial::nothing(harness);
    trial.empty = Some(inputs.empty);
    for (own, schedule) in trial.ports.iter_mut().zip(&inputs.ports) {
        own.clone_from(schedule);
    }
    for (own, timing) in trial.interrupts.iter_mut().zip(&case.setup.interrupts) {
        *own = *timing;
    }
    if let Some(image) = &inputs.attached.image {
        let mut plug = plug_of(image, &harness.layout, seed)?;
        plug.contacts.clone_from(&inputs.attached.contacts);
        trial.plug = Some(plug);
    }
    trial.repair(harness);
    Some(trial)
}

/// The parts of an image, if they make the same image again.
fn plug_of(image: &Image, layout: &Layout, seed: u64) -> Option<Plug> {
    let mut plug = Plug::erased(image.size(), layout);
    plug.fill = match image.fill() {
        Fill::Byte(byte) => Some(byte),
        Fill::Noise(_) => None,
    };
    plug.swapped = image.swapped();
    let header = layout.extent().end;
    let spans: Vec<(u32, &[u8])> = image.spans().collect();
    if spans.iter().map(|(_, bytes)| bytes.len()).sum::<usize>() > MOST_HEADERS * header as usize + MOST_RAW {
        return None;
    }
    for (at, bytes) in spans.iter().filter(|(at, _)| *at < header) {
        for (offset, byte) in (*at..).zip(bytes.iter()) {
            plug.put(offset, *byte, layout);
        }
    }
    // What lies behind the header is a copy of it, or single bytes.
    let first = spans.first().map_or(0, |(at, _)| *at);
    for copy in spans.iter().filter_map(|(at, _)| at.checked_sub(first)).filter(|copy| *copy >= header) {
        let mut with = plug.clone();
        with.copies.push(copy);
        if covers(&with.image(layout, seed), image) {
            plug = with;
        }
    }
    let made = plug.image(layout, seed);
    for (at, bytes) in spans.iter().filter(|(at, _)| *at >= header) {
        let other = (*at..).zip(bytes.iter()).filter(|(offset, byte)| stored(&made, *offset) != Some(**byte));
        other.for_each(|(offset, byte)| plug.put(offset, *byte, layout));
    }
    let made = plug.image(layout, seed);
    let same = covers(&made, image) && covers(image, &made) && made.fill() == image.fill();
    (same && plug.raw.len() <= MOST_RAW).then_some(plug)
}

/// The byte of an image at an offset, before byte order.
fn stored(image: &Image, offset: u32) -> Option<u8> {
    let other = offset ^ 1;
    image.byte(if image.swapped() && offset.max(other) < image.size() { other } else { offset })
}

/// Whether all that is put in one image is stored in the other.
fn covers(part: &Image, whole: &Image) -> bool {
    part.spans().all(|(at, bytes)| (at..).zip(bytes).all(|(offset, byte)| stored(whole, offset) == Some(*byte)))
}
