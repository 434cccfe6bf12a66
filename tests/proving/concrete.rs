//! Proofs against the concrete core: every header of routines that hang on two bytes, and a million random headers of
//! larger ones. No run may contradict what was proved.

use std::collections::BTreeMap;
use std::sync::Arc;

use keyway::noise::Noise;
use keyway::prove::{Answer, Condition, EndAnswer, Holding, How, Prove, Sealed};
use keyway::run::End;
use keyway::trial::{Held, Plug, Trial};
use keyway::{Harness, Machine};
use pretty_assertions::assert_eq;

use super::path;

/// Runs many headers of one harness.
struct Runner {
    harness: Arc<Harness>,
    machine: Machine,
    setup: keyway::run::Setup,
    trial: Trial,
}

impl Runner {
    fn new(harness: &Arc<Harness>) -> Self {
        let plug = Plug::erased(1 << 20, &harness.layout);
        Self {
            machine: Machine::new(Arc::clone(&harness.rig)),
            setup: keyway::run::Setup::default(),
            trial: Trial::of(plug, harness),
            harness: Arc::clone(harness),
        }
    }

    /// The branch of a header, or how else it ends.
    fn run(&mut self, fields: &[Vec<u8>]) -> String {
        let plug = self.trial.plug.as_mut().unwrap();
        for (held, bytes) in plug.fields.iter_mut().zip(fields) {
            *held = Held::Bytes(bytes[..].into());
        }
        self.trial.set_up(&mut self.setup, &self.harness, 1);
        match self.machine.run(&self.setup, &[]).end {
            End::Branch(branch) => self.harness.rig.branches[branch].name.clone(),
            End::Crashed(_) => "crash".to_owned(),
            End::Hung { .. } => "hang".to_owned(),
            other => format!("{other:?}"),
        }
    }
}

fn harness(name: &str) -> Arc<Harness> {
    Arc::new(Harness::load(path(name)).unwrap_or_else(|complaint| panic!("{complaint}")))
}

fn ends(answer: &Answer) -> &[EndAnswer] {
    &answer.scenarios[0].ends
}

/// All 65,536 headers on the concrete core: the counts of each branch are the proved ones.
#[test]
fn every_header_of_two_bytes() {
    let names = [
        "pair_bits",
        "pair_check",
        "pair_conditions",
        "pair_decimal",
        "pair_divide_guarded",
        "pair_divide_overflow",
        "pair_divide_unguarded",
        "pair_extended",
        "pair_jump",
        "pair_lookup",
        "pair_memory",
        "pair_multiply",
        "pair_ranges",
        "pair_shift",
        "pair_stack",
        "pair_traps",
        "odd_word",
        "contradictions",
        "bounded_write",
    ];
    for name in names {
        let harness = harness(name);
        let sealed = Prove::new(&harness).run().unwrap();
        let Sealed::Proved(answer) = &sealed else { panic!("{name}: {:?}", sealed.doubts()) };
        let mut runner = Runner::new(&harness);
        let mut counted: BTreeMap<String, u64> = BTreeMap::new();
        for pair in 0..=u16::MAX {
            *counted.entry(runner.run(&[pair.to_be_bytes().to_vec()])).or_default() += 1;
        }
        let mut proved: BTreeMap<String, u64> = BTreeMap::new();
        for end in ends(answer.get()) {
            let name = end.branch.clone().unwrap_or_else(|| "crash".to_owned());
            *proved.entry(name).or_default() += end.headers.as_ref().unwrap().parse::<u64>().unwrap();
        }
        assert_eq!(counted, proved, "{name}");
    }
}

