//! Where the nodes and edges of a decision map stand in the picture: ranks from the entry down, few crossings, straight
//! long edges. [`lay_out`] is a pure function; the same map gives the same picture. It knows no colours.

mod draw;
mod order;
mod place;
mod rank;

use serde::Serialize;

use crate::coverage::{DecisionMap, MapNode, NodeKind};
use crate::units;

/// The picture of a decision map; its lists have the order of the map's.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Layout {
    /// Width of the picture.
    pub width: i32,
    /// Height of the picture.
    pub height: i32,
    /// The nodes.
    pub nodes: Vec<PlacedNode>,
    /// The edges; one whose ends are not in the map is left out of the picture.
    pub edges: Vec<Option<PlacedEdge>>,
}

/// A node in the picture.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PlacedNode {
    /// Its left side.
    pub x: i32,
    /// Its upper side.
    pub y: i32,
    /// Its width.
    pub width: i32,
    /// Its height.
    pub height: i32,
    /// Its rank, from 0 down.
    pub rank: usize,
    /// What stands in it.
    pub lines: Vec<String>,
}

/// An edge in the picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlacedEdge {
    /// The line, as the `d` of an SVG path.
    pub d: String,
    /// Its width.
    pub width: f64,
    /// The tip of the arrow.
    pub tip: (i32, i32),
    /// Whether it leads back, to the side of a node that was passed before.
    pub back: bool,
    /// Where its count stands.
    pub label: (i32, i32),
    /// Whether that is where the count ends, not where it starts.
    #[serde(rename = "label-ends")]
    pub label_ends: bool,
}

/// Height of a node, with three lines of text.
const NODE_HEIGHT: i32 = 58;
/// Room between two ranks.
const RANK_GAP: i32 = 50;
/// Room around the picture.
const MARGIN: i32 = 36;
/// Room for the count of an edge.
const COUNT: i32 = 96;
/// About the width of a letter.
const LETTER: f64 = 7.3;
/// Letters of a line; what is longer is cut.
const MOST_LETTERS: usize = 30;

/// An edge with ends that exist.
#[derive(Clone, Copy, Debug)]
struct Link {
    /// Its index in the map.
    index: usize,
    from: usize,
    to: usize,
    /// Whether it leads back.
    back: bool,
}

/// Places a decision map.
pub fn lay_out(map: &DecisionMap) -> Layout {
    let count = map.nodes.len();
    let there = |edge: &(usize, &crate::coverage::MapEdge)| edge.1.from < count && edge.1.to < count;
    let mut links: Vec<Link> = map
        .edges
        .iter()
        .enumerate()
        .filter(there)
        .map(|(index, edge)| Link { index, from: edge.from, to: edge.to, back: false })
        .collect();
    let ranks = rank::rank(count, &mut links);
    let mut nodes: Vec<PlacedNode> = map.nodes.iter().zip(&ranks.of).map(|(node, rank)| sized(node, *rank)).collect();
    let widths: Vec<f64> = nodes.iter().map(|node| f64::from(node.width)).collect();
    let mut layers = order::Layers::new(&links, &ranks);
    layers.untangle();
    let centres = place::centres(&layers, &widths);
    let left = layers
        .slots
        .iter()
        .zip(&centres)
        .map(|(slot, centre)| centre - slot.node.map_or(place::LANE / 2.0, |node| widths[node] / 2.0))
        .fold(f64::INFINITY, f64::min);
    let centres: Vec<i32> = centres.iter().map(|centre| (centre - left).round() as i32 + MARGIN).collect();
    for (slot, centre) in layers.slots.iter().zip(&centres) {
        if let Some(node) = slot.node {
            nodes[node].x = centre - nodes[node].width / 2;
        }
    }
    let width = nodes.iter().map(|node| node.x + node.width).chain(centres.iter().copied()).max().unwrap_or(0) + MARGIN;
    let height = nodes.iter().map(|node| node.y + node.height).max().unwrap_or(0) + MARGIN;
    let edges = draw::edges(map, &links, &layers, &centres, &nodes);
    let counts = edges.iter().flatten().filter(|edge| !edge.label_ends).map(|edge| edge.label.0 + COUNT);
    let width = counts.chain([width]).max().unwrap_or(width);
    Layout { width, height, nodes, edges }
}

/// A node with its text and size, at the height of its rank.
fn sized(node: &MapNode, rank: usize) -> PlacedNode {
    let second = match node.kind {
        NodeKind::Entry | NodeKind::Handler | NodeKind::Branch | NodeKind::Other => {
            node.at.as_ref().map(|at| units::address(at.address))
        }
        NodeKind::Decision | NodeKind::Jump => node.instruction.clone(),
    };
    let cases = match node.cases {
        1 => "1 case".to_owned(),
        cases => format!("{} cases", units::thousands(cases)),
    };
    let lines: Vec<String> =
        [Some(node.name.clone()), second, Some(cases)].into_iter().flatten().map(|line| cut(&line)).collect();
    let letters = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0);
    let width = (letters as f64 * LETTER).round() as i32 + 36;
    let y = MARGIN + i32::try_from(rank).unwrap_or(i32::MAX / 1000) * (NODE_HEIGHT + RANK_GAP);
    PlacedNode { x: 0, y, width, height: NODE_HEIGHT, rank, lines }
}

fn cut(line: &str) -> String {
    let line = units::tame(line);
    if line.chars().count() <= MOST_LETTERS {
        return line.into_owned();
    }
    line.chars().take(MOST_LETTERS - 1).chain(['\u{2026}']).collect()
}

#[cfg(test)]
mod tests;
