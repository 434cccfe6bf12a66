//! Where two explorations part: pairs of ends that share inputs, and effects that differ at the same end.

use crate::prove::compared::{
    Close, Domain, Ending, Evidence, Ground, Logic, Model, Study, Term, Wrongdoing, any, remains,
};
use crate::suite::Harness;

/// Inputs for which the builds differ.
pub struct Difference {
    /// What was, and what is.
    pub what: What,
    /// For which inputs: one bit.
    pub claim: Term,
    /// Some of them.
    pub model: Model,
}

/// What differs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// The end: before and now.
    End(Close, Close),
    /// An effect at an end: its name, and the values before and now.
    Effect(Close, String, Vec<Term>, Vec<Term>),
    /// Something that goes wrong in one build only: what, and whether it does before and now.
    Wrong(&'static str, Term, Term),
}

/// One build, explored for one way of being attached.
pub struct Explored<'a> {
    /// Its harness.
    pub harness: &'a Harness,
    /// The exploration.
    pub study: &'a Study,
    /// What it stands on.
    pub ground: &'a Ground<'a>,
}

/// What an end is called in both builds: branches by name, all else by what happens, wherever it does.
pub fn name_of(close: &Close, harness: &Harness) -> String {
    match close {
        Close::Branch(index) => harness.rig.branches[*index].name.clone(),
        Close::Crashed(exception, _) => exception.name(),
        Close::Halted(exception, _) => format!("halts: {}", exception.name()),
        Close::NoBranch(_) => "no branch".to_owned(),
        Close::Returned => "returns".to_owned(),
        Close::Stopped(_) => "stops".to_owned(),
        Close::LeftHost(_) => "leaves the host".to_owned(),
        Close::Hung(..) => "hangs".to_owned(),
        Close::Limit(_) => "limit".to_owned(),
        Close::Cut(..) => "not followed".to_owned(),
    }
}

/// Everything in which two builds differ, for the inputs of `within`.
pub fn differences(
    logic: &mut Logic,
    evidence: &mut Evidence,
    old: &Explored,
    new: &Explored,
    within: Term,
) -> Vec<Difference> {
    let mut list = Vec::new();
    for before in old.study.closes() {
        for after in new.study.closes() {
            // Where an exploration gave up nothing is known, and a doubt says so.
            if !(before.is_end() && after.is_end()) {
                continue;
            }
            let same = name_of(&before, old.harness) == name_of(&after, new.harness);
            if same {
                list.extend(effects(logic, evidence, old, new, (&before, &after), within));
                continue;
            }
            let (was, is) = (old.study.guard(logic, &before), new.study.guard(logic, &after));
            let claim = logic.terms.and(was, is);
            let claim = logic.terms.and(claim, within);
            list.extend(possible(logic, evidence, claim, What::End(before.clone(), after)));
        }
    }
    for (what, words) in WRONGS {
        let before = goes_wrong(logic, old.study, what);
        let after = goes_wrong(logic, new.study, what);
        let differ = logic.terms.xor(before, after);
        let claim = logic.terms.and(differ, within);
        list.extend(possible(logic, evidence, claim, What::Wrong(words, before, after)));
    }
    list
}

/// What may go wrong beside ends and effects, told of by harnesses and promises.
const WRONGS: [(Is, &str); 5] = [
    (|what| matches!(what, Wrongdoing::StrayWrite), "writes outside the map"),
    (|what| matches!(what, Wrongdoing::StrayRead), "reads outside the map"),
    (|what| matches!(what, Wrongdoing::EarlyRead), "reads RAM before writing it"),
    (|what| matches!(what, Wrongdoing::Undeclared(_)), "writes an undeclared value to a port"),
    (|what| matches!(what, Wrongdoing::Remap), "remaps the code that runs"),
];

/// Whether something that goes wrong is of a kind.
type Is = fn(&Wrongdoing) -> bool;

