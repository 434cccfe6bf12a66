//! Instructions, directions, targets and header fields, counted by hand.

use keyway::coverage::{Coverage, Share};
use pretty_assertions::assert_eq;

use super::routines::{
    CALLS, CALLS_HARNESS, LETTERS, LETTERS_CASES, LETTERS_HARNESS, TABLE, TABLE_HARNESS, at, coverage, gathered,
    measure, project,
};

/// Address, runs and cases of everything in a listing.
fn counts(coverage: &Coverage) -> Vec<(u32, u64, u64)> {
    let counts = coverage.listing.iter();
    counts.map(|instruction| (instruction.at.address, instruction.runs, instruction.cases)).collect()
}

/// `AAAA`: four passes of the loop, the last with the count expired; then `bne` goes on to `bra`.
/// `AAXA`: three passes, the last with the condition true; then `bne` goes to `other`, where `X` is no `B`.
#[test]
fn a_compare_loop() {
    let coverage = measure(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    assert_eq!(coverage.cases, 2);
    let by_hand = [
        (0x100, 2, 2),
        (0x106, 2, 2),
        (0x108, 4 + 3, 2),
        (0x10C, 4 + 3, 2),
        (0x110, 2, 2),
        (0x112, 1, 1),
        (0x114, 1, 1),
        (0x118, 1, 1),
        (0x11E, 1, 1),
        (0x124, 0, 0),
        (0x126, 0, 0),
    ];
    assert_eq!(counts(&coverage), by_hand);
    assert_eq!(coverage.instructions, Share { covered: 9, total: 11 });
    assert_eq!(coverage.directions, Share { covered: 5, total: 6 });
    let directions = |address| {
        let both = at(&coverage, address).directions.clone().expect("a conditional branch");
        [both.taken, both.fell_through].map(|way| (way.to.address, way.runs, way.cases))
    };
    // The loop goes back 3 times for `AAAA` and 2 times for `AAXA`.
    assert_eq!(directions(0x10C), [(0x108, 3 + 2, 2), (0x110, 2, 2)]);
    assert_eq!(directions(0x110), [(0x118, 1, 1), (0x112, 1, 1)]);
    assert_eq!(directions(0x11E), [(0x124, 0, 0), (0x120, 1, 1)]);
}

#[test]
fn what_was_never_taken_says_what_lies_behind_it() {
    let coverage = measure(LETTERS, LETTERS_HARNESS, LETTERS_CASES);
    let never: Vec<_> = coverage.never_taken.iter().map(|way| (way.at.address, way.taken, way.reached)).collect();
    assert_eq!(never, [(0x11E, true, true)]);
    assert_eq!(coverage.never_taken[0].why, "no case reaches 0x000124-0x000127; none takes second");
    let unreached: Vec<_> =
        coverage.unreached.iter().map(|code| (code.at.address, code.last, code.instructions)).collect();
    assert_eq!(unreached, [(0x124, 0x127, 2)]);
    // With the first case alone: what `bne` leads to, and of that what only `beq` leads to, is one stretch. The exit
    // `found`, to which `beq` falls, is reached anyway.
    let first = LETTERS_CASES.lines().take(3).collect::<Vec<_>>().join("\n");
    let coverage = measure(LETTERS, LETTERS_HARNESS, &first);
    let never: Vec<_> =
        coverage.never_taken.iter().map(|way| (way.at.address, way.taken, way.reached, way.why.as_str())).collect();
    let behind = "no case reaches 0x000118-0x00011F and 0x000124-0x000127; none takes second";
    let itself = "no case reaches the branch itself";
    assert_eq!(never, [(0x110, true, true, behind), (0x11E, true, false, itself), (0x11E, false, false, itself)]);
}

/// The other letter is a `B`: `beq` never goes on to `found`, which the first case has reached.
#[test]
fn a_direction_to_what_is_reached_another_way() {
    let cases = LETTERS_CASES.replace("AAXA", "AABA").replace("third, attach", "second, attach");
    let cases = cases.trim_end().strip_suffix("{branch: found}}").expect("the last case").to_owned();
    let coverage = measure(LETTERS, LETTERS_HARNESS, &format!("{cases}{{branch: second}}}}\n"));
    assert_eq!(coverage.instructions, Share { covered: 11, total: 11 });
    let why: Vec<&str> = coverage.never_taken.iter().map(|way| way.why.as_str()).collect();
    assert_eq!(why, ["found is reached another way; this direction is not tried"]);
}

/// Values 0, 1 and 5; the table is indexed by the low two bits. Entries 2 and 3 are reached by no way that is known.
#[test]
fn a_jump_table_leads_to_what_was_seen() {
    let case = |number: u32| {
        format!("  - {{name: n{number}, attach: {{letter: {number}, size: 1 KiB}}, expect: {{branch: done}}}}\n")
    };
    let cases: String = [0, 1, 5].into_iter().map(case).collect();
    let harness = TABLE_HARNESS.replace("length: 1}", "length: 1, holds: number}");
    let project = project(TABLE, &harness, &format!("harness: ../harness/rom.yaml\ncases:\n{cases}"));
    let coverage = coverage(&project);
    let by_hand = [
        (0x100, 3, 3),
        (0x102, 3, 3),
        (0x108, 3, 3),
        (0x10C, 3, 3),
        (0x10E, 3, 3),
        (0x112, 3, 3),
        (0x11E, 1, 1),
        (0x120, 1, 1),
        (0x122, 2, 2),
        (0x124, 2, 2),
    ];
    assert_eq!(counts(&coverage), by_hand);
    let targets = &at(&coverage, 0x112).targets;
    let targets: Vec<_> = targets.iter().map(|way| (way.to.address, way.runs, way.cases)).collect();
    assert_eq!(targets, [(0x11E, 1, 1), (0x122, 2, 2)]);
    assert_eq!(coverage.unresolved, []);
    // `letter` has three contents, `title` is not read.
    let fields: Vec<_> = coverage
        .fields
        .iter()
        .map(|field| (field.name.as_str(), field.read_by, field.contents, field.never_varied))
        .collect();
    assert_eq!(fields, [("letter", 3, 3, false), ("title", 0, 1, false)]);
    // The header reaches from 0x180 to 0x187; what nobody said is 0xFF.
    let bytes: Vec<_> = coverage.header.iter().map(|byte| (byte.offset, byte.read_by, byte.values.clone())).collect();
    let mut by_hand = vec![(0x180, 3, vec![0, 1, 5])];
    by_hand.extend((0x181..0x188).map(|offset| (offset, 0, vec![0xFF])));
    assert_eq!(bytes, by_hand);
}

/// `beq` is taken, so that `jmp (a0)` never runs; `leave` does not return.
#[test]
fn calls_and_a_jump_without_a_target() {
    let cases = "harness: ../harness/rom.yaml\n\
                 cases:\n  - {name: it, attach: {bytes: {0x100: \"0000\"}, size: 1 KiB}, expect: {branch: done}}\n\
                 \x20 - {name: bare, attach: nothing, empty: zeros, expect: {branch: done}}\n";
    let coverage = measure(CALLS, CALLS_HARNESS, cases);
    let by_hand = [
        (0x100, 2, 2),
        (0x102, 2, 2),
        (0x108, 2, 2),
        (0x10A, 0, 0),
        (0x10C, 2, 2),
        (0x116, 2, 2),
        (0x118, 2, 2),
        (0x11A, 2, 2),
    ];
    assert_eq!(counts(&coverage), by_hand);
    assert_eq!(coverage.directions, Share { covered: 1, total: 2 });
    let unresolved: Vec<u32> = coverage.unresolved.iter().map(|at| at.address).collect();
    assert_eq!(unresolved, [0x10A]);
    assert_eq!(coverage.never_taken[0].why, "no case reaches 0x00010A-0x00010B");
    // One image is attached and read; where nothing is attached, there is no content.
    let mark = &coverage.fields[0];
    assert_eq!((mark.read_by, mark.contents, mark.never_varied), (1, 1, true));
}

/// `tst.b 0x200100; beq.s` to an odd address, which ends the run with an address error: it was taken all the same.
#[test]
fn a_branch_to_an_odd_address_was_taken() {
    let code = [0x4A39, 0x0020, 0x0100, 0x6701, 0x4E71];
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\n\
                   header: {mark: {at: 0x100, length: 2}}\n\
                   branches: {on: {kind: fallback, at: 0x108}}\n";
    let cases = "harness: ../harness/rom.yaml\n\
                 cases:\n  - {name: it, attach: nothing, empty: zeros, expect: {branch: on}}\n";
    let coverage = measure(&code, harness, cases);
    let both = at(&coverage, 0x106).directions.clone().expect("a conditional branch");
    assert_eq!((both.taken.to.address, both.taken.runs, both.fell_through.runs), (0x109, 1, 0));
    assert_eq!(coverage.never_taken[0].why, "no case takes on");
}

/// `move.b 0xE00000,d0; rts` depends on RAM at power-on, so a case runs under each of its three fills: three runs, one
/// case, and one path, as only the value differs.
#[test]
fn a_case_counts_once_under_several_fills() {
    let code = [0x1039, 0x00E0, 0x0000, 0x4E75];
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\n\
                   branches: {back: {kind: fallback, at: return}}\n\
                   forbid: [writes-outside-map]\n";
    let cases = "harness: ../harness/rom.yaml\n\
                 cases:\n  - {name: one, attach: nothing, power-on: [zeros, ones, noise], expect: {branch: back}}\n\
                 \x20 - {name: two, attach: nothing, power-on: [zeros, ones, noise], expect: {branch: back}}\n";
    let project = project(&code, harness, cases);
    assert_eq!(counts(&coverage(&project)), [(0x100, 6, 2), (0x106, 6, 2)]);
    let (_, gathered) = gathered(&project);
    let paths: Vec<_> = gathered.paths.values().map(|path| (path.cases, path.first.case, path.first.fill)).collect();
    assert_eq!(paths, [(2, 0, 0)]);
}

/// A case that confines its reads runs with two observers; what it does counts like that of any other.
#[test]
fn cases_that_confine_reads_count_too() {
    let confined = LETTERS_CASES.replace("{branch: found}", "{branch: found, reads: [title]}");
    assert_ne!(confined, LETTERS_CASES);
    let [plain, confined] = [LETTERS_CASES, &confined].map(|cases| {
        // The projects are in folders of their own.
        Coverage { file: String::new(), ..measure(LETTERS, LETTERS_HARNESS, cases) }
    });
    assert_eq!(plain, confined);
    // And it still finds the read that is not allowed.
    let stray = LETTERS_CASES.replace("{branch: found}", "{branch: found, reads: [maker]}");
    let project = project(LETTERS, LETTERS_HARNESS, &stray);
    for option in ["--color=never", "--coverage"] {
        let ran = project.run(&["check", option]);
        assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
        assert!(ran.out.contains("2 cases: 0 held, 2 failed"), "{}", ran.out);
    }
}

/// `lea code(pc),a0; move.l (a0),0xE00000; jmp 0xE00000`, and at 0x110 `code: nop; rts`: what runs in RAM is told apart.
/// The words behind it are fetched and were never written, so the case runs under all three fills.
#[test]
fn code_in_ram_is_named_and_not_counted() {
    let code = [0x41FA, 0x000E, 0x23D0, 0x00E0, 0x0000, 0x4EF9, 0x00E0, 0x0000, 0x4E71, 0x4E75];
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\n\
                   branches: {back: {kind: fallback, at: return}}\n\
                   forbid: [writes-outside-map]\n";
    let cases = "harness: ../harness/rom.yaml\ncases: [{name: it, attach: nothing, expect: {branch: back}}]\n";
    let coverage = measure(&code, harness, cases);
    assert_eq!(counts(&coverage), [(0x100, 3, 1), (0x104, 3, 1), (0x10A, 3, 1)]);
    let outside: Vec<_> = coverage.outside.iter().map(|code| (code.at.address, code.last, code.instructions)).collect();
    assert_eq!(outside, [(0xE0_0000, 0xE0_0003, 2)]);
}
