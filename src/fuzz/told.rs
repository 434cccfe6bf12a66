//! Words for what was found: what is attached, and what happens then.

use super::case_text::word;
use super::ordinary::{Ordinary, field_words};
use super::reduce::{Difference, Reduced};
use super::trial::{Held, Plug, Trial};
use crate::cartridge::Checksum;
use crate::suite::{Harness, empty_words, interrupt_words, port_words};
use crate::units;

/// What is attached, told by the nearest ordinary cartridge and what differs from it.
pub fn subject(reduced: &Reduced, ordinary: &[Ordinary], harness: &Harness) -> String {
    let base = ordinary.get(reduced.base);
    let own = base.and_then(|base| base.field);
    let told = reduced.differences.iter().any(|difference| own.map(Difference::Field) == Some(*difference));
    let plug = reduced.differences.contains(&Difference::Plug);
    let label = base.map(|base| base.label.clone()).filter(|label| !told && !plug && !label.is_empty());
    let different = reduced.differences.iter().map(|difference| words(*difference, &reduced.trial, harness));
    let words: Vec<String> = label.into_iter().chain(different).filter(|words| !words.is_empty()).collect();
    // Braces would be placeholders.
    words.join(", ").replace(['{', '}'], ".")
}

fn words(difference: Difference, trial: &Trial, harness: &Harness) -> String {
    match difference {
        Difference::Empty => trial.empty.map_or_else(String::new, |empty| empty_words(empty).to_owned()),
        Difference::Port(index) => match &trial.ports[index] {
            Some(schedule) => port_words(&harness.rig.map, index, schedule),
            None => format!("{} as usual", harness.rig.map.ports()[index].name),
        },
        Difference::Interrupt(index) => {
            let device = &harness.rig.interrupts[index];
            interrupt_words(&device.name, trial.interrupts[index].unwrap_or(device.timing))
        }
        difference => match &trial.plug {
            Some(plug) => plug_words(difference, plug, harness),
            None => "nothing attached".to_owned(),
        },
    }
}

fn plug_words(difference: Difference, plug: &Plug, harness: &Harness) -> String {
    let hex = |offsets: &mut dyn Iterator<Item = u32>| {
        let texts: Vec<String> = offsets.map(|offset| format!("0x{offset:X}")).collect();
        texts.join(" and ")
    };
    match difference {
        Difference::Plug => {
            let fields = harness.layout.fields().iter().zip(&plug.fields).enumerate();
            let told =
                fields.filter(|(_, (_, held))| **held != Held::Absent).map(|(index, _)| held(plug, index, harness));
            let told: Vec<String> = told.collect();
            if told.is_empty() { format!("an image of {}", units::size(plug.size)) } else { told.join(", ") }
        }
        Difference::Size => units::size(plug.size),
        Difference::Fill => plug.fill.map_or_else(|| "fill noise".to_owned(), |fill| format!("fill 0x{fill:02X}")),
        Difference::Order => if plug.swapped { "swapped bytes" } else { "bytes in order" }.to_owned(),
        Difference::Field(index) => held(plug, index, harness),
        Difference::Raw if plug.raw.is_empty() => "no bytes beside the fields".to_owned(),
        Difference::Raw => format!("bytes at {}", hex(&mut plug.raw.iter().take(4).map(|(offset, _)| *offset))),
        Difference::Copies if plug.copies.is_empty() => "no header copy".to_owned(),
        Difference::Copies => format!("header copy at {}", hex(&mut plug.copies.iter().copied())),
        Difference::Contacts if plug.contacts.good() => "good contacts".to_owned(),
        Difference::Contacts => {
            let data = plug.contacts.data.iter().map(|fault| format!("D{} {}", fault.line, word(fault.is)));
            let address = plug.contacts.address.iter().map(|fault| format!("A{} {}", fault.line, word(fault.is)));
            data.chain(address).collect::<Vec<_>>().join(", ")
        }
        Difference::Empty | Difference::Port(_) | Difference::Interrupt(_) => String::new(),
    }
}

fn held(plug: &Plug, index: usize, harness: &Harness) -> String {
    let name = &harness.layout.fields()[index].name;
    match &plug.fields[index] {
        Held::Absent => format!("without `{name}`"),
        Held::Sum(Checksum::Right) => format!("{name} right"),
        Held::Sum(Checksum::Wrong) => format!("{name} wrong"),
        Held::Bytes(bytes) => field_words(harness, index, bytes),
    }
}
