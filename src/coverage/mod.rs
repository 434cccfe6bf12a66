//! What the cases of a harness have tried of its routine, and what not.

mod model;

pub use model::{
    Coverage, DecisionMap, Direction, Directions, FieldUse, HeaderByte, Instruction, MapEdge, MapNode, NeverTaken,
    NodeKind, Share, TableEntry,
};
