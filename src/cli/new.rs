//! `keyway new`
use super::{Failure, exit};
use clap::Args;
#[derive(Debug, Args)]
pub struct NewArguments {}
pub fn run(_: &NewArguments) -> Result<u8, Failure> {
    Ok(exit::HELD)
}
