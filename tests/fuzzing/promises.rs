//! Each promise by itself: what breaks it, and that it can be left out.

use std::sync::Arc;

use keyway::Harness;
use keyway::fuzz::{Fuzz, Promise};
use pretty_assertions::assert_eq;

use super::{harness, run};
use crate::support::{Project, root};

/// A routine at 0x200 that does something with the byte at offset 0x100, and then goes to `done` (0x300).
fn routine(code: &[u16], extra: &str) -> (Project, Arc<Harness>) {
    let mut words = vec![0u16; 0x400 / 2];
    words[0x200 / 2..0x200 / 2 + code.len()].copy_from_slice(code);
    words[0x300 / 2] = 0x4E71;
    words[0x310 / 2] = 0x4E71;
    let keys = format!(
        "header: {{kind: {{at: 0x100, length: 2, holds: number}}}}\n\
         routine: {{entry: start, stack: 0xE0FE00, limit: {{instructions: 2000}}}}\n\
         branches: {{done: {{kind: full-combination, at: done}}, other: {{kind: rejected, at: other}}}}\n{extra}"
    );
    let symbols = [("start", 0x200), ("done", 0x300), ("other", 0x310)];
    let project = Project::with_rom(&words, &symbols, &keys);
    let harness = Arc::new(Harness::load(project.path().join("harness/rom.yaml")).unwrap());
    (project, harness)
}

/// `cmpi.w #0x1234,$200100 ; bne done`: what follows runs for one value only.
const ONLY_1234: [u16; 6] = [0x0C79, 0x1234, 0x0020, 0x0100, 0x6600, 0x00F6];

/// What a routine breaks that does `code` for the one value.
fn broken(code: &[u16], extra: &str) -> Vec<Promise> {
    let code = [&ONLY_1234[..], code].concat();
    let (_project, harness) = routine(&code, extra);
    let report = run(&Fuzz::new(&harness).trials(3000));
    let mut promises: Vec<Promise> = report.findings.iter().map(|finding| finding.promise).collect();
    promises.sort();
    promises.dedup();
    for promise in &promises {
        let without = run(&Fuzz::new(&harness).without(*promise).trials(3000));
        assert!(without.findings.iter().all(|finding| finding.promise != *promise), "{}", promise.name());
    }
    for finding in &report.findings {
        assert!(finding.name.contains("kind 12 34"), "{}", finding.case);
    }
    promises
}

/// `jmp done`.
const DONE: [u16; 3] = [0x4EF9, 0x0000, 0x0300];

fn then_done(code: &[u16]) -> Vec<u16> {
    [code, &DONE].concat()
}

#[test]
fn endings() {
    assert_eq!(broken(&DONE, ""), []);
    // rts: no branch is declared for it.
    assert_eq!(broken(&[0x4E75], ""), [Promise::Ends]);
    // illegal
    assert_eq!(broken(&[0x4AFC], ""), [Promise::Crash]);
    // bra.s *
    assert_eq!(broken(&[0x60FE], ""), [Promise::Hang]);
    // addq.l #1,d0 ; bra.s *-2: no state comes twice before the limit.
    assert_eq!(broken(&[0x5280, 0x60FC], ""), [Promise::Limit]);
    // stop #$2700
    assert_eq!(broken(&[0x4E72, 0x2700], ""), [Promise::Ends]);
}

/// Whatever form a compare has, what it wants is tried: each routine returns for one value only, which is no branch.
#[test]
fn compares_in_many_forms() {
    let forms: [(&str, &[u16]); 6] = [
        ("cmpi.l #$12345678,$200100", &[0x0CB9, 0x1234, 0x5678, 0x0020, 0x0100]),
        ("move.l $200100,d0 ; cmpi.l", &[0x2039, 0x0020, 0x0100, 0x0C80, 0x1234, 0x5678]),
        ("move.w $200100,d0 ; subi.w", &[0x3039, 0x0020, 0x0100, 0x0440, 0x1234]),
        ("move.w $200100,d0 ; eori.w", &[0x3039, 0x0020, 0x0100, 0x0A40, 0x1234]),
        // Erased, both registers hold the same.
        ("movem.l $200100,d0-d1 ; cmpi.l d0", &[0x4CF9, 0x0003, 0x0020, 0x0100, 0x0C80, 0x1234, 0x5678]),
        ("move.w $200100,d0 ; addi.w #$1111,d0 ; cmpi.w", &[0x3039, 0x0020, 0x0100, 0x0640, 0x1111, 0x0C40, 0x3456]),
    ];
    for (name, compare) in forms {
        // bne done ; rts
        let back = 0x100 - 2 * compare.len() as u16 - 2;
        let code = [compare, &[0x6600, back, 0x4E75]].concat();
        let (_project, harness) = routine(&code, "");
        let report = run(&Fuzz::new(&harness).trials(3000));
        let promises: Vec<Promise> = report.findings.iter().map(|finding| finding.promise).collect();
        assert_eq!(promises, [Promise::Ends], "{name}");
    }
}

