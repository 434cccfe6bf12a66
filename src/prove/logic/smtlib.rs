//! Terms as SMT-LIB 2 text (standard version 2.6, logic QF_BV), for any solver that reads the standard.

use std::fmt::Write;

use super::term::{Term, Terms};
use super::view::View;

impl Terms {
    /// A script that asks whether a one-bit term can be 1. Unknowns are called `u` and their number, other terms `t` and
    /// theirs, each defined once.
    pub fn smtlib(&self, assertion: Term) -> String {
        let mut script = String::from("(set-logic QF_BV)\n");
        for term in self.below(&[assertion], usize::MAX, |_| false) {
            let width = self.width_of(term);
            // Writing to a string does not fail.
            let _ = match self.view(term) {
                View::Number(_) => Ok(()),
                View::Unknown(unknown) => writeln!(script, "(declare-const u{} (_ BitVec {width}))", unknown.0),
                view => {
                    let text = self.operation(view, width);
                    writeln!(script, "(define-fun t{} () (_ BitVec {width}) {text})", term.index())
                }
            };
        }
        let _ = writeln!(script, "(assert (= {} #b1))\n(check-sat)", self.name(assertion));
        script
    }

    fn name(&self, term: Term) -> String {
        match self.view(term) {
            View::Number(value) => format!("(_ bv{value} {})", self.width_of(term)),
            View::Unknown(unknown) => format!("u{}", unknown.0),
            _ => format!("t{}", term.index()),
        }
    }

    fn operation(&self, view: View, width: u32) -> String {
        let operands: Vec<String> = view.operands().map(|term| self.name(term)).collect();
        let operands = operands.join(" ");
        match view {
            View::Equal(..) => return format!("(ite (= {operands}) #b1 #b0)"),
            View::Less(..) => return format!("(ite (bvult {operands}) #b1 #b0)"),
            View::Either(condition, then, other) => {
                return format!("(ite (= {} #b1) {} {})", self.name(condition), self.name(then), self.name(other));
            }
            View::Part(_, low) => return format!("((_ extract {} {low}) {operands})", low + width - 1),
            _ => {}
        }
        let function = match view {
            View::Not(_) => "bvnot",
            View::And(..) => "bvand",
            View::Or(..) => "bvor",
            View::Xor(..) => "bvxor",
            View::Add(..) => "bvadd",
            View::Sub(..) => "bvsub",
            View::Mul(..) => "bvmul",
            View::Quotient(..) => "bvudiv",
            View::Remainder(..) => "bvurem",
            View::ShiftLeft(..) => "bvshl",
            View::ShiftRight(..) => "bvlshr",
            View::ShiftRightSigned(..) => "bvashr",
            _ => "concat",
        };
        format!("({function} {operands})")
    }
}
