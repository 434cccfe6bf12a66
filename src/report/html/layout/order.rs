//! The order of nodes within their ranks, so that few edges cross. A long edge passes through a lane in every rank
//! between its ends; an edge that leads back starts and ends in a lane beside its nodes.

use super::Link;
use super::rank::Ranks;

/// Sweeps over all ranks.
const SWEEPS: usize = 16;
/// Sweeps over pictures so large that nobody sees the difference.
const FEW_SWEEPS: usize = 3;
/// So many slots make a large picture.
const LARGE: usize = 20_000;

/// So many lanes at the most. The longest edges of a huge map go straight from node to node, behind whatever lies between.
const MOST_LANES: usize = 20_000;

/// A place in a rank: a node, or the lane of an edge.
#[derive(Clone, Debug)]
pub struct Slot {
    /// The node; a lane has none.
    pub node: Option<usize>,
    /// For the first and last lane of an edge that leads back: the node beside which it runs.
    pub beside: Option<usize>,
    /// Slots of the rank above to which it is tied.
    pub above: Vec<usize>,
    /// Slots of the rank below.
    pub below: Vec<usize>,
    start: usize,
}

/// All ranks.
#[derive(Debug)]
pub struct Layers {
    /// The slots; those of the nodes come first and have their numbers.
    pub slots: Vec<Slot>,
    /// By rank: its slots from left to right.
    pub rows: Vec<Vec<usize>>,
    /// By link: the slots that it passes through, from the upper end to the lower, without the nodes.
    pub lanes: Vec<Vec<usize>>,
}

impl Layers {
    /// Slots for all nodes and links, in the order in which a walk meets them.
    pub fn new(links: &[Link], ranks: &Ranks) -> Self {
        let slot = |node: usize| Slot {
            node: Some(node),
            beside: None,
            above: Vec::new(),
            below: Vec::new(),
            start: ranks.met[node] * 2,
        };
        let depth = ranks.of.iter().max().map_or(0, |deepest| deepest + 1);
        let mut layers =
            Self { slots: (0..ranks.of.len()).map(slot).collect(), rows: vec![Vec::new(); depth], lanes: Vec::new() };
        for (node, rank) in ranks.of.iter().enumerate() {
            layers.rows[*rank].push(node);
        }
        let longest = longest(links, ranks);
        for link in links {
            let lanes = match link.back {
                _ if span(link, ranks) > longest => Vec::new(),
                true => layers.lead_back(link, ranks),
                false => layers.lead_on(link, ranks),
            };
            layers.lanes.push(lanes);
        }
        for row in &mut layers.rows {
            row.sort_by_key(|slot| (layers.slots[*slot].start, *slot));
        }
        layers
    }

    fn lead_on(&mut self, link: &Link, ranks: &Ranks) -> Vec<usize> {
        let start = ranks.met[link.to] * 2;
        let inner = ranks.of[link.from] + 1..ranks.of[link.to];
        let lanes: Vec<usize> = inner.map(|rank| self.lane(rank, start, None)).collect();
        let chain: Vec<usize> = [link.from].into_iter().chain(lanes.iter().copied()).chain([link.to]).collect();
        self.tie(&chain);
        lanes
    }

    fn lead_back(&mut self, link: &Link, ranks: &Ranks) -> Vec<usize> {
        let (upper, lower) = (ranks.of[link.to], ranks.of[link.from]);
        let start = ranks.met[link.to] * 2 + 1;
        let lanes: Vec<usize> = (upper..=lower)
            .map(|rank| {
                let beside = [(upper, link.to), (lower, link.from)].into_iter().find(|(end, _)| *end == rank);
                self.lane(rank, start, beside.map(|(_, node)| node))
            })
            .collect();
        self.tie(&lanes);
        lanes
    }

    fn lane(&mut self, rank: usize, start: usize, beside: Option<usize>) -> usize {
        self.slots.push(Slot { node: None, beside, above: Vec::new(), below: Vec::new(), start });
        self.rows[rank].push(self.slots.len() - 1);
        self.slots.len() - 1
    }

    fn tie(&mut self, chain: &[usize]) {
        for pair in chain.windows(2) {
            self.slots[pair[0]].below.push(pair[1]);
            self.slots[pair[1]].above.push(pair[0]);
        }
    }

