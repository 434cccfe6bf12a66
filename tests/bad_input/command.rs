//! The command line: wrong files, names, lines and options; `new` where it must not write.

use std::fs;

use super::support::{CASES, HARNESS, Project};
use pretty_assertions::assert_eq;

/// The one line that a wrong argument gives.
fn said(project: &Project, arguments: &[&str], code: i32) -> String {
    project.refused(&arguments.join(" "), arguments, code)[0].clone()
}

#[test]
fn names_of_files_and_cases() {
    let project = Project::new();
    for (what, message) in [
        ("nope.yaml", "there is no file, folder or case \"nope.yaml\""),
        ("nope/", "there is no file, folder or case \"nope/\""),
        ("", "there is no file, folder or case \"\""),
        ("c.yaml:8", "no case of c.yaml starts at line 8; the nearest starts at line 7"),
        ("c.yaml:0", "no case of c.yaml starts at line 0; the nearest starts at line 7"),
        ("c.yaml:99999999999999999999", "c.yaml has no case \"99999999999999999999\""),
        ("c.yaml:tow", "c.yaml has no case \"tow\"; did you mean \"two\"?"),
        ("c.yaml:one", "c.yaml has no case \"one\"; did you mean \"one, rev 00\"?"),
    ] {
        assert_eq!(said(&project, &["check", what], 2), format!("error: {message}"));
    }
    project.write("cases/x.yaml", CASES.replace("h.yaml", "../h.yaml"));
    let near = "error: there is no file, folder or case \"tow\"; did you mean \"two\"?";
    assert_eq!(said(&project, &["check", "tow"], 2), near);
}

#[test]
fn nothing_is_selected() {
    let project = Project::new();
    assert_eq!(
        said(&project, &["check", "c.yaml", "--name", "zzz"], 4),
        "error: no case is selected: no name contains \"zzz\""
    );
    let message = said(&project, &["check"], 2);
    assert!(message.starts_with("error: there is no folder `cases` here"), "{message}");
    fs::create_dir(project.path("cases")).expect("a folder");
    assert_eq!(said(&project, &["check"], 4), "error: there is no case file (*.yaml) in cases");
    let table = HARNESS.split("acceptance:").next().expect("the part before the table");
    project.write("h.yaml", table);
    let message = said(&project, &["check", "--boundary", "c.yaml"], 4);
    assert!(message.contains("--boundary has nothing to start from"), "{message}");
}

#[test]
fn options() {
    let project = Project::new();
    for arguments in [
        &["check", "--nope"][..],
        &["check", "c.yaml", "--jobs", "0"],
        &["check", "c.yaml", "--jobs", "100000"],
        &["check", "c.yaml", "--seed", "x"],
        &["check", "c.yaml", "--format", "xml"],
        &["chek"],
        &["new"],
        &["schema", "x"],
    ] {
        project.refused(&arguments.join(" "), arguments, 2);
    }
}

#[test]
fn one_file_by_two_names_is_one_suite() {
    let output = Project::new().run(&["list", "c.yaml", "./c.yaml"]);
    assert!(String::from_utf8_lossy(&output.stdout).contains("3 cases"), "{output:?}");
}

#[cfg(unix)]
#[test]
fn folders_that_lead_round() {
    let project = Project::new();
    project.write("cases/x.yaml", CASES.replace("h.yaml", "../h.yaml"));
    std::os::unix::fs::symlink(".", project.path("cases/again")).expect("a link");
    let output = project.run(&["list"]);
    assert!(String::from_utf8_lossy(&output.stdout).contains("\n3 cases\n"), "{output:?}");
}

/// A file's name can hold what a terminal would act on; it is not passed on.
#[cfg(unix)]
#[test]
fn escape_sequences_in_file_names() {
    let project = Project::new();
    project.write("cases/\u{1b}[31mred.yaml", CASES.replace("h.yaml", "../h.yaml").replace("combination,", "alone,"));
    let output = project.run(&["check", "--color", "never"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(!output.stdout.contains(&0x1b), "{}", String::from_utf8_lossy(&output.stdout));
    let output = project.run(&["check", "--color", "always"]);
    assert!(!String::from_utf8_lossy(&output.stdout).contains("\u{1b}[31mred"));
}

#[cfg(unix)]
#[test]
fn output_that_nobody_reads() {
    use std::process::{Command, Stdio};
    let project = Project::new();
    let mut child = Command::new(env!("CARGO_BIN_EXE_keyway"))
        .args(["list", "c.yaml"])
        .current_dir(project.path("."))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("keyway starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("keyway ends");
    // Whether the pipe is gone before the first line is written is a matter of luck.
    assert!(matches!(output.status.code(), Some(0 | 130)), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
}

#[test]
fn new_refuses_poor_roms() {
    let project = Project::new();
    project.write("odd.bin", [0; 3]);
    project.write("empty.bin", "");
    project.write("raw.bin", [0; 64]);
    for (arguments, message) in [
        (&["new", "nope.elf"][..], "nope.elf: There is no such file."),
        (&["new", "."], ".: This is a directory"),
        (&["new", "empty.bin"], "empty.bin: The file is empty."),
        (&["new", "odd.bin", "--entry", "0x0"], "odd length"),
        (&["new", "raw.bin"], "the ROM has no symbol `detect`; it has none at all"),
        (&["new", "aria.elf", "--entry", "detct"], "did you mean `detect`?"),
        (&["new", "aria.elf", "--entry", "0x5"], "routine.entry: the entry 0x000005 is odd"),
        (&["new", "aria.elf", "--branch", "mode_alne"], "did you mean `mode_alone`?"),
        (&["new", "aria.elf", "--branch", "mode_alone", "--branch", "mode_alone"], "is given twice"),
        (&["new", "aria.elf", "--branch", "detect"], "the routine starts there"),
    ] {
        let line = said(&project, arguments, 2);
        assert!(line.contains(message), "{arguments:?}: {line}");
        assert!(!line.contains("trial"), "{arguments:?}: {line}");
    }
}

#[test]
fn new_writes_all_or_nothing() {
    let project = Project::new();
    project.write("sub/harness/aria.yaml", "mine");
    let line = said(&project, &["new", "aria.elf", "--into", "sub"], 2);
    assert!(line.contains("is there already; nothing has been written"), "{line}");
    // The last files cannot be made, so the first ones are taken away again.
    let project = Project::new();
    project.write("cases", "a file where a folder is to be");
    let line = said(&project, &["new", "aria.elf"], 2);
    assert!(line.contains("nothing has been written"), "{line}");
    let project = Project::new();
    project.write("file", "");
    said(&project, &["new", "aria.elf", "--into", "file"], 2);
}

/// What `new` writes is read again, whatever the ROM is called.
#[test]
fn new_quotes_what_it_writes() {
    let project = Project::new();
    fs::copy(project.path("aria.elf"), project.path("we\"ird # name.elf")).expect("a copy");
    let arguments = ["new", "we\"ird # name.elf", "--branch", "mode_alone", "--branch", "mode_noise", "--into", "made"];
    assert_eq!(project.run(&arguments).status.code(), Some(0));
    assert_eq!(project.run(&["check", "made/cases"]).status.code(), Some(0));
}
