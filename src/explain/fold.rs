//! Entries that say the same again become one: a test of byte after byte, a poll of two ports in turn.
//!
//! They are folded while they are numbers, so that only what is told is named, however long the run was.

use super::event::{Entry, Event};
use super::model::Step;
use super::sources::Taint;

/// The longest round of entries that is found to repeat.
const LONGEST_ROUND: usize = 4;

/// Something that is to be told.
#[derive(Debug)]
pub(super) enum Item {
    /// It has its words: a text, or a gap.
    Told(Box<Step>),
    /// It is still in numbers.
    Noted(Noted),
}

/// An entry, with those before it that said the same.
#[derive(Debug)]
pub(super) struct Noted {
    /// The last of them; it has happened as often as all of them together.
    pub entry: Entry,
    /// What each of them hung on.
    pub taints: Vec<Taint>,
}

impl Noted {
    /// An entry by itself.
    pub fn new(entry: Entry) -> Self {
        Self { taints: vec![entry.taint], entry }
    }

    /// What makes two entries the same but for the values found and where these come from.
    fn key(&self) -> Option<[u32; 4]> {
        match self.entry.event {
            Event::Decision { setter, turn } => Some([0, setter.at, turn.at, turn.taken.into()]),
            Event::Lookup { at, .. } => Some([1, at, 0, 0]),
            Event::Passed { at, .. } => Some([2, at, 0, 0]),
            _ => None,
        }
    }
}

fn key(item: &Item) -> Option<[u32; 4]> {
    if let Item::Noted(noted) = item { noted.key() } else { None }
}

/// Adds an entry, and folds the last round of entries into the one before if they are the same.
pub(super) fn push(items: &mut Vec<Item>, entry: &Entry) {
    items.push(Item::Noted(Noted::new(*entry)));
    let length = items.len();
    for round in 1..=LONGEST_ROUND.min(length / 2) {
        let (before, after) = items[length - 2 * round..].split_at(round);
        if !before.iter().zip(after).all(|(one, two)| key(one).is_some() && key(one) == key(two)) {
            continue;
        }
        let later = items.split_off(length - round);
        let start = length - 2 * round;
        for (earlier, later) in items[start..].iter_mut().zip(later) {
            if let (Item::Noted(earlier), Item::Noted(later)) = (earlier, later) {
                let times = earlier.entry.times + later.entry.times;
                earlier.entry = later.entry;
                earlier.entry.times = times;
                earlier.taints.extend(later.taints);
            }
        }
        return;
    }
}
