//! What was written to ports, and what they hold at the end.

use super::judge::{Judge, number};
use super::{PortWrites, Why, Writes};
use crate::board::PortWrite;
use crate::run::End;

impl Judge<'_> {
    /// The writes that the case wants.
    pub fn writes(&mut self) {
        if matches!(self.outcome.end, End::Limit(_)) {
            return;
        }
        for writes in &self.wanted.writes {
            let text = match writes {
                Writes::Port { port, writes } => self.port_writes(*port, writes),
                Writes::InOrder(steps) => self.writes_in_order(steps),
            };
            if let Some(text) = text {
                self.add(Why::Writes, text);
            }
        }
    }

    fn port_writes(&self, port: usize, wanted: &PortWrites) -> Option<String> {
        let name = &self.names.rig.map.ports()[port].name;
        let found: Vec<u16> =
            self.outcome.writes.iter().filter(|write| write.port == port).map(|write| write.value).collect();
        match wanted {
            PortWrites::Values(values) if *values == found => None,
            PortWrites::Values(values) => {
                Some(format!("`{name}` was written {}; wanted {}", list(&found), list(values)))
            }
            PortWrites::Count(count) if *count as usize == found.len() => None,
            PortWrites::Count(count) => {
                Some(format!("`{name}` was written {} times ({}); wanted {count}", found.len(), list(&found)))
            }
        }
    }

    fn writes_in_order(&self, steps: &[(usize, u16)]) -> Option<String> {
        let ports: Vec<usize> = steps.iter().map(|(port, _)| *port).collect();
        let counts = |write: &&PortWrite| ports.contains(&write.port);
        let found: Vec<(usize, u16)> =
            self.outcome.writes.iter().filter(counts).map(|write| (write.port, write.value)).collect();
        if found == steps {
            return None;
        }
        let show = |steps: &[(usize, u16)]| {
            let show = |(port, value): &(usize, u16)| {
                format!("{} {}", self.names.rig.map.ports()[*port].name, number(u32::from(*value)))
            };
            if steps.is_empty() { "nothing".to_owned() } else { steps.iter().map(show).collect::<Vec<_>>().join(", ") }
        };
        Some(format!("the ports were written {}; wanted {}", show(&found), show(steps)))
    }

    /// What ports hold at the end. Where the case says it of a port, the branch's word about that port does not count.
    pub fn leaves(&mut self) {
        if matches!(self.outcome.end, End::Limit(_)) {
            return;
        }
        let wanted = &self.wanted.leaves;
        let own = wanted.iter().map(|(port, value)| (*port, *value, None));
        let reached = self.outcome.branch();
        let said = |port: usize| wanted.iter().any(|(other, _)| *other == port);
        let of_branch = reached.iter().flat_map(|branch| {
            let leaves = self.names.rig.branches[*branch].leaves.iter().filter(|(port, _)| !said(*port));
            leaves.map(|(port, value)| (*port, *value, Some(*branch)))
        });
        let wrong = own.chain(of_branch).filter(|(port, value, _)| self.held(*port) != *value);
        let texts: Vec<String> = wrong
            .map(|(port, value, branch)| {
                let (holds, value) = (self.holds(port), number(u32::from(value)));
                match branch {
                    None => format!("{holds}; wanted {value}"),
                    Some(branch) => format!("{holds}; the branch {} leaves {value}", self.names.branch(branch)),
                }
            })
            .collect();
        for text in texts {
            self.add(Why::Leaves, text);
        }
    }

    /// The value of a port at the end. An outcome that no run has made says nothing of it.
    fn held(&self, port: usize) -> u16 {
        self.outcome.held.get(port).copied().unwrap_or(self.names.rig.map.ports()[port].power_on)
    }

    /// What a port holds at the end, and what made it so.
    fn holds(&self, port: usize) -> String {
        let held = self.held(port);
        let text = format!("`{}` holds {} at the end", self.names.rig.map.ports()[port].name, number(u32::from(held)));
        match self.outcome.writes.iter().rev().find(|write| write.port == port) {
            None => text,
            Some(write) if write.value == held => format!("{text} since {}", self.names.spot(write.pc)),
            // Only a RESET changes a latch without a write.
            Some(write) => {
                let taken = number(u32::from(write.value));
                format!("{text}: a RESET took back the {taken} written at {}", self.names.spot(write.pc))
            }
        }
    }
}

fn list(values: &[u16]) -> String {
    if values.is_empty() {
        return "nothing".to_owned();
    }
    values.iter().map(|value| number(u32::from(*value))).collect::<Vec<_>>().join(", ")
}
