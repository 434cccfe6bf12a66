//! Interrupts, wait states and remapped code, from the files to the sentences.

use crate::support::{Project, Ran};

/// A ROM with vectors 28 (level 4) and 29 (level 5), and this code at 0x100.
fn rom(code: &[u16], harness: &str, case: &str) -> Ran {
    let mut words = vec![0xFFFF; 0x100];
    words[..4].copy_from_slice(&[0x00E0, 0xFE00, 0, 0x0100]);
    words[2 * 28..2 * 28 + 4].copy_from_slice(&[0, 0x0180, 0, 0x0180]);
    words[0x80..0x80 + code.len()].copy_from_slice(code);
    // addq.w #1,0xE00010; rte
    words[0xC0..0xC4].copy_from_slice(&[0x5279, 0x00E0, 0x0010, 0x4E73]);
    let extra = format!(
        "routine: {{entry: start, stack: 0xE0FE00, limit: {{cycles: 1000000}}}}\n\
         branches: {{done: {{kind: fallback, at: return}}}}\nforbid: []\n{harness}"
    );
    let project = Project::with_rom(&words, &[("start", 0x100), ("count", 0x180)], &extra);
    project.write(
        "cases/one.yaml",
        format!("harness: ../harness/rom.yaml\ncases:\n  - name: one\n    attach: nothing\n{case}"),
    );
    project.run(&["check"])
}

#[track_caller]
fn says(ran: &Ran, code: i32, text: &str) {
    assert_eq!(ran.code, code, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains(text), "no {text:?} in\n{}", ran.out);
}

const DEVICES: &str =
    "interrupts: [{name: timer, level: 4, every-cycles: 1000}, {name: link, level: 5, after-cycles: 5000}]\n";
const DONE: &str = "    expect: {branch: done}\n";

/// stop #sr; rts
const fn stop(status: u16) -> [u16; 3] {
    [0x4E72, status, 0x4E75]
}

#[test]
fn a_stop_says_why_nothing_wakes_it() {
    says(
        &rom(&stop(0x2000), "", DONE),
        1,
        "stopped for ever at 0x000100 <start>: STOP, and nothing to wake it; wanted done",
    );
    says(&rom(&stop(0x2300), DEVICES, DONE), 0, "1 held");
    let masked = "STOP with the interrupt mask at 7, which holds back all there is: timer (level 4), link (level 5)";
    says(&rom(&stop(0x2700), DEVICES, DONE), 1, masked);
    let case = format!("    interrupts: {{link: never}}\n{DONE}");
    let none = "STOP with the interrupt mask at 4, and no request to come that passes it";
    says(&rom(&stop(0x2400), DEVICES, &case), 1, none);
}

/// 1: tst.w 0xE00010; beq.s 1b; rts
const WAIT: [u16; 5] = [0x4A79, 0x00E0, 0x0010, 0x67F8, 0x4E75];

#[test]
fn a_hang_names_the_request_that_waits() {
    let ran = rom(&WAIT, DEVICES, DONE);
    let hang = "hangs in the loop 0x000100 <start> to 0x000106 <start+6>: the same state after every 2 instructions, while \
                the interrupt mask at 7 holds back timer (level 4); wanted done";
    says(&ran, 1, hang);
    // clr.w 0xE00010; move.w #0x2000,sr; and the loop
    let mut open = vec![0x4279, 0x00E0, 0x0010, 0x46FC, 0x2000];
    open.extend(WAIT);
    says(&rom(&open, DEVICES, DONE), 0, "1 held");
}

/// An interrupt whose vector leads nowhere once an overlay has come.
#[test]
fn a_crash_names_the_device_and_its_vector() {
    // move.b #1,0xB00001; 1: bra.s 1b
    let code = [0x46FC, 0x2000, 0x13FC, 0x0001, 0x00B0, 0x0001, 0x60FE];
    let harness = "ports: [{name: latch, at: 0xB00001, writes: [0, 1]}]\n\
                   overlays: [{name: other vectors, image: rom.nm, range: 0x60-0xFF, while: {port: latch, is: 1}}]\n\
                   interrupts: [{name: timer, level: 4, vector: 30, after-cycles: 1000}]\n";
    let crash = "crashed at 0x00010C <start+12> with a level 4 interrupt of timer (vector 30); its vector holds 0x";
    let ran = rom(&code, harness, DONE);
    says(&ran, 1, crash);
    says(&ran, 1, ", no handler in the host ROM");
    says(&ran, 1, "level 4 interrupt");
}

