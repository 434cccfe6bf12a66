//! What the cases of a harness have tried of its routine, and what not.
//!
//! A [`CoverageObserver`] counts during the runs of one checker; [`Gathered`] is the sum over all of them. [`build()`]
//! holds that against the static control flow ([`Flow`]) and makes the model, [`Coverage`], that reporters render.
//! Which entries of host tables never matched, and how many decisions hung on a header byte, the checker adds: that
//! takes runs that follow data, one for each of the [`Gathered::paths`].

mod build;
mod flow;
mod gather;
mod header;
mod map;
mod model;
mod observer;
mod reasons;
mod stretches;

pub use build::{build, has_lines};
pub use flow::{Flow, Step};
pub use gather::{CaseNumber, Counts, Followed, Gathered, Goal, PathSeen, Stop, TableSeen, WayKey};
pub use header::GatheredHeader;
pub use model::{
    Coverage, DecisionMap, Direction, Directions, FieldUse, Function, HeaderByte, Instruction, MapEdge, MapNode,
    NeverTaken, NodeKind, Share, Stretch, TableEntry,
};
pub use observer::CoverageObserver;
