//! Compares of texts: pieces that follow each other become one text, and texts that follow each other a scan.

use std::collections::HashMap;

use super::event::{Compares, Entry, Event, Held, Operand, Setter, Turn};
use super::fold::{self, Item};
use super::model::{Scan, Step, Text, TextCompare, Went};
use super::name::Namer;
use super::shadow::Mark;
use crate::units;

/// How far a text that differed is shown beyond what was compared.
const LONGEST_REST: u32 = 32;

/// One compare for equality of bytes that were copied from the window, a port or RAM.
#[derive(Clone, Copy, Debug)]
struct Piece {
    setter: Setter,
    found: Operand,
    with: Operand,
    /// Where the found bytes come from.
    address: u32,
    turn: Turn,
    entry: Entry,
}

impl Piece {
    fn of(entry: &Entry) -> Option<Self> {
        let Event::Decision { setter, turn } = entry.event else { return None };
        let with = setter.with.filter(|_| setter.compares == Compares::Two)?;
        // Equal or not equal: only then it is a text and no number.
        if !matches!(turn.condition, 6 | 7) || turn.kept || entry.times > 1 {
            return None;
        }
        let (found, with) = if setter.found.clean() { (with, setter.found) } else { (setter.found, with) };
        let known = with.origin().is_some() || with.held == Held::Immediate;
        let address = found.origin().filter(|_| known)?;
        Some(Self { setter, found, with, address, turn, entry: *entry })
    }

    /// The mark of its first byte.
    fn mark(&self) -> Mark {
        self.found.marks().last().copied().unwrap_or(Mark::CLEAN)
    }

    fn equal(&self) -> bool {
        self.found.value == self.with.value
    }

    /// Whether another piece goes on where this one ends, on both sides.
    fn goes_on(&self, next: &Piece) -> bool {
        let with_goes_on = match (self.with.origin(), next.with.origin()) {
            (Some(one), Some(two)) => two == one + self.with.width,
            (None, None) => true,
            _ => false,
        };
        self.equal() && next.address == self.address + self.found.width && with_goes_on
    }
}

/// A text in the making.
#[derive(Debug)]
pub(super) struct Texts {
    pieces: Vec<Piece>,
    /// Finished texts that may become a scan.
    done: Vec<TextCompare>,
    /// How long the texts are that a compare has been seen to be about, by its address.
    lengths: HashMap<u32, usize>,
}

impl Texts {
    pub fn new() -> Self {
        Self { pieces: Vec::new(), done: Vec::new(), lengths: HashMap::new() }
    }

    /// Takes an entry if it belongs to a text; otherwise what was taken before is finished.
    pub fn take(&mut self, entry: &Entry, namer: &Namer, items: &mut Vec<Item>) -> bool {
        let Some(piece) = Piece::of(entry) else {
            self.finish(namer, items);
            return false;
        };
        if self.pieces.last().is_some_and(|last| !last.goes_on(&piece)) {
            self.end_text(namer, items);
        }
        self.pieces.push(piece);
        true
    }

    /// The text in the making is complete.
    fn end_text(&mut self, namer: &Namer, items: &mut Vec<Item>) {
        let pieces = std::mem::take(&mut self.pieces);
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else { return };
        if pieces.len() == 1 && first.with.origin().is_none() {
            // One number beside a constant is a test.
            self.end_scan(items);
            fold::push(items, &first.entry);
            return;
        }
        let text = compared(&pieces, first, last, namer);
        if self.done.last().is_some_and(|done| !in_one_table(done, &text)) {
            self.end_scan(items);
        }
        self.done.push(text);
    }

    fn end_scan(&mut self, items: &mut Vec<Item>) {
        let mut entries = std::mem::take(&mut self.done);
        self.shorten(&mut entries);
        match entries.len() {
            0 => {}
            1 => items.extend(entries.pop().map(|entry| Item::Told(Box::new(Step::Compare(entry))))),
            _ => {
                let matched = entries.iter().position(|entry| entry.equal);
                items.push(Item::Told(Box::new(Step::Scan(Scan { entries, matched }))));
            }
        }
    }

    /// Cuts texts where the next entry begins, or behind the longest of them that agreed, now or earlier.
    fn shorten(&mut self, entries: &mut [TextCompare]) {
        let Some(at) = entries.first().map(|entry| entry.at.address) else { return };
        let apart = entries.windows(2).filter_map(|pair| Some(pair[0].with.address?.abs_diff(pair[1].with.address?)));
        let agreed = entries.iter().filter(|entry| entry.equal).map(|entry| entry.compared).max();
        let known = self.lengths.get(&at).copied();
        let apart = apart.min().map(|stride| stride as usize);
        let Some(length) = agreed.into_iter().chain(apart).chain(known).min() else { return };
        let length = entries.iter().map(|entry| entry.compared).max().unwrap_or(0).max(length);
        self.lengths.insert(at, length);
        for text in entries.iter_mut().flat_map(|entry| [&mut entry.found, &mut entry.with]) {
            text.hex.truncate((3 * length).saturating_sub(1));
            text.text.truncate(length);
        }
    }

