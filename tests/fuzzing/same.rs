//! The same work comes to the same end, byte for byte: with any number of threads, in parts or in one, interrupted or not.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use pretty_assertions::assert_eq;
use serde_json::Value;

use crate::support::{Project, Random, root, run};

/// What lies in a folder, by name.
fn contents(folder: &Path) -> BTreeMap<String, String> {
    let mut files = BTreeMap::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        // A process that was killed may have left a file that was not in its place yet.
        if !name.starts_with('.') {
            files.insert(name, std::fs::read_to_string(&path).unwrap());
        }
    }
    files
}

/// A project with a broken demo.
fn project(defect: &str) -> Project {
    let project = Project::demo();
    for ending in ["yaml", "elf"] {
        let name = format!("harness/defects/{defect}.{ending}");
        project.write(&name, std::fs::read(root().join(&name)).unwrap());
    }
    project
}

/// Works with this corpus and folder of findings.
#[track_caller]
fn work(project: &Project, defect: &str, folder: &str, more: &[&str]) {
    let harness = format!("harness/defects/{defect}.yaml");
    let (corpus, found) = (format!("{folder}/corpus"), format!("{folder}/found"));
    let mut arguments = vec!["fuzz", &harness, "--corpus", &corpus, "--found", &found];
    arguments.extend(more);
    let ran = run(project.path(), &arguments);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
}

/// Corpus and findings. A finding names its own file, so the name of the folder is left out.
fn both(project: &Project, folder: &str) -> [BTreeMap<String, String>; 2] {
    let [corpus, mut found] = ["corpus", "found"].map(|part| contents(&project.path().join(folder).join(part)));
    let own = format!("{folder}/found/");
    found.values_mut().for_each(|text| *text = text.replace(&own, ""));
    [corpus, found]
}

#[test]
fn the_number_of_threads_does_not_show() {
    let project = project("preset-range");
    let mut all = Vec::new();
    for seed in ["1", "2", "3"] {
        let folders = ["1", "2", "3", "4", "5"].map(|jobs| {
            let folder = format!("{seed}-{jobs}");
            work(&project, "preset-range", &folder, &["--trials", "12000", "--seed", seed, "--jobs", jobs]);
            both(&project, &folder)
        });
        assert!(folders[0][0].len() > 10 && folders[0][1].len() >= 3, "seed {seed}");
        folders.iter().for_each(|folder| assert_eq!(*folder, folders[0], "seed {seed}"));
        all.push(folders[0].clone());
    }
    assert!(all[0] != all[1] && all[1] != all[2], "the seed makes no difference");
}

#[test]
fn parts_in_one_folder_are_parts_that_are_copied_together() {
    let project = project("stride");
    for part in 1..=3 {
        let share = format!("{part}/3");
        work(&project, "stride", &format!("alone-{part}"), &["--trials", "6000", "--part", &share]);
        work(&project, "stride", "together", &["--trials", "6000", "--part", &share]);
    }
    // As `cp -n` does it, in the order of the parts.
    let mut copied = [BTreeMap::new(), BTreeMap::new()];
    for part in 1..=3 {
        for (all, files) in copied.iter_mut().zip(both(&project, &format!("alone-{part}"))) {
            files.into_iter().for_each(|(name, text)| _ = all.entry(name).or_insert(text));
        }
    }
    assert_eq!(both(&project, "together"), copied);
    assert!(contents(&project.path().join("alone-1/corpus")) != contents(&project.path().join("alone-2/corpus")));
}

#[test]
fn a_work_goes_on_where_it_ended() {
    let project = project("stride");
    work(&project, "stride", "whole", &["--trials", "20000"]);
    work(&project, "stride", "pieces", &["--trials", "1"]);
    work(&project, "stride", "pieces", &["--trials", "5000", "--jobs", "1"]);
    work(&project, "stride", "pieces", &["--trials", "20000"]);
    // What was known is not looked at again, so what was broken before is not told again; the files are the same.
    assert_eq!(both(&project, "pieces"), both(&project, "whole"));
}

