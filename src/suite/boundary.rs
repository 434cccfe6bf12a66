//! Cases derived from the acceptance table: every listed text, every near miss of it, and the sizes around the window.
//!
//! What each of them ought to do is again what the table says; nothing is expected that the harness does not state.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use unicode_width::UnicodeWidthStr;

use super::harness::{Case, Harness};
use crate::cartridge::{Attached, Field, Holds, Image, LARGEST_IMAGE, Layout, Pad, Recipe};
use crate::units;
use crate::verdict::{Conditions, Decision, FieldMatch};

/// The cases on the edges of a harness's acceptance table, made one at a time.
#[derive(Debug)]
pub struct Boundary {
    harness: Arc<Harness>,
    seed: u64,
    plans: Vec<Plan>,
    open: usize,
}

/// One derived case: field bytes, and how the image is made.
#[derive(Clone, Debug)]
struct Plan {
    /// What is special about it.
    what: String,
    /// The rule it stems from.
    rule: usize,
    /// Bytes of fields, by index in the layout.
    fields: Vec<(usize, Vec<u8>)>,
    size: u32,
    copy: Option<u32>,
}

/// What tells derived cartridges apart: field bytes, size, header copy.
type Looks = (Vec<(usize, Vec<u8>)>, u32, Option<u32>);

/// A cartridge that a rule accepts: bytes of fields.
#[derive(Clone, Debug)]
struct Good {
    rule: usize,
    fields: Vec<(usize, Vec<u8>)>,
}

impl Boundary {
    /// Derives the cases of a harness.
    pub fn derive(harness: &Arc<Harness>, seed: u64) -> Self {
        let mut deriver = Deriver { harness, plans: Vec::new(), seen: BTreeSet::new() };
        let goods = deriver.goods();
        // What is listed comes first: a near miss of one text may be another one.
        for good in &goods {
            deriver.listed(good);
        }
        for good in &goods {
            deriver.near_misses(good);
        }
        if let Some(good) = goods.iter().find(|good| good.fields.len() > 1).or(goods.first()) {
            deriver.sizes(good);
        }
        let mut boundary = Self { harness: Arc::clone(harness), seed, plans: deriver.plans, open: 0 };
        // What the table leaves open is no case; it is counted and said.
        let all = boundary.plans.len();
        let decided =
            (0..all).map(|index| matches!(boundary.case(index).expectation.specified, Decision::Branch { .. }));
        let decided: Vec<bool> = decided.collect();
        let mut decided = decided.iter();
        boundary.plans.retain(|_| decided.next() == Some(&true));
        boundary.open = all - boundary.plans.len();
        boundary
    }

    /// The fields of a cartridge for each text that the table lists, for each beginning or part of one, and for what is
    /// asked of all cartridges alone; the field that tells it apart comes last.
    pub fn listed_cartridges(harness: &Harness) -> Vec<Vec<(usize, Vec<u8>)>> {
        let mut deriver = Deriver { harness, plans: Vec::new(), seen: BTreeSet::new() };
        let mut list: Vec<Vec<(usize, Vec<u8>)>> = deriver.goods().into_iter().map(|good| good.fields).collect();
        list.extend(deriver.partly());
        list.retain(|fields| !fields.is_empty());
        list
    }

    /// How many derived cartridges the table cannot decide.
    pub fn open(&self) -> usize {
        self.open
    }

    /// A size in which every field fits and which shows as it is: half the window, or more if the header needs it.
    pub fn ordinary_size(harness: &Harness) -> u32 {
        let window = harness.rig.map.window();
        let room = window.end() - window.start() + 1;
        (room / 2).max(harness.layout.extent().end).max(1)
    }

    /// The width of the widest label, in columns.
    pub fn widest_label(&self) -> usize {
        self.plans.iter().map(|plan| plan.what.width()).max().unwrap_or(0)
    }

    /// How many cases there are.
    pub fn len(&self) -> usize {
        self.plans.len()
    }

    /// Whether the table lists no text to derive anything from.
    pub fn is_empty(&self) -> bool {
        self.plans.is_empty()
    }

    /// The harness.
    pub fn harness(&self) -> &Arc<Harness> {
        &self.harness
    }

    /// The name of a case.
    pub fn name(&self, index: usize) -> String {
        format!("boundary: {}", self.plans[index].what)
    }

    /// The file in which the table stands.
    pub fn rules(&self) -> &Path {
        &self.harness.rules_path
    }

    /// The line of the rule from which a case stems.
    pub fn line(&self, index: usize) -> usize {
        self.harness.rule_lines.get(self.plans[index].rule).copied().unwrap_or(0)
    }

    /// Makes a case; `index` is below [`Boundary::len`].
    pub fn case(&self, index: usize) -> Case {
        let plan = &self.plans[index];
        let mut case = self.harness.case(&self.name(index), Attached::image(self.image(plan)));
        case.label = plan.what.clone();
        case.file = self.harness.rules_path.clone();
        case.line = self.line(index);
        case.setup.inputs.seed = self.seed;
        case
    }

