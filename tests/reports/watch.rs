//! `keyway watch`, as somebody sees it who edits files beside it.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use pretty_assertions::assert_eq;

use crate::support::Project;

/// How long a line may take that is expected: far longer than it does.
const PATIENCE: Duration = Duration::from_secs(90);

/// A running `keyway watch`, ended when it is dropped.
struct Watching {
    child: Child,
    lines: Receiver<String>,
}

impl Watching {
    fn start(project: &Project, arguments: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
        command.current_dir(project.path()).arg("watch").args(arguments).env("NO_COLOR", "1");
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().expect("the program runs");
        let out = child.stdout.take().expect("its output");
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Self { child, lines }
    }

    /// The lines up to the first that starts with a text.
    #[track_caller]
    fn until(&self, start: &str) -> Vec<String> {
        let began = Instant::now();
        let mut seen = Vec::new();
        loop {
            match self.lines.recv_timeout(PATIENCE.saturating_sub(began.elapsed())) {
                Ok(line) => seen.push(line),
                Err(error) => panic!("{error}: no line starts with {start:?}, only {seen:#?}"),
            }
            if seen.last().is_some_and(|line| line.starts_with(start)) {
                return seen;
            }
        }
    }
}

impl Drop for Watching {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A case file with these cases.
fn cases(cases: &str) -> String {
    format!("harness: ../harness/aria.yaml\ncases:\n{cases}")
}

const HELD: &str = "- {name: a, attach: nothing, expect: {branch: alone}}\n\
                    - {name: b, attach: {file: own.bin}, expect: {branch: alone}}\n";

fn project() -> Project {
    let project = Project::demo();
    project.write("cases/own.bin", [0xFF; 1024]);
    project.write("cases/one.yaml", cases(HELD));
    project
}

#[test]
fn only_what_changed_is_shown() {
    let project = project();
    let watching = Watching::start(&project, &[]);
    assert_eq!(watching.until("watching "), ["2 cases: 2 held", "watching 5 files"]);

    // A case file that is edited.
    project.write("cases/one.yaml", cases(&HELD.replacen("alone", "patched", 1)));
    let lines = watching.until("2 cases: ");
    assert_eq!(lines[1], "FAILED a");
    assert!(lines.iter().any(|line| line.starts_with("  decided    0x")), "{lines:#?}");
    assert_eq!(lines.last().map(String::as_str), Some("2 cases: 1 held, 1 failed"));

    // An editor that writes anew and renames over.
    let new = project.write("cases/one.yaml.new", cases(HELD));
    std::fs::rename(new, project.path().join("cases/one.yaml")).expect("a rename");
    assert_eq!(watching.until("2 cases: "), ["  now held   a: took alone", "2 cases: 2 held"]);

    // A new case file in the folder, and one that goes away.
    let second = project.write("cases/two.yaml", cases("- {name: c, attach: nothing}\n"));
    assert_eq!(watching.until("3 cases: "), ["  new        c: held", "3 cases: 3 held"]);
    std::fs::remove_file(second).expect("a file");
    assert_eq!(watching.until("2 cases: "), ["  gone       c: was held", "2 cases: 2 held"]);

    // The file of a cartridge.
    let mut image = vec![0xFF; 1024];
    image[0x100..0x110].copy_from_slice(b"PARLOR16 SYSTEM ");
    project.write("cases/own.bin", image);
    let lines = watching.until("2 cases: ");
    assert_eq!((lines[1].as_str(), lines.last().map(String::as_str)), ("FAILED b", Some("2 cases: 1 held, 1 failed")));
}

#[test]
fn a_half_written_image_is_survived() {
    let project = project();
    let rom = std::fs::read(project.path().join("harness/aria.elf")).expect("the ROM");
    let harness = std::fs::read(project.path().join("harness/aria.yaml")).expect("the harness");
    let watching = Watching::start(&project, &["cases/one.yaml", "--jobs", "1"]);
    watching.until("watching ");
    for (name, whole) in [("harness/aria.elf", &rom), ("harness/aria.yaml", &harness)] {
        project.write(name, &whole[..whole.len() / 2]);
        let lines = watching.until("cannot be loaded");
        assert_eq!(lines.len(), 1, "{lines:#?}");
        assert!(lines[0].starts_with("cannot be loaded, the last results stand: harness/aria."), "{lines:#?}");
        project.write(name, whole);
        assert_eq!(watching.until("nothing changed"), ["nothing changed: 2 cases: 2 held"]);
    }
    std::fs::remove_file(project.path().join("harness/patch.bin")).expect("the patch ROM");
    let lines = watching.until("cannot be loaded");
    assert!(lines[0].contains("harness/patch.bin"), "{lines:#?}");
}

#[test]
fn an_image_that_is_not_there_yet_is_waited_for() {
    let project = project();
    let rom = project.path().join("harness/aria.elf");
    let whole = std::fs::read(&rom).expect("the ROM");
    std::fs::remove_file(&rom).expect("the ROM");
    let watching = Watching::start(&project, &[]);
    let lines = watching.until("watching ");
    assert!(lines[0].starts_with("cannot be loaded, nothing was run: harness/aria.yaml:"), "{lines:#?}");
    project.write("harness/aria.elf", whole);
    assert_eq!(watching.until("2 cases: "), ["2 cases: 2 held"]);
}

#[test]
fn a_wrong_name_is_not_waited_for() {
    let project = project();
    assert_eq!(project.run(&["watch", "cases/none.yaml"]).code, 2);
    assert_eq!(project.run(&["watch", "--name", "no such case"]).code, 4);
}