/// What a sitting has taken no notice of, it has not looked for: the next one does not go on from there.
#[test]
fn a_promise_that_was_left_out_is_looked_for_anew() {
    let project = project("shadowed");
    let fuzz = |more: &[&str]| {
        let plain = ["fuzz", "harness/defects/shadowed.yaml", "--trials", "3000", "--corpus", "left/corpus"];
        project.run(&[&plain[..], more].concat())
    };
    let without = ["--without", "branch,accepts,refuses"];
    let (first, second) = (fuzz(&without), fuzz(&without));
    assert_eq!((first.code, second.code), (0, 0), "{}{}", first.out, second.out);
    for _ in 0..2 {
        let ran = fuzz(&[]);
        assert!(ran.code == 1 && ran.out.contains("BROKEN product \"AW-2100-02\""), "{}{}", ran.out, ran.err);
    }
}

#[test]
fn another_rom_starts_anew_from_what_is_there() {
    let project = project("stride");
    work(&project, "stride", "kept", &["--trials", "5000"]);
    let before = contents(&project.path().join("kept/corpus"));
    let arguments = ["fuzz", "harness/aria.yaml", "--corpus", "kept/corpus", "--trials", "5000"];
    let ran = project.run(&arguments);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("no promise broken") && !ran.out.contains("never"), "{}", ran.out);
    let after = contents(&project.path().join("kept/corpus"));
    let lost: Vec<&String> = before.keys().filter(|name| !after.contains_key(*name)).collect();
    assert!(lost.is_empty(), "{lost:?}");
}

#[test]
fn a_tidied_corpus_goes_the_same_ways() {
    let project = project("stride");
    work(&project, "stride", "tidy", &["--trials", "10000"]);
    work(&project, "stride", "tidy", &["--trials", "10000", "--seed", "2"]);
    let many = contents(&project.path().join("tidy/corpus")).len();
    let tidy = ["fuzz", "harness/defects/stride.yaml", "--corpus", "tidy/corpus", "--tidy"];
    let ran = project.run(&tidy);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let once = contents(&project.path().join("tidy/corpus"));
    assert!(once.len() < many && once.len() > 5, "{} of {many}", once.len());
    assert_eq!(project.run(&tidy).out, format!("{} entries kept, 0 removed\n", once.len()));
    assert_eq!(contents(&project.path().join("tidy/corpus")), once);
}

/// Fifty works are killed at any moment, one after the other in the same folders; each takes up what the one before has
/// left. Nothing that was told is lost, and the end is that of a work that nobody has disturbed.
#[cfg(unix)]
#[test]
fn killing_it_loses_nothing() {
    let project = project("preset-range");
    let limits = ["--trials", "40000", "--jobs", "2"];
    let began = Instant::now();
    work(&project, "preset-range", "whole", &limits);
    // However slow the machine is, some are killed while they start, and some while they work.
    let longest = began.elapsed().as_millis() as usize * 2 / 3;
    let mut random = Random(0x51DE_B00C);
    let mut told = Vec::new();
    for _ in 0..55 {
        let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
        command.current_dir(project.path()).args(["fuzz", "harness/defects/preset-range.yaml", "--format", "json"]);
        command.args(["--corpus", "killed/corpus", "--found", "killed/found"]).args(limits);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let lines = std::thread::spawn(move || out.lines().map_while(Result::ok).collect::<Vec<String>>());
        std::thread::sleep(Duration::from_millis(random.below(longest) as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        let files = both(&project, "killed");
        for line in lines.join().unwrap() {
            // The last line may be cut off; then nobody was told.
            let Ok(record) = serde_json::from_str::<Value>(&line) else { continue };
            if record["record"] == "finding" && record["known"] == false {
                let case = record["case"].as_str().unwrap().replace("killed/found/", "");
                told.push((record["file"].as_str().unwrap().to_owned(), case));
            }
        }
        for (file, case) in &told {
            let name = Path::new(file).file_name().unwrap().to_string_lossy().into_owned();
            let text = files[1].get(&name).unwrap_or_else(|| panic!("{name} was told and is gone"));
            assert_eq!(text, case, "{name}");
        }
        files[0].values().for_each(|text| _ = serde_json::from_str::<Value>(text).expect("a whole file"));
    }
    assert!(!told.is_empty(), "nothing was told before the kills");
    work(&project, "preset-range", "killed", &limits);
    assert_eq!(both(&project, "killed"), both(&project, "whole"));
}
