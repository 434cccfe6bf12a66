//! Compares one outcome with one expectation and says every way in which they differ.

use std::ops::Range;

use super::{Decision, Expectation, Names, Reason, Wanted, Why, Within, ending};
use crate::board::{Bus, EarlyRead, PortSize, Remap, StrayKind};
use crate::run::{Cell, End, Outcome, Rig};
use crate::units;

/// What no run may do, by a harness or by a case. By default nothing is forbidden.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Forbid {
    /// Writes that land nowhere.
    pub writes_outside_map: bool,
    /// Reads where nothing is mapped.
    pub reads_outside_map: bool,
    /// RAM read before it was written.
    pub reads_ram_before_writing: bool,
    /// Port values that are not declared.
    pub undeclared_port_writes: bool,
    /// Code that remaps itself.
    pub executes_remapped: bool,
}

impl Forbid {
    /// What either forbids.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self {
            writes_outside_map: self.writes_outside_map || other.writes_outside_map,
            reads_outside_map: self.reads_outside_map || other.reads_outside_map,
            reads_ram_before_writing: self.reads_ram_before_writing || other.reads_ram_before_writing,
            undeclared_port_writes: self.undeclared_port_writes || other.undeclared_port_writes,
            executes_remapped: self.executes_remapped || other.executes_remapped,
        }
    }
}

/// Every reason why an outcome is not what was wanted; none if it is. `stray_read` is the first read of the attached
/// image that the expectation's `reads` does not allow, as (address, offset, program counter).
pub fn judge(
    outcome: &Outcome,
    wanted: &Expectation,
    forbid: Forbid,
    stray_read: Option<(u32, Option<u32>, u32)>,
    names: Names,
) -> Vec<Reason> {
    let mut judge = Judge { outcome, wanted, names, reasons: Vec::new() };
    judge.branch();
    judge.specification();
    judge.shows();
    judge.writes();
    judge.leaves();
    judge.cells();
    judge.within(wanted.within);
    judge.reads(stray_read);
    judge.forbidden(forbid.or(wanted.forbid));
    judge.reasons
}

/// What is compared, and the reasons found so far. What it says of ports stands in `ports`.
pub(super) struct Judge<'a> {
    pub outcome: &'a Outcome,
    pub wanted: &'a Expectation,
    pub names: Names<'a>,
    reasons: Vec<Reason>,
}

