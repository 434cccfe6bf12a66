//! Every instruction of a run for people: one line each, with the clock and what passed on the bus.

use std::io::{self, Write};

use anstyle::Style;

use crate::explain::{Ran, Seen};
use crate::units;

const DIM: Style = Style::new().dimmed();

/// Writes the instructions; `unlisted` is how many more there were.
pub fn write(out: &mut impl Write, ran: impl Iterator<Item = Ran>, unlisted: u64) -> io::Result<()> {
    writeln!(out, "  {DIM}{:>10}  {:>5}  instruction{DIM:#}", "clock", "took")?;
    for ran in ran {
        if let Some(exception) = &ran.after {
            writeln!(out, "  {DIM}{:>10}  {:>5}  -- {exception}{DIM:#}", "", "")?;
        }
        let mut notes: Vec<String> = Vec::new();
        notes.extend(ran.reads.iter().map(|seen| format!("{} from {}", number(seen), place(seen))));
        notes.extend(ran.writes.iter().map(|seen| format!("{} to {}", number(seen), place(seen))));
        let notes = if notes.is_empty() { String::new() } else { format!("  {DIM}; {}{DIM:#}", notes.join(", ")) };
        let (clock, took) = (units::thousands(ran.clock), units::thousands(ran.cycles));
        writeln!(out, "  {clock:>10}  {took:>5}  {}  {}{notes}", ran.at, ran.instruction)?;
    }
    if unlisted > 0 {
        writeln!(out, "  and {} more instructions, which are not listed", units::thousands(unlisted))?;
    }
    Ok(())
}

fn number(seen: &Seen) -> String {
    let digits = 2 * seen.width as usize;
    let text: String =
        seen.value.to_be_bytes()[2 - seen.width as usize..].iter().map(|byte| units::printable(*byte)).collect();
    if text.contains('.') {
        format!("0x{:0digits$X}", seen.value)
    } else {
        format!("0x{:0digits$X} {text:?}", seen.value)
    }
}

/// The place, with its address where the name does not have it.
fn place(seen: &Seen) -> String {
    let address = units::address(seen.address);
    if seen.place.contains(&address) { seen.place.clone() } else { format!("{} {address}", units::tame(&seen.place)) }
}
