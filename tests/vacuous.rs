//! The worst bug: "held" for something that checks nothing or is false. Small ROMs made here end in every way that a run
//! can end, under expectations that ask for as little as the file format allows.

use std::fs;
use std::sync::Arc;

use keyway::check::{CaseResult, Checker};
use keyway::suite::{Complaint, Suite};
use keyway::verdict::{Verdict, Why};
use tempfile::TempDir;

/// Machine code, from 0x100 on (M68000PRM).
const RTS: &[u16] = &[0x4E75];
const ILLEGAL: &[u16] = &[0x4AFC];
const HANG: &[u16] = &[0x60FE];
/// `addq.l #1,d0; bra.s` back: never the same state twice.
const COUNT: &[u16] = &[0x5280, 0x60FC];
const STOP: &[u16] = &[0x4E72, 0x2700];
/// `jmp 0x200000`: into the window.
const LEAVE: &[u16] = &[0x4EF9, 0x0020, 0x0000];
/// `move.w (1).w,d0`: an address error.
const ODD: &[u16] = &[0x3038, 0x0001];
/// `bra.s` to itself at 0x110, where the branch `away` is.
const AWAY: &[u16] = &[0x600E];
/// `move.b #1,(0xB00001).l; rts`
const LATCH: &[u16] = &[0x13FC, 0x0001, 0x00B0, 0x0001, 0x4E75];
/// `move.w #3,(0xE00000).l; rts`
const THREE: &[u16] = &[0x33FC, 0x0003, 0x00E0, 0x0000, 0x4E75];

/// A harness around a raw ROM; `{}` stands for the branches and what follows them.
const HARNESS: &str = "\
host: {image: rom.bin}
socket: {window: 0x200000-0x3FFFFF, empty: ones}
memory:
  - {name: ram, range: 0xE00000-0xE00FFF, power-on: FILLS}
ports:
  - {name: latch, at: 0xB00001, writes: [0, 1]}
  - {name: pedal, at: 0xB00003, reads: 0}
routine: {entry: 0x100, stack: 0xE00800, limit: {instructions: 5000}}
header:
  product: {at: 0x180, length: 4}
branches:
";

/// Two branches: the return, and an address.
const BRANCHES: &str = "  back: {kind: rejected, at: return}\n  away: {kind: fallback, at: 0x110}\n";

/// A harness and a case.
struct Bench {
    code: &'static [u16],
    fills: &'static str,
    branches: String,
    case: String,
}

impl Bench {
    /// A case with these expectations for this code.
    fn new(code: &'static [u16], expect: &str) -> Self {
        let case = format!("  - {{name: it, attach: nothing, expect: {expect}}}\n");
        Self { code, fills: "[zeros, ones]", branches: BRANCHES.to_owned(), case }
    }

    fn fills(mut self, fills: &'static str) -> Self {
        self.fills = fills;
        self
    }

    fn branches(mut self, branches: &str) -> Self {
        self.branches = branches.to_owned();
        self
    }

    fn rules(mut self, rules: &str) -> Self {
        self.branches = format!("{BRANCHES}acceptance:\n{rules}");
        self
    }

    fn case(mut self, case: &str) -> Self {
        self.case = case.to_owned();
        self
    }

    fn load(&self) -> Result<Suite, Complaint> {
        let folder = TempDir::new().expect("a temporary folder");
        let mut rom = [0u8; 0x200];
        rom[0x110..0x112].copy_from_slice(&[0x60, 0xFE]);
        for (place, word) in rom[0x100..].chunks_mut(2).zip(self.code) {
            place.copy_from_slice(&word.to_be_bytes());
        }
        let write = |name: &str, content: &[u8]| fs::write(folder.path().join(name), content).expect("a file");
        write("rom.bin", &rom);
        write("h.yaml", (HARNESS.replace("FILLS", self.fills) + &self.branches).as_bytes());
        write("c.yaml", format!("harness: h.yaml\ncases:\n{}", self.case).as_bytes());
        Suite::load(folder.path().join("c.yaml"))
    }

