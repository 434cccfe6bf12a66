//! What the work relies on: the memo says what a run would say, and a case file says what a trial is.

use std::io::Write;
use std::sync::Arc;

use pretty_assertions::assert_eq;

use super::case_text::{Wanted, case_text};
use super::corpus::name;
use super::deed::{Deed, Prober};
use super::dice::Dice;
use super::ground::Ground;
use super::known::Known;
use super::moves::{Mover, Parent};
use super::ordinary::{of_case, ordinary};
use super::promise::{Promise, Promises};
use super::share::Share;
use super::trial::Trial;
use super::written::{EntryFile, Met};
use crate::run::Setup;
use crate::suite::{Harness, Suite};

/// The harnesses of the repository: with and without interrupts, ports, checks of the whole window.
const HARNESSES: [&str; 4] =
    ["harness/aria.yaml", "harness/blanks.yaml", "harness/convert.yaml", "harness/defects/preset-range.yaml"];

fn load(path: &str) -> Arc<Harness> {
    Arc::new(Harness::load(path).unwrap())
}

/// Trials that lie close together and far apart: each is made from one of those before it.
fn trials(harness: &Harness, count: usize, seed: u64) -> Vec<Trial> {
    let ground = Ground::new(harness, &[], &[]);
    let mover = Mover { harness, ground: &ground };
    let mut trials: Vec<Trial> = ordinary(harness).into_iter().map(|ordinary| ordinary.trial).collect();
    let mut dice = Dice::new(&[seed]);
    while trials.len() < count {
        let newest = trials.len().min(if dice.one_in(2) { 4 } else { trials.len() });
        let trial = &trials[trials.len() - 1 - dice.below(newest)];
        let other = &trials[dice.below(trials.len())];
        let parent = Parent { trial, wishes: &[], offsets: &[0x100, 0x101, 0x180, 0x18D] };
        let made = mover.vary(parent, other, &mut dice);
        trials.push(made);
    }
    trials
}

/// What two deeds of one trial must agree in.
fn told(deed: &Deed) -> (crate::run::End, u32, Promises, u64, u64) {
    (deed.end, deed.last, deed.broken, deed.ways, deed.instructions)
}

#[test]
fn what_is_known_is_what_a_run_would_do() {
    for path in HARNESSES {
        let harness = load(path);
        let mut known = Prober::new(&harness, Promises::all(), 1);
        let mut plain = Prober::new(&harness, Promises::all(), 1);
        let mut features = Known::default();
        let mut hits = 0;
        for (index, trial) in trials(&harness, 1500, 3).iter().enumerate() {
            let tried = known.try_out(trial);
            let ran = plain.run(trial);
            assert_eq!(told(&tried.deed), told(&ran.deed), "{path}, trial {index}: {trial:?}");
            assert_eq!((tried.broken, &tried.decision), (ran.broken, &ran.decision), "{path}, trial {index}");
            hits += usize::from(tried.known);
            features.learn(plain.features());
            known.learn(features.features());
        }
        // Where a device interrupts, and where megabytes are read, runs are not known again.
        let few = path.ends_with("convert.yaml");
        assert!(few || hits > 100, "{path}: only {hits} trials were known");
    }
}

