//! Files that a run writes: opened first, put in place at the end, and otherwise nothing happens to what is there.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use pretty_assertions::assert_eq;

use super::mixed;
use crate::support::{Project, root, run};

/// Everything below a folder.
fn all(folder: &Path) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            names.insert(path.display().to_string());
            if path.is_dir() {
                folders.push(path);
            }
        }
    }
    names
}

fn read(project: &Project, name: &str) -> String {
    fs::read_to_string(project.path().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn several_outputs_come_from_one_run() {
    let project = mixed();
    let outputs =
        ["--junit", "j.xml", "--markdown", "m.md", "--lcov", "l.info", "--listing", "l.txt", "--format", "json"];
    let ran = project.run(&[&["check"], &outputs[..]].concat());
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.out.starts_with("{\"record\":\"start\","), "{}", ran.out);
    for (file, start) in [("j.xml", "<?xml "), ("m.md", "# Compatibility of "), ("l.info", "TN:")] {
        assert!(read(&project, file).starts_with(start), "{file}: {}", read(&project, file));
    }
    // Each alone says the same.
    for pair in outputs[..8].chunks(2) {
        let together = read(&project, pair[1]);
        let ran = project.run(&["check", pair[0], "alone"]);
        assert_eq!(ran.code, 1, "{}", ran.err);
        assert!(together == read(&project, "alone"), "{pair:?} differs");
    }
}

#[test]
fn files_are_the_same_for_any_number_of_jobs() {
    let project = Project::new();
    let place = |name: &str| project.path().join(name).display().to_string();
    let files = |jobs: &str| {
        let (junit, markdown) = (place(&format!("{jobs}.xml")), place(&format!("{jobs}.md")));
        let arguments = ["check", "--boundary", "--jobs", jobs, "--format", "github"];
        let ran = run(root(), &[&arguments[..], &["--junit", &junit, "--markdown", &markdown]].concat());
        assert_eq!(ran.code, 0, "{}", ran.err);
        [ran.out, fs::read_to_string(junit).expect("a file"), fs::read_to_string(markdown).expect("a file")]
    };
    let one = files("1");
    assert!(one[1].len() > 10_000 && one[2].len() > 10_000);
    assert!(one == files("2"), "the number of jobs shows");
}

#[test]
fn what_was_there_survives_a_run_that_is_refused() {
    let project = mixed();
    project.write("out.xml", "old");
    project.write("cases/bad.yaml", "harness: ../harness/aria.yaml\ncases: [{name: a, atach: nothing}]\n");
    let before = all(project.path());
    for (arguments, code) in [
        (&["check", "--junit", "out.xml"][..], 2),
        (&["check", "cases/all.yaml", "--junit", "out.xml", "--markdown", "cases"][..], 2),
        (&["check", "cases/all.yaml", "--junit", "out.xml", "--jobs", "0"][..], 2),
        (&["check", "cases/all.yaml", "--junit", "out.xml", "--name", "no such case"][..], 4),
    ] {
        let ran = project.run(arguments);
        assert_eq!(ran.code, code, "{arguments:?}: {}{}", ran.out, ran.err);
        assert_eq!(ran.out, "", "{arguments:?}");
        assert_eq!(read(&project, "out.xml"), "old", "{arguments:?}");
        assert_eq!(all(project.path()), before, "{arguments:?}");
    }
}

#[test]
fn places_that_cannot_be_written_are_refused() {
    let project = mixed();
    let image = project.write("cases/image.bin", [0xFF; 1024]);
    project.write(
        "cases/file.yaml",
        "harness: ../harness/aria.yaml\ncases: [{name: a file, attach: {file: image.bin}}]\n",
    );
    let before = all(project.path());
    let absolute = image.display().to_string();
    let read = "the run reads this file, so it is not overwritten";
    for (arguments, part) in [
        (&["--junit", "cases"][..], "--junit cases: this is a folder, but a file is needed"),
        (&["--junit", "cases/"][..], "this is no name of a file"),
        (&["--junit", ".."][..], "this is no name of a file"),
        (&["--junit", "none/out.xml"][..], "--junit none/out.xml: the folder none cannot be used: "),
        (&["--markdown", "cases/all.yaml/out.md"][..], "the folder cases/all.yaml cannot be used: "),
        (
            &["--junit", "a", "--markdown", "./cases/../a"][..],
            "--markdown ./cases/../a: --junit writes this file already",
        ),
        (&["--junit", "cases/file.yaml"][..], read),
        (&["--junit", "./harness/../harness/aria.yaml"][..], read),
        (&["--junit", "harness/aria.elf"][..], read),
        (&["--junit", "harness/patch.bin"][..], read),
        (&["--markdown", &absolute][..], read),
        (&["--date", "2027-01-01"][..], "--markdown"),
        (&["--junit", ""][..], "--junit"),
    ] {
        let ran = project.run(&[&["check"], arguments].concat());
        assert_eq!(ran.code, 2, "{arguments:?}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(part), "{arguments:?}: no {part:?} in\n{}", ran.err);
        assert_eq!(ran.out, "", "{arguments:?}");
        assert_eq!(all(project.path()), before, "{arguments:?}");
    }
    // The harness that another one extends is read too.
    let ran = project.run(&["check", "cases/short.yaml", "--junit", "harness/aria.yaml"]);
    assert!(ran.code == 2 && ran.err.contains(read), "{}", ran.err);
}

#[cfg(unix)]
mod unix {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};

    use pretty_assertions::assert_eq;

    use super::*;

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).expect("a file").mode() & 0o777
    }

    #[test]
    fn files_have_the_permissions_that_they_would_have_anyway() {
        let project = mixed();
        let ordinary = mode(&project.write("ordinary", ""));
        let private = project.write("private.md", "old");
        fs::set_permissions(&private, fs::Permissions::from_mode(0o600)).expect("permissions");
        let ran = project.run(&["check", "--junit", "new.xml", "--markdown", "private.md"]);
        assert_eq!(ran.code, 1, "{}", ran.err);
        assert_eq!((mode(&project.path().join("new.xml")), mode(&private)), (ordinary, 0o600));
        assert!(read(&project, "private.md").starts_with("# "));
    }

    #[test]
    fn links_are_written_through() {
        let project = mixed();
        fs::create_dir(project.path().join("results")).expect("a folder");
        project.write("results/old.xml", "old");
        let link = |to: &str, at: &str| symlink(to, project.path().join(at)).expect("a link");
        link("results/old.xml", "link.xml");
        link("link.xml", "second.xml");
        link("results/new.md", "link.md");
        let ran = project.run(&["check", "--junit", "second.xml", "--markdown", "link.md"]);
        assert_eq!(ran.code, 1, "{}", ran.err);
        assert!(read(&project, "results/old.xml").starts_with("<?xml"));
        assert!(read(&project, "results/new.md").starts_with("# "));
        for name in ["link.xml", "second.xml", "link.md"] {
            let about = fs::symlink_metadata(project.path().join(name)).expect("a link");
            assert!(about.is_symlink(), "{name} is no link any more");
        }
        // A link does not hide what a run reads or writes.
        link("../harness/aria.elf", "results/rom.xml");
        link("round", "round");
        for (arguments, part) in [
            (["--junit", "results/rom.xml", "--format", "json"], "the run reads this file"),
            (["--junit", "link.xml", "--markdown", "results/old.xml"], "--junit writes this file already"),
            (["--junit", "round", "--format", "json"], "the symbolic links lead round and round"),
            (["--junit", "/dev/null", "--format", "json"], "this is a device, pipe or socket"),
        ] {
            let ran = project.run(&[&["check"], &arguments[..]].concat());
            assert!(ran.code == 2 && ran.err.contains(part), "{arguments:?}: {}{}", ran.out, ran.err);
        }
    }

    fn start(project: &Project, arguments: &[&str], out: Stdio) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_keyway"));
        command.current_dir(project.path()).args(arguments).env("CI", "1");
        command.stdout(out).stderr(Stdio::null()).spawn().expect("the program runs")
    }

    #[test]
    fn what_was_there_survives_if_the_reader_of_the_output_goes_away() {
        let project = mixed();
        project.write("out.xml", "old");
        let before = all(project.path());
        let mut child = start(&project, &["check", "--junit", "out.xml", "--format", "json"], Stdio::piped());
        drop(child.stdout.take());
        assert_eq!(child.wait().expect("an end").code(), Some(130));
        assert_eq!(read(&project, "out.xml"), "old");
        assert_eq!(all(project.path()), before);
    }

    #[test]
    fn what_was_there_survives_an_interruption() {
        let project = Project::demo();
        // So many polls of the pedal last longer than the signal takes.
        let numbers = |count: usize| (0..count).map(|number| number.to_string()).collect::<Vec<_>>().join(", ");
        project.write(
            "cases/long.yaml",
            format!(
                "harness: ../harness/aria.yaml\ncases:\n\
                 - name: long {{a}} {{b}}\n  for: {{a: [{}], b: [{}]}}\n\
                 \x20 attach: {{signature: \"PARLOR16 SYSTEM \", product: AW-2100-03, fill: \"{{a}}\"}}\n\
                 \x20 ports: {{pedal: {{first: 0, then: \"{{b}}\", after-reads: 3000}}}}\n\
                 \x20 expect: {{branch: refused}}\n",
                numbers(200),
                numbers(250)
            ),
        );
        project.write("out.xml", "old");
        let before = all(project.path());
        let mut child = start(&project, &["check", "--junit", "out.xml", "--jobs", "1"], Stdio::null());
        let began = Instant::now();
        while all(project.path()) == before {
            assert_eq!(child.try_wait().expect("a state"), None, "it ended too early");
            assert!(began.elapsed() < Duration::from_secs(120), "no file was opened");
            std::thread::sleep(Duration::from_millis(20));
        }
        let killed = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("a signal");
        assert!(killed.success());
        assert_eq!(child.wait().expect("an end").code(), Some(130));
        assert_eq!(read(&project, "out.xml"), "old");
        assert_eq!(all(project.path()), before);
    }
}
