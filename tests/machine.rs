//! The machine: what the CPU sees, how a run ends, and whether the processor is one.

#[path = "machine/address_errors.rs"]
mod address_errors;
#[path = "machine/contacts.rs"]
mod contacts;
#[path = "machine/crashes.rs"]
mod crashes;
#[path = "machine/endings.rs"]
mod endings;
#[path = "machine/hangs.rs"]
mod hangs;
#[path = "machine/lockstep.rs"]
mod lockstep;
#[path = "machine/map.rs"]
mod map;
#[path = "machine/open_bus.rs"]
mod open_bus;
#[path = "machine/other_board.rs"]
mod other_board;
#[path = "machine/ports.rs"]
mod ports;
#[path = "machine/published.rs"]
mod published;
#[path = "machine/ram.rs"]
mod ram;
#[path = "machine/robust.rs"]
mod robust;
#[path = "machine/socket.rs"]
mod socket;
#[path = "machine/support.rs"]
mod support;
