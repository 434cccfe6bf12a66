//! What an explanation says had no influence has none: bytes are changed, and the machine itself is the judge.
//!
//! Cartridges are random, near to those of the cases: other bytes in the header, other sizes, contact faults, ports,
//! interrupts, open bus and RAM. Each is explained; then bytes are changed one at a time. Where the explanation lists
//! such a byte nothing is asked but how often it matters, so that listing every byte would be noticed; where it does not,
//! the run must end as before. And every change that it calls near is tried.

use std::collections::BTreeSet;
use std::sync::Arc;

use keyway::board::{Change as PortChange, OpenBus, Schedule};
use keyway::cartridge::{Contacts, DataFault, Fill, Flaw, Image};
use keyway::explain::{Change, Explanation, Nearby};
use keyway::rom::ByteOrder;
use keyway::run::{End, Machine, Setup, Timing};
use keyway::verdict::short_ending;
use keyway::{Case, Checker, Harness, Suite};

use super::{case_files, cases, told};
use crate::support::{Random, root};

const RUNS: usize = 10_000;
const SEED: u64 = 0x5EED_0041;

/// The header's offsets and some around it: what the shapes read, and what they might have.
const HEADER: std::ops::Range<u32> = 0xF8..0x210;

/// Sizes around every edge: within the header, where images begin to mirror, and beyond what the window shows.
const SIZES: [u32; 22] = [
    1, 0x101, 0x108, 0x10F, 0x181, 0x18E, 0x190, 0x193, 0x19E, 0x1A1, 0x200, 0x202, 0x280, 0x1000, 0x8_0000, 0x8_0100,
    0x10_0000, 0x20_0000, 0x20_0001, 0x30_0000, 0x40_0000, 0x80_0000,
];

/// A harness with the cases of one file, and machines to run them.
struct Bench {
    name: String,
    harness: Arc<Harness>,
    cases: Vec<Case>,
    checker: Checker,
    machine: Machine,
    explained: usize,
    /// Bytes with influence that changed the branch.
    decisive: usize,
}

/// No byte of the cartridge decides there; everywhere else one has to, or leaving it out would not be noticed.
const UNDECIDED: [&str; 4] = ["poll_pedal", "await_counter", "convert", "blanks"];

impl Bench {
    fn load(path: &std::path::Path) -> Self {
        let suite = Suite::load(path).expect("a case file");
        let harness = Arc::clone(&suite.harness);
        Self {
            name: path.file_stem().expect("a name").to_string_lossy().into_owned(),
            cases: cases(&suite),
            checker: Checker::new(Arc::clone(&harness)),
            machine: Machine::new(Arc::clone(&harness.rig)),
            harness,
            explained: 0,
            decisive: 0,
        }
    }

    /// How a run of these inputs ends: the branch, or the words for anything else.
    fn end(&mut self, case: &Case, setup: &Setup) -> (End, String) {
        let outcome = self.machine.run(setup, case.fills.first().map_or(&[][..], Vec::as_slice));
        (outcome.end, short_ending(outcome, self.harness.names()))
    }
}

/// What is counted over all runs.
#[derive(Debug, Default)]
struct Counts {
    /// Bytes changed that had no influence; none of them changed the branch.
    harmless: usize,
    /// Of these, bytes next to one with influence.
    beside: usize,
    /// Bytes changed that had influence, and how many of them changed the branch.
    influential: usize,
    decisive: usize,
    /// Changes that were called near, and tried.
    near: usize,
    /// Runs that came to no branch.
    lost: usize,
}

#[test]
fn a_byte_without_influence_never_changes_the_branch() {
    let mut benches: Vec<Bench> = case_files().iter().map(|path| Bench::load(path)).collect();
    for demo in ["choir", "drums", "others", "own-unknown", "contacts", "sockets", "convert", "blanks"] {
        benches.push(Bench::load(&root().join(format!("cases/{demo}.yaml"))));
    }
    let bytes = known_bytes(&benches);
    let mut random = Random(SEED);
    let mut counts = Counts::default();
    for run in 0..RUNS {
        // Those of the demo's second routine take a hundred times as long as the others.
        let index = random.below(benches.len() - usize::from(run % 50 != 0));
        let bench = &mut benches[index];
        let case = random_case(bench, &bytes, &mut random);
        let explanation = bench.checker.explain(&case);
        bench.explained += 1;
        try_bytes(bench, &case, &explanation, &mut random, &mut counts);
        try_near(bench, &case, &explanation, &mut counts);
    }
    for bench in &benches {
        assert!(bench.explained > 0, "{} was not tried", bench.name);
        let decides = !UNDECIDED.contains(&bench.name.as_str());
        assert_eq!(bench.decisive > 0, decides, "{}: {} decisive bytes", bench.name, bench.decisive);
    }
    assert!(counts.harmless > 4 * RUNS && counts.beside > RUNS / 4 && counts.lost > RUNS / 100, "vacuous: {counts:?}");
    assert!(counts.near > RUNS / 2, "hardly any near change: {counts:?}");
    assert!(counts.influential > RUNS && counts.decisive * 4 > counts.influential, "too much is listed: {counts:?}");
}

