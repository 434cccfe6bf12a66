//! Proofs of the routines in `routines/`, held against `expected.md`: what is expected of each was written down from its
//! source, a model, and counting, before anything could be proved.

use std::collections::BTreeMap;
use std::fs;

use keyway::prove::{Answer, EndAnswer, Sealed};
use keyway::trial::Promise;
use pretty_assertions::assert_eq;

use super::{expected, path, prove};

/// The ends with an image attached whose header shows.
fn ends(answer: &Answer) -> &[EndAnswer] {
    &answer.scenarios[0].ends
}

fn headers(answer: &Answer, branch: &str) -> String {
    let end = ends(answer).iter().find(|end| end.branch.as_deref() == Some(branch));
    end.map_or_else(|| "none".to_owned(), |end| end.headers.clone().unwrap_or_else(|| "not counted".to_owned()))
}

fn condition(answer: &Answer, branch: &str) -> String {
    let end = ends(answer).iter().find(|end| end.branch.as_deref() == Some(branch)).unwrap();
    end.condition.as_ref().map_or_else(String::new, |condition| condition.text.clone())
}

fn unreachable(answer: &Answer) -> Vec<&str> {
    answer.branches.iter().filter(|branch| !branch.reachable).map(|branch| branch.branch.as_str()).collect()
}

fn proved(name: &str) -> Answer {
    match prove(&path(name)) {
        Sealed::Proved(proved) => proved.get().clone(),
        Sealed::Inconclusive(_, doubts) => panic!("{name}: {doubts:?}"),
    }
}

/// Tables of five sizes: a header of `signature`, `product` and 110 bytes that no field covers, 2^1136 contents.
#[test]
fn tables_of_every_size() {
    for entries in [5u32, 10, 20, 40, 80] {
        let answer = proved(&format!("table_{entries}"));
        let combinations = entries / 5;
        let codes = |wanted: &dyn Fn(u32) -> bool| {
            let codes: Vec<String> =
                (0..entries).filter(|entry| wanted(*entry)).map(|entry| format!("\"AW-21{entry:02}-00\"")).collect();
            match &codes[..] {
                [one] => format!("product = {one}"),
                many => format!("product in {{{}}}", many.join(", ")),
            }
        };
        let signature = "signature = \"PARLOR16 SYSTEM\"";
        assert_eq!(condition(&answer, "combination"), format!("{signature} and {}", codes(&|entry| entry % 5 == 0)));
        assert_eq!(condition(&answer, "patched"), format!("{signature} and {}", codes(&|entry| entry % 5 != 0)));
        assert_eq!(condition(&answer, "alone"), "signature is not \"PARLOR16 SYSTEM\"");
        assert_eq!(headers(&answer, "alone"), "2^1136 - 2^1008");
        // 2^896 for each code: the 240 bits of both texts are fixed.
        let times = |count: u32| match (count >> count.trailing_zeros(), 896 + count.trailing_zeros()) {
            (1, exponent) => format!("2^{exponent}"),
            (odd, exponent) => format!("{odd} x 2^{exponent}"),
        };
        assert_eq!(headers(&answer, "combination"), times(combinations));
        assert_eq!(headers(&answer, "patched"), times(entries - combinations));
        assert_eq!(headers(&answer, "refused"), format!("2^1008 - {}", times(entries)));
        assert_eq!(unreachable(&answer), ["noise"]);
        assert_eq!(answer.violations, []);
        assert_eq!(answer.dead_entries, []);
        assert!(answer.rules.iter().all(|rule| rule.holds && rule.decides), "{:?}", answer.rules);
        let alike = entries.min(10);
        let most = 39 + 8 * entries + 2 * (13 + 6 * (alike - 1) + 5 * (entries - alike));
        let found = answer.paths.most_instructions.as_ref().unwrap();
        assert_eq!((found.instructions, found.bound), (u64::from(most), None), "{entries}");
        assert_eq!(answer.paths.fewest_instructions.as_ref().unwrap().instructions, 6);
    }
}

/// An entry behind one with the same code: its branch is reached by others, the entry never.
#[test]
fn a_shadowed_entry_is_dead_and_its_branch_is_not() {
    let answer = proved("table_shadowed");
    assert_eq!(headers(&answer, "patched"), "3 x 2^896");
    assert_eq!(unreachable(&answer), ["noise"]);
    let dead: Vec<&str> = answer.dead_entries.iter().filter_map(|entry| entry.at.symbol.as_deref()).collect();
    assert_eq!(dead, ["shadowed_entry"]);
}

