//! Broken promises: each way in which one could be broken is asked for, and what is possible becomes a counterexample.

use std::collections::BTreeMap;

use super::Domain;
use super::ending::Close;
use super::ground::{Free, Logic};
use super::logic::{Term, Unknown};
use super::scene::Wrongdoing;
use super::study::Study;
use super::table::says;
use super::unknowns::{Source, any, is};
use crate::run::End;
use crate::suite::Harness;
use crate::trial::Promise;
use crate::trial::promise::against_table;
use crate::verdict::Decision;

/// Something that must not happen, and for which inputs it would.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The promise that it would break.
    pub promise: Promise,
    /// The instruction that does it, where there is one.
    pub at: Option<u32>,
    /// The study.
    pub study: usize,
    /// The way of being attached, by its index in the study.
    pub way: usize,
    /// For which inputs: one bit.
    pub claim: Term,
    /// The rule of the table, by index.
    pub rule: Option<usize>,
}

/// What the table says, rule by rule: the inputs that each decides, over all ways.
#[derive(Clone, Debug, Default)]
pub struct TableView {
    /// Of each rule, by index, the inputs of each way that it decides: study, way, term.
    pub rules: BTreeMap<usize, Vec<(usize, usize, Term)>>,
    /// Inputs that no rule decides, and why.
    pub open: Vec<(Term, String)>,
}

/// Everything that would break a promise.
pub fn candidates(logic: &mut Logic, harness: &Harness, free: &Free, studies: &[Study]) -> (Vec<Candidate>, TableView) {
    let mut list = Vec::new();
    for (index, study) in studies.iter().enumerate() {
        list.extend(by_end(logic, study, index));
        list.extend(by_trouble(logic, harness, study, index));
        list.extend(by_latch(logic, harness, study, index));
        list.extend(by_power_on(logic, study, index));
    }
    let table = by_table(logic, harness, free, studies, &mut list);
    (list, table)
}

fn by_end(logic: &mut Logic, study: &Study, index: usize) -> Vec<Candidate> {
    let mut list = Vec::new();
    for close in study.closes() {
        let (promise, at) = match close {
            Close::Crashed(_, at) | Close::Halted(_, at) => (Promise::Crash, Some(at)),
            Close::Hung(first, _) => (Promise::Hang, Some(first)),
            Close::NoBranch(exit) => (Promise::Ends, exit),
            Close::Stopped(at) => (Promise::Ends, Some(at)),
            Close::Returned | Close::LeftHost(_) => (Promise::Ends, None),
            Close::Branch(_) | Close::Limit(_) | Close::Cut(..) => continue,
        };
        let claim = study.guard(logic, &close);
        list.push(Candidate { promise, at, study: index, way: 0, claim, rule: None });
    }
    list
}

fn by_trouble(logic: &mut Logic, harness: &Harness, study: &Study, index: usize) -> Vec<Candidate> {
    let forbid = harness.forbid;
    let mut by_place: BTreeMap<(Promise, u32), Vec<Term>> = BTreeMap::new();
    for ((what, at, _), guards) in &study.explored.troubles {
        let promise = match what {
            Wrongdoing::StrayWrite => Promise::StrayWrites,
            Wrongdoing::Undeclared(_) => Promise::PortValues,
            Wrongdoing::EarlyRead if forbid.reads_ram_before_writing => Promise::Forbidden,
            Wrongdoing::StrayRead if forbid.reads_outside_map => Promise::Forbidden,
            Wrongdoing::Remap if forbid.executes_remapped => Promise::Forbidden,
            _ => continue,
        };
        by_place.entry((promise, *at)).or_default().extend(guards);
    }
    let candidate = |((promise, at), guards): ((Promise, u32), Vec<Term>)| {
        let claim = any(&mut logic.terms, guards);
        Candidate { promise, at: Some(at), study: index, way: 0, claim, rule: None }
    };
    by_place.into_iter().map(candidate).collect()
}