/// The bytes that a holding is about, as a range within the field, and their values.
fn parts(holding: &Holding, harness: &Harness) -> (usize, std::ops::Range<usize>, Vec<u8>) {
    let (name, place) = match holding.of.split_once('[') {
        Some((name, rest)) => (name, Some(rest.trim_end_matches(']').to_owned())),
        None => (holding.of.as_str(), None),
    };
    let index = harness.layout.fields().iter().position(|field| field.name == name).unwrap();
    let length = harness.layout.fields()[index].length as usize;
    let bytes: Vec<u8> = match holding.value.strip_prefix('"') {
        Some(text) => text.trim_end_matches('"').bytes().collect(),
        None => holding.value.split(' ').map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect(),
    };
    let start = place.map_or(0, |place| place.split('-').next().unwrap().parse().unwrap());
    let mut bytes = bytes;
    if holding.of == name && holding.how == How::Is {
        bytes.resize(length, b' ');
    }
    (index, start..start + bytes.len(), bytes)
}

/// Whether a condition as it is told holds for a header.
fn fits(condition: &Condition, fields: &[Vec<u8>], harness: &Harness) -> bool {
    let holds = |holding: &Holding| {
        let (index, range, bytes) = parts(holding, harness);
        fields[index][range] == bytes
    };
    condition.all.iter().all(holds)
        && (condition.one_of.is_empty() || condition.one_of.iter().any(|list| list.iter().all(holds)))
        && !condition.none_of.iter().any(|list| list.iter().all(holds))
}

/// Random headers, most of them a text of a condition with a few bytes changed.
fn sample(name: &str, harness: &Arc<Harness>, headers: u64) {
    let sealed = Prove::new(harness).run().unwrap();
    let Sealed::Proved(answer) = &sealed else { panic!("{name}: {:?}", sealed.doubts()) };
    let conditions: Vec<(&str, &Condition)> = ends(answer.get())
        .iter()
        .map(|end| (end.branch.as_deref().unwrap(), end.condition.as_ref().unwrap()))
        .collect();
    let mut texts: Vec<Vec<Vec<u8>>> = vec![Vec::new(); harness.layout.fields().len()];
    for (_, condition) in &conditions {
        for holding in condition.all.iter().chain(condition.one_of.iter().chain(&condition.none_of).flatten()) {
            let (index, range, bytes) = parts(holding, harness);
            let mut text = vec![b' '; harness.layout.fields()[index].length as usize];
            text[range].copy_from_slice(&bytes);
            texts[index].push(text);
        }
    }
    let mut runner = Runner::new(harness);
    let mut noise = Noise::new(20);
    let mut met: BTreeMap<String, u64> = BTreeMap::new();
    for _ in 0..headers {
        let fields: Vec<Vec<u8>> = texts
            .iter()
            .zip(harness.layout.fields())
            .map(|(texts, field)| {
                let mut bytes: Vec<u8> = match (texts.len() as u64, noise.bits() % 8) {
                    (1.., 1..) => texts[(noise.bits() % texts.len() as u64) as usize].clone(),
                    _ => (0..field.length).map(|_| noise.bits() as u8).collect(),
                };
                if noise.bits().is_multiple_of(3) {
                    let place = (noise.bits() % bytes.len() as u64) as usize;
                    bytes[place] = noise.bits() as u8;
                }
                bytes
            })
            .collect();
        let reached = runner.run(&fields);
        let told: Vec<&str> = conditions
            .iter()
            .filter(|(_, condition)| fits(condition, &fields, harness))
            .map(|(name, _)| *name)
            .collect();
        assert_eq!(told, [reached.as_str()], "{name}: {fields:02X?}");
        *met.entry(reached).or_default() += 1;
    }
    assert_eq!(met.len(), conditions.len(), "{name}: some condition was never tried: {met:?}");
}

/// A million headers of the C routine, and some of the demo, whose polling takes its time.
#[test]
fn a_million_random_headers() {
    sample("detect-O2", &harness("detect-O2"), 1_000_000);
    sample("table_40", &harness("table_40"), 20_000);
    sample("demo", &Arc::new(Harness::load(crate::support::root().join("harness/aria.yaml")).unwrap()), 10_000);
}