/// Fields that are independent of each other: the paths are brought together.
#[test]
fn independent_fields() {
    for fields in [3u32, 10] {
        let answer = proved(&format!("fields_{fields}"));
        let all: Vec<String> = (0..fields).map(|field| format!("field-{field} = \"AW-4{field}00-00\"")).collect();
        assert_eq!(condition(&answer, "combination"), all.join(" and "));
        let none: Vec<String> = all.iter().map(|one| format!("({one})")).collect();
        assert_eq!(condition(&answer, "refused"), format!("none of {}", none.join(", ")));
        assert_eq!(unreachable(&answer), ["noise", "alone"]);
        let (fewest, most) = if fields == 3 { (39, 117) } else { (109, 376) };
        assert_eq!(answer.paths.fewest_instructions.as_ref().unwrap().instructions, fewest);
        assert_eq!(answer.paths.most_instructions.as_ref().unwrap().instructions, most);
    }
}

/// Eight spellings of one code; and the folding tells them apart from everything else.
#[test]
fn a_compare_that_folds_letters() {
    let answer = proved("fold_product");
    assert_eq!((headers(&answer, "patched"), headers(&answer, "refused")), ("8".to_owned(), "2^112 - 2^3".to_owned()));
    assert_eq!(unreachable(&answer), ["combination", "noise", "alone"]);
}

/// A hash that leads into a table of jumps: every target is reached, and nothing else is.
#[test]
fn a_hash_into_a_table_of_jumps() {
    let answer = proved("hash_product");
    let branches: Vec<&str> = ends(&answer).iter().filter_map(|end| end.branch.as_deref()).collect();
    assert_eq!(
        branches,
        ["preset-0", "preset-1", "preset-2", "preset-3", "preset-4", "preset-5", "preset-6", "preset-7"]
    );
    assert_eq!((unreachable(&answer), answer.violations.len()), (Vec::new(), 0));
    assert_eq!(answer.paths.most_instructions.as_ref().unwrap().instructions, 64);
}

/// Mismatches counted with a branch a byte and without: the same three branches.
#[test]
fn mismatches_are_counted() {
    for name in ["count_mismatches", "add_mismatches"] {
        let answer = proved(name);
        assert_eq!(condition(&answer, "combination"), "signature = \"PARLOR16 SYSTEM\"", "{name}");
        assert_eq!(unreachable(&answer), ["noise", "alone"], "{name}");
        assert_eq!(answer.influence[0].count, 16, "{name}");
    }
}

/// A sum over 64 bytes against a word of the header, and the acceptance table says the same with a sum of its own.
#[test]
fn a_sum_is_compared_with_the_header() {
    let answer = proved("sum_block");
    assert_eq!(answer.violations, []);
    assert_eq!(unreachable(&answer), ["patched", "noise", "alone"]);
    assert!(answer.rules.iter().all(|rule| rule.holds), "{:?}", answer.rules);
}

/// A port that is polled: as the harness says, and with every read unknown.
#[test]
fn polling() {
    for (polls, instructions) in [(20, 72), (2000, 6012), (20_000, 60_012)] {
        let answer = proved(&format!("poll_{polls}"));
        assert_eq!(headers(&answer, "refused"), "2^88");
        assert_eq!(answer.paths.most_instructions.as_ref().unwrap().instructions, instructions);
        // Twenty thousand unknown reads are for the benchmark.
        if polls > 2000 {
            continue;
        }
        let pressed = super::with(&path(&format!("poll_{polls}")), |prove| prove.let_be_unknown("pedal").unwrap());
        let Sealed::Proved(pressed) = pressed else { panic!("{polls}: {:?}", pressed.doubts()) };
        assert_eq!(unreachable(pressed.get()), ["combination", "patched"], "{polls}");
        assert_eq!(pressed.get().paths.most_instructions.as_ref().unwrap().instructions, instructions, "{polls}");
    }
}

/// Counterexamples that must be found, and what is proved beside them.
#[test]
fn faults_are_found() {
    let stray = prove(&path("stray_write"));
    assert!(matches!(stray, Sealed::Inconclusive(..)), "65,536 addresses are too many");
    assert_eq!(promises(stray.found()), [Promise::StrayWrites]);
    for (name, promise) in [
        ("stray_write_few", Promise::StrayWrites),
        ("odd_word", Promise::Crash),
        ("pair_divide_unguarded", Promise::Crash),
        ("pair_jump", Promise::Crash),
        ("pair_hang", Promise::Hang),
        ("pair_hang_counted", Promise::Hang),
        ("pair_hang_odd", Promise::Hang),
        ("pair_call", Promise::Ends),
        ("pair_latch", Promise::Latches),
        ("pair_unwritten", Promise::Forbidden),
    ] {
        let answer = proved(name);
        assert!(promises(&answer).contains(&promise), "{name}: {:?}", answer.violations);
        let found = answer.violations.iter().find(|violation| violation.promise == promise).unwrap();
        assert!(!found.reasons.is_empty(), "{name}: no case fails\n{}", found.case);
    }
    for name in ["bounded_write", "bounded_by_one_too_many", "contradictions"] {
        assert_eq!(promises(&proved(name)), [], "{name}");
    }
    assert!(unreachable(&proved("contradictions")).contains(&"patched"));
}

