//! The names of addresses: from name to address for harness files, from address to name for
//! reports.
//!
//! A [`Symbols`] table also knows the regions in which names are meaningful (the sections of an ELF
//! file, else the extents of the image), so that an address beyond them is not blamed on whatever
//! symbol happens to come last.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use super::LAST_BUS_ADDRESS;

/// How many suggestions [`Symbols::near`] gives at most.
const MOST_SUGGESTIONS: usize = 3;

/// What a symbol names. The order is the one of preference at the same address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    Function,
    Label,
    Object,
}

/// How far a symbol is seen. The order is the one of preference for the same name or address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Binding {
    Global,
    Weak,
    Local,
}

/// Where a symbol is defined.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Home {
    /// In the section with this index.
    Section(usize),
    /// In no section: a constant, which may be an address or just a number.
    Absolute,
    /// The source of the symbol does not say.
    Unknown,
}

#[derive(Debug, Clone)]
pub(super) struct Symbol {
    pub name: Arc<str>,
    pub address: u32,
    /// Bytes that it names; 0 if unknown.
    pub size: u32,
    pub kind: Kind,
    pub binding: Binding,
    pub home: Home,
}

/// Addresses within which a symbol reaches on to the next one.
#[derive(Debug, Clone)]
pub(super) struct Region {
    pub addresses: Range<u32>,
    /// The section's index, if it is one.
    pub section: Option<usize>,
}

impl Region {
    fn holds(&self, symbol: &Symbol) -> bool {
        self.addresses.contains(&on_bus(symbol.address))
            && match (symbol.home, self.section) {
                (Home::Section(home), Some(section)) => home == section,
                (Home::Absolute, _) => false,
                _ => true,
            }
    }
}

/// Order in the table: address on the bus, then preference, then order of insertion.
type Key = (u32, Kind, Binding, usize);

/// Names and addresses, in both directions.
#[derive(Debug, Clone, Default)]
pub struct Symbols {
    by_address: BTreeMap<Key, Symbol>,
    /// In the order of insertion for each name.
    by_name: BTreeMap<Arc<str>, Vec<(Binding, u32)>>,
    regions: Vec<Region>,
    /// The host image from its first to its last byte.
    image: Range<u32>,
}

/// The address as the 68000's 24 address lines show it.
pub(super) fn on_bus(address: u32) -> u32 {
    address & LAST_BUS_ADDRESS
}

impl Symbols {
    /// A table without names for a host image and the regions in it and in RAM.
    pub(super) fn within(regions: Vec<Region>, image: Range<u32>) -> Symbols {
        Symbols { regions, image, ..Symbols::default() }
    }

    pub(super) fn add(&mut self, symbol: Symbol) {
        let (binding, address) = (symbol.binding, symbol.address);
        let key = (on_bus(address), symbol.kind, binding, self.by_address.len());
        self.by_name.entry(Arc::clone(&symbol.name)).or_default().push((binding, address));
        self.by_address.insert(key, symbol);
    }

    /// Names an address, as a global label would. If the name is taken, the earlier one stays the
    /// one that is found.
    pub fn insert(&mut self, name: &str, address: u32) {
        let (kind, binding, home) = (Kind::Label, Binding::Global, Home::Unknown);
        self.add(Symbol { name: name.into(), address, size: 0, kind, binding, home });
    }

    /// The address of a name, as the file gives it (all 32 bits). Of several symbols of one name a
    /// global one is preferred, then the first.
    pub fn find(&self, name: &str) -> Option<u32> {
        let found = self.by_name.get(name)?;
        found.iter().min_by_key(|(binding, _)| *binding).map(|&(_, address)| address)
    }

