//! Exit codes, all in one place.

/// Everything held.
pub const HELD: u8 = 0;
/// A case failed, or fuzzing found a promise broken.
pub const FAILED: u8 = 1;
/// Wrong usage or bad input.
pub const BAD_INPUT: u8 = 2;
/// A fault of the tool itself.
pub const FAULT: u8 = 3;
/// Nothing was selected.
pub const NOTHING: u8 = 4;
/// Some case could not be decided, and none failed.
pub const UNDECIDED: u8 = 5;
/// Interrupted, or the reader of the output went away.
pub const INTERRUPTED: u8 = 130;
