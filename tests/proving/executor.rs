//! The executor against the processor, and what it says of values that are not known. (The published vectors run through
//! it in `vectors`.)

mod blind;
mod bus;
mod lockstep;
mod partly;
mod script;
mod trail;
