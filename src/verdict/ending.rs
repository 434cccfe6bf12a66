//! How a run ended, as people read it.

use super::Names;
use crate::board::{AccessKind, Place};
use crate::cpu::Exception;
use crate::run::{Crash, End, Interrupt, Limit, Outcome, Wrong};
use crate::units;

/// How a run ended in a word or two: the name of the branch, "crash", "hang".
pub fn short_ending(outcome: &Outcome, names: Names) -> String {
    match outcome.end {
        End::Branch(index) => names.rig.branches[index].name.clone(),
        End::NoBranch(_) => "no branch".to_owned(),
        End::Returned => "returned".to_owned(),
        End::Crashed(crash) => crash.exception.name(),
        End::Halted(_) => "double fault".to_owned(),
        End::Stopped => "stopped".to_owned(),
        End::LeftHost { .. } => "left the host".to_owned(),
        End::Hung { .. } => "hang".to_owned(),
        End::Limit(_) => "limit".to_owned(),
    }
}

/// How a run ended, as the start of a sentence.
pub fn ending(outcome: &Outcome, names: Names) -> String {
    let last = names.spot(outcome.last);
    match outcome.end {
        End::Branch(index) => format!("took {}", names.branch(index)),
        End::NoBranch(Some(exit)) => {
            format!("came to the exit {}, where no branch's `when` holds", names.spot(exit))
        }
        End::NoBranch(None) => "returned, but no branch's `when` holds".to_owned(),
        End::Returned => format!("returned at {last} without coming to a branch"),
        End::Crashed(crash) => crashed(crash, outcome, names),
        End::Halted(exception) => {
            format!(
                "halted at {last}: double fault while entering the handler of {} {}",
                article(exception),
                exception.name()
            )
        }
        End::Stopped => format!("stopped for ever at {last}: STOP{}", stopped(outcome, names)),
        End::LeftHost { to, place } => {
            let place = match place {
                Place::Nothing => "where nothing is mapped",
                place => names.rig.map.place_name(place),
            };
            format!("left the host ROM at {last} for {} ({place})", units::address(to))
        }
        End::Hung { first, last, period } => format!(
            "hangs in the loop {} to {}: the same state after every {} instructions{}",
            names.spot(first),
            names.spot(last),
            units::thousands(period),
            held_back(outcome, names)
        ),
        End::Limit(limit) => {
            let limits = names.rig.routine.limits;
            let (count, what) = match limit {
                Limit::Instructions => (limits.instructions, "instructions"),
                Limit::Cycles => (limits.cycles, "cycles"),
            };
            format!("was given up at {last} after {} {what}, the limit", units::thousands(count))
        }
    }
}

/// Why nothing wakes a processor that has stopped.
fn stopped(outcome: &Outcome, names: Names) -> String {
    let (devices, mask) = (&names.rig.interrupts, outcome.registers.sr.interrupt_mask);
    if devices.is_empty() {
        return ", and nothing to wake it".to_owned();
    }
    let passes = |level: u8| level > mask || level == 7;
    if devices.iter().any(|device| passes(device.level)) {
        return format!(" with the interrupt mask at {mask}, and no request to come that passes it");
    }
    let levels = devices.iter().map(|device| format!("{} (level {})", device.name, device.level));
    let levels = levels.collect::<Vec<_>>().join(", ");
    format!(" with the interrupt mask at {mask}, which holds back all there is: {levels}")
}

/// The request that waits while a loop goes round.
fn held_back(outcome: &Outcome, names: Names) -> String {
    let Some(device) = outcome.held_back.map(|index| &names.rig.interrupts[index]) else { return String::new() };
    let mask = outcome.registers.sr.interrupt_mask;
    format!(", while the interrupt mask at {mask} holds back {} (level {})", device.name, device.level)
}

/// How far behind the start of an instruction the processor fetches before it is done: ten bytes of the longest one,
/// and the second of the next two words.
const FURTHEST_PREFETCH: u32 = 12;

fn crashed(crash: Crash, outcome: &Outcome, names: Names) -> String {
    let device = match crash.handler {
        Wrong::NoServiceRoutine { device, .. } => names.rig.interrupts.get(device),
        _ => None,
    };
    let vector = device.map_or(crash.exception.vector(), Interrupt::vector);
    let whose = device.map_or(String::new(), |device| format!(" of {}", device.name));
    let article = article(crash.exception);
    let access = crash.access.map(|(address, kind)| {
        let ahead = address.wrapping_sub(outcome.last);
        let verb = match kind {
            AccessKind::Fetch if (2..=FURTHEST_PREFETCH).contains(&ahead) => "prefetching",
            AccessKind::Fetch => "fetching from",
            AccessKind::Read => "reading",
            AccessKind::Write => "writing",
        };
        format!(", {verb} {}", units::address(address))
    });
    let handler = match crash.handler {
        Wrong::NotHandled => String::new(),
        Wrong::NoHandler(value) | Wrong::NoServiceRoutine { value, .. } => {
            format!("; its vector holds {}, no handler in the host ROM", units::address(value))
        }
    };
    format!(
        "crashed at {} with {article} {}{whose} (vector {vector}){}{handler}",
        names.spot(outcome.last),
        crash.exception.name(),
        access.unwrap_or_default()
    )
}

fn article(exception: Exception) -> &'static str {
    if exception.name().starts_with(['a', 'i']) { "an" } else { "a" }
}