    /// Everything taken is complete.
    pub fn finish(&mut self, namer: &Namer, items: &mut Vec<Item>) {
        self.end_text(namer, items);
        self.end_scan(items);
    }
}

/// Whether two texts are the same one beside two entries of a table.
fn in_one_table(one: &TextCompare, two: &TextCompare) -> bool {
    let apart = one.with.address.is_some() && two.with.address.is_some() && one.with.address != two.with.address;
    !one.equal && one.found.address == two.found.address && one.at == two.at && apart
}

/// Whose the found bytes are, and which of them.
fn named_for(first: &Piece, compared: u32, namer: &Namer) -> String {
    namer.read_at(first.address, compared, first.mark())
}

fn bytes(operand: &Operand) -> impl Iterator<Item = u8> + use<> {
    let (value, width) = (operand.value, operand.width.clamp(1, 4));
    (0..width).map(move |index| (value >> (8 * (width - 1 - index))) as u8)
}

fn compared(pieces: &[Piece], first: &Piece, last: &Piece, namer: &Namer) -> TextCompare {
    let mut found: Vec<u8> = pieces.iter().flat_map(|piece| bytes(&piece.found)).collect();
    let mut with: Vec<u8> = pieces.iter().flat_map(|piece| bytes(&piece.with)).collect();
    let compared = found.len();
    let matched = found.iter().zip(&with).take_while(|(one, two)| one == two).count();
    let equal = matched == compared;
    if !equal && let Some(origin) = first.with.origin() {
        let rest = rest(first, compared as u32, namer);
        let host = &namer.names.rig.map;
        for (index, byte) in rest.into_iter().enumerate() {
            let address = origin + (compared + index) as u32;
            let Some(expected) = host.host().byte(address) else { break };
            found.push(byte);
            with.push(expected);
        }
    }
    let offset = namer.offset(first.address, first.mark());
    let stored = offset.and_then(|offset| namer.image?.byte(offset + matched as u32));
    let stored = stored.filter(|stored| !equal && found.get(matched) != Some(stored));
    TextCompare {
        at: namer.names.spot(first.setter.at),
        instruction: namer.instruction(first.setter.at),
        found: text(named_for(first, compared as u32, namer), Some(first.address), offset, None, &found),
        with: expected(first, &with, namer),
        matched,
        compared,
        equal,
        difference: offset.filter(|_| !equal).and_then(|offset| {
            let at = offset + matched as u32;
            namer.fields(at, at)
        }),
        stored,
        went: went(&last.turn, namer),
    }
}

/// What the attached image holds behind a stretch, to the end of the header field.
fn rest(first: &Piece, length: u32, namer: &Namer) -> Vec<u8> {
    let address = first.address;
    let Some(offset) = namer.offset(address, first.mark()) else { return Vec::new() };
    // Of a large image, what shows where a header belongs counts as one.
    let shown = address - namer.names.rig.map.window().start();
    let fields = namer.names.layout;
    let left = |at: u32| fields.at(at).map(|field| field.range().end - at);
    let Some(left) = left(offset).or_else(|| left(shown)) else { return Vec::new() };
    let end = offset + left.min(length + LONGEST_REST);
    (offset + length..end).map_while(|offset| namer.image?.byte(offset)).collect()
}

fn expected(first: &Piece, bytes: &[u8], namer: &Namer) -> Text {
    match first.with.origin() {
        Some(address) => {
            let mark = first.with.marks().last().copied().unwrap_or(Mark::CLEAN);
            let source = if mark.taint.clean() { namer.names.label(address) } else { None };
            let whose = namer.read_at(address, bytes.len() as u32, mark);
            text(whose, Some(address), namer.offset(address, mark), source, bytes)
        }
        None => text("the instruction".to_owned(), None, None, None, bytes),
    }
}

fn text(whose: String, address: Option<u32>, offset: Option<u32>, source: Option<String>, bytes: &[u8]) -> Text {
    let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    let text = bytes.iter().map(|byte| units::printable(*byte)).collect();
    Text { whose, address, offset, source, hex: hex.join(" "), text }
}

/// Which way a branch went.
pub(super) fn went(turn: &Turn, namer: &Namer) -> Went {
    Went {
        at: namer.names.spot(turn.at),
        instruction: namer.instruction(turn.at),
        taken: turn.taken,
        to: namer.names.spot(turn.to),
        kept: turn.kept,
    }
}
