//! What is asked: a harness, what of its inputs can be anything, and how far to go.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::explored::Budget;
use super::ground::Free;
use crate::board::RamArea;
use crate::cartridge::LARGEST_IMAGE;
use crate::suite::{DEFAULT_SEED, Harness, nearest};

/// What is asked.
#[derive(Clone, Debug)]
pub struct Prove {
    pub(super) harness: Arc<Harness>,
    /// Offsets of unknown bytes of the image.
    pub(super) unknown: Vec<RangeInclusive<u32>>,
    pub(super) free: Free,
    pub(super) found: Option<PathBuf>,
    pub(super) seed: u64,
    pub(super) budget: Budget,
}

impl Prove {
    /// Everything about a harness: every byte of the header is unknown.
    pub fn new(harness: &Arc<Harness>) -> Self {
        let extent = harness.layout.extent();
        let unknown = if extent.is_empty() { Vec::new() } else { vec![extent.start..=extent.end - 1] };
        Self {
            harness: Arc::clone(harness),
            unknown,
            free: Free::of(harness),
            found: None,
            seed: DEFAULT_SEED,
            budget: Budget::default(),
        }
    }

    /// Writes counterexamples into this folder.
    #[must_use]
    pub fn found(self, folder: impl AsRef<Path>) -> Self {
        Self { found: Some(folder.as_ref().to_owned()), ..self }
    }

    /// The seed of all noise.
    #[must_use]
    pub fn seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// The most instructions that may be run on terms, over all states.
    #[must_use]
    pub fn steps(mut self, steps: u64) -> Self {
        self.budget.steps = steps;
        self
    }

    /// Bytes of the image that are unknown too.
    #[must_use]
    pub fn unknown_bytes(mut self, offsets: RangeInclusive<u32>) -> Self {
        let known = |range: &RangeInclusive<u32>| range.contains(offsets.start()) && range.contains(offsets.end());
        if !self.unknown.iter().any(known) {
            self.unknown.push(offsets);
        }
        self
    }

    /// Only these bytes of the image are unknown.
    #[must_use]
    pub fn only_bytes(mut self, offsets: RangeInclusive<u32>) -> Self {
        self.unknown = vec![offsets];
        self
    }

    /// A port of which every read is unknown; `false` if there is none of this name that can be read.
    pub fn unknown_port(&mut self, name: &str) -> bool {
        let ports = self.harness.rig.map.ports();
        let found = ports.iter().position(|port| port.name == name && port.reads.is_some());
        if let Some(port) = found {
            self.free.ports[port] = true;
        }
        found.is_some()
    }

    /// RAM of which the content at power-on is unknown: an area by its name; `false` if there is none.
    pub fn unknown_ram(&mut self, name: &str) -> bool {
        let found = self.harness.rig.map.memory().iter().position(|area| area.name == name);
        if let Some(area) = found {
            self.free.ram[area] = None;
        }
        found.is_some()
    }

    /// RAM of which the content at power-on is unknown, by bus address.
    #[must_use]
    pub fn unknown_ram_range(mut self, addresses: RangeInclusive<u32>) -> Self {
        self.free.ram_ranges.push(addresses);
        self
    }

    /// Lets something be unknown, as the command line and case files say it: a port or a memory by its name, offsets of the
    /// image or bus addresses of RAM as a range.
    ///
    /// # Errors
    /// That there is no such thing, with the nearest name.
    pub fn let_be_unknown(self, what: &str) -> Result<Self, String> {
        let mut prove = self;
        if prove.unknown_port(what) || prove.unknown_ram(what) {
            return Ok(prove);
        }
        let map = &prove.harness.rig.map;
        let Ok(range) = parse_range(what) else {
            let names = map.ports().iter().filter(|port| port.reads.is_some()).map(|port| port.name.as_str());
            let names = names.chain(map.memory().iter().map(|area| area.name.as_str()));
            let near = nearest(what, names).first().map(|near| format!("; did you mean `{near}`?"));
            return Err(format!(
                "`{what}` is neither offsets like 0x200-0x2FF nor a readable port or a memory of the harness{}",
                near.unwrap_or_default()
            ));
        };
        let ram =
            map.memory().iter().any(|area| area.range.contains(range.start()) && area.range.contains(range.end()));
        if let Some(port) = map.ports().iter().find(|port| range.contains(&port.at)) {
            return Err(format!("the port `{}` stands at {what}: give its name", port.name));
        }
        let part = |area: &RamArea| area.range.start() <= range.end() && range.start() <= area.range.end();
        if !ram && map.memory().iter().any(part) {
            return Err(format!("{what} lies only partly in RAM"));
        }
        if !ram && *range.end() >= LARGEST_IMAGE {
            return Err(format!("{what}: an image has no offset beyond 0x{:X}", LARGEST_IMAGE - 1));
        }
        Ok(if ram { prove.unknown_ram_range(range) } else { prove.unknown_bytes(range) })
    }

    /// The harness.
    pub fn harness(&self) -> &Arc<Harness> {
        &self.harness
    }

    /// The seed of all noise.
    pub fn noise_seed(&self) -> u64 {
        self.seed
    }

    pub(crate) fn free(&self) -> &Free {
        &self.free
    }
}

/// `0x200-0x2FF`, or one number.
///
/// # Errors
/// What is expected.
pub fn parse_range(text: &str) -> Result<RangeInclusive<u32>, String> {
    let number = |text: &str| {
        let text = text.trim();
        let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
        hex.map_or_else(|| text.parse().ok(), |hex| u32::from_str_radix(hex, 16).ok())
    };
    let wrong = || "expected offsets like 0x200-0x2FF".to_owned();
    let (start, end) = text.split_once('-').unwrap_or((text, text));
    let range = number(start).ok_or_else(wrong)?..=number(end).ok_or_else(wrong)?;
    if range.is_empty() { Err("the range ends before it begins".to_owned()) } else { Ok(range) }
}