#[test]
fn a_case_file_says_what_a_trial_is() {
    for path in HARNESSES {
        let harness = load(path);
        let folder = tempfile::tempdir().unwrap();
        for (index, trial) in trials(&harness, 400, 5).iter().enumerate() {
            let wanted = Wanted { promise: Some(Promise::Crash), branch: None, leaves: None };
            let text = case_text("a trial", &[], trial, &wanted, &harness, folder.path());
            let file = folder.path().join("case.yaml");
            std::fs::File::create(&file).unwrap().write_all(text.as_bytes()).unwrap();
            let suite = Suite::load(&file).unwrap_or_else(|complaint| panic!("{complaint:?}\n{text}"));
            let case = suite.case(0).unwrap();
            let mut setup = Setup::default();
            trial.set_up(&mut setup, &harness, 1);
            let (read, made) = (&case.setup.inputs, &setup.inputs);
            assert_eq!(read.empty, made.empty, "{text}");
            assert_eq!(read.attached.contacts, made.attached.contacts, "{text}");
            for (port, (read, made)) in read.ports.iter().zip(&made.ports).enumerate() {
                let usual = harness.rig.map.ports()[port].reads.as_ref();
                assert_eq!(read.as_ref().or(usual), made.as_ref().or(usual), "{text}");
            }
            for (device, (read, made)) in case.setup.interrupts.iter().zip(&setup.interrupts).enumerate() {
                let usual = harness.rig.interrupts[device].timing;
                assert_eq!(read.unwrap_or(usual), made.unwrap_or(usual), "{text}");
            }
            match (&read.attached.image, &made.attached.image) {
                (None, None) => {}
                (Some(read), Some(made)) => {
                    assert_eq!((read.size(), read.fill(), read.swapped()), (made.size(), made.fill(), made.swapped()));
                    let put: Vec<u32> =
                        made.spans().chain(read.spans()).flat_map(|(at, bytes)| at..at + bytes.len() as u32).collect();
                    for offset in put {
                        assert_eq!(read.byte(offset), made.byte(offset), "offset 0x{offset:X}, trial {index}\n{text}");
                    }
                }
                _ => panic!("one has an image, the other has none\n{text}"),
            }
            // What a user's case attaches is varied like all else.
            let again = of_case(&case, &harness, 1).unwrap_or_else(|| panic!("not varied:\n{text}"));
            let mut other = Setup::default();
            again.set_up(&mut other, &harness, 1);
            let bytes = |setup: &Setup| {
                setup.inputs.attached.image.as_ref().map(|image| image.bytes(0..0x400).collect::<Vec<_>>())
            };
            assert_eq!(bytes(&other), bytes(&setup), "{text}");
        }
    }
}

#[test]
fn an_entry_of_a_corpus_says_what_a_trial_is() {
    for path in HARNESSES {
        let harness = load(path);
        let met = Met { plan: 1, seed: 2, part: Share { part: 3, of: 4 }, batch: 5, trial: 6 };
        for trial in trials(&harness, 400, 7) {
            let text = serde_json::to_string(&EntryFile::new(&trial, met, &harness)).unwrap();
            let file: EntryFile = serde_json::from_str(&text).unwrap();
            assert_eq!(file.met, met);
            let read = file.trial(&harness).unwrap_or_else(|why| panic!("{why}\n{text}"));
            assert_eq!(read, trial, "{text}");
            assert_eq!(name(&read, &harness), name(&trial, &harness));
        }
    }
}

#[test]
fn moves_do_what_they_say() {
    let harness = load("harness/aria.yaml");
    let all = trials(&harness, 4000, 11);
    let plugs = || all.iter().filter_map(|trial| trial.plug.as_ref());
    assert!(all.iter().any(|trial| trial.plug.is_none()));
    assert!(all.iter().any(|trial| trial.empty.is_some()));
    assert!(all.iter().any(|trial| trial.ports[1].is_some()));
    assert!(plugs().any(|plug| plug.swapped) && plugs().any(|plug| plug.fill.is_none()));
    assert!(plugs().any(|plug| !plug.raw.is_empty()) && plugs().any(|plug| !plug.copies.is_empty()));
    assert!(
        plugs().any(|plug| !plug.contacts.data.is_empty()) && plugs().any(|plug| !plug.contacts.address.is_empty())
    );
    // The latch cannot be read, so nothing says what it reads.
    assert!(all.iter().all(|trial| trial.ports[0].is_none()));
    let sizes: std::collections::BTreeSet<u32> = plugs().map(|plug| plug.size).collect();
    assert!(sizes.len() > 20 && sizes.contains(&0x20_0000) && sizes.contains(&0x20_0001), "{sizes:?}");
}