    fn result(&self) -> CaseResult {
        let suite = self.load().unwrap_or_else(|complaint| panic!("{complaint}"));
        let case = suite.case(0).expect("a case that was loaded");
        Checker::new(Arc::clone(&suite.harness)).check(&case)
    }

    fn verdict(&self) -> Verdict {
        self.result().verdict
    }

    fn held(&self) {
        assert_eq!(self.verdict(), Verdict::Held, "{}", self.case);
    }

    /// It fails, with a reason of this kind.
    fn fails(&self, why: Why) {
        let verdict = self.verdict();
        let reasons = verdict.reasons();
        assert!(matches!(verdict, Verdict::Failed { .. }), "{}: {verdict:?}", self.case);
        assert!(reasons.iter().any(|reason| reason.why == why), "{}: no {why:?} among {reasons:?}", self.case);
    }

    /// It is refused when it is loaded.
    fn refused(&self, path: &str, message: &str) {
        let complaint = self.load().err().unwrap_or_else(|| panic!("loaded: {}{}", self.branches, self.case));
        assert_eq!(complaint.path, path, "{complaint}");
        assert!(complaint.message.contains(message), "{complaint}");
    }
}

/// The least that can be asked for where there is no acceptance table.
const LITTLE: [&str; 12] = [
    "{never: away}",
    "{never: back}",
    "{writes: {latch: []}}",
    "{writes: {latch: {count: 0}}}",
    "{leaves: {latch: 0}}",
    "{forbid: reads-outside-map}",
    "{within: {cycles: 99999999999}}",
    "{reads: 0x10-0x1F}",
    "{registers: {d7: 0}}",
    "{memory: {word 0xE00100: 0}}",
    "{branch: [back, away]}",
    "{kind: rejected}",
];

#[test]
fn a_run_that_reaches_no_branch_never_holds() {
    for code in [ILLEGAL, HANG, STOP, LEAVE, ODD] {
        for expect in LITTLE {
            Bench::new(code, expect).fills("zeros").fails(Why::Branch);
        }
    }
    // The return is reached, but no branch is told by it.
    for expect in ["{never: away}", "{within: {cycles: 99999}}", "{memory: {word 0xE00100: 0}}"] {
        let away = "  away: {kind: fallback, at: 0x110}\n  far: {kind: fallback, at: 0x120}\n";
        Bench::new(RTS, expect).branches(away).fills("zeros").fails(Why::Branch);
        let three = "  back: {kind: rejected, when: {register: d0, is: 3}}\n  away: {kind: fallback, at: 0x110}\n";
        Bench::new(RTS, expect).branches(three).fills("zeros").fails(Why::Branch);
    }
}

#[test]
fn a_run_that_was_given_up_is_undecided() {
    for expect in LITTLE {
        let verdict = Bench::new(COUNT, expect).verdict();
        assert!(matches!(verdict, Verdict::Undecided { .. }), "{expect}: {verdict:?}");
    }
    // Nor does it confirm a known bug.
    let bug = "  - {name: it, attach: nothing, expect: {branch: back}, known-bug: it loops}\n";
    let verdict = Bench::new(COUNT, "").case(bug).verdict();
    assert!(matches!(verdict, Verdict::Undecided { .. }), "{verdict:?}");
}

#[test]
fn little_is_enough_where_a_branch_is_reached() {
    for expect in LITTLE.iter().filter(|expect| **expect != "{never: back}") {
        Bench::new(RTS, expect).fills("zeros").held();
    }
    Bench::new(RTS, "{never: back}").fails(Why::Never);
    Bench::new(AWAY, "{never: away}").fails(Why::Never);
    Bench::new(AWAY, "{kind: rejected}").fails(Why::Branch);
}

