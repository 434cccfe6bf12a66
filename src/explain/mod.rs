//! Why a run went where it went: its data followed from outside to the decisions.

mod model;

pub use model::{
    ByteDecisions, Change, ExceptionStep, Explanation, Influence, Jump, Lookup, Nearby, Omitted, Origin, PortStep,
    Scan, Step, Test, Text, TextCompare, Told, Value, Went,
};
