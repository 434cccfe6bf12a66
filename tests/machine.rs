//! The machine: what the CPU sees, how a run ends, and whether the processor is one.

#[path = "machine/contacts.rs"]
mod contacts;
#[path = "machine/open_bus.rs"]
mod open_bus;
#[path = "machine/ports.rs"]
mod ports;
#[path = "machine/ram.rs"]
mod ram;
#[path = "machine/socket.rs"]
mod socket;
#[path = "machine/support.rs"]
mod support;