/// The table shows what is out of the ordinary, and nothing else.
#[test]
fn the_label_says_when_a_device_interrupts() {
    for (words, label) in [
        ("{timer: never}", "nothing, timer never "),
        ("{timer: {every-cycles: 500}}", "nothing, timer every 500 cycles "),
        ("{timer: {after-cycles: 500}}", "nothing, timer once after 500 cycles "),
        ("{timer: {after-cycles: 10, every-cycles: 500}}", "nothing, timer after 10 cycles, every 500 "),
        ("{timer: {every-cycles: 1000}, link: never}", "nothing, link never "),
        ("{timer: {after-cycles: 1000, every-cycles: 1000}}", "nothing  "),
    ] {
        let ran = rom(&[0x4E75], DEVICES, &format!("    interrupts: {words}\n{DONE}"));
        says(&ran, 0, &format!("  {label}"));
    }
}

/// Defaults are merged device by device, the case's own first.
#[test]
fn defaults_give_times_too() {
    let project = Project::demo();
    let file = |own: &str| {
        format!(
            "harness: ../harness/blanks.yaml\ndefaults: {{interrupts: {{vertical blank: never}}}}\n\
             cases:\n  - name: one\n    attach: nothing\n{own}    expect: {{branch: blind}}\n"
        )
    };
    project.write("cases/one.yaml", file(""));
    let ran = project.run(&["check"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    project.write("cases/one.yaml", file("    interrupts: {vertical blank: {every-cycles: 2000}}\n"));
    says(&project.run(&["check"]), 1, "took stands (rejected); wanted blind");
}

/// RTS takes 16 clocks, of which two are reads of the stack.
#[test]
fn wait_states_come_from_the_harness() {
    let within = |cycles: u32| format!("    expect: {{branch: done, within: {{cycles: {cycles}}}}}\n");
    let waits = "wait-states: [{range: 0xE00000-0xE0FDFB, clocks: 9}, {range: 0xE00000-0xE0FFFF, clocks: 3}]\n";
    says(&rom(&[0x4E75], "", &within(16)), 0, "1 held");
    says(&rom(&[0x4E75], waits, &within(22)), 0, "1 held");
    says(&rom(&[0x4E75], waits, &within(21)), 1, "took 22 cycles; at most 21 wanted");
}

/// An address error is a crash, unless the routine handles it.
#[test]
fn address_errors_can_be_handled() {
    // move.w 0xE00001,d0; rts
    let code = [0x3039, 0x00E0, 0x0001, 0x4E75];
    let ran = rom(&code, "", DONE);
    says(&ran, 1, "crashed at 0x000100 <start> with an address error (vector 3), reading 0xE00001");
    let project = Project::demo();
    let harness = "extends: aria.yaml\nacceptance: []\n\
                   branches: {crashed: {kind: rejected, at: crash_handler}}\n\
                   routine: {entry: detect, stack: 0xE0FE00, registers: {a0: 0xE00001}, handles: [address-error]}\n";
    project.write("harness/odd.yaml", harness.replace("entry: detect", "entry: copy_table"));
    project.write(
        "cases/one.yaml",
        "harness: ../harness/odd.yaml\ncases:\n  - {name: one, attach: nothing, expect: {branch: crashed}}\n",
    );
    says(&project.run(&["check"]), 0, "1 held");
}

/// Code that lets go of the overlay it runs from is right thanks to the queue, and a failure where it is forbidden.
#[test]
fn remapped_code_can_be_forbidden() {
    let project = Project::demo();
    let case = "cases:\n  - {name: one, attach: nothing, expect: {branch: patched}}\n";
    project.write("cases/one.yaml", format!("harness: ../harness/convert.yaml\n{case}"));
    says(&project.run(&["check"]), 0, "1 held");
    project.write("cases/one.yaml", format!("harness: ../harness/convert-warned.yaml\n{case}"));
    let text = "the code at 0x28020E took `format patch` from under itself; what runs behind it may have come from \
                the prefetch queue";
    says(&project.run(&["check"]), 1, text);
}
