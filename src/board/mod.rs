//! What the CPU sees: the 24-bit bus with host ROM, socket, RAM, ports and overlays.
//!
//! A [`Map`] is the checked plan of a harness; [`Bus`] is one board in action, and [`Board`] puts an [`Observer`] beside
//! it and serves the CPU core. The bus always answers and notes what went wrong; it never decides what that means.

mod bus;
mod chip;
mod journal;
mod lanes;
mod map;
mod observer;
mod pages;
mod port;
mod ram;
mod saved;
mod socket;
mod trouble;

pub use bus::{Bus, Inputs};
pub use journal::Journal;
pub use map::{Map, MapError, MapParts, Overlay, Place, RamArea, WaitStates, Whose};
pub use observer::{Access, Board, Cycle, Observer, extension_words};
pub use port::{Change, Port, PortSize, PortWrite, Schedule};
pub use ram::RamFill;
pub use saved::SavedBus;
pub use socket::{BUS_MASK, shown_offset, steady_byte};
pub use trouble::{AccessKind, EarlyRead, Remap, STRAYS_KEPT, Stray, StrayKind, Troubles};

/// The address to which a called routine returns, which is no address: nothing is on the bus when it is fetched there.
/// No 24-bit address equals it, and no absolute short one either, which would be sign-extended.
pub const RETURN_ADDRESS: u32 = 0xA5FF_FFF0;

/// What a read finds where nothing answers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OpenBus {
    /// Every line reads 1 (pull-ups).
    Ones,
    /// Every line reads 0 (pull-downs).
    Zeros,
    /// The last word that was on the bus.
    #[default]
    Floating,
    /// Seeded noise, another word on every access.
    Noise,
    /// Nothing acknowledges (no DTACK): a bus error.
    BusError,
}
