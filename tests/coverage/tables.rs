//! Entries of host tables that nothing matched, and the decisions that hung on header bytes.

use std::fmt::Write as _;

use keyway::coverage::Coverage;
use pretty_assertions::assert_eq;

use super::routines::{coverage, measure, project};
use crate::support::{root, run};

const HARNESS: &str = "\
routine: {entry: 0x100, stack: 0xE0FE00}
header: {mark: {at: 0x100, length: 2}, next: {at: 0x102, length: 2}}
branches: {none: {kind: rejected, at: 0x11E}, some: {kind: fallback, at: 0x120}}
";

/// A table of three entries of two letters at 0x140 (`AB`, `CD`, `EF`), compared word by word with 0x200100: `cmp.w`,
/// `beq` out, and so on.
fn three_entries() -> Vec<u16> {
    // move.w 0x200100,d0; (cmp.w 0x140+2n,d0; beq.s out) three times; nop, the other exit; nop, out.
    let mut code = vec![0x3039, 0x0020, 0x0100];
    for entry in 0..3u16 {
        code.extend([0xB079, 0x0000, 0x0140 + 2 * entry, 0x6700 | (18 - 8 * entry)]);
    }
    code.extend([0x4E71, 0x4E71]);
    code.resize(0x20, 0x4E71);
    code.extend([0x4142, 0x4344, 0x4546]);
    code
}

/// Cases whose `mark` is each of these.
fn cases(marks: &[&str]) -> String {
    let mut text = "harness: ../harness/rom.yaml\ncases:\n".to_owned();
    for (index, mark) in marks.iter().enumerate() {
        let branch = if ["AB", "CD", "EF"].contains(mark) { "some" } else { "none" };
        let _ = writeln!(text, "  - {{name: case {index}, attach: {{mark: {mark}}}, expect: {{branch: {branch}}}}}");
    }
    text
}

fn never(coverage: &Coverage) -> Vec<(u32, &str, u64)> {
    coverage.never_matched.iter().map(|entry| (entry.address, entry.text.as_str(), entry.cases)).collect()
}

/// `AB` leaves at the first entry and `CD` at the second; `XX` and `XY` go past all three by one path. So two cases
/// compared `EF` and none agreed. On either byte hung one branch, two and three: three different ones, not six.
#[test]
fn one_entry_of_three_never_matched() {
    let coverage = measure(&three_entries(), HARNESS, &cases(&["AB", "XX", "CD", "XY"]));
    assert_eq!(never(&coverage), [(0x144, "EF", 2)]);
    let decisions: Vec<_> = coverage.header.iter().map(|byte| (byte.offset, byte.read_by, byte.decisions)).collect();
    assert_eq!(decisions, [(0x100, 4, 3), (0x101, 4, 3), (0x102, 0, 0), (0x103, 0, 0)]);
    assert_eq!((coverage.paths, coverage.paths_followed), (3, 3));
}

/// Entries come in order of their address, with all the cases of a path and not its first one alone.
#[test]
fn entries_stand_in_order_of_their_address() {
    let coverage = measure(&three_entries(), HARNESS, &cases(&["XX", "CD", "XY", "CD", "XZ"]));
    assert_eq!(never(&coverage), [(0x140, "AB", 5), (0x144, "EF", 3)]);
    // Every entry has agreed once, and none was compared.
    assert_eq!(never(&measure(&three_entries(), HARNESS, &cases(&["EF", "CD", "AB"]))), []);
    let nothing = "harness: ../harness/rom.yaml\ncases: [{name: it, attach: nothing, expect: {branch: none}}]\n";
    assert_eq!(never(&measure(&three_entries(), HARNESS, nothing)).len(), 3);
}

