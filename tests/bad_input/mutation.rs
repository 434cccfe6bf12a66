//! No file may make the loader panic: the demo's files are damaged thousands of ways, and every error says something.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use keyway::check::Checker;
use keyway::suite::{Complaint, Harness, Suite};

use crate::support::Random;

use super::support::Project;

/// When to stop; a slow machine tries fewer.
const LONGEST: Duration = Duration::from_secs(14);

/// How often all files are damaged.
const ROUNDS: usize = 400;

/// How files are damaged.
trait Damage {
    fn byte(&mut self) -> u8;
    fn bytes(&mut self, text: &mut Vec<u8>);
    fn lines(&mut self, text: &mut Vec<u8>);
    fn damage(&mut self, text: &mut Vec<u8>);
}

impl Damage for Random {
    /// A byte of the kind that finds faults in YAML, or anything.
    fn byte(&mut self) -> u8 {
        const TELLING: &[u8] = b"\x00\x1b\t\n\r {}[]:,-#&*!|>'\"%@`~?019xF.\xC3\xFF";
        if self.below(4) == 0 { self.next() as u8 } else { TELLING[self.below(TELLING.len())] }
    }

    /// Damages some bytes.
    fn bytes(&mut self, text: &mut Vec<u8>) {
        let at = self.below(text.len());
        let length = self.below(20).min(text.len() - at);
        match self.below(6) {
            0 => text.truncate(at),
            1 => drop(text.drain(at..at + length)),
            2 => text.insert(at, self.byte()),
            3 => {
                let piece = text[at..at + length].to_vec();
                let to = self.below(text.len());
                text.splice(to..to, piece);
            }
            4 if at < text.len() => text[at] = self.byte(),
            _ if at < text.len() => text[at] ^= 1 << self.below(8),
            _ => {}
        }
    }

    /// Damages some lines.
    fn lines(&mut self, text: &mut Vec<u8>) {
        let mut lines: Vec<Vec<u8>> = text.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
        let (one, other) = (self.below(lines.len()), self.below(lines.len()));
        match self.below(4) {
            0 => drop(lines.remove(one)),
            1 => lines.insert(other, lines[one].clone()),
            2 => lines.swap(one, other),
            _ => lines[one].splice(0..0, b"  ".iter().copied()).for_each(drop),
        }
        *text = lines.concat();
    }

    fn damage(&mut self, text: &mut Vec<u8>) {
        for _ in 0..1 + self.below(3) {
            if text.is_empty() {
                return;
            }
            if self.below(2) == 0 { self.bytes(text) } else { self.lines(text) }
        }
    }
}

fn demo(folder: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the demo")
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "yaml"))
        .collect();
    files.sort();
    files.into_iter().map(|path| (path.clone(), fs::read(path).expect("a file"))).collect()
}

fn says_something(complaint: &Complaint) {
    assert!(!complaint.message.trim().is_empty(), "a complaint without a message: {complaint:?}");
    let text = complaint.to_string();
    assert!(!text.contains(|letter: char| letter.is_control()), "a control character in {text:?}");
    let Some(position) = &complaint.position else { return };
    assert!(complaint.text.get(position.bytes.clone()).is_some(), "a place that is not in the text: {complaint:?}");
}

/// Loads a damaged file; what can still be loaded is also run, a little.
fn try_harness(path: &Path) {
    match Harness::load(path) {
        Err(complaint) => says_something(&complaint),
        Ok(harness) if harness.rig.routine.limits.instructions <= 1_000_000 => {
            let harness = Arc::new(harness);
            let case = harness.case("trial", keyway::cartridge::Attached::nothing());
            Checker::new(harness).check(&case);
        }
        Ok(_) => {}
    }
}

fn try_suite(path: &Path, harnesses: &mut HashMap<PathBuf, Arc<Harness>>) {
    match Suite::load_with(path, 1, harnesses) {
        Err(complaint) => says_something(&complaint),
        Ok(suite) => {
            let mut checker = Checker::new(Arc::clone(&suite.harness));
            for case in suite.cases().step_by(7).take(4) {
                checker.check(&case.expect("a case that was loaded"));
            }
        }
    }
}

#[test]
fn damaged_files_never_panic() {
    let project = Project::new();
    let (harness, cases) = (demo("harness").remove(0).1, demo("cases"));
    fs::create_dir(project.path("harness")).expect("a folder");
    for file in ["aria.elf", "patch.bin"] {
        fs::copy(project.path(file), project.path("harness").join(file)).expect("a copy");
    }
    project.write("harness/aria.yaml", &harness);
    let mut harnesses = HashMap::new();
    let mut random = Random(0x5EED_0FBA_DF11_E000);
    let began = Instant::now();
    for _ in 0..ROUNDS {
        if began.elapsed() > LONGEST {
            break;
        }
        let mut text = harness.clone();
        random.damage(&mut text);
        project.write("harness/damaged.yaml", &text);
        try_harness(&project.path("harness/damaged.yaml"));
        for (_, text) in &cases {
            let mut text = text.clone();
            random.damage(&mut text);
            project.write("cases/damaged.yaml", &text);
            try_suite(&project.path("cases/damaged.yaml"), &mut harnesses);
        }
    }
}
