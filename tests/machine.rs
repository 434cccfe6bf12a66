//! The machine: what the CPU sees, how a run ends, and whether the processor is one.

mod address_errors;
mod bus_errors;
mod contacts;
mod crashes;
mod endings;
mod hangs;
mod interrupts;
mod lockstep;
mod map;
mod open_bus;
mod other_board;
mod ports;
mod prefetch;
mod published;
mod ram;
mod remaps;
mod robust;
mod socket;
mod support;
mod waits;