/// What an explanation leaves out of a long run is counted all the same. 40 tests of bytes, then `AB` beside `mark` and
/// `CD` beside `next`, which agrees, then 40 tests more; `CD` was compared with `mark` at the start and did not agree.
#[test]
fn the_middle_of_a_long_run_counts() {
    let mut code = vec![];
    // move.w 0x200100+n,d0; cmp.w table,d0; beq.s over a nop.
    let compare =
        |field: u16, entry: u16| [0x3039, 0x0020, 0x0100 + field, 0xB079, 0x0000, 0x1000 + entry, 0x6702, 0x4E71];
    let tests = |code: &mut Vec<u16>, from: u16| {
        // tst.b 0x200110+n; bne.s over a nop.
        code.extend((from..from + 40).flat_map(|byte| [0x4A39, 0x0020, 0x0110 + byte, 0x6602, 0x4E71]));
    };
    code.extend(compare(0, 2));
    tests(&mut code, 0);
    code.extend(compare(0, 0));
    code.extend(compare(2, 2));
    tests(&mut code, 40);
    let end = 0x100 + 2 * code.len();
    assert!(end < 0x1000);
    code.resize((0x1000 - 0x100) / 2, 0x4E71);
    code.extend([0x4142, 0x4344]);
    let harness = format!(
        "routine: {{entry: 0x100, stack: 0xE0FE00}}\n\
         header: {{mark: {{at: 0x100, length: 2}}, next: {{at: 0x102, length: 2}}}}\n\
         branches: {{out: {{kind: fallback, at: 0x{end:X}}}}}\n"
    );
    let cases = "harness: ../harness/rom.yaml\n\
                 cases: [{name: it, attach: {mark: XX, next: CD, size: 1 KiB}, expect: {branch: out}}]\n";
    let coverage = measure(&code, &harness, cases);
    assert_eq!(never(&coverage), [(0x1000, "AB", 1)]);
    assert_eq!((coverage.paths, coverage.paths_followed), (1, 1));
}

/// No entries are a constant within an instruction, another part of the window, and what stands where an overlay may show.
#[test]
fn only_the_hosts_own_bytes_are_entries() {
    let mut code = vec![
        0x3039, 0x0020, 0x0100, //         100  move.w  0x200100,d0
        0xB079, 0x0020, 0x0102, 0x6718, // 106  cmp.w   0x200102,d0;  beq.s  some
        0x0C40, 0x4546, 0x6712, //         10E  cmpi.w  #'EF',d0;     beq.s  some
        0xB079, 0x0000, 0x0140, 0x670A, // 114  cmp.w   0x140,d0;     beq.s  some
        0xB079, 0x0000, 0x0150, 0x6702, // 11C  cmp.w   0x150,d0;     beq.s  some
        0x4E71, 0x4E71, //                 124  none: nop;  some: nop
    ];
    code.resize(0x20, 0x4E71);
    code.push(0x4142);
    code.resize(0x28, 0x4E71);
    code.push(0x4344);
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\n\
                   header: {mark: {at: 0x100, length: 2}}\n\
                   branches: {none: {kind: rejected, at: 0x124}, some: {kind: fallback, at: 0x126}}\n";
    assert_eq!(never(&measure(&code, harness, &cases(&["XX"]))), [(0x140, "AB", 1), (0x150, "CD", 1)]);
    let overlay = "ports: [{name: latch, at: 0xB00001, writes: [0, 1]}]\n\
                   overlays: [{name: cover, image: cover.bin, range: 0x150-0x151, while: {port: latch, is: 1}}]\n";
    let project = project(&code, &format!("{harness}{overlay}"), &cases(&["XX"]));
    project.write("harness/cover.bin", "EF");
    assert_eq!(never(&coverage(&project)), [(0x140, "AB", 1)]);
}

