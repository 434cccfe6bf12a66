//! `keyway prove`, `compare` and `check --proofs` as programs: exit codes, JSON against the committed schemas, the same bytes
//! every time, bad input.

use pretty_assertions::assert_eq;

use crate::reports::json::check;
use crate::support::{Project, Ran, root, run};

fn words(text: &str) -> Vec<&str> {
    text.split(' ').collect()
}

fn prove(line: &str) -> Ran {
    run(root(), &words(line))
}

#[test]
fn lines_fit_their_schemas_and_are_the_same_every_time() {
    let found = tempfile::tempdir().unwrap();
    let folder = found.path().display();
    for harness in ["harness/aria.yaml", "harness/defects/latch-on.yaml"] {
        let line = format!("prove {harness} --format json --found {folder}");
        let (first, second) = (prove(&line), prove(&line));
        assert_eq!(check("cases/proof.schema.json", &first.out).into_iter().collect::<Vec<_>>(), ["proof"]);
        // A finding that stands there already is said to.
        assert_eq!(first.out.replace("\"known\":false", "\"known\":true"), second.out);
        assert_eq!(first.code, i32::from(harness != "harness/aria.yaml"));
    }
    let line = "compare harness/aria.yaml tests/proving/routines/edits/known-03.yaml --format json";
    let (first, second) = (prove(line), prove(line));
    assert_eq!(check("cases/comparison.schema.json", &first.out).into_iter().collect::<Vec<_>>(), ["comparison"]);
    assert_eq!((first.code, first.out == second.out), (1, true));
}

#[test]
fn exit_codes() {
    let found = tempfile::tempdir().unwrap();
    let folder = found.path().display();
    assert_eq!(prove(&format!("prove harness/aria.yaml --found {folder}")).code, 0);
    assert_eq!(prove(&format!("prove harness/defects/hang.yaml --found {folder}")).code, 1);
    let cut = prove(&format!("prove harness/aria.yaml --steps 100 --found {folder}"));
    assert_eq!(cut.code, 5);
    assert!(cut.out.contains("inconclusive: nothing above is proved"), "{}", cut.out);
    assert!(!cut.out.contains("never taken") && !cut.out.contains("does not crash"), "{}", cut.out);
    assert_eq!(prove("compare harness/aria.yaml tests/proving/routines/edits/reordered.yaml").code, 0);
    let images = "compare harness/aria.elf tests/proving/routines/edits/known-03.elf --harness harness/aria.yaml";
    let compared = prove(images);
    assert_eq!(compared.code, 1, "{}{}", compared.out, compared.err);
    assert_eq!(prove("compare harness/aria.yaml tests/proving/routines/edits/reordered.yaml --steps 100").code, 5);
}

/// Where nothing is proved, cases are run on both builds, and it is said.
#[test]
fn an_inconclusive_comparison_falls_back_on_cases() {
    let line = "compare harness/aria.yaml harness/defects/latch-on.yaml --steps 100 --cases cases/drums.yaml";
    let ran = run(root(), &words(line));
    // The cases are those of the demo's harness, which is the old one here.
    assert_eq!(ran.code, 4, "{}{}", ran.out, ran.err);
    let line = "compare harness/defects/latch-on.yaml harness/aria.yaml --steps 100 --cases cases/drums.yaml";
    let ran = run(root(), &words(line));
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("were run on both builds") && ran.out.contains("inconclusive"), "{}", ran.out);
}