impl Judge<'_> {
    pub fn add(&mut self, why: Why, text: String) {
        self.reasons.push(Reason::new(why, text));
    }

    /// The branch, and the branches that must never be taken.
    fn branch(&mut self) {
        let Some(reached) = self.outcome.branch() else {
            let why = if matches!(self.outcome.end, End::Limit(_)) { Why::Limit } else { Why::Branch };
            let text = format!("{}; wanted {}", ending(self.outcome, self.names), self.wish());
            return self.add(why, text);
        };
        let fits = match &self.wanted.branch {
            Wanted::Branches(list) => list.contains(&reached),
            Wanted::Kind(kind) => self.names.rig.branches[reached].kind == *kind,
            Wanted::Specified => match self.wanted.specified {
                Decision::Branch { branch, .. } => branch == reached,
                // Such a case is refused when it is loaded.
                Decision::Unclear(_) | Decision::Silent => false,
            },
            Wanted::Any => true,
        };
        if !fits {
            let text = format!("took {}; wanted {}", self.names.branch(reached), self.wish());
            self.add(Why::Branch, text);
        }
        if self.wanted.never.contains(&reached) {
            self.add(Why::Never, format!("took {}, which must never be taken here", self.names.branch(reached)));
        }
    }

    fn wish(&self) -> String {
        match &self.wanted.branch {
            Wanted::Branches(list) => self.names.branches(list),
            Wanted::Kind(kind) => format!("any {} branch", kind.name()),
            Wanted::Specified => match self.wanted.specified {
                Decision::Branch { branch, rule } => {
                    format!("{} (acceptance rule {})", self.names.branches(&[branch]), rule + 1)
                }
                Decision::Unclear(_) | Decision::Silent => "a branch of the acceptance table".to_owned(),
            },
            Wanted::Any => "any branch".to_owned(),
        }
    }

    /// Case and acceptance table must not contradict each other, whatever the routine does.
    fn specification(&mut self) {
        let Decision::Branch { branch, rule } = self.wanted.specified else { return };
        let agree = match &self.wanted.branch {
            Wanted::Branches(list) => list.contains(&branch),
            Wanted::Kind(kind) => self.names.rig.branches[branch].kind == *kind,
            Wanted::Specified | Wanted::Any => true,
        };
        let agree = agree && !self.wanted.never.contains(&branch);
        if !agree {
            let text = format!(
                "the acceptance table (rule {}) says {} for this cartridge, the case says {}",
                rule + 1,
                self.names.branches(&[branch]),
                if self.wanted.never.contains(&branch) {
                    format!("never {}", self.names.branches(&[branch]))
                } else {
                    self.wish()
                }
            );
            self.add(Why::Specification, text);
        } else if let Some(reached) = self.outcome.branch()
            && reached != branch
            && !self.reasons.iter().any(|reason| reason.why == Why::Branch)
        {
            // A case that allows several branches does not make the table allow them.
            let text = format!(
                "took {}; the acceptance table (rule {}) says {}",
                self.names.branch(reached),
                rule + 1,
                self.names.branches(&[branch])
            );
            self.add(Why::Branch, text);
        }
    }

    fn shows(&mut self) {
        let Some(reached) = self.outcome.branch() else { return };
        for shows in &self.wanted.shows {
            let Some((_, probe)) = shows.probes.iter().find(|(branch, _)| *branch == reached) else {
                let text = format!("{} does not show `{}`", self.names.branches(&[reached]), shows.name);
                self.add(Why::Shows, text);
                continue;
            };
            let found = self.outcome.probes[*probe];
            // What nothing has written was left behind by nothing; that it is as wanted would be luck.
            if found.value != shows.value || !found.known && !shows.cleared {
                let text = format!(
                    "`{}` shows {}; wanted {}",
                    shows.name,
                    value(found.value, found.known),
                    number(shows.value)
                );
                self.add(Why::Shows, text);
            }
        }
    }

    fn cells(&mut self) {
        if matches!(self.outcome.end, End::Limit(_)) {
            return;
        }
        for (probe, cell, wanted) in &self.wanted.cells {
            let found = self.outcome.probes[*probe];
            if found.value != *wanted {
                let text = format!("{cell} holds {}; wanted {}", value(found.value, found.known), number(*wanted));
                self.add(Why::Value, text);
            }
        }
    }

    fn within(&mut self, within: Within) {
        let (instructions, cycles) = (self.outcome.instructions, self.outcome.cycles);
        let over = |what: &str, found: u64, most: Option<u64>| {
            let most = most.filter(|most| found > *most)?;
            Some(format!("took {} {what}; at most {} wanted", units::thousands(found), units::thousands(most)))
        };
        let mut texts: Vec<String> =
            [over("instructions", instructions, within.instructions), over("cycles", cycles, within.cycles)]
                .into_iter()
                .flatten()
                .collect();
        if let Some((nanoseconds, hertz)) = within.time {
            // Exact: cycles / hertz > nanoseconds / 10^9, without division.
            let over = u128::from(cycles) * 1_000_000_000 > u128::from(nanoseconds) * u128::from(hertz);
            if over {
                texts.push(format!(
                    "took {:.3} ms ({} cycles); at most {} ms wanted",
                    units::milliseconds(cycles, hertz),
                    units::thousands(cycles),
                    nanoseconds as f64 / 1e6
                ));
            }
        }
        for text in texts {
            self.add(Why::Within, text);
        }
    }

    fn reads(&mut self, stray: Option<(u32, Option<u32>, u32)>) {
        let (Some(allowed), Some((address, offset, pc))) = (&self.wanted.reads, stray) else { return };
        let place = match offset {
            Some(offset) => match self.names.field(offset) {
                Some(field) => format!("offset 0x{offset:06X} ({field})"),
                None => format!("offset 0x{offset:06X}"),
            },
            None => "open bus".to_owned(),
        };
        let allowed: Vec<String> = allowed.iter().map(show_range).collect();
        let text = format!(
            "the attached image was read at {} ({place}) by {}; allowed are {}",
            units::address(address),
            self.names.spot(pc),
            allowed.join(", ")
        );
        self.add(Why::Reads, text);
    }

    fn forbidden(&mut self, forbid: Forbid) {
        let troubles = &self.outcome.troubles;
        let strays = [
            (forbid.writes_outside_map, StrayKind::Write),
            (forbid.reads_outside_map, StrayKind::Read),
            (forbid.undeclared_port_writes, StrayKind::Undeclared(0)),
        ];
        let mut texts = Vec::new();
        for (forbidden, kind) in strays {
            let (Some(stray), true) = (troubles.first(kind.index()), forbidden) else { continue };
            let more = also(troubles.stray_counts[kind.index()]);
            let spot = self.names.spot(stray.pc);
            let address = self.names.data(stray.address);
            let size = if stray.size == PortSize::Word { "word" } else { "byte" };
            texts.push(match stray.kind {
                StrayKind::Write => {
                    let place = self.names.rig.map.place_name(self.names.rig.map.place(stray.address));
                    format!(
                        "wrote {size} {} to {address} ({place}), where no write lands, at {spot}{more}",
                        number(u32::from(stray.value))
                    )
                }
                StrayKind::Read => format!("read a {size} at {address}, where nothing is mapped, at {spot}{more}"),
                StrayKind::Undeclared(port) => format!(
                    "wrote {} to `{}`, a value that the harness does not declare, at {spot}{more}",
                    number(u32::from(stray.value)),
                    self.names.rig.map.ports()[port].name
                ),
            });
        }
        if let (Some(read), true) = (troubles.early_reads.first(), forbid.reads_ram_before_writing) {
            let more = also(troubles.early_read_count);
            texts.push(format!("read RAM before writing it: {}{more}", early_read(read, self.names)));
        }
        if let (Some(remap), true) = (troubles.remap, forbid.executes_remapped) {
            texts.push(remapped(remap, self.names));
        }
        for text in texts {
            self.add(Why::Forbidden, text);
        }
    }
}

