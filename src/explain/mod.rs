//! Why a run went where it went: its data followed from outside to the decisions.

mod apply;
mod event;
mod evidence;
mod fold;
mod follow;
mod instructions;
mod model;
mod name;
mod nearest;
mod op;
mod shadow;
#[cfg(test)]
mod soundness;
mod sources;
mod tell;
mod texts;
mod tracer;
mod wires;

pub use instructions::{Instructions, MOST_LISTED, Ran, Seen};
pub use model::{
    ByteDecisions, Change, Compared, Decided, Evidence, ExceptionStep, Explanation, Influence, Jump, Look, Lookup,
    Nearby, Omitted, Origin, PortStep, Scan, Step, Test, Text, TextCompare, Told, Value, Went,
};
pub use nearest::Search;
pub use tracer::Tracer;