/// Latches that a branch does not leave as it must.
fn by_latch(logic: &mut Logic, harness: &Harness, study: &Study, index: usize) -> Vec<Candidate> {
    let map = &harness.rig.map;
    let mut list = Vec::new();
    for ending in &study.explored.endings {
        let Some(branch) = ending.close.branch().map(|branch| &harness.rig.branches[branch]) else { continue };
        let said = |port: usize| branch.leaves.iter().find(|(other, _)| *other == port).map(|(_, value)| *value);
        let followed = map.overlays().iter().map(|overlay| overlay.port);
        for port in branch.leaves.iter().map(|(port, _)| *port).chain(followed) {
            let must = said(port).unwrap_or(map.ports()[port].power_on);
            let right = is(&mut logic.terms, ending.state.held.latched[port], u64::from(must));
            let wrong = logic.terms.not(right);
            let claim = logic.terms.and(ending.guard(), wrong);
            if logic.terms.known(claim) != Some(0) {
                list.push(Candidate { promise: Promise::Latches, at: None, study: index, way: 0, claim, rule: None });
            }
        }
    }
    list
}

/// Ends that another content of RAM at power-on would turn into another: first between all zeros and all ones, which cases
/// can say, then between any two.
fn by_power_on(logic: &mut Logic, study: &Study, index: usize) -> Vec<Candidate> {
    let closes = study.closes();
    let guards: Vec<Term> = closes.iter().map(|close| study.guard(logic, close)).collect();
    let mut ram: BTreeMap<Unknown, u32> = BTreeMap::new();
    for guard in &guards {
        for unknown in logic.terms.unknowns(*guard) {
            if let Source::Ram(address) = logic.unknowns.source(unknown) {
                ram.insert(unknown, address);
            }
        }
    }
    if ram.is_empty() {
        return Vec::new();
    }
    let filled = |byte: u64| ram.keys().map(|unknown| (*unknown, byte)).collect::<BTreeMap<_, _>>();
    let (zeros, ones) = (filled(0), filled(0xFF));
    let mut others = BTreeMap::new();
    for (unknown, address) in &ram {
        let other = logic.unknowns.term(&mut logic.terms, Source::OtherRam(*address), 8);
        others.insert(*unknown, other);
    }
    let mut plain = Vec::new();
    let mut any = Vec::new();
    for guard in guards {
        let (with_zeros, with_ones) = (logic.terms.substitute(guard, &zeros), logic.terms.substitute(guard, &ones));
        let not = logic.terms.not(with_ones);
        plain.push(logic.terms.and(with_zeros, not));
        let renamed = logic.terms.rename(guard, &others);
        let not = logic.terms.not(renamed);
        any.push(logic.terms.and(guard, not));
    }
    let possible = plain.into_iter().chain(any).filter(|claim| logic.terms.known(*claim) != Some(0));
    let candidate = |claim| Candidate { promise: Promise::PowerOn, at: None, study: index, way: 0, claim, rule: None };
    possible.map(candidate).collect()
}

/// Inputs for which the routine does not do what the table says.
fn by_table(
    logic: &mut Logic,
    harness: &Harness,
    free: &Free,
    studies: &[Study],
    list: &mut Vec<Candidate>,
) -> TableView {
    let mut view = TableView::default();
    for (index, study) in studies.iter().enumerate() {
        let mut known: Vec<Vec<Term>> = Vec::new();
        for (way, attached) in study.ways.iter().enumerate() {
            let ground = super::ground::Ground { harness, plugged: attached.plugged.clone(), free };
            let says = says(logic, &ground, &harness.acceptance);
            if known.contains(&says.rules) {
                continue;
            }
            known.push(says.rules.clone());
            if let Some((term, why)) = &says.unclear {
                view.open.push((*term, why.clone()));
            } else {
                view.open.push((says.silent, "no rule fits".to_owned()));
            }
            for (rule, decides) in says.rules.iter().enumerate() {
                let decides = logic.terms.and(*decides, says.steady);
                view.rules.entry(rule).or_default().push((index, way, decides));
                let wanted = harness.acceptance.rules[rule].branch;
                for close in study.closes() {
                    let Some(reached) = close.branch() else { continue };
                    let decision = Decision::Branch { branch: wanted, rule };
                    let Some(promise) = against_table(End::Branch(reached), &decision, &harness.rig.branches) else {
                        continue;
                    };
                    let guard = study.guard(logic, &close);
                    let claim = logic.terms.and(decides, guard);
                    list.push(Candidate { promise, at: None, study: index, way, claim, rule: Some(rule) });
                }
            }
        }
    }
    view
}
