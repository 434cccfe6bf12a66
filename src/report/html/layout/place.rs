//! How far to the right each slot stands: near to what it is tied to, in the order of its rank, without overlap.

use super::order::{Layers, Slot};

/// Width of the lane of an edge.
pub const LANE: f64 = 16.0;
/// Room between two nodes.
const GAP: f64 = 34.0;
/// Room beside a lane.
const LANE_GAP: f64 = 10.0;
/// Passes over all ranks.
const PASSES: usize = 14;
/// How much more a lane wants to be straight than a node wants to be in the middle.
const STRAIGHT: f64 = 6.0;

/// Where a slot wants to be, and how much.
#[derive(Clone, Copy, Debug)]
struct Wish {
    at: f64,
    weight: f64,
}

/// The centre of each slot; the leftmost may be below zero.
pub fn centres(layers: &Layers, widths: &[f64]) -> Vec<f64> {
    let width = |slot: &Slot| slot.node.map_or(LANE, |node| widths[node]);
    let mut centres = vec![0.0; layers.slots.len()];
    for row in &layers.rows {
        let wishes = vec![Wish { at: 0.0, weight: 1.0 }; row.len()];
        settle(layers, row, &wishes, &width, &mut centres);
    }
    for pass in 0..PASSES {
        let rows: Vec<&Vec<usize>> =
            if pass % 2 == 0 { layers.rows.iter().collect() } else { layers.rows.iter().rev().collect() };
        // The last passes look both ways, so that no side is torn.
        let (above, below) = if pass + 4 >= PASSES { (true, true) } else { (pass % 2 == 0, pass % 2 == 1) };
        for row in rows {
            let wishes: Vec<Wish> =
                row.iter().map(|slot| wish(layers, *slot, &centres, &width, (above, below))).collect();
            settle(layers, row, &wishes, &width, &mut centres);
        }
    }
    centres
}

fn wish(
    layers: &Layers,
    index: usize,
    centres: &[f64],
    width: &impl Fn(&Slot) -> f64,
    (above, below): (bool, bool),
) -> Wish {
    let slot = &layers.slots[index];
    if let Some(node) = slot.beside {
        let side = centres[node] + (width(&layers.slots[node]) + LANE) / 2.0 + LANE_GAP;
        return Wish { at: side, weight: 1.0 };
    }
    let ties = slot.above.iter().filter(|_| above).chain(slot.below.iter().filter(|_| below));
    let (mut sum, mut weights) = (0.0, 0.0);
    for tie in ties {
        let lanes = slot.node.is_none() && layers.slots[*tie].node.is_none();
        let weight = if lanes { STRAIGHT } else { 1.0 };
        sum += weight * centres[*tie];
        weights += weight;
    }
    if weights == 0.0 { Wish { at: centres[index], weight: 0.1 } } else { Wish { at: sum / weights, weight: weights } }
}

/// Gives a rank the places that fulfil its wishes best (least squares): slots that are in each other's way move as one.
fn settle(layers: &Layers, row: &[usize], wishes: &[Wish], width: &impl Fn(&Slot) -> f64, centres: &mut [f64]) {
    struct Pool {
        at: f64,
        weight: f64,
        count: usize,
    }
    let mut offsets = Vec::with_capacity(row.len());
    let mut offset = 0.0;
    for (position, index) in row.iter().enumerate() {
        let slot = &layers.slots[*index];
        if position > 0 {
            let before = &layers.slots[row[position - 1]];
            let gap = if slot.node.is_some() && before.node.is_some() { GAP } else { LANE_GAP };
            offset += (width(before) + width(slot)) / 2.0 + gap;
        }
        offsets.push(offset);
    }
    let mut pools: Vec<Pool> = Vec::new();
    for (wish, offset) in wishes.iter().zip(&offsets) {
        let mut pool = Pool { at: wish.at - offset, weight: wish.weight, count: 1 };
        while let Some(before) = pools.pop_if(|before| before.at > pool.at) {
            let weight = before.weight + pool.weight;
            let at = (before.at * before.weight + pool.at * pool.weight) / weight;
            pool = Pool { at, weight, count: before.count + pool.count };
        }
        pools.push(pool);
    }
    let places = pools.iter().flat_map(|pool| std::iter::repeat_n(pool.at, pool.count));
    for ((index, offset), at) in row.iter().zip(&offsets).zip(places) {
        centres[*index] = at + offset;
    }
}