/// Changes bytes, one at a time, and runs each.
fn try_bytes(bench: &mut Bench, case: &Case, explanation: &Explanation, random: &mut Random, counts: &mut Counts) {
    let Some(image) = case.setup.inputs.attached.image.clone() else { return };
    let listed = told::influential(explanation);
    let before = bench.end(case, &case.setup);
    counts.lost += usize::from(!matches!(before.0, End::Branch(_)));
    let mut setup = case.setup.clone();
    for offset in offsets(&image, &listed, random) {
        let xor = random.below(255) as u8 + 1;
        setup.inputs.attached.image = Some(Arc::new(with_byte(&image, offset, |byte| byte ^ xor)));
        let after = bench.end(case, &setup);
        let same = same_branch(before.0, after.0);
        if listed.contains(&offset) {
            counts.influential += 1;
            counts.decisive += usize::from(!same);
            bench.decisive += usize::from(!same);
        } else {
            counts.harmless += 1;
            counts.beside += usize::from(listed.range(offset.saturating_sub(2)..=offset + 2).next().is_some());
            assert!(
                same,
                "{}, {}, run {}: image 0x{offset:06X} ^ 0x{xor:02X} has no influence, it says, but {} becomes {}\n\
                 {:#?}\n{explanation:#?}",
                bench.name, case.name, bench.explained, before.1, after.1, case.setup
            );
        }
    }
}

fn same_branch(before: End, after: End) -> bool {
    match (before, after) {
        (End::Branch(before), End::Branch(after)) => before == after,
        (End::Branch(_), _) | (_, End::Branch(_)) => false,
        _ => true,
    }
}

/// Offsets to change: anywhere, in the header, beside influential ones, and influential ones.
fn offsets(image: &Image, listed: &BTreeSet<u32>, random: &mut Random) -> Vec<u32> {
    let mut offsets = vec![random.below(image.size() as usize) as u32];
    let header = HEADER.start..HEADER.end.min(image.size());
    for _ in 0..4 {
        offsets.push(header.start + random.below(header.len()) as u32);
    }
    if !listed.is_empty() {
        for _ in 0..2 {
            let one = listed.iter().nth(random.below(listed.len())).copied().unwrap_or(0);
            offsets.push(one);
            offsets.push((one + random.below(9) as u32).saturating_sub(4));
        }
    }
    offsets.retain(|offset| *offset < image.size());
    offsets
}

/// The image with the byte that shows at an offset changed.
fn with_byte(image: &Image, offset: u32, change: impl Fn(u8) -> u8) -> Image {
    let mut changed = image.clone();
    let stored = if image.swapped() && (offset ^ 1).max(offset) < image.size() { offset ^ 1 } else { offset };
    let byte = change(image.byte(offset).expect("an offset within the image"));
    changed.put(stored, [byte]);
    assert_eq!(changed.byte(offset), Some(byte));
    changed
}

/// Every change that is called near ends as it says, and otherwise than the run.
fn try_near(bench: &mut Bench, case: &Case, explanation: &Explanation, counts: &mut Counts) {
    let before = bench.end(case, &case.setup).1;
    for nearby in &explanation.nearest {
        let setup = changed(bench, case, nearby);
        let after = bench.end(case, &setup).1;
        assert_eq!(after, nearby.ends, "{}, {}: {nearby:#?}\n{:#?}", bench.name, case.name, case.setup);
        assert_ne!(after, before, "{}, {}: {nearby:#?}", bench.name, case.name);
        counts.near += 1;
    }
}

fn changed(bench: &Bench, case: &Case, nearby: &Nearby) -> Setup {
    let mut setup = case.setup.clone();
    for change in &nearby.changes {
        match change {
            Change::Byte { offset, is, instead, .. } => {
                let image = setup.inputs.attached.image.as_ref().expect("an image");
                assert_eq!(image.byte(*offset), Some(*is));
                setup.inputs.attached.image = Some(Arc::new(with_byte(image, *offset, |_| *instead)));
            }
            Change::Port { port, instead } => {
                let ports = bench.harness.rig.map.ports();
                let index = ports.iter().position(|other| other.name == *port).expect("a port");
                setup.inputs.ports.resize(ports.len(), None);
                setup.inputs.ports[index] = Some(Schedule::Constant(*instead as u16));
            }
        }
    }
    setup
}

