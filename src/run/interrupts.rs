//! Interrupt requests: when each device pulls its line, and which request the processor takes.
//!
//! A device pulls its line at its time and holds it until the processor acknowledges; a second request in the meantime
//! is the same one (the 68000 samples levels; UM 6.3.2). Level 7 cannot be masked.

use crate::cpu::Cpu;

/// A device that requests interrupts.
#[derive(Clone, Debug)]
pub struct Interrupt {
    /// Its name, unique in the harness.
    pub name: String,
    /// Its level, 1 to 7.
    pub level: u8,
    /// The vector number it gives; `None` for the autovector of its level.
    pub vector: Option<u8>,
    /// When it requests.
    pub timing: Timing,
}

impl Interrupt {
    /// The vector number that the processor gets.
    pub fn vector(&self) -> u8 {
        self.vector.unwrap_or(24 + self.level)
    }
}

/// When a device requests, in cycles since the run began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Timing {
    /// The first request; `None` if there is none at all.
    pub first: Option<u64>,
    /// From one request to the next; `None` for only one.
    pub every: Option<u64>,
}

/// One device during a run.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Line {
    level: u8,
    /// Cycle of the next request; `u64::MAX` if none comes any more.
    next: u64,
    /// 0 for a single request.
    every: u64,
    pending: bool,
}

/// All devices during a run.
#[derive(Clone, Debug, Default)]
pub(super) struct Interrupts {
    lines: Vec<Line>,
    /// How many requests were acknowledged.
    acknowledged: u64,
}

/// A copy of what the future depends on.
#[derive(Clone, Debug, Default)]
pub(super) struct SavedInterrupts {
    acknowledged: u64,
    /// Of each line: whether it is pulled, and the time to its next request.
    lines: Vec<(bool, u64)>,
}

impl Interrupts {
    /// Starts a run; `timings` replaces those of the rig, by index.
    pub fn start(&mut self, devices: &[Interrupt], timings: &[Option<Timing>]) {
        self.acknowledged = 0;
        self.lines.clear();
        self.lines.extend(devices.iter().enumerate().map(|(index, device)| {
            let timing = timings.get(index).copied().flatten().unwrap_or(device.timing);
            Line {
                level: device.level,
                next: timing.first.unwrap_or(u64::MAX),
                every: timing.every.unwrap_or(0),
                pending: false,
            }
        }));
    }

    /// Pulls the lines whose time has come.
    pub fn advance(&mut self, now: u64) {
        for line in &mut self.lines {
            if line.next > now {
                continue;
            }
            line.pending = true;
            line.next = match line.every {
                0 => u64::MAX,
                every => line.next + (1 + (now - line.next) / every) * every,
            };
        }
    }

    /// The device whose request the processor takes now: the highest level above the mask, and of equals the first.
    pub fn taken(&self, mask: u8) -> Option<usize> {
        let wanted = |line: &&Line| line.pending && (line.level > mask || line.level == 7);
        let level = self.lines.iter().filter(wanted).map(|line| line.level).max()?;
        self.lines.iter().position(|line| line.pending && line.level == level)
    }

    /// The first device whose request waits behind this mask.
    pub fn held_back(&self, mask: u8) -> Option<usize> {
        self.lines.iter().position(|line| line.pending && line.level <= mask && line.level != 7)
    }

    /// The processor has acknowledged a request.
    pub fn acknowledge(&mut self, index: usize) {
        self.lines[index].pending = false;
        self.acknowledged += 1;
    }

    /// When lines have to be looked at next. A request that is masked may be taken after any instruction.
    pub fn next(&self) -> u64 {
        let due = |line: &Line| if line.pending { 0 } else { line.next };
        self.lines.iter().map(due).min().unwrap_or(u64::MAX)
    }

    /// When the next request comes that wakes a processor with this mask.
    pub fn wakes(&self, mask: u8) -> Option<u64> {
        let wakes = |line: &&Line| line.next != u64::MAX && (line.level > mask || line.level == 7);
        self.lines.iter().filter(wakes).map(|line| line.next).min()
    }

    /// Copies what the future depends on: requests, and the time to each next one.
    pub fn save(&self, now: u64, saved: &mut SavedInterrupts) {
        saved.acknowledged = self.acknowledged;
        saved.lines.clear();
        saved.lines.extend(self.state(now));
    }

    /// Whether the future is that of the state saved. If nothing was acknowledged in between, it does not matter when
    /// a line that is pulled would be pulled again: going round from here, it stays pulled for ever.
    pub fn same(&self, now: u64, saved: &SavedInterrupts) -> bool {
        let quiet = self.acknowledged == saved.acknowledged;
        let alike = |(now, then): ((bool, u64), &(bool, u64))| now.0 == then.0 && (now.1 == then.1 || quiet && now.0);
        self.lines.len() == saved.lines.len() && self.state(now).zip(&saved.lines).all(alike)
    }

    fn state(&self, now: u64) -> impl Iterator<Item = (bool, u64)> {
        let ahead = move |line: &Line| if line.next == u64::MAX { u64::MAX } else { line.next.saturating_sub(now) };
        self.lines.iter().map(move |line| (line.pending, ahead(line)))
    }
}

/// The interrupt mask of a processor.
pub(super) fn mask(cpu: &Cpu) -> u8 {
    cpu.registers().sr.interrupt_mask
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(level: u8, first: u64, every: Option<u64>) -> Interrupt {
        Interrupt { name: String::new(), level, vector: None, timing: Timing { first: Some(first), every } }
    }

    /// The highest level wins, the mask holds back its own level and lower ones, and 7 cannot be masked (UM 6.3.2).
    #[test]
    fn priority_and_mask() {
        let mut interrupts = Interrupts::default();
        interrupts.start(&[device(2, 10, None), device(5, 10, None), device(7, 20, None)], &[]);
        assert_eq!(interrupts.taken(0), None);
        interrupts.advance(10);
        assert_eq!(interrupts.taken(0), Some(1));
        assert_eq!(interrupts.taken(4), Some(1));
        assert_eq!(interrupts.taken(5), None);
        interrupts.advance(20);
        assert_eq!(interrupts.taken(7), Some(2));
        interrupts.acknowledge(2);
        assert_eq!(interrupts.taken(7), None);
        assert_eq!(interrupts.taken(1), Some(1));
    }

    /// A request that is not taken in time is not counted twice.
    #[test]
    fn a_period_goes_on_while_a_request_waits() {
        let mut interrupts = Interrupts::default();
        interrupts.start(&[device(4, 100, Some(50))], &[]);
        assert_eq!(interrupts.next(), 100);
        interrupts.advance(260);
        assert_eq!((interrupts.next(), interrupts.wakes(3), interrupts.wakes(4)), (0, Some(300), None));
        interrupts.acknowledge(0);
        assert_eq!(interrupts.next(), 300);
        interrupts.advance(299);
        assert_eq!(interrupts.taken(0), None);
    }
}