#[test]
fn nothing_written_is_an_expectation() {
    Bench::new(LATCH, "{writes: {latch: []}}").fails(Why::Writes);
    Bench::new(LATCH, "{branch: back, writes: {latch: {count: 0}}}").fails(Why::Writes);
    Bench::new(LATCH, "{branch: back, writes: {latch: [1]}}").held();
}

#[test]
fn expectations_that_say_nothing_are_refused() {
    for (expect, path, message) in [
        ("{}", "cases[0].expect", "expects nothing: the harness has no acceptance table"),
        ("{never: []}", "cases[0].expect.never", "the list is empty"),
        ("{reads: []}", "cases[0].expect.reads", "the list is empty"),
        ("{branch: []}", "cases[0].expect.branch", "the list is empty"),
        ("{writes: []}", "cases[0].expect.writes", "the list is empty"),
        ("{writes: {}}", "cases[0].expect.writes", "expects nothing"),
        ("{leaves: {}}", "cases[0].expect.leaves", "expects nothing"),
        ("{forbid: []}", "cases[0].expect.forbid", "the list is empty"),
        ("{memory: {}}", "cases[0].expect.memory", "expects nothing"),
        ("{registers: {}}", "cases[0].expect.registers", "expects nothing"),
        ("{branch: back, shows: {}}", "cases[0].expect.shows", "expects nothing"),
        ("{within: {}}", "cases[0].expect.within", "give `instructions`, `cycles` or `time`"),
        ("{within: {instructions: 5001}}", "cases[0].expect.within.instructions", "can never fail"),
        ("{memory: {word 0x100: 0x4E75}}", "cases[0].expect.memory.\"word 0x100\"", "the host ROM stands"),
        ("{memory: {word 0xD00000: 0xFFFF}}", "cases[0].expect.memory.\"word 0xD00000\"", "nothing answers"),
        ("{never: [back, away]}", "cases[0].expect.never", "every branch that is wanted is ruled out"),
    ] {
        Bench::new(RTS, expect).refused(path, message);
    }
    Bench::new(RTS, "").case("  - {name: it, attach: nothing}\n").refused("cases[0].expect", "expects nothing");
    let wide = "  - {name: it, attach: {product: AB, size: 4 KiB}, expect: {reads: [product, 0x0-0xFFF]}}\n";
    Bench::new(RTS, "").case(wide).refused("cases[0].expect.reads", "allows every read");
}

#[test]
fn a_table_that_is_silent_or_cannot_tell_decides_nothing() {
    let silent = "  - {when: {product: AB}, branch: away}\n";
    Bench::new(RTS, "{}").rules(silent).refused("cases[0].expect", "no rule of the acceptance table fits");
    let pedal = "  - {when: {ports: {pedal: 1}}, branch: away}\n  - {branch: back}\n";
    let changes = "  - {name: it, attach: nothing, ports: {pedal: [0, 1]}}\n";
    Bench::new(RTS, "")
        .rules(pedal)
        .case(changes)
        .refused("cases[0].expect", "the port `pedal` changes during the run");
}

/// What the table says is wanted too, however much the case allows.
#[test]
fn a_case_does_not_overrule_the_table() {
    let table = "  - {branch: away}\n";
    Bench::new(AWAY, "{branch: [back, away]}").rules(table).held();
    Bench::new(RTS, "{branch: [back, away]}").rules(table).fails(Why::Branch);
    Bench::new(RTS, "{never: away}").rules(table).fails(Why::Specification);
    Bench::new(RTS, "{branch: back}").rules(table).fails(Why::Specification);
    Bench::new(RTS, "{within: {cycles: 4000}}").rules(table).fails(Why::Branch);
    let kinds = "  back: {kind: rejected, at: return}\n  away: {kind: rejected, at: 0x110}\nacceptance:\n";
    Bench::new(RTS, "{kind: rejected}").branches(&format!("{kinds}{table}")).fails(Why::Branch);
}