/// The cell by which a branch is told although nothing has written it, and although the harness does not say what it
/// holds (`known` does): with the RAM fill at hand the branch may be the right one, but by chance.
pub fn told_by_chance(rig: &Rig, outcome: &Outcome, bus: &Bus, known: impl Fn(Cell) -> bool) -> Option<Cell> {
    let reached = outcome.branch()?;
    let exit = rig.branches[reached].exit;
    let asked = rig.branches[..=reached].iter().filter(|branch| branch.exit == exit).filter_map(|branch| branch.when);
    let unknown = |cell: &Cell| !cell.probe(&outcome.registers, bus).known && !known(*cell);
    asked.map(|condition| condition.cell).find(unknown)
}

/// A byte of RAM read too early, and from where.
pub fn early_read(read: &EarlyRead, names: Names) -> String {
    format!("{} at {}", names.data(read.address), names.spot(read.pc))
}

/// Code under which its own write has changed the map.
fn remapped(remap: Remap, names: Names) -> String {
    let overlay = &names.rig.map.overlays()[remap.overlay].name;
    let how = if remap.came { format!("laid `{overlay}` over") } else { format!("took `{overlay}` from under") };
    let spot = names.spot(remap.pc);
    format!("the code at {spot} {how} itself; what runs behind it may have come from the prefetch queue")
}

fn also(count: u64) -> String {
    match count {
        0 | 1 => String::new(),
        count => format!(" (and {} more)", units::thousands(count - 1)),
    }
}

/// A number, as sentences show it.
pub(super) fn number(value: u32) -> String {
    if value < 10 { value.to_string() } else { format!("0x{value:X}") }
}

fn value(value: u32, known: bool) -> String {
    if known { number(value) } else { format!("{}, which nothing has written", number(value)) }
}

fn show_range(range: &Range<u32>) -> String {
    format!("0x{:03X}-0x{:03X}", range.start, range.end.saturating_sub(1))
}