#[test]
fn bad_input_is_one_error() {
    for (line, says) in [
        ("prove harness/aria.yaml --unknown peddal", "did you mean `pedal`?"),
        ("prove harness/aria.yaml --unknown 0x300-0x200", "neither offsets"),
        ("prove harness/aria.yaml --unknown 0xB00003-0xB00003", "the port `pedal` stands at"),
        ("prove harness/aria.yaml --unknown 0xE0FFFE-0xE10005", "only partly in RAM"),
        ("prove harness/aria.yaml --bytes 0x5000000-0x5000001", "no offset beyond"),
        ("prove harness/none.yaml", "none.yaml"),
        ("compare harness/aria.elf harness/aria.elf", "--harness"),
        ("compare harness/aria.yaml tests/proving/routines/harness/fields_3.yaml", "differ from those of"),
    ] {
        let ran = prove(line);
        assert_eq!(ran.code, 2, "{line}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(says), "{line}: {}", ran.err);
        assert_eq!(ran.out, "", "{line}");
    }
}

/// A suite's demands: proved, refuted with a counterexample, and refused where they would say nothing.
#[test]
fn demands_of_suites() {
    let project = Project::demo();
    let check = |demands: &str| {
        project.write("cases/demands.yaml", format!("harness: ../harness/aria.yaml\nprove:\n{demands}"));
        project.run(&["check", "--proofs"])
    };
    let held = check(
        "  - {branch: combination, exactly-when: {signature: PARLOR16 SYSTEM, product: AW-3200-00}}\n  - {never: [crash, hang]}\n",
    );
    assert_eq!(held.code, 0, "{}{}", held.out, held.err);
    assert!(held.out.contains("2 held"), "{}", held.out);
    for (demand, says) in [
        (
            "  - {branch: patched, exactly-when: {signature: PARLOR16 SYSTEM, product: AW-2100-00}}\n",
            "patched is taken",
        ),
        ("  - {branch: noise, only-when: {product: {starts: AW-}}}\n", "noise is taken"),
        ("  - {never: refused}\n", "refused is taken"),
        ("  - {within: {cycles: 1000}}\n", "at most 1,000 wanted"),
        ("  - {branch: noise, always-when: {ports: {pedal: 1}}}\n", "no input within the scope meets the condition"),
    ] {
        let ran = check(demand);
        assert_eq!(ran.code, 1, "{demand}{}{}", ran.out, ran.err);
        assert!(ran.out.contains(says), "{demand}{}", ran.out);
    }
    for (demand, says) in [
        ("  - {never: crush}\n", "did you mean"),
        ("  - {branch: noise}\n", "say when the branch is taken"),
        ("  - {name: x}\n", "nothing is demanded"),
        ("  - {exactly-when: {product: AW-3200-00}}\n", "needs a `branch`"),
        ("  - {never: crash, unknown: peddal}\n", "did you mean `pedal`?"),
    ] {
        let ran = check(demand);
        assert_eq!(ran.code, 2, "{demand}{}{}", ran.out, ran.err);
        assert!(ran.err.contains(says), "{demand}{}", ran.err);
    }
    project.write("cases/demands.yaml", "harness: ../harness/aria.yaml\nprove:\n  - {never: crash}\n");
    let left = project.run(&["check"]);
    assert_eq!(left.code, 4, "{}{}", left.out, left.err);
}

/// A small routine with two exits, `a` and `b`, and a latch.
fn small(words: &[u16], a: u32, b: u32) -> Project {
    let extra = "ports: [{name: latch, at: 0xB00001, writes: [0, 1]}]\n\
         routine: {entry: 0, stack: 0xE01000, limit: {instructions: 1000}}\n\
         header: {key: {at: 0x100, length: 2, pad: zero}}\n\
         branches: {a: {kind: rejected, at: a}, b: {kind: alternate, at: b}}\n\
         forbid: [writes-outside-map]\n";
    Project::with_rom(words, &[("a", a), ("b", b)], extra)
}

/// Any content of RAM counts, not only the fills: a warm start that looks for a word which no fill has.
#[test]
fn a_branch_that_any_content_of_ram_decides() {
    // move.w 0xE00200,d0; cmp.w #0x5A5A,d0; beq b; a: nop; nop; b: nop
    let project = small(&[0x3039, 0x00E0, 0x0200, 0xB07C, 0x5A5A, 0x6704, 0x4E71, 0x4E71, 0x4E71, 0x4E71], 0xC, 0x10);
    let ran = project.run(&["prove", "harness/rom.yaml", "--unknown", "ram"]);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("power-on: the routine takes the same branch"), "{}", ran.out);
    assert!(ran.out.contains("RAM at 0xE00200 0x5A"), "the witness says what RAM must hold\n{}", ran.out);
}

