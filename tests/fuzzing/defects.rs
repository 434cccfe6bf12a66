//! The twelve broken demos (harness/defects/): each is found out, brought down to the obvious cartridge, and its case
//! holds on the ROM that is not broken. What is obvious was written down from the patches, before anything was run.

use std::sync::Arc;

use keyway::check::Checker;
use keyway::fuzz::{Finding, Fuzz, Promise};
use keyway::suite::Suite;
use keyway::{Harness, Verdict};
use pretty_assertions::assert_eq;

use super::{finding, harness, run};
use crate::support::root;

/// Trials that are made at least: a few tenths of a second.
const TRIALS: u64 = 12_000;

/// What must be found.
struct Defect {
    name: &'static str,
    /// The promises that may break, the expected one first. Whatever else breaks is a false alarm.
    promises: &'static [Promise],
    /// What the first line of the case must contain, and the lines of its cartridge.
    case: &'static str,
    /// Lines that the case file must have below `attach`, without their places; `?` stands for any byte.
    attach: &'static [&'static str],
    /// What the case expects.
    expect: &'static str,
}

const SIGNATURE: &str = r#"signature: "PARLOR16 SYSTEM""#;

#[rustfmt::skip]
const DEFECTS: &[Defect] = &[
    Defect { name: "last-byte", promises: &[Promise::Accepts], case: "takes ", attach: &[SIGNATURE, r#"product: "AW-??00-0?   ?""#, "checksum: right"], expect: "branch: refused" },
    Defect { name: "stride", promises: &[Promise::Refuses, Promise::Accepts], case: r#"product "AW-2100-0?" takes refused, not patched"#, attach: &[SIGNATURE, r#"product: "AW-2100-0?""#, "checksum: right"], expect: "branch: patched" },
    Defect { name: "first-entry", promises: &[Promise::Refuses], case: r#"product "AW-3200-00" takes refused, not combination"#, attach: &[SIGNATURE, r#"product: "AW-3200-00""#, "checksum: right"], expect: "branch: combination" },
    Defect { name: "signature-short", promises: &[Promise::Accepts, Promise::Branch], case: "takes ", attach: &[r#"signature: "PARLOR16?"#], expect: "branch: alone" },
    Defect { name: "odd-word", promises: &[Promise::Crash], case: "crashes the routine: address error", attach: &[SIGNATURE, "product: ", "checksum: right"], expect: "branch: noise" },
    Defect { name: "stray-write", promises: &[Promise::StrayWrites, Promise::PortValues, Promise::Latches], case: r#"signature "PARLOR16 SYSTEM" makes the routine write outside the map"#, attach: &[SIGNATURE, "checksum: right"], expect: "branch: noise" },
    Defect { name: "hang", promises: &[Promise::Hang, Promise::Limit], case: r#"product "AW-?906-??" hangs the routine"#, attach: &[SIGNATURE, r#"product: "AW-?906-"#, "checksum: right"], expect: "branch: refused" },
    Defect { name: "preset-range", promises: &[Promise::Ends, Promise::StrayWrites, Promise::Crash, Promise::Hang], case: "ends in no branch: left the host", attach: &[SIGNATURE, "checksum: right"], expect: "branch: noise" },
    Defect { name: "latch-on", promises: &[Promise::Latches], case: r#"product "AW-2100-0?" makes the routine leave a latch set"#, attach: &[SIGNATURE, r#"product: "AW-2100-0?""#, "checksum: right"], expect: "branch: patched, leaves: {latch: 0}" },
    Defect { name: "early-read", promises: &[Promise::Forbidden], case: r#"product "AW-" makes the routine do what the harness forbids"#, attach: &[SIGNATURE, r#"product: "AW-""#, "checksum: right"], expect: "branch: refused" },
    Defect { name: "sum-wraps", promises: &[Promise::Accepts, Promise::Branch], case: "takes ", attach: &["signature: "], expect: "branch: alone" },
    Defect { name: "shadowed", promises: &[Promise::Branch], case: r#"product "AW-2100-02" takes combination, not patched"#, attach: &[SIGNATURE, r#"product: "AW-2100-02""#, "checksum: right"], expect: "branch: patched" },
];

/// Whether a text begins like a pattern in which `?` is any letter.
fn fits(text: &str, pattern: &str) -> bool {
    let mut letters = text.chars();
    pattern.chars().all(|wanted| letters.next().is_some_and(|letter| wanted == '?' || wanted == letter))
}

/// The lines of the recipe, or of whatever else the case gives.
fn lines(finding: &Finding) -> Vec<&str> {
    let below = finding.case.lines().skip_while(|line| !line.starts_with("    attach:")).skip(1);
    below.take_while(|line| !line.starts_with("    expect:")).map(str::trim).collect()
}

#[track_caller]
fn check(defect: &Defect) {
    let broken = harness(&format!("defects/{}.yaml", defect.name));
    let report = run(&Fuzz::new(&broken).trials(TRIALS));
    let found = finding(&report, defect.promises[0]);
    let strange = report.findings.iter().find(|finding| !defect.promises.contains(&finding.promise));
    assert!(strange.is_none(), "{}: {strange:?}", defect.name);
    let text = &found.case;
    let pattern = defect.case;
    assert!((0..found.name.len()).any(|at| found.name.get(at..).is_some_and(|name| fits(name, pattern))), "{text}");
    let lines = lines(found);
    for wanted in defect.attach {
        assert!(lines.iter().any(|line| fits(line, wanted)), "{}: no {wanted} in\n{text}", defect.name);
    }
    // Nothing else: no port, no size, no contact that does not matter.
    let fields = ["signature: ", "product: ", "checksum: right"];
    let more = lines.iter().find(|line| !fields.iter().any(|field| line.starts_with(field)));
    assert_eq!(more, None, "{}\n{text}", defect.name);
    assert!(text.contains(&format!("expect: {{{}}}", defect.expect)), "{}\n{text}", defect.name);
    for finding in &report.findings {
        fails_there_and_holds_here(finding, &broken);
    }
}

/// The case of a finding fails on the broken ROM, and holds on the whole one: it stands as a regression case.
#[track_caller]
fn fails_there_and_holds_here(finding: &Finding, broken: &Arc<Harness>) {
    let file = tempfile::Builder::new().suffix(".yaml").tempfile().unwrap();
    std::fs::write(file.path(), &finding.case).unwrap();
    let verdict = |harness: &Arc<Harness>| {
        let suite = Suite::load_for(file.path(), 1, harness).unwrap_or_else(|complaint| panic!("{complaint:?}"));
        Checker::new(Arc::clone(harness)).check(&suite.case(0).unwrap()).verdict
    };
    let there = verdict(broken);
    assert!(matches!(there, Verdict::Failed { .. } | Verdict::Undecided { .. }), "{there:?}\n{}", finding.case);
    assert_eq!(verdict(&harness("aria.yaml")), Verdict::Held, "{}", finding.case);
}

macro_rules! each {
    ($($test:ident $index:literal),+) => {$(
        #[test]
        fn $test() {
            check(&DEFECTS[$index]);
        }
    )+};
}

each!(
    the_last_byte_of_a_code_is_not_compared 0,
    the_stride_of_the_table_is_wrong 1,
    the_first_entry_is_lost 2,
    the_signature_is_too_short 3,
    an_odd_word_is_read_for_some_headers 4,
    a_write_goes_to_an_address_from_the_header 5,
    one_code_hangs 6,
    a_value_is_out_of_range 7,
    the_latch_is_left_set 8,
    ram_is_read_before_it_is_written 9,
    a_sum_that_wraps_accepts 10,
    an_entry_is_shadowed 11
);

#[test]
fn there_is_a_test_for_each() {
    let folder = std::fs::read_dir(root().join("harness/defects")).unwrap();
    let stems =
        folder.map(|file| file.unwrap().path()).filter(|path| path.extension().is_some_and(|end| end == "yaml"));
    let mut stems: Vec<String> = stems.map(|path| path.file_stem().unwrap().to_string_lossy().into_owned()).collect();
    stems.sort();
    let mut names: Vec<&str> = DEFECTS.iter().map(|defect| defect.name).collect();
    names.sort_unstable();
    assert_eq!(stems, names);
}

/// The whole demo breaks no promise, with any seed. CI makes ten million trials.
#[test]
fn the_whole_demo_breaks_no_promise() {
    for (name, trials) in [("aria", 60_000), ("blanks", 20_000)] {
        let harness = harness(&format!("{name}.yaml"));
        let suite =
            Suite::load(root().join(format!("cases/{}.yaml", if name == "aria" { "sockets" } else { name }))).unwrap();
        for seed in 1..=3 {
            let mut fuzz = Fuzz::new(&harness).seed(seed).trials(trials);
            // The blanks stay away in a case only: whether there are any is the machine's own.
            suite.cases().for_each(|case| _ = fuzz.start_from(&case.unwrap()));
            let report = run(&fuzz);
            assert!(report.findings.is_empty(), "{name}, seed {seed}: {report}");
            assert!(report.branches.iter().all(|branch| branch.reached), "{name}, seed {seed}: {report}");
            assert_eq!(report.not_looked_at, 0);
        }
    }
}
