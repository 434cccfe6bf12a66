//! The lines of the edges, through their lanes, from side to side of the nodes.

use std::fmt::Write;

use super::order::Layers;
use super::{Link, NODE_HEIGHT, PlacedEdge, PlacedNode, RANK_GAP};
use crate::coverage::DecisionMap;

/// The thinnest edge that cases took, and how much thicker the thickest is.
const WIDTH: (f64, f64) = (1.5, 5.0);
/// Length of an arrow's head without its line.
const HEAD: i32 = 7;
/// Of a node's side, so much is used by edges, in percent.
const SIDE: i32 = 64;

/// The lines, in the order of the map's edges.
pub fn edges(
    map: &DecisionMap,
    links: &[Link],
    layers: &Layers,
    centres: &[i32],
    nodes: &[PlacedNode],
) -> Vec<Option<PlacedEdge>> {
    let most = map.edges.iter().map(|edge| edge.cases).max().unwrap_or(0);
    let ports = Ports::new(links, layers, centres, nodes);
    let mut edges: Vec<Option<PlacedEdge>> = vec![None; map.edges.len()];
    for (position, link) in links.iter().enumerate() {
        let width = width(map.edges[link.index].cases, most);
        let lanes: Vec<(i32, i32)> = layers.lanes[position]
            .iter()
            .enumerate()
            .map(|(step, lane)| {
                (centres[*lane], nodes[if link.back { link.to } else { link.from }].y + depth(step, link.back))
            })
            .collect();
        let (from, to) = (&nodes[link.from], &nodes[link.to]);
        edges[link.index] = Some(if link.back {
            back(from, to, &lanes, width)
        } else {
            let edge = on((ports.leave[position], from.y + from.height), (ports.enter[position], to.y), &lanes, width);
            // Counts of a node's edges stand on their outer sides.
            let left = ports.leave[position] < from.x + from.width / 2;
            let away = (edge.width.ceil() as i32 + 3) * if left { -1 } else { 1 };
            PlacedEdge { label: (edge.label.0 + away, edge.label.1), label_ends: left, ..edge }
        });
    }
    edges
}

/// How far below its upper node's top the row of a lane begins.
fn depth(step: usize, back: bool) -> i32 {
    let rows = i32::try_from(step).unwrap_or(0) + i32::from(!back);
    rows * (NODE_HEIGHT + RANK_GAP)
}

/// The width of an edge, by the logarithm of its cases.
fn width(cases: u64, most: u64) -> f64 {
    if cases == 0 {
        return WIDTH.0;
    }
    let share = (cases as f64).ln_1p() / (most.max(1) as f64).ln_1p();
    ((WIDTH.0 + WIDTH.1 * share) * 10.0).round() / 10.0
}

/// Where edges touch the lower and upper sides of nodes.
struct Ports {
    leave: Vec<i32>,
    enter: Vec<i32>,
}

impl Ports {
    /// Spreads the edges of each side, in the order of where they come from or go to.
    fn new(links: &[Link], layers: &Layers, centres: &[i32], nodes: &[PlacedNode]) -> Self {
        let centre = |node: usize| nodes[node].x + nodes[node].width / 2;
        let mut leave: Vec<Vec<(i32, usize)>> = vec![Vec::new(); nodes.len()];
        let mut enter = leave.clone();
        for (position, link) in links.iter().enumerate().filter(|(_, link)| !link.back) {
            let lanes = &layers.lanes[position];
            leave[link.from].push((lanes.first().map_or(centre(link.to), |lane| centres[*lane]), position));
            enter[link.to].push((lanes.last().map_or(centre(link.from), |lane| centres[*lane]), position));
        }
        let spread = |sides: Vec<Vec<(i32, usize)>>| {
            let mut ports = vec![0; links.len()];
            for (node, mut side) in sides.into_iter().enumerate() {
                side.sort_unstable();
                let (count, width) = (side.len() as i32, nodes[node].width * SIDE / 100);
                for (index, (_, position)) in side.into_iter().enumerate() {
                    ports[position] = centre(node) - width / 2 + width * (2 * index as i32 + 1) / (2 * count);
                }
            }
            ports
        };
        Self { leave: spread(leave), enter: spread(enter) }
    }
}

/// An edge that leads on: from the lower side of a node to the upper side of another.
fn on(start: (i32, i32), end: (i32, i32), lanes: &[(i32, i32)], width: f64) -> PlacedEdge {
    let mut d = format!("M{} {}", start.0, start.1);
    let mut at = start;
    for (x, top) in lanes.iter().copied() {
        curve(&mut d, at, (x, top));
        at = (x, top + NODE_HEIGHT);
        let _ = write!(d, "V{}", at.1);
    }
    curve(&mut d, at, (end.0, end.1 - HEAD));
    PlacedEdge { d, width, tip: end, back: false, label: (start.0, start.1 + 14), label_ends: false }
}

/// An edge that leads back: from the right side of a node up to the right side of another, or of the same.
fn back(from: &PlacedNode, to: &PlacedNode, lanes: &[(i32, i32)], width: f64) -> PlacedEdge {
    let start = (from.x + from.width, from.y + from.height * 2 / 3);
    let end = (to.x + to.width, to.y + to.height / 3);
    let outer = |index: Option<&(i32, i32)>| index.map_or(start.0.max(end.0) + HEAD, |lane| lane.0);
    let mut at = (outer(lanes.last()), start.1 - 8);
    let mut d = format!("M{} {}Q{} {} {} {}", start.0, start.1, at.0, start.1, at.0, at.1);
    for (x, top) in lanes.iter().rev().skip(1).copied() {
        let _ = write!(d, "V{}", top + NODE_HEIGHT + RANK_GAP);
        curve(&mut d, (at.0, top + NODE_HEIGHT + RANK_GAP), (x, top + NODE_HEIGHT));
        at = (x, top + NODE_HEIGHT);
    }
    let inner = outer(lanes.first());
    let _ = write!(d, "V{}Q{inner} {} {} {}", end.1 + 8, end.1, end.0 + HEAD, end.1);
    PlacedEdge { d, width, tip: end, back: true, label: (start.0 - 8, from.y + from.height + 14), label_ends: false }
}

/// A curve that is upright at both ends.
fn curve(d: &mut String, from: (i32, i32), to: (i32, i32)) {
    let middle = (from.1 + to.1) / 2;
    let _ = write!(d, "C{} {middle} {} {middle} {} {}", from.0, to.0, to.0, to.1);
}