/// `moveq #0,d0; move.w 0x200100,d0; lea 0x200000,a0; move.b (a0,d0.l),d1; cmp.w 0x140,d0; beq.s some`: each value of `mark`
/// looks at another byte, which is another path. Of 81 times 256 the first 20,000 are followed, and nobody says more.
#[test]
fn paths_that_were_not_followed_are_told() {
    let mut code = vec![0x7000, 0x3039, 0x0020, 0x0100, 0x41F9, 0x0020, 0x0000, 0x1230, 0x0800];
    code.extend([0xB079, 0x0000, 0x0140, 0x6702, 0x4E71, 0x4E71]);
    code.resize(0x20, 0x4E71);
    code.push(0x5A5A);
    let harness = "routine: {entry: 0x100, stack: 0xE0FE00}\n\
                   header: {mark: {at: 0x100, length: 2}}\n\
                   branches: {none: {kind: rejected, at: 0x11A}, some: {kind: fallback, at: 0x11C}}\n";
    let list = |count: u32| (0..count).map(|byte| format!("\"{byte:02X}\"")).collect::<Vec<_>>().join(", ");
    let cases = format!(
        "harness: ../harness/rom.yaml\n\
         cases: [{{name: it, for: {{high: [{}], low: [{}]}}, attach: {{bytes: {{0x100: \"{{high}} {{low}}\"}}, size: 128 KiB}},\
         expect: {{branch: none}}}}]\n",
        list(81),
        list(256)
    );
    let project = project(&code, harness, &cases);
    let run = |jobs| {
        let ran = project.run(&["check", "--coverage", "--jobs", jobs, "--listing", "out.txt"]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        (ran.out, std::fs::read_to_string(project.path().join("out.txt")).expect("a listing"))
    };
    let (out, listed) = run("1");
    let (_, summary) = out.split_once("tried by ").expect("a summary");
    assert!(summary.contains("\"ZZ\", compared by 20,000 cases\n"), "{summary}");
    assert!(summary.contains("\n  followed      20,000 of 20,736 paths; what is said of table entries"), "{summary}");
    assert!(listed.contains("\nfollowed: 20,000 of 20,736 paths; "), "{listed}");
    assert!(run("2") == (out, listed));
}

/// The listing has what the summary has no room for.
#[test]
fn the_listing_names_entries_and_fields() {
    let project = project(&three_entries(), HARNESS, &cases(&["XX", "XX"]));
    let ran = project.run(&["check", "--coverage", "--listing", "out.txt"]);
    let listed = std::fs::read_to_string(project.path().join("out.txt")).expect("a listing");
    let lines: Vec<&str> = listed.lines().filter(|line| line.starts_with("nothing ")).collect();
    let expected = [
        "nothing matched 0x000140 <start+64>  \"AB\", compared by 2 cases",
        "nothing matched 0x000142 <start+66>  \"CD\", compared by 2 cases",
        "nothing matched 0x000144 <start+68>  \"EF\", compared by 2 cases",
        "nothing else was tried in mark (image 0x000100-0x000101), read by 2 cases: the same in every image",
    ];
    assert_eq!(lines, expected, "{}{}", ran.out, ran.err);
    // Every path was followed, so nothing is said of that.
    assert!(ran.out.contains("tried by 2 cases") && !ran.out.contains("followed"), "{}", ran.out);
    assert!(!listed.contains("followed"), "{listed}");
}

/// `cases/own-unknown.yaml` tries codes that the ROM does not know: of its five products none matches, each as far as
/// the nearest code goes.
#[test]
fn no_product_of_the_demo_matches_an_unknown_one() {
    let ran = run(root(), &["check", "--coverage", "cases/own-unknown.yaml"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let lines = ran.out.lines().skip_while(|line| !line.starts_with("  no match"));
    let lines: Vec<&str> = lines.take_while(|line| line.contains("<our_product_")).collect();
    let texts: Vec<&str> = lines.iter().filter_map(|line| line.split('"').nth(1)).collect();
    assert_eq!(texts, ["AW-3200-00    ", "AW-2100-00 ", "AW-2100-01", "AW-2100-02", "AW-2100-0B"], "{}", ran.out);
    assert!(lines.iter().all(|line| line.ends_with(", compared by 34 cases")), "{lines:?}");
}
