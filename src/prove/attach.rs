//! The ways of being attached: nothing, and an image of each size, with a copy of its header where that shows and without.
//! They are few, and most of them show the routine the very same.

use std::ops::RangeInclusive;
use std::sync::Arc;

use super::plugged::Plugged;
use crate::board::shown_offset;
use crate::cartridge::LARGEST_IMAGE;
use crate::suite::{Boundary, Harness};
use crate::trial::{Plug, Trial};
use crate::units;

/// A way of being attached.
#[derive(Clone, Debug)]
pub struct Way {
    /// What is plugged in, in a few words.
    pub label: String,
    /// The inputs, but for what is unknown.
    pub trial: Trial,
    /// What shows, and what of it is unknown.
    pub plugged: Plugged,
}

/// All ways of a harness. `unknown` are the offsets of unknown bytes.
pub fn ways(harness: &Harness, unknown: &[RangeInclusive<u32>], seed: u64) -> Vec<Way> {
    let usual = Boundary::ordinary_size(harness);
    // The usual one comes first: the others are told by it.
    let mut list = vec![image(harness, unknown, seed, usual, None)];
    list.push(Way {
        label: "nothing attached".to_owned(),
        trial: Trial::nothing(harness),
        plugged: Plugged::nothing(),
    });
    let header = harness.layout.extent().end.max(1);
    for size in sizes(harness, header) {
        if size != usual {
            list.push(image(harness, unknown, seed, size, None));
        }
        let start = *harness.rig.map.window().start();
        let copy = shown_offset(start, size).filter(|offset| *offset >= header && offset + header <= size);
        if let Some(copy) = copy {
            list.push(image(harness, unknown, seed, size, Some(copy)));
        }
    }
    list
}

/// Powers of two from the smallest that holds the header, and three quarters of those that are larger than the window.
fn sizes(harness: &Harness, header: u32) -> Vec<u32> {
    let window = harness.rig.map.window();
    let room = window.end() - window.start() + 1;
    let mut sizes = Vec::new();
    let mut size = header.next_power_of_two().max(2);
    while size <= LARGEST_IMAGE {
        if size > room {
            sizes.push(size / 4 * 3);
        }
        sizes.push(size);
        size *= 2;
    }
    sizes.retain(|size| *size >= header);
    sizes
}

fn image(harness: &Harness, unknown: &[RangeInclusive<u32>], seed: u64, size: u32, copy: Option<u32>) -> Way {
    let mut plug = Plug::erased(size, &harness.layout);
    let built = Arc::new(plug.image(&harness.layout, seed));
    let copies: Vec<u32> = copy.into_iter().collect();
    let plugged = Plugged::image(built, unknown, &copies);
    plug.copies = copies;
    let label = match copy {
        None => units::size(size),
        Some(copy) => format!("{} with a header copy at 0x{copy:06X}", units::size(size)),
    };
    Way { label, trial: Trial::of(plug, harness), plugged }
}