/// For which inputs something of a kind goes wrong: one bit.
fn goes_wrong(logic: &mut Logic, study: &Study, kind: Is) -> Term {
    let troubles = study.explored.troubles.iter().filter(|((what, _, _), _)| kind(what));
    let guards: Vec<Term> = troubles.flat_map(|(_, guards)| guards.iter().copied()).collect();
    any(&mut logic.terms, guards)
}

fn possible(logic: &mut Logic, evidence: &mut Evidence, claim: Term, what: What) -> Option<Difference> {
    if logic.terms.known(claim) == Some(0) {
        return None;
    }
    let model = evidence.never(logic, &[claim])?.err()?;
    Some(Difference { what, claim, model })
}

/// When a value differs, and what it is before and now.
type Apart = (Term, Term, Term);

/// Effects that differ at an end that both builds come to.
fn effects(
    logic: &mut Logic,
    evidence: &mut Evidence,
    old: &Explored,
    new: &Explored,
    (before, after): (&Close, &Close),
    within: Term,
) -> Vec<Difference> {
    let mut list = Vec::new();
    let of = |study: &'_ Study, close: &Close| -> Vec<Ending> {
        study.explored.endings.iter().filter(|ending| ending.close == *close).cloned().collect()
    };
    let mut writes_differ = Vec::new();
    let mut shows: Vec<(String, Vec<Apart>)> = Vec::new();
    let mut first_writes = None;
    for was in of(old.study, before) {
        for is in of(new.study, after) {
            let both = logic.terms.and(was.guard(), is.guard());
            let both = logic.terms.and(both, within);
            if logic.terms.known(both) == Some(0) {
                continue;
            }
            let differ = writes_differ_when(logic, &was, &is);
            let differ = logic.terms.and(both, differ);
            if logic.terms.known(differ) != Some(0) {
                writes_differ.push(differ);
                let values = |ending: &Ending| ending.state.held.writes.iter().map(|(_, value)| *value).collect();
                first_writes.get_or_insert((values(&was), values(&is)));
            }
            let now = remains(logic, new.ground, new.harness, &is);
            let then = remains(logic, old.ground, old.harness, &was);
            for (name, value) in then {
                let Some((_, other)) = now.iter().find(|(other, _)| *other == name) else { continue };
                let wide = logic.terms.width(value).max(logic.terms.width(*other));
                let (value, other) = (logic.terms.extend(value, wide), logic.terms.extend(*other, wide));
                let equal = logic.terms.equal(value, other);
                let not = logic.terms.not(equal);
                let differ = logic.terms.and(both, not);
                match shows.iter_mut().find(|(known, _)| *known == name) {
                    Some((_, list)) => list.push((differ, value, other)),
                    None => shows.push((name, vec![(differ, value, other)])),
                }
            }
        }
    }
    let claim = any(&mut logic.terms, writes_differ);
    let (was, is) = first_writes.unwrap_or_default();
    let what = What::Effect(after.clone(), WRITES.to_owned(), was, is);
    list.extend(possible(logic, evidence, claim, what));
    for (name, values) in shows {
        let claim = any(&mut logic.terms, values.iter().map(|(differ, _, _)| *differ));
        let what = What::Effect(
            after.clone(),
            name,
            values.iter().map(|(_, was, _)| *was).collect(),
            values.iter().map(|(_, _, is)| *is).collect(),
        );
        list.extend(possible(logic, evidence, claim, what));
    }
    list
}

/// What writes to ports are called among the effects.
pub const WRITES: &str = "writes to ports";

/// One bit: whether the writes to ports differ.
fn writes_differ_when(logic: &mut Logic, was: &Ending, is: &Ending) -> Term {
    let (was, is) = (&was.state.held.writes, &is.state.held.writes);
    let ports = was.iter().map(|(port, _)| port).eq(is.iter().map(|(port, _)| port));
    if !ports {
        return logic.terms.bit(true);
    }
    let mut differ = logic.terms.bit(false);
    for ((_, before), (_, after)) in was.iter().zip(is.iter()) {
        let equal = logic.terms.equal(*before, *after);
        let not = logic.terms.not(equal);
        differ = logic.terms.or(differ, not);
    }
    differ
}