    /// Sorts each rank by where its slots are tied to, down and up again, and keeps the best order.
    pub fn untangle(&mut self) {
        for row in 0..self.rows.len() {
            self.sort(row, &[], true);
        }
        let mut best = (self.crossings(), self.rows.clone());
        for sweep in 0..if self.slots.len() > LARGE { FEW_SWEEPS } else { SWEEPS } {
            let down = sweep % 2 == 0;
            let order: Vec<usize> = if down {
                (1..self.rows.len()).collect()
            } else {
                (0..self.rows.len().saturating_sub(1)).rev().collect()
            };
            let mut positions = self.positions();
            for row in order {
                self.sort(row, &positions, down);
                for (position, slot) in self.rows[row].iter().enumerate() {
                    positions[*slot] = position;
                }
            }
            let crossings = self.crossings();
            if crossings < best.0 {
                best = (crossings, self.rows.clone());
            }
        }
        self.rows = best.1;
    }

    /// Sorts a rank by the mean position of what its slots are tied to; lanes beside a node follow it.
    fn sort(&mut self, row: usize, positions: &[usize], down: bool) {
        let mut keyed: Vec<(f64, usize)> = Vec::new();
        let mut beside: Vec<usize> = Vec::new();
        for (position, slot) in self.rows[row].iter().enumerate() {
            if self.slots[*slot].beside.is_some() {
                beside.push(*slot);
                continue;
            }
            let ties = if down { &self.slots[*slot].above } else { &self.slots[*slot].below };
            let known = ties.iter().filter_map(|tie| positions.get(*tie));
            let sum: usize = known.clone().sum();
            let count = known.count();
            keyed.push((if count == 0 { position as f64 } else { sum as f64 / count as f64 }, *slot));
        }
        keyed.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut sorted = Vec::with_capacity(self.rows[row].len());
        for (_, slot) in keyed {
            sorted.push(slot);
            sorted.extend(beside.iter().filter(|lane| self.slots[**lane].beside == self.slots[slot].node));
        }
        self.rows[row] = sorted;
    }

    /// By slot: its position in its rank.
    fn positions(&self) -> Vec<usize> {
        let mut positions = vec![0; self.slots.len()];
        for row in &self.rows {
            for (position, slot) in row.iter().enumerate() {
                positions[*slot] = position;
            }
        }
        positions
    }

    /// How many pairs of edges cross.
    pub fn crossings(&self) -> u64 {
        let positions = self.positions();
        let mut crossings = 0;
        for pair in self.rows.windows(2) {
            let mut sums = Sums::new(pair[1].len());
            let mut before = 0;
            for slot in &pair[0] {
                let mut ends: Vec<usize> = self.slots[*slot].below.iter().map(|below| positions[*below]).collect();
                ends.sort_unstable();
                crossings += ends.iter().map(|end| before - sums.up_to(*end)).sum::<u64>();
                ends.iter().for_each(|end| sums.add(*end));
                before += ends.len() as u64;
            }
        }
        crossings
    }
}

/// How many ranks a link passes, or nearly.
fn span(link: &Link, ranks: &Ranks) -> usize {
    ranks.of[link.from].abs_diff(ranks.of[link.to])
}

/// The longest link that still gets lanes.
fn longest(links: &[Link], ranks: &Ranks) -> usize {
    let mut spans: Vec<usize> = links.iter().map(|link| span(link, ranks)).collect();
    spans.sort_unstable();
    let mut lanes = 0;
    let fitting = spans.iter().take_while(|span| {
        lanes += **span;
        lanes <= MOST_LANES
    });
    fitting.last().copied().unwrap_or(0)
}

/// Counts by position, with quick sums of the first so many.
struct Sums(Vec<u64>);

impl Sums {
    fn new(length: usize) -> Self {
        Self(vec![0; length + 1])
    }

    fn add(&mut self, position: usize) {
        let mut index = position + 1;
        while index < self.0.len() {
            self.0[index] += 1;
            index += index & index.wrapping_neg();
        }
    }

    /// Of the positions up to this one and with it.
    fn up_to(&self, position: usize) -> u64 {
        let mut index = (position + 1).min(self.0.len() - 1);
        let mut sum = 0;
        while index > 0 {
            sum += self.0[index];
            index &= index - 1;
        }
        sum
    }
}