/// RAM that is unknown by the addresses of a mirror is unknown.
#[test]
fn unknown_ram_is_found_behind_its_mirrors() {
    // tst.b 0xE00200; beq b; a: nop; nop; b: nop
    let words = [0x4A39, 0x00E0, 0x0200, 0x6704, 0x4E71, 0x4E71, 0x4E71, 0x4E71];
    let extra = "memory: [{name: ram, range: 0xE00000-0xEFFFFF, size: 64 KiB, power-on: ones}]\n\
         routine: {entry: 0, stack: 0xE01000, limit: {instructions: 1000}}\n\
         branches: {a: {kind: rejected, at: a}, b: {kind: alternate, at: b}}\n";
    let project = Project::with_rom(&words, &[("a", 0x8), ("b", 0xC)], extra);
    let file = project.path().join("harness/rom.yaml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("memory: [{name: ram, range: 0xE00000-0xE0FFFF}]\n", "")).unwrap();
    let known = project.run(&["prove", "harness/rom.yaml"]);
    assert!(known.out.contains("the branch b is never taken"), "{}{}", known.out, known.err);
    for range in ["0xE00200-0xE00200", "0xE50200-0xE50200", "0xE5FFFF-0xE60200", "0xE00000-0xE1FFFF"] {
        let ran = project.run(&["prove", "harness/rom.yaml", "--unknown", range]);
        assert_eq!(ran.code, 1, "{range}: {}{}", ran.out, ran.err);
        assert!(ran.out.contains("power-on: the routine takes the same branch"), "{range}: {}", ran.out);
    }
    let beside = project.run(&["prove", "harness/rom.yaml", "--unknown", "0xE50201-0xE60000"]);
    assert!(beside.out.contains("the branch b is never taken"), "{}{}", beside.out, beside.err);
}

/// A byte that decides nothing but whether a port is written has influence too.
#[test]
fn a_byte_that_decides_whether_a_port_is_written() {
    // cmp.b #5,0x200100; bne a; move.b #1,latch; move.b #0,latch; a: nop
    let compare = [0x0C39, 0x0005, 0x0020, 0x0100, 0x6610];
    let pulse = [0x13FC, 0x0001, 0x00B0, 0x0001, 0x13FC, 0x0000, 0x00B0, 0x0001];
    let project = small(&[&compare[..], &pulse, &[0x4E71; 6]].concat(), 0x1A, 0x1C);
    let ran = project.run(&["prove", "harness/rom.yaml"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("  key                   1 of 2 bytes: 0\n"), "{}", ran.out);
}

/// What latches hold at the end and what goes astray are visible effects too.
#[test]
fn effects_beside_the_branch_are_compared() {
    // move.b #1,latch; a: nop
    let set = [0x13FC, 0x0001, 0x00B0, 0x0001];
    let tail = [0x4E71; 6];
    let old = small(&[&set[..], &tail].concat(), 0x8, 0x10);
    // The same, and then RESET; or a write to ROM.
    let reset = small(&[&set[..], &[0x4E70], &tail].concat(), 0xA, 0x12);
    let stray = small(&[&set[..], &[0x13FC, 0x0001, 0x0000, 0x0020], &tail].concat(), 0x10, 0x18);
    for (new, says) in [(&reset, "what `latch` holds at the end"), (&stray, "writes outside the map")] {
        let file = new.path().join("harness/rom.yaml");
        let ran = old.run(&["compare", "harness/rom.yaml", &file.to_string_lossy()]);
        assert_eq!(ran.code, 1, "{says}: {}{}", ran.out, ran.err);
        assert!(ran.out.contains(says), "{}", ran.out);
    }
    let same = old.run(&["compare", "harness/rom.yaml", "harness/rom.yaml"]);
    assert_eq!(same.code, 0, "{}{}", same.out, same.err);
}
