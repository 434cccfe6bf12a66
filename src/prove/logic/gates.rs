//! Clauses for gates: a [`Gates`] gives the literal of a gate's output and keeps one for each gate (Tseitin, "On the
//! complexity of derivation in propositional calculus", 1968). What comes out is the same whatever the solver does.

use super::hash::FastMap;

/// Where variables and clauses go.
pub(super) trait Clauses {
    /// A new variable, as its positive literal.
    fn variable(&mut self) -> i32;
    /// A clause over variables that were made before.
    fn clause(&mut self, literals: &[i32]);
}

/// The literal that is always true.
pub(super) const TRUE: i32 = 1;
/// The literal that is always false.
pub(super) const FALSE: i32 = -1;

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Gate {
    And(i32, i32),
    Xor(i32, i32),
    Choice(i32, i32, i32),
    Majority(i32, i32, i32),
}

/// The gates that were made.
pub(super) struct Gates<C> {
    /// Where their clauses are.
    pub(super) clauses: C,
    made: FastMap<Gate, i32>,
}

impl<C: Clauses> Gates<C> {
    /// Only the constant.
    pub(super) fn new(mut clauses: C) -> Self {
        let first = clauses.variable();
        debug_assert_eq!(first, TRUE);
        clauses.clause(&[TRUE]);
        Self { clauses, made: FastMap::default() }
    }

    /// Both.
    pub(super) fn and(&mut self, left: i32, right: i32) -> i32 {
        let (left, right) = (left.min(right), left.max(right));
        match (left, right) {
            _ if left == right => return left,
            _ if left == -right || left == FALSE || right == FALSE => return FALSE,
            (TRUE, other) | (other, TRUE) => return other,
            _ => {}
        }
        self.gate(Gate::And(left, right), |out| [[-out, left, left], [-out, right, right], [out, -left, -right]])
    }

    /// One of them.
    pub(super) fn or(&mut self, left: i32, right: i32) -> i32 {
        -self.and(-left, -right)
    }

    /// Not the same.
    pub(super) fn xor(&mut self, left: i32, right: i32) -> i32 {
        // Signs are drawn out, so one gate serves all four.
        let flip = (left < 0) != (right < 0);
        let (left, right) = (left.abs().min(right.abs()), left.abs().max(right.abs()));
        let out = match (left, right) {
            _ if left == right => FALSE,
            (TRUE, other) => -other,
            _ => self.gate(Gate::Xor(left, right), |out| {
                [[-out, left, right], [-out, -left, -right], [out, -left, right], [out, left, -right]]
            }),
        };
        if flip { -out } else { out }
    }

    /// The second if the first, else the third.
    pub(super) fn choice(&mut self, condition: i32, then: i32, other: i32) -> i32 {
        if condition < 0 {
            return self.choice(-condition, other, then);
        }
        match (condition, then, other) {
            (TRUE, ..) => return then,
            _ if then == other => return then,
            _ if then == -other => return -self.xor(condition, then),
            (_, TRUE, _) => return self.or(condition, other),
            (_, FALSE, _) => return self.and(-condition, other),
            (_, _, TRUE) => return self.or(-condition, then),
            (_, _, FALSE) => return self.and(condition, then),
            _ => {}
        }
        self.gate(Gate::Choice(condition, then, other), |out| {
            [
                [-condition, -then, out],
                [-condition, then, -out],
                [condition, -other, out],
                [condition, other, -out],
                [-then, -other, out],
                [then, other, -out],
            ]
        })
    }

    /// At least two of three.
    pub(super) fn majority(&mut self, one: i32, two: i32, three: i32) -> i32 {
        let mut all = [one, two, three];
        all.sort_unstable();
        let [one, two, three] = all;
        for (fixed, left, right) in [(one, two, three), (two, one, three), (three, one, two)] {
            match fixed {
                TRUE => return self.or(left, right),
                FALSE => return self.and(left, right),
                _ if left == right => return left,
                _ if left == -right => return fixed,
                _ => {}
            }
        }
        self.gate(Gate::Majority(one, two, three), |out| {
            [
                [-out, one, two],
                [-out, one, three],
                [-out, two, three],
                [out, -one, -two],
                [out, -one, -three],
                [out, -two, -three],
            ]
        })
    }

    fn gate<const N: usize, const L: usize>(&mut self, gate: Gate, clauses: impl Fn(i32) -> [[i32; L]; N]) -> i32 {
        if let Some(&out) = self.made.get(&gate) {
            return out;
        }
        let out = self.clauses.variable();
        for clause in clauses(out) {
            // A literal that stands twice fills a shorter clause up.
            let doubled = clause[L - 1] == clause[L - 2];
            self.clauses.clause(&clause[..L - usize::from(doubled)]);
        }
        self.made.insert(gate, out);
        out
    }
}