    fn image(&self, plan: &Plan) -> Image {
        let mut image = Image::new(plan.size, Recipe::default().fill);
        for (index, bytes) in &plan.fields {
            image.put(self.harness.layout.fields()[*index].at, bytes.clone());
        }
        for field in self.harness.layout.fields() {
            if let Holds::Sum16 { from, to } = field.holds {
                let sum = image.sum16(from..to.unwrap_or(plan.size));
                image.put(field.at, sum.to_be_bytes());
            }
        }
        if let Some(copy) = plan.copy {
            image.copy(0..self.harness.layout.extent().end, copy);
        }
        image
    }
}

struct Deriver<'a> {
    harness: &'a Harness,
    plans: Vec<Plan>,
    /// What the derived cartridges look like, so that each is tried once.
    seen: BTreeSet<Looks>,
}

impl Deriver<'_> {
    /// A cartridge for each text that a rule lists, with everything that earlier rules ask of all cartridges.
    fn goods(&mut self) -> Vec<Good> {
        let mut common: Vec<(usize, Vec<u8>)> = Vec::new();
        let mut goods = Vec::new();
        for (rule, conditions) in self.harness.acceptance.rules.iter().enumerate() {
            if let Some(unless) = &conditions.unless {
                for (field, bytes) in listed(unless, &self.harness.layout) {
                    common.retain(|(other, _)| *other != field);
                    common.push((field, bytes));
                }
                if conditions.when.is_none() {
                    goods.push(Good { rule, fields: common.clone() });
                    continue;
                }
            }
            let Some(when) = &conditions.when else { continue };
            let texts = listed(when, &self.harness.layout);
            for (field, bytes) in &texts {
                // The rule's other fields hold the first that it lists for them, so that this one decides.
                let mut fields = common.clone();
                for (other, text) in texts.iter().rev().filter(|(other, _)| other != field) {
                    fields.retain(|(known, _)| known != other);
                    fields.push((*other, text.clone()));
                }
                fields.retain(|(known, _)| known != field);
                fields.push((*field, bytes.clone()));
                goods.push(Good { rule, fields });
            }
        }
        goods
    }

    /// The same for rules that give a part of a text.
    fn partly(&self) -> Vec<Vec<(usize, Vec<u8>)>> {
        let layout = &self.harness.layout;
        let mut common: Vec<(usize, Vec<u8>)> = Vec::new();
        let mut list = Vec::new();
        for conditions in &self.harness.acceptance.rules {
            for (field, bytes) in conditions.unless.iter().flat_map(|unless| listed(unless, layout)) {
                common.retain(|(other, _)| *other != field);
                common.push((field, bytes));
            }
            for (index, wanted) in conditions.when.iter().flat_map(|when| &when.fields) {
                let FieldMatch::Part { starts, ends, contains } = wanted else { continue };
                let Holds::Text(pad) = layout.fields()[*index].holds else { continue };
                let mut text: Vec<u8> = [starts, contains, ends].into_iter().flatten().flatten().copied().collect();
                text.resize(layout.fields()[*index].length as usize, pad.byte());
                let mut fields = common.clone();
                fields.retain(|(other, _)| other != index);
                fields.push((*index, text));
                list.push(fields);
            }
        }
        list.push(common);
        list
    }

    fn add(&mut self, what: String, rule: usize, mut fields: Vec<(usize, Vec<u8>)>, size: u32, copy: Option<u32>) {
        fields.sort();
        // Only what the table can decide is a case: a port that changes, say, leaves it open.
        let plan = Plan { what, rule, fields, size, copy };
        if self.seen.insert((plan.fields.clone(), size, copy)) {
            self.plans.push(plan);
        }
    }

    /// The cartridge itself.
    fn listed(&mut self, good: &Good) {
        if let Some((index, text)) = good.fields.last() {
            let name = show(&self.harness.layout.fields()[*index], text);
            let size = Boundary::ordinary_size(self.harness);
            self.add(format!("{name} as listed"), good.rule, good.fields.clone(), size, None);
        }
    }

    /// Each byte of its newest text altered, the text cut, and the revision after.
    fn near_misses(&mut self, good: &Good) {
        let Some((index, text)) = good.fields.last().cloned() else { return };
        let field = self.harness.layout.fields()[index].clone();
        let size = Boundary::ordinary_size(self.harness);
        let name = show(&field, &text);
        let mut alter = |what: String, bytes: Vec<u8>| {
            let mut fields = good.fields.clone();
            if let Some(last) = fields.last_mut() {
                last.1 = bytes;
            }
            self.add(what, good.rule, fields, size, None);
        };
        for place in 0..text.len() {
            for (how, byte) in altered(text[place]) {
                let mut bytes = text.clone();
                bytes[place] = byte;
                alter(format!("{name} with byte {place} {how} (0x{byte:02X})"), bytes);
            }
        }
        if let Holds::Text(pad) = field.holds {
            let used = text.iter().rposition(|byte| *byte != pad.byte()).map_or(0, |last| last + 1);
            for length in 0..used {
                let plural = if length == 1 { "" } else { "s" };
                alter(format!("{name} cut to {length} byte{plural}"), cut(&text, length, pad));
            }
            for (how, bytes) in next_revisions(&text, used) {
                alter(format!("{name} {how}"), bytes);
            }
        }
    }

    /// Sizes at the window, one below and one above, powers of two, and header copies.
    fn sizes(&mut self, good: &Good) {
        let window = self.harness.rig.map.window();
        let room = window.end() - window.start() + 1;
        let smallest = self.harness.layout.extent().end;
        let sizes = [room / 2, room - 1, room, room + 1, room + room / 2, room * 2].into_iter();
        for size in sizes.filter(|size| (smallest..=LARGEST_IMAGE).contains(size)) {
            let name = format!("{} (0x{size:X})", units::size(size));
            self.add(format!("an image of {name}"), good.rule, good.fields.clone(), size, None);
            // Where the window's start shows, a header copy is in sight.
            let shown = crate::board::shown_offset(*window.start(), size).filter(|offset| *offset > 0);
            if let Some(copy) = shown.filter(|copy| copy + smallest <= size) {
                let what = format!("an image of {name} with a header copy at 0x{copy:06X}");
                self.add(what, good.rule, good.fields.clone(), size, Some(copy));
            }
        }
        for copy in [room / 2, room] {
            let size = room * 2;
            if size <= LARGEST_IMAGE && copy + smallest <= size {
                let what = format!("an image of {} with a header copy at 0x{copy:06X}", units::size(size));
                self.add(what, good.rule, good.fields.clone(), size, Some(copy));
            }
        }
    }
}