    /// Every address that a name stands for: local symbols of several source files may share one.
    pub fn all(&self, name: &str) -> impl Iterator<Item = u32> + '_ {
        self.by_name.get(name).into_iter().flatten().map(|&(_, address)| address)
    }

    /// The nearest symbol at or below an address, and the bytes from it to the address.
    ///
    /// Functions are preferred to labels and labels to data at the same address. Inside a section
    /// or, where sections are not known, a loaded extent, a symbol reaches as far as the next;
    /// anywhere else a symbol names just its own address and the bytes of its stated size.
    /// Constants name nothing in a region or in the host image: a port may well be defined as one,
    /// but a number below the image's end is more often a count.
    pub fn at(&self, address: u32) -> Option<(&str, u32)> {
        let address = on_bus(address);
        let mut regions = self.regions.iter().filter(|region| region.addresses.contains(&address)).peekable();
        let symbol = if regions.peek().is_some() {
            regions.find_map(|region| self.nearest(region.addresses.start, address, |symbol| region.holds(symbol)))?
        } else {
            let reaches = |symbol: &Symbol| {
                address - on_bus(symbol.address) < symbol.size.max(1)
                    && (symbol.home != Home::Absolute || !self.image.contains(&address))
            };
            // The nearest one below decides, as a look past it would make every address search the
            // whole table.
            let below = self.by_address.range(..=last_key(address)).next_back()?.0.0;
            self.nearest(below, address, reaches)?
        };
        Some((&symbol.name, address - on_bus(symbol.address)))
    }

    /// The names of all symbols at an address, and whether all of them are mere labels, neither functions nor objects.
    pub fn names_at(&self, address: u32) -> (Vec<&str>, bool) {
        let address = on_bus(address);
        let same = || self.by_address.range(first_key(address)..=last_key(address)).map(|(_, symbol)| symbol);
        (same().map(|symbol| &*symbol.name).collect(), same().all(|symbol| symbol.kind == Kind::Label))
    }

    /// The best acceptable symbol of the highest address that has one, searching down from `to` to
    /// `from`.
    fn nearest(&self, from: u32, to: u32, accept: impl Fn(&Symbol) -> bool) -> Option<&Symbol> {
        let all = self.by_address.range(first_key(from)..=last_key(to));
        let (&(address, ..), _) = all.rev().find(|(_, symbol)| accept(symbol))?;
        let same = self.by_address.range(first_key(address)..=last_key(address));
        same.map(|(_, symbol)| symbol).find(|symbol| accept(symbol))
    }

    /// At most three names that may have been meant, the likeliest first.
    ///
    /// A name that differs only in case comes first, then misspellings (a third of the letters at
    /// most, and at least one), then names of which the given text is a part or that are a part of
    /// it.
    pub fn near(&self, name: &str) -> Vec<&str> {
        let wanted = name.to_lowercase();
        let mut ranked: Vec<(usize, &str)> =
            self.by_name.keys().filter_map(|known| Some((unlikeness(&wanted, known)?, &**known))).collect();
        ranked.sort_unstable();
        ranked.truncate(MOST_SUGGESTIONS);
        ranked.into_iter().map(|(_, known)| known).collect()
    }

    /// All symbols by address on the bus, then by preference.
    pub fn iter(&self) -> impl Iterator<Item = (&str, u32)> {
        self.by_address.values().map(|symbol| (&*symbol.name, symbol.address))
    }

    /// The functions of an ELF file, by address.
    pub fn functions(&self) -> impl Iterator<Item = (&str, u32)> {
        let functions = self.by_address.values().filter(|symbol| symbol.kind == Kind::Function);
        functions.map(|symbol| (&*symbol.name, on_bus(symbol.address)))
    }

    /// How many symbols there are.
    pub fn len(&self) -> usize {
        self.by_address.len()
    }

    /// Whether there is no symbol.
    pub fn is_empty(&self) -> bool {
        self.by_address.is_empty()
    }
}

fn first_key(address: u32) -> Key {
    (address, Kind::Function, Binding::Global, 0)
}

fn last_key(address: u32) -> Key {
    (address, Kind::Object, Binding::Local, usize::MAX)
}

/// How far a known name is from the wanted one (in lower case); `None` if it is no near match.
fn unlikeness(wanted: &str, known: &str) -> Option<usize> {
    /// Shorter parts than this are in too many names to mean anything.
    const SHORTEST_PART: usize = 3;
    /// Puts every part behind every misspelling.
    const PART: usize = 1000;
    let cutoff = (wanted.chars().count() / 3).max(1);
    let known = known.to_lowercase();
    let length_apart = wanted.len().abs_diff(known.len());
    // A length (in UTF-8 bytes) that is too far apart spares the expensive comparison of huge
    // names.
    if length_apart <= 4 * cutoff {
        let edits = strsim::osa_distance(wanted, &known);
        if edits <= cutoff && edits < wanted.chars().count() {
            return Some(edits);
        }
    }
    let part = |whole: &str, part: &str| part.len() >= SHORTEST_PART && whole.contains(part);
    (part(&known, wanted) || part(wanted, &known)).then_some(PART + length_apart)
}