/// The bytes that the cases' cartridges have at each offset of the header.
fn known_bytes(benches: &[Bench]) -> Vec<Vec<u8>> {
    let images: Vec<_> = benches
        .iter()
        .flat_map(|bench| &bench.cases)
        .filter_map(|case| case.setup.inputs.attached.image.clone())
        .collect();
    HEADER.map(|offset| images.iter().filter_map(|image| image.byte(offset)).collect()).collect()
}

/// One of the cases, changed at random.
fn random_case(bench: &Bench, bytes: &[Vec<u8>], random: &mut Random) -> Case {
    let mut case = bench.cases[random.below(bench.cases.len())].clone();
    let inputs = &mut case.setup.inputs;
    if let Some(image) = &inputs.attached.image {
        inputs.attached.image = Some(Arc::new(random_image(image, bytes, random)));
    }
    match random.below(12) {
        0 => inputs.attached.contacts = random_contacts(random),
        1 => inputs.attached.contacts = Contacts::default(),
        _ => {}
    }
    if random.below(4) == 0 {
        let rules = [OpenBus::Ones, OpenBus::Zeros, OpenBus::Floating, OpenBus::Noise, OpenBus::BusError];
        inputs.empty = rules[random.below(rules.len())];
    }
    inputs.seed = random.next();
    let ports = bench.harness.rig.map.ports();
    inputs.ports.resize(ports.len(), None);
    for (port, schedule) in ports.iter().zip(&mut inputs.ports) {
        if port.reads.is_some() && random.below(2) == 0 {
            *schedule = Some(random_schedule(random));
        }
    }
    let devices = bench.harness.rig.interrupts.len();
    case.setup.interrupts.resize(devices, None);
    for timing in &mut case.setup.interrupts {
        if random.below(2) == 0 {
            let often = Some(500 + random.below(20_000) as u64);
            *timing = Some(Timing { first: often, every: often.filter(|_| random.below(4) > 0) });
        }
    }
    let fills = case.fills[random.below(case.fills.len())].clone();
    case.fills = vec![fills];
    case
}

/// An image like this one: some bytes others, perhaps another size, fill or byte order.
fn random_image(base: &Image, bytes: &[Vec<u8>], random: &mut Random) -> Image {
    let size = if random.below(4) == 0 { SIZES[random.below(SIZES.len())] } else { base.size() };
    let fill = if random.below(8) == 0 { Fill::Noise(random.next()) } else { base.fill() };
    let mut image = Image::new(size, fill);
    for (at, data) in base.spans() {
        image.put(at, data);
    }
    for _ in 0..random.below(4) {
        let place = random.below(bytes.len());
        let offset = HEADER.start + place as u32;
        let old = base.byte(offset).unwrap_or(0);
        let byte = match random.below(4) {
            0 => old ^ (1 << random.below(8)),
            1 => old.wrapping_add(1),
            2 if !bytes[place].is_empty() => bytes[place][random.below(bytes[place].len())],
            _ => random.next() as u8,
        };
        image.put(offset, [byte]);
    }
    if random.below(6) == 0 {
        image.copy(HEADER, [0x8_0000 + HEADER.start, 0x20_0000 + HEADER.start][random.below(2)]);
    }
    if base.swapped() != (random.below(20) == 0) {
        image.set_order(ByteOrder::Swapped);
    }
    image
}

fn random_contacts(random: &mut Random) -> Contacts {
    let flaws = [Flaw::High, Flaw::Low, Flaw::Open, Flaw::Flickering];
    let mut contacts = Contacts::default();
    contacts.data.push(DataFault { line: random.below(16) as u8, is: flaws[random.below(4)] });
    if random.below(2) == 0 {
        let is = [Flaw::High, Flaw::Low, Flaw::Flickering][random.below(3)];
        contacts.address.push(keyway::cartridge::AddressFault { line: 1 + random.below(23) as u8, is });
    }
    contacts
}

fn random_schedule(random: &mut Random) -> Schedule {
    let small = |random: &mut Random| random.below(16) as u16;
    match random.below(4) {
        0 => Schedule::Constant(small(random)),
        1 => Schedule::Sequence((0..1 + random.below(30)).map(|_| small(random)).collect()),
        2 => {
            let after = PortChange::Reads(random.below(110) as u32);
            Schedule::Changes { first: small(random), then: small(random), after }
        }
        _ => {
            let after = PortChange::Cycles(random.below(5000) as u64);
            Schedule::Changes { first: small(random), then: small(random), after }
        }
    }
}
