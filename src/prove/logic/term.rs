//! The pool of terms. Equal terms are one node and one number ([`Term`]), so they compare in no time and share work; an
//! operand always has a smaller number than what is made of it. Constructors are in `simplify`.

use std::sync::atomic::{AtomicU64, Ordering};

use super::hash::{FastMap, mix};
use super::model::Unknown;
use super::view::View;

/// A term of a pool.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Term(u32);

/// A pool of bit-vector terms of 1 to 64 bits.
pub struct Terms {
    nodes: Vec<Node>,
    /// Open addressing over `nodes`; `EMPTY` is free. Its length is a power of two, at least twice that of `nodes`.
    table: Vec<u32>,
    unknowns: FastMap<Unknown, Term>,
    identity: u64,
}

const EMPTY: u32 = u32::MAX;

/// Tells pools apart: a solver forgets what it knows when it is asked about another pool. Nothing else depends on it.
static POOLS: AtomicU64 = AtomicU64::new(0);

#[derive(Clone, Copy, PartialEq, Eq)]
struct Node {
    view: View,
    width: u8,
    /// How many one-bit terms this is the conjunction of, counted up to a bound.
    conjuncts: u32,
}

impl Default for Terms {
    fn default() -> Self {
        Self::new()
    }
}

impl Terms {
    /// An empty pool.
    pub fn new() -> Self {
        Self {
            nodes: Vec::new(),
            table: vec![EMPTY; 1024],
            unknowns: FastMap::default(),
            identity: POOLS.fetch_add(1, Ordering::Relaxed),
        }
    }

    /// The term of an unknown: the same one whenever it is asked for. Its width is the one of the first time.
    pub fn unknown(&mut self, unknown: Unknown, width: u32) -> Term {
        if let Some(&term) = self.unknowns.get(&unknown) {
            return term;
        }
        let term = self.intern(View::Unknown(unknown), width);
        self.unknowns.insert(unknown, term);
        term
    }

    /// What a term is made of.
    pub fn view(&self, term: Term) -> View {
        self.nodes[term.index()].view
    }

    /// How many different terms were made.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether none was made.
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    pub(super) fn width_of(&self, term: Term) -> u32 {
        u32::from(self.nodes[term.index()].width)
    }

    pub(super) fn conjuncts(&self, term: Term) -> u32 {
        self.nodes[term.index()].conjuncts
    }

    pub(super) fn identity(&self) -> u64 {
        self.identity
    }

    pub(super) fn known_of(&self, term: Term) -> Option<u64> {
        match self.view(term) {
            View::Number(value) => Some(value),
            _ => None,
        }
    }

    /// The node of an operation as it is, without simplification.
    pub(super) fn intern(&mut self, view: View, width: u32) -> Term {
        let mask = self.table.len() - 1;
        let mut slot = hash(view, width) as usize & mask;
        loop {
            let found = self.table[slot];
            if found == EMPTY {
                break;
            }
            let node = &self.nodes[found as usize];
            if node.view == view && u32::from(node.width) == width {
                return Term(found);
            }
            slot = (slot + 1) & mask;
        }
        let term = Term(self.nodes.len() as u32);
        let conjuncts = match view {
            View::And(left, right) if width == 1 => self.conjuncts(left).saturating_add(self.conjuncts(right)),
            _ => 1,
        };
        self.nodes.push(Node { view, width: width as u8, conjuncts });
        self.table[slot] = term.0;
        if self.nodes.len() * 2 > self.table.len() {
            self.grow();
        }
        term
    }

    fn grow(&mut self) {
        let mut table = vec![EMPTY; self.table.len() * 2];
        let mask = table.len() - 1;
        for (index, node) in self.nodes.iter().enumerate() {
            let mut slot = hash(node.view, u32::from(node.width)) as usize & mask;
            while table[slot] != EMPTY {
                slot = (slot + 1) & mask;
            }
            table[slot] = index as u32;
        }
        self.table = table;
    }
}

impl Term {
    pub(super) fn index(self) -> usize {
        self.0 as usize
    }
}

/// The hash of a node.
fn hash(view: View, width: u32) -> u64 {
    use View::*;
    let pair = |left: Term, right: Term| u64::from(left.0) << 32 | u64::from(right.0);
    let (tag, first, second) = match view {
        Number(value) => (0, value, 0),
        Unknown(unknown) => (1, u64::from(unknown.0), 0),
        Not(of) => (2, u64::from(of.0), 0),
        And(left, right) => (3, pair(left, right), 0),
        Or(left, right) => (4, pair(left, right), 0),
        Xor(left, right) => (5, pair(left, right), 0),
        Add(left, right) => (6, pair(left, right), 0),
        Sub(left, right) => (7, pair(left, right), 0),
        Mul(left, right) => (8, pair(left, right), 0),
        Quotient(left, right) => (9, pair(left, right), 0),
        Remainder(left, right) => (10, pair(left, right), 0),
        ShiftLeft(left, right) => (11, pair(left, right), 0),
        ShiftRight(left, right) => (12, pair(left, right), 0),
        ShiftRightSigned(left, right) => (13, pair(left, right), 0),
        Equal(left, right) => (14, pair(left, right), 0),
        Less(left, right) => (15, pair(left, right), 0),
        Either(condition, then, other) => (16, pair(then, other), u64::from(condition.0)),
        Part(of, low) => (17, u64::from(of.0), u64::from(low)),
        Join(high, low) => (18, pair(high, low), 0),
    };
    mix(mix(first, tag << 8 | u64::from(width)), second)
}
