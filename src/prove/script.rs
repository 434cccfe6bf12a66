//! The ways in which the decisions of one instruction can fall. The instruction is run again for each, from the state
//! before it: what was chosen the last time is chosen again, up to the last decision that has another way left.

use std::rc::Rc;

/// A decision of an instruction.
#[derive(Clone, Debug)]
struct Choice {
    values: Rc<[u64]>,
    chosen: usize,
}

/// The decisions of an instruction, in order.
#[derive(Clone, Debug, Default)]
pub struct Script {
    choices: Vec<Choice>,
    /// How many were asked for in this run.
    asked: usize,
}

impl Script {
    /// The values of the next decision if it was met before, and which of them is chosen.
    pub fn again(&mut self) -> Option<(Rc<[u64]>, u64)> {
        let choice = self.choices.get(self.asked)?;
        self.asked += 1;
        Some((Rc::clone(&choice.values), choice.values[choice.chosen]))
    }

    /// A decision met for the first time between these values, of which there is one at least: the first is chosen.
    pub fn first(&mut self, values: Rc<[u64]>) -> u64 {
        let value = values[0];
        self.choices.push(Choice { values, chosen: 0 });
        self.asked += 1;
        value
    }

    /// Values found for the first time that are no decision: there is one way only.
    pub fn remember(&mut self, values: Rc<[u64]>) {
        self.choices.push(Choice { chosen: values.len() - 1, values });
        self.asked += 1;
    }

    /// Goes on to the next way; `false` if all were gone.
    pub fn advance(&mut self) -> bool {
        self.asked = 0;
        while let Some(last) = self.choices.last_mut() {
            last.chosen += 1;
            if last.chosen < last.values.len() {
                return true;
            }
            self.choices.pop();
        }
        false
    }

    /// For a new instruction.
    pub fn clear(&mut self) {
        self.choices.clear();
        self.asked = 0;
    }

    /// Whether every decision met so far is on its last value: no other way will follow.
    pub fn last_way(&self) -> bool {
        self.choices.iter().all(|choice| choice.chosen + 1 == choice.values.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tree: the first decision has three ways, and on the second of them there is another decision.
    #[test]
    fn every_way_is_gone_once() {
        let mut script = Script::default();
        let mut gone = Vec::new();
        let ask = |script: &mut Script, values: &[u64]| match script.again() {
            Some((_, value)) => value,
            None => script.first(values.into()),
        };
        loop {
            let one = ask(&mut script, &[1, 2, 3]);
            let two = (one == 2).then(|| ask(&mut script, &[7, 8]));
            gone.push((one, two));
            if !script.advance() {
                break;
            }
        }
        assert_eq!(gone, [(1, None), (2, Some(7)), (2, Some(8)), (3, None)]);
    }
}