fn promises(answer: &Answer) -> Vec<Promise> {
    answer.violations.iter().map(|violation| violation.promise).collect()
}

/// A table of `expected.md` as rows of cells, found by the beginning of its head.
fn table(head: &str) -> Vec<Vec<String>> {
    let text = fs::read_to_string(expected()).unwrap();
    let lines = text.lines().skip_while(|line| !line.starts_with(head)).skip(2);
    let rows = lines.take_while(|line| line.starts_with('|'));
    let cells = |line: &str| line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect();
    let rows: Vec<Vec<String>> = rows.map(cells).collect();
    assert!(!rows.is_empty(), "there is no table {head}");
    rows
}

fn number(text: &str) -> u64 {
    text.replace(',', "").parse().unwrap()
}

/// Routines that hang on two bytes: the counts are those of the model and of all 65,536 headers on the concrete core.
#[test]
fn pairs_are_counted_as_the_model_counts_them() {
    let rows = table("| routine | combination |");
    assert!(rows.len() > 20);
    for row in rows {
        let name = row[0].trim_matches('`');
        let answer = proved(name);
        let mut wanted: BTreeMap<String, u64> = BTreeMap::new();
        for (branch, count) in ["combination", "patched", "noise", "refused", "alone"].iter().zip(&row[1..6]) {
            if number(count) > 0 {
                wanted.insert((*branch).to_owned(), number(count));
            }
        }
        let mut found: BTreeMap<String, u64> = BTreeMap::new();
        let mut broken = 0;
        for end in ends(&answer) {
            let headers = end.headers.as_ref().map(|headers| headers.parse::<u64>().unwrap());
            match &end.branch {
                // What is decided by RAM at power-on is no number of headers.
                Some(_) if name == "pair_unwritten" => {}
                Some(branch) => {
                    found.insert(branch.clone(), headers.unwrap_or_else(|| panic!("{name}: {branch}")));
                }
                None => broken += headers.unwrap(),
            }
        }
        let violation = row[6].split_whitespace().collect::<Vec<_>>();
        match violation[..] {
            ["unwritten", _] => continue,
            // Those that leave the latch on come to their branch all the same.
            ["latch", count] => *wanted.get_mut("patched").unwrap() += number(count) - number(count),
            [_, count] => assert_eq!(broken, number(count), "{name}"),
            _ => assert_eq!(broken, 0, "{name}"),
        }
        if violation.first() == Some(&"latch") {
            found.insert("patched".to_owned(), found["patched"] - number(violation[1]));
        }
        assert_eq!(found, wanted, "{name}");
    }
}

/// The shortest and longest paths of the same routines, as the concrete core has them.
#[test]
fn paths_of_pairs_are_those_of_the_concrete_core() {
    let rows = table("| routine | instructions, with a pair each |");
    assert!(rows.len() > 20);
    for row in rows {
        let name = row[0].trim_matches('`');
        let range = |cell: &str| {
            let (low, rest) = cell.split_once(" to ").unwrap();
            (number(low), number(rest.split_once(' ').unwrap().0))
        };
        let answer = proved(name);
        let paths = &answer.paths;
        let (fewest, most) = (paths.fewest_instructions.as_ref(), paths.most_instructions.as_ref());
        if name == "pair_unwritten" {
            continue;
        }
        let instructions = (fewest.unwrap().instructions, most.unwrap().instructions);
        let cycles = (paths.shortest.as_ref().unwrap().cycles, paths.longest.as_ref().unwrap().cycles);
        // A socket with nothing in it, or with an image whose header does not show, is a path too.
        let (wanted, wanted_cycles) = (range(&row[1]), range(&row[2]));
        assert!(instructions.0 <= wanted.0 && instructions.1 >= wanted.1, "{name}: {instructions:?} {wanted:?}");
        assert!(cycles.0 <= wanted_cycles.0 && cycles.1 >= wanted_cycles.1, "{name}: {cycles:?} {wanted_cycles:?}");
        for path in [fewest, most, paths.shortest.as_ref(), paths.longest.as_ref()].into_iter().flatten() {
            assert_eq!(path.bound, None, "{name}");
        }
    }
}
