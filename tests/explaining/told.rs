//! An explanation, asked by tests: short questions to the model.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use keyway::explain::{Change, Explanation, Nearby, Origin, Step, Test, TextCompare};

/// Image offsets on which the way of the run hung.
pub fn influential(explanation: &Explanation) -> BTreeSet<u32> {
    let image = |origin: &Origin| match origin {
        Origin::Image { first, last, .. } => Some(*first..=*last),
        _ => None,
    };
    explanation.influence.of.iter().filter_map(image).flatten().collect()
}

/// What else it hung on, in words.
pub fn other_influence(explanation: &Explanation) -> BTreeSet<String> {
    let other = |origin: &Origin| match origin {
        Origin::Image { .. } => None,
        Origin::Port { port } => Some(format!("port {port}")),
        Origin::Ram { first, last } => Some(format!("ram {first:X}-{last:X}")),
        Origin::Interrupt { device } => Some(format!("interrupt {device}")),
        Origin::OpenBus { first, last } => Some(format!("open {first:X}-{last:X}")),
    };
    explanation.influence.of.iter().filter_map(other).collect()
}

/// Whether these are all image offsets on which the run hung.
pub fn hangs_on_image(explanation: &Explanation, ranges: &[RangeInclusive<u32>]) -> bool {
    influential(explanation) == ranges.iter().cloned().flatten().collect()
}

/// Whether this is all else on which the run hung.
pub fn hangs_on_others(explanation: &Explanation, others: &[&str]) -> bool {
    other_influence(explanation) == others.iter().map(|other| (*other).to_owned()).collect()
}

/// All compares of texts, those of scans among them.
pub fn compares(explanation: &Explanation) -> Vec<&TextCompare> {
    fn compares(step: &Step) -> Vec<&TextCompare> {
        match step {
            Step::Compare(compare) => vec![compare],
            Step::Scan(scan) => scan.entries.iter().collect(),
            _ => Vec::new(),
        }
    }
    explanation.steps.iter().flat_map(compares).collect()
}

/// All tests of values.
pub fn tests(explanation: &Explanation) -> Vec<&Test> {
    fn test(step: &Step) -> Option<&Test> {
        if let Step::Test(test) = step { Some(test) } else { None }
    }
    explanation.steps.iter().filter_map(test).collect()
}

/// Whether some test found the one value and wanted the other.
pub fn tested(explanation: &Explanation, found: u32, with: u32) -> bool {
    tests(explanation)
        .iter()
        .any(|test| test.found.value == found && test.with.as_ref().is_some_and(|value| value.value == with))
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.split(' ').filter_map(|byte| u8::from_str_radix(byte, 16).ok()).collect()
}

/// Whether a compare agreed for so many bytes of the image from `offset` on, and then found one byte for another.
pub fn differs(compare: &TextCompare, offset: u32, matched: usize, found: u8, wanted: u8) -> bool {
    compare.found.offset == Some(offset)
        && !compare.equal
        && compare.matched == matched
        && bytes(&compare.found.hex).get(matched) == Some(&found)
        && bytes(&compare.with.hex).get(matched) == Some(&wanted)
}

/// Whether a compare agreed for so many bytes from `offset` on, and that was all of them.
pub fn agrees(compare: &TextCompare, offset: u32, matched: usize) -> bool {
    compare.found.offset == Some(offset) && compare.equal && compare.matched == matched
}

/// The bytes that a change sets.
fn set(nearby: &Nearby) -> Option<Vec<(u32, u8)>> {
    let byte = |change: &Change| match change {
        Change::Byte { offset, instead, .. } => Some((*offset, *instead)),
        Change::Port { .. } => None,
    };
    nearby.changes.iter().map(byte).collect()
}

/// Whether just these bytes, changed, are said to end so.
pub fn near(explanation: &Explanation, bytes: &[(u32, u8)], ends: &str) -> bool {
    explanation.nearest.iter().any(|nearby| nearby.ends == ends && set(nearby).is_some_and(|set| set == bytes))
}

/// Whether the change of any one byte among these is said to end so.
pub fn near_in(explanation: &Explanation, offsets: RangeInclusive<u32>, ends: &str) -> bool {
    let one = |set: Vec<(u32, u8)>| matches!(&set[..], [(offset, _)] if offsets.contains(offset));
    explanation.nearest.iter().any(|nearby| nearby.ends == ends && set(nearby).is_some_and(one))
}

/// Whether a value of a port is said to end so.
pub fn near_port(explanation: &Explanation, name: &str, ends: &str) -> bool {
    explanation
        .nearest
        .iter()
        .any(|nearby| nearby.ends == ends && matches!(&nearby.changes[..], [Change::Port { port, .. }] if port == name))
}

/// Whether a value comes from image bytes that hold this.
pub fn holds(from: &[Origin], bytes: &str) -> bool {
    matches!(from, [Origin::Image { holds: Some(holds), .. }] if holds == bytes)
}
