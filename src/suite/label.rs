//! What to call a case's cartridge and inputs in a table: short, and only what is out of the ordinary.

use serde_yaml::Value as Yaml;

use super::placeholder::key_text;
use crate::board::{Change, Map, OpenBus, RamFill, Schedule};
use crate::run::Timing;
use crate::units;

/// A key of a recipe and its value, in a few words.
pub fn override_words(key: &str, value: &Yaml) -> String {
    match key {
        "size" => match value {
            Yaml::Number(number) => {
                number.as_u64().and_then(|bytes| u32::try_from(bytes).ok()).map_or_else(|| spell(value), units::size)
            }
            value => spell(value),
        },
        "header-copy" => format!("header copy at {}", spell(value)),
        "byte-order" => spell(value),
        "bytes" => offsets(value),
        "header" => "raw header".to_owned(),
        "file" => spell(value),
        "contacts" => contacts(value),
        "fill" => format!("fill {}", spell(value)),
        key => format!("{key} {}", spell(value)),
    }
}

fn spell(value: &Yaml) -> String {
    match value {
        Yaml::String(text) => text.trim_end().to_owned(),
        Yaml::Number(number) => number.as_u64().map_or_else(|| number.to_string(), |number| format!("0x{number:02X}")),
        Yaml::Sequence(list) => list.iter().map(spell).collect::<Vec<_>>().join(" and "),
        _ => "...".to_owned(),
    }
}

/// "4A 4B at 0x0001F0", or only where if the bytes are many.
fn offsets(value: &Yaml) -> String {
    let Yaml::Mapping(mapping) = value else { return spell(value) };
    let part = |(offset, bytes): (&Yaml, &Yaml)| match bytes.as_str() {
        Some(hex) if hex.len() <= 11 => format!("{} at {}", hex.trim(), spell(offset)),
        _ => format!("bytes at {}", spell(offset)),
    };
    mapping.iter().map(part).collect::<Vec<_>>().join(" and ")
}

/// "D3 stuck high, A5 flickering".
fn contacts(value: &Yaml) -> String {
    let Yaml::Sequence(list) = value else { return "contacts".to_owned() };
    let words = list.iter().filter_map(Yaml::as_mapping).map(|fault| {
        let line = |key: &str, letter: char| fault.get(key).map(|number| format!("{letter}{}", key_text(number)));
        let line = line("data", 'D').or_else(|| line("address", 'A')).unwrap_or_default();
        let flaw = fault.get("is").map(key_text).unwrap_or_default();
        let stuck = if flaw == "high" || flaw == "low" { "stuck " } else { "" };
        format!("{line} {stuck}{flaw}")
    });
    words.collect::<Vec<_>>().join(", ")
}

/// What the open-bus rule is called.
pub fn empty_words(empty: OpenBus) -> &'static str {
    match empty {
        OpenBus::Ones => "open bus ones",
        OpenBus::Zeros => "open bus zeros",
        OpenBus::Floating => "open bus floating",
        OpenBus::Noise => "open bus noise",
        OpenBus::BusError => "open bus error",
    }
}

/// A port's schedule.
pub fn port_words(map: &Map, port: usize, schedule: &Schedule) -> String {
    let name = &map.ports()[port].name;
    match schedule {
        Schedule::Constant(value) => format!("{name} 0x{value:02X}"),
        Schedule::Sequence(values) => {
            let values: Vec<String> = values.iter().take(6).map(|value| format!("{value:X}")).collect();
            format!("{name} {}", values.join(" "))
        }
        Schedule::Changes { first, then, after } => match after {
            Change::Reads(reads) => format!("{name} 0x{first:02X}, 0x{then:02X} after {reads} reads"),
            Change::Cycles(cycles) => format!("{name} 0x{first:02X}, 0x{then:02X} after {cycles} cycles"),
        },
    }
}

/// When a device interrupts.
pub fn interrupt_words(name: &str, timing: Timing) -> String {
    match (timing.first, timing.every) {
        (None, _) => format!("{name} never"),
        (Some(first), None) => format!("{name} once after {first} cycles"),
        (Some(first), Some(every)) if first == every => format!("{name} every {every} cycles"),
        (Some(first), Some(every)) => format!("{name} after {first} cycles, every {every}"),
    }
}

/// RAM fills, by area, of one run.
pub fn fill_words(map: &Map, fills: &[RamFill]) -> String {
    let word = |fill: &RamFill| match fill {
        RamFill::Zeros => "zeros",
        RamFill::Ones => "ones",
        RamFill::Noise => "noise",
    };
    match fills {
        [] => "no RAM".to_owned(),
        [fill] => word(fill).to_owned(),
        fills => {
            let areas = map.memory().iter().zip(fills).map(|(area, fill)| format!("{} {}", area.name, word(fill)));
            areas.collect::<Vec<_>>().join(", ")
        }
    }
}