/// The texts that conditions list and the ends of their ranges of numbers, by field.
fn listed(conditions: &Conditions, layout: &Layout) -> Vec<(usize, Vec<u8>)> {
    let mut list = Vec::new();
    for (index, wanted) in &conditions.fields {
        match wanted {
            FieldMatch::OneOf(texts) => list.extend(texts.iter().map(|text| (*index, text.clone()))),
            FieldMatch::Numbers(range) => {
                let ends = [*range.start(), *range.end()].into_iter();
                list.extend(ends.filter_map(|end| Some((*index, layout.fields()[*index].number(end)?))));
            }
            FieldMatch::Part { .. } | FieldMatch::Checksum(_) => {}
        }
    }
    list
}

/// Next and previous value, case flipped, 0x00, 0xFF and space: each that differs.
fn altered(byte: u8) -> Vec<(&'static str, u8)> {
    let mut list: Vec<(&'static str, u8)> = Vec::new();
    let flipped = if byte.is_ascii_alphabetic() { byte ^ 0x20 } else { byte };
    let candidates = [
        ("one up", byte.wrapping_add(1)),
        ("one down", byte.wrapping_sub(1)),
        ("in the other case", flipped),
        ("zero", 0),
        ("all ones", 0xFF),
        ("a space", b' '),
    ];
    for (how, other) in candidates {
        if other != byte && !list.iter().any(|(_, known)| *known == other) {
            list.push((how, other));
        }
    }
    list
}

fn cut(text: &[u8], length: usize, pad: Pad) -> Vec<u8> {
    let mut bytes = text[..length].to_vec();
    bytes.resize(text.len(), pad.byte());
    bytes
}

/// The revision after: the last digits counted up, in decimal and, where they are hexadecimal, in hexadecimal.
fn next_revisions(text: &[u8], used: usize) -> Vec<(&'static str, Vec<u8>)> {
    let digits = text[..used].iter().rev().take_while(|byte| byte.is_ascii_hexdigit()).count().min(4);
    if digits == 0 {
        return Vec::new();
    }
    let start = used - digits;
    let revision = String::from_utf8_lossy(&text[start..used]).into_owned();
    let mut list = Vec::new();
    let mut push = |how, number: Option<String>| {
        if let Some(number) = number.filter(|number| number.len() == digits) {
            let mut bytes = text.to_vec();
            bytes[start..used].copy_from_slice(number.as_bytes());
            list.push((how, bytes));
        }
    };
    push("one revision on", revision.parse::<u32>().ok().map(|value| format!("{:0digits$}", value + 1)));
    let hex = u32::from_str_radix(&revision, 16).ok();
    push("one revision on in hexadecimal", hex.map(|value| format!("{:0digits$X}", value + 1)));
    list
}

fn show(field: &Field, bytes: &[u8]) -> String {
    match field.holds {
        Holds::Text(pad) => {
            let used = bytes.iter().rposition(|byte| *byte != pad.byte()).map_or(0, |last| last + 1);
            let text: String = bytes[..used].iter().map(|byte| units::printable(*byte)).collect();
            format!("{} {text:?}", field.name)
        }
        Holds::Number | Holds::Sum16 { .. } => {
            let digits: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
            format!("{} 0x{digits}", field.name)
        }
    }
}
