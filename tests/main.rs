//! All integration tests in one binary, one topic a module. (`allocation` has a binary of its own: it counts what the
//! whole program allocates.)

mod bad_input;
mod browser;
mod checking;
mod coverage;
mod explaining;
mod fuzzing;
mod machine;
mod manual;
mod proving;
mod random;
mod readme;
mod reference;
mod reports;
mod rom;
mod support;
mod vacuous;
mod vectors;
