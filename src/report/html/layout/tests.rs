use super::*;
use crate::coverage::MapEdge;

fn map(count: usize, edges: &[(usize, usize, u64)]) -> DecisionMap {
    let node = |index: usize| MapNode {
        kind: if index == 0 { NodeKind::Entry } else { NodeKind::Decision },
        name: format!("node{index}"),
        at: None,
        instruction: Some("beq.s 0x000246 <find_product>".to_owned()),
        cases: 3,
    };
    let edge = |&(from, to, cases): &(usize, usize, u64)| MapEdge { from, to, taken: None, cases };
    DecisionMap { nodes: (0..count).map(node).collect(), edges: edges.iter().map(edge).collect() }
}

/// The same map whatever the machine: a chain of `count` nodes with exits, loops and shortcuts.
fn large(count: usize) -> DecisionMap {
    let mut edges = Vec::new();
    for node in 0..count - 1 {
        edges.push((node, node + 1, 9));
        edges.push((node, (node * 7 + 3) % count, (node % 4) as u64));
    }
    map(count, &edges)
}

fn overlap(one: &PlacedNode, other: &PlacedNode) -> bool {
    one.x < other.x + other.width
        && other.x < one.x + one.width
        && one.y < other.y + other.height
        && other.y < one.y + one.height
}

#[test]
fn ranks_go_down_except_for_edges_that_lead_back() {
    // 0 -> 1 -> 2 -> 1 is a loop, 2 -> 2 a loop of its own, and 0 -> 3 passes two ranks.
    let layout = lay_out(&map(4, &[(0, 1, 5), (1, 2, 5), (2, 1, 2), (2, 2, 1), (2, 3, 4), (0, 3, 1)]));
    let ranks: Vec<usize> = layout.nodes.iter().map(|node| node.rank).collect();
    assert_eq!(ranks, [0, 1, 2, 3]);
    let back: Vec<bool> = layout.edges.iter().flatten().map(|edge| edge.back).collect();
    assert_eq!(back, [false, false, true, true, false, false]);
}

#[test]
fn nothing_overlaps_and_everything_is_inside() {
    for map in [large(5), large(60), large(300)] {
        let layout = lay_out(&map);
        for (index, node) in layout.nodes.iter().enumerate() {
            assert!(node.x >= 0 && node.x + node.width <= layout.width, "{index} of {}: {node:?}", layout.nodes.len());
            assert!(node.y >= 0 && node.y + node.height <= layout.height);
            assert!(!layout.nodes[..index].iter().any(|other| overlap(node, other)), "{index}: {node:?}");
        }
        assert_eq!(layout, lay_out(&map));
    }
}

#[test]
fn crossings_that_can_be_avoided_are() {
    // Two levels joined crosswise: 1 leads to 4 and 2 to 3.
    let layout = lay_out(&map(5, &[(0, 1, 1), (0, 2, 1), (1, 4, 1), (2, 3, 1)]));
    let left_to_right = |one: usize, other: usize| layout.nodes[one].x < layout.nodes[other].x;
    assert_eq!(left_to_right(1, 2), left_to_right(4, 3));
}

#[test]
fn a_straight_chain_is_straight() {
    let layout = lay_out(&map(5, &[(0, 1, 1), (1, 2, 1), (2, 3, 1), (3, 4, 1)]));
    let centre = |node: &PlacedNode| node.x + node.width / 2;
    assert!(layout.nodes.iter().all(|node| (centre(node) - centre(&layout.nodes[0])).abs() <= 1));
}

#[test]
fn more_cases_make_a_thicker_edge() {
    let layout = lay_out(&map(4, &[(0, 1, 0), (0, 2, 10), (0, 3, 10_000)]));
    let widths: Vec<f64> = layout.edges.iter().flatten().map(|edge| edge.width).collect();
    assert!(widths[0] < widths[1] && widths[1] < widths[2], "{widths:?}");
    assert_eq!(widths[2], 6.5);
}

#[test]
fn odd_maps_are_drawn_too() {
    assert_eq!(lay_out(&DecisionMap::default()).nodes.len(), 0);
    let layout = lay_out(&map(2, &[(0, 7, 1), (7, 0, 1), (1, 0, 1)]));
    assert_eq!(layout.edges.iter().map(Option::is_some).collect::<Vec<_>>(), [false, false, true]);
    let deep = lay_out(&large(5000));
    assert_eq!(deep.nodes.len(), 5000);
}