#[test]
fn rules_to_which_no_cartridge_comes_are_refused() {
    for (rules, place) in [
        ("  - {branch: back}\n  - {when: {product: AB}, branch: away}\n", 1),
        ("  - {when: {product: {starts: A}}, branch: back}\n  - {when: {product: AB}, branch: away}\n", 1),
        ("  - {unless: {product: AB}, branch: back}\n  - {when: {product: CD}, branch: away}\n", 1),
        ("  - {when: {product: [AB, CD]}, branch: back}\n  - {when: {product: [CD, EF]}, branch: away}\n", 1),
    ] {
        let path = format!("acceptance[{place}]");
        Bench::new(RTS, "{branch: back}").rules(rules).refused(&path, "comes to this rule");
    }
}

/// With one fill only, a branch that is told by RAM which nothing has written would hold by luck.
#[test]
fn a_branch_told_by_ram_that_nothing_has_written() {
    let told = "  zero: {kind: rejected, when: {word: 0xE00000, is: 0}}\n  other: {kind: fallback}\n";
    let narrow = "  - {name: it, attach: nothing, power-on: zeros, expect: {branch: zero}}\n";
    Bench::new(RTS, "").branches(told).case(narrow).fails(Why::PowerOn);
    Bench::new(RTS, "{branch: zero}").branches(told).fails(Why::PowerOn);
    Bench::new(RTS, "{branch: zero}").branches(told).fills("noise").fails(Why::PowerOn);
    // No fill of the harness happens to be 3, but RAM may hold it.
    let three = "  three: {kind: rejected, when: {word: 0xE00000, is: 3}}\n  other: {kind: fallback}\n";
    Bench::new(RTS, "{branch: other}").branches(three).fails(Why::PowerOn);
    // What is written is known, and so is RAM of which the harness says that something has cleared it.
    Bench::new(THREE, "{branch: three}").branches(three).held();
    Bench::new(RTS, "{branch: zero}").branches(told).fills("zeros").held();
}

#[test]
fn a_shown_value_that_nothing_has_left_behind() {
    let shows = "  back: {kind: rejected, shows: {mode: word 0xE00000}}\n";
    let narrow = "  - {name: it, attach: nothing, power-on: zeros, expect: {branch: back, shows: {mode: 0}}}\n";
    Bench::new(RTS, "").branches(shows).case(narrow).fails(Why::Shows);
    Bench::new(THREE, "{branch: back, shows: {mode: 3}}").branches(shows).held();
    Bench::new(RTS, "{branch: back, shows: {mode: 0}}").branches(shows).fills("zeros").held();
    let two = "  back: {kind: rejected, shows: {mode: word 0xE00000}}\n  away: {kind: fallback, at: 0x110}\n";
    let elsewhere = "{branch: away, shows: {mode: 0}}";
    Bench::new(AWAY, elsewhere)
        .branches(two)
        .refused("cases[0].expect.shows.mode", "the branch `away` shows no `mode`");
    Bench::new(AWAY, "{never: back, shows: {mode: 0}}").branches(two).fails(Why::Shows);
}

#[test]
fn branches_that_are_reached_before_anything_runs_are_refused() {
    let entry = "  back: {kind: rejected, at: 0x100}\n";
    Bench::new(RTS, "{branch: back}").branches(entry).refused("branches.back.at", "over before it begins");
}

#[test]
fn known_bugs_must_fail_and_not_only_stop() {
    let case = "  - {name: it, attach: nothing, expect: {branch: back}, known-bug: not yet}\n";
    assert!(matches!(Bench::new(RTS, "").case(case).verdict(), Verdict::BugGone { .. }));
    assert!(matches!(Bench::new(AWAY, "").case(case).verdict(), Verdict::KnownBug { .. }));
    assert!(matches!(Bench::new(HANG, "").case(case).verdict(), Verdict::KnownBug { .. }));
}