#[test]
fn accesses() {
    // move.b d0,$C00000: nothing is mapped there.
    let write = then_done(&[0x13C0, 0x00C0, 0x0000]);
    assert_eq!(broken(&write, ""), [Promise::StrayWrites]);
    // It counts whether the harness forbids it or not.
    assert_eq!(broken(&write, "forbid: [reads-ram-before-writing]"), [Promise::StrayWrites]);
    // move.b $C00000,d0
    let read = then_done(&[0x1039, 0x00C0, 0x0000]);
    assert_eq!(broken(&read, ""), []);
    assert_eq!(broken(&read, "forbid: [reads-outside-map]"), [Promise::Forbidden]);
    // move.b $E00000,d0
    let early = then_done(&[0x1039, 0x00E0, 0x0000]);
    assert_eq!(broken(&early, ""), [Promise::Forbidden]);
    assert_eq!(broken(&early, "forbid: []"), []);
}

#[test]
fn ram_at_power_on_decides() {
    // tst.b $E00000 ; bne done ; jmp other
    let code = [0x4A39, 0x00E0, 0x0000, 0x6600, 0x00EC, 0x4EF9, 0x0000, 0x0310];
    assert_eq!(broken(&code, "forbid: []"), [Promise::PowerOn]);
    assert_eq!(broken(&code, ""), [Promise::Forbidden, Promise::PowerOn]);
}

#[test]
fn ports_and_latches() {
    let port = "ports: [{name: latch, at: 0xB00001, writes: [0, 1]}]\n";
    let overlay = "overlays: [{name: patch, image: rom.bin, range: 0x280000-0x2803FF, while: {port: latch, is: 1}}]\n";
    let with = format!("{port}{overlay}");
    // move.b #2,$B00001 ; move.b #0,$B00001
    let two = then_done(&[0x13FC, 0x0002, 0x00B0, 0x0001, 0x13FC, 0x0000, 0x00B0, 0x0001]);
    assert_eq!(broken(&two, &with), [Promise::PortValues]);
    // move.b #1,$B00001
    let on = then_done(&[0x13FC, 0x0001, 0x00B0, 0x0001]);
    assert_eq!(broken(&on, &with), [Promise::Latches]);
    // A port that no overlay follows is no latch.
    assert_eq!(broken(&on, port), []);
    // move.b #1,$B00001 ; reset: the devices are as at power-on.
    let reset = then_done(&[0x13FC, 0x0001, 0x00B0, 0x0001, 0x4E70]);
    assert_eq!(broken(&reset, &with), []);
}

/// A port that no overlay follows is a latch if a branch says what it leaves there.
#[test]
fn a_latch_is_what_a_branch_says() {
    let project = Project::demo();
    let text = std::fs::read_to_string(root().join("harness/aria.yaml")).unwrap();
    project.write("harness/rom.elf", std::fs::read(root().join("harness/defects/latch-on.elf")).unwrap());
    let lines = text.lines().filter(|line| !line.contains("format patch") && !line.starts_with("overlays:"));
    let plain = lines.collect::<Vec<_>>().join("\n").replace("image: aria.elf", "image: rom.elf");
    let promises = |text: &str| {
        let file = project.write("harness/rom.yaml", text);
        let report = run(&Fuzz::new(&Arc::new(Harness::load(file).unwrap())).trials(2000));
        report.findings.iter().map(|finding| finding.promise).collect::<Vec<Promise>>()
    };
    assert_eq!(promises(&plain), []);
    let label = "at: mode_patched";
    assert_eq!(promises(&plain.replace(label, "at: mode_patched, leaves: {latch: 0}")), [Promise::Latches]);
    assert_eq!(promises(&plain.replace(label, "at: mode_patched, leaves: {latch: 1}")), []);
}

#[test]
fn the_acceptance_table_both_ways() {
    let table = |rule: &str| format!("acceptance: [{rule}, {{branch: other}}]\n");
    // The routine: 0x1234 goes to `done`... and so does everything else.
    let (_project, harness) = routine(&DONE, &table("{when: {kind: 0x1234}, branch: done}"));
    let report = run(&Fuzz::new(&harness).trials(2000));
    let promises: Vec<Promise> = report.findings.iter().map(|finding| finding.promise).collect();
    assert_eq!(promises, [Promise::Accepts], "{report}");
    // jmp other, whatever is attached.
    let (_project, harness) = routine(&[0x4EF9, 0x0000, 0x0310], &table("{when: {kind: 0x1234}, branch: done}"));
    let report = run(&Fuzz::new(&harness).trials(2000));
    let promises: Vec<Promise> = report.findings.iter().map(|finding| finding.promise).collect();
    assert_eq!(promises, [Promise::Refuses], "{report}");
    assert!(report.findings[0].name.contains("kind 12 34 takes other, not done"), "{report}");
}

#[test]
fn promises_have_one_name_each() {
    let mut names: Vec<&str> = Promise::ALL.iter().map(|promise| promise.name()).collect();
    for (promise, name) in Promise::ALL.iter().zip(&names) {
        assert_eq!(serde_json::to_value(promise).unwrap(), *name);
    }
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), Promise::ALL.len());
    let report = run(&Fuzz::new(&harness("aria.yaml")).trials(10));
    assert!(report.to_string().contains("trials with seed 1"), "{report}");
}
