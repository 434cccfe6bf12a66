//! What a proof is about, in words: it is printed with every one.

use std::ops::RangeInclusive;

use super::answer::Scope;
use super::plan::Prove;
use super::study::Study;
use crate::board::OpenBus;
use crate::suite::empty_words;

/// The scope of a question.
pub fn scope(prove: &Prove, studies: &[Study]) -> Scope {
    let harness = &prove.harness;
    let map = &harness.rig.map;
    let mut unknown: Vec<String> =
        prove.unknown.iter().map(|range| format!("every byte of the attached image at {}", span(range))).collect();
    if unknown.is_empty() {
        unknown.push("no byte of the attached image: the harness has no header".to_owned());
    }
    let ports = map.ports().iter().zip(&prove.free.ports).filter(|(_, free)| **free);
    unknown.extend(ports.map(|(port, _)| format!("every read of the port `{}`", port.name)));
    let ram = map.memory().iter().zip(&prove.free.ram).filter(|(_, byte)| byte.is_none());
    unknown.extend(ram.map(|(area, _)| format!("`{}` at power-on", area.name)));
    unknown.extend(prove.free.ram_ranges.iter().map(|range| format!("RAM at {} at power-on", span(range))));
    let fixed_ports = map.ports().iter().zip(&prove.free.ports).filter(|(port, free)| port.reads.is_some() && !**free);
    let mut fixed = vec![format!(
        "the image is 0xFF beside that, its contacts are good; an open socket: {}",
        empty_words(harness.empty)
    )];
    fixed.extend(fixed_ports.map(|(port, _)| format!("the port `{}` reads as the harness says", port.name)));
    let devices: Vec<String> = harness.rig.interrupts.iter().map(|device| format!("`{}`", device.name)).collect();
    fixed.push(match &devices[..] {
        [] => "no interrupts".to_owned(),
        devices => format!("no interrupts: {} of the harness never interrupts here", devices.join(", ")),
    });
    if harness.empty == OpenBus::Noise {
        fixed.push("noise on open lines is anything, read by read".to_owned());
    }
    let ways = studies.iter().flat_map(|study| study.ways.iter().map(|way| way.label.clone()));
    Scope {
        unknown,
        header_bits: 8 * studies.iter().map(|study| study.way().plugged.originals().count()).max().unwrap_or(0) as u32,
        ways: ways.collect(),
        fixed,
    }
}

fn span(range: &RangeInclusive<u32>) -> String {
    format!("0x{:X}-0x{:X}", range.start(), range.end())
}
