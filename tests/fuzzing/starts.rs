//! Where a work starts, what it varies, and how it learns from what a run compared.

use keyway::fuzz::{Ended, Fuzz, Part};
use keyway::suite::Suite;
use pretty_assertions::assert_eq;

use super::{harness, run};
use crate::support::{Project, root};

/// The demo without its acceptance table: nothing but the ROM says which codes there are.
fn blind() -> Project {
    let project = Project::demo();
    let text = std::fs::read_to_string(root().join("harness/aria.yaml")).unwrap();
    let at = text.find("acceptance:").expect("a table");
    project.write("harness/blind.yaml", &text[..at]);
    project
}

#[test]
fn codes_are_found_from_what_the_run_compared() {
    let project = blind();
    let harness = std::sync::Arc::new(keyway::Harness::load(project.path().join("harness/blind.yaml")).unwrap());
    // A signature of 16 bytes and then a code of 14: chance would need more trials than there are atoms.
    let report = run(&Fuzz::new(&harness).only(&[Part::Header, Part::Ports]).trials(600));
    let missing: Vec<&str> =
        report.branches.iter().filter(|branch| !branch.reached).map(|branch| branch.name.as_str()).collect();
    // Without a table nobody says which branch is right, and the report says so.
    assert_eq!(report.unjudged, report.status.trials);
    assert!(missing.is_empty(), "{missing:?} not reached in {} trials", report.status.trials);
    assert!(report.findings.is_empty(), "{report}");
}

#[test]
fn pinned_fields_stay() {
    let harness = harness("aria.yaml");
    let mut fuzz = Fuzz::new(&harness).only(&[Part::Header]).trials(5_000);
    assert!(fuzz.pin("signature") && !fuzz.pin("sinature"));
    let report = run(&fuzz);
    let signatures: Vec<Vec<Option<u8>>> = report
        .cases
        .iter()
        .filter_map(|case| case.setup.inputs.attached.image.as_ref())
        .map(|image| image.bytes(0x100..0x110).collect())
        .collect();
    let known = |bytes: &Vec<Option<u8>>| {
        let text: Vec<u8> = bytes.iter().flatten().copied().collect();
        text == b"PARLOR16 SYSTEM " || text == [0xFF; 16] || text == [b' '; 16]
    };
    assert!(signatures.len() > 8 && signatures.iter().all(known), "{signatures:?}");
}

#[test]
fn only_what_is_asked_for_is_varied() {
    let harness = harness("aria.yaml");
    let report = run(&Fuzz::new(&harness).only(&[Part::Header, Part::Size]).trials(5_000));
    for case in &report.cases {
        let inputs = &case.setup.inputs;
        assert_eq!(inputs.empty, harness.empty);
        assert!(inputs.attached.contacts.good());
        // What the acceptance table says of the pedal is where the work starts.
        let pedal = inputs.ports[1].as_ref().and_then(keyway::board::Schedule::constant);
        assert!(matches!(pedal, None | Some(1)), "{pedal:?}");
        assert!(inputs.attached.image.as_ref().is_none_or(|image| !image.swapped()));
    }
}

#[test]
fn cases_are_started_from() {
    let harness = harness("aria.yaml");
    let suite = Suite::load(root().join("cases/sockets.yaml")).unwrap();
    let mut fuzz = Fuzz::new(&harness).trials(2_000);
    let varied = (0..suite.len()).filter(|index| fuzz.start_from(&suite.case(*index).unwrap())).count();
    assert!(varied > 0, "no case of sockets.yaml can be varied");
    assert_eq!(fuzz.not_varied(), suite.len() - varied);
    let report = run(&fuzz);
    assert_eq!(report.not_varied, suite.len() - varied);
    assert!(report.findings.is_empty(), "{report}");
}

#[test]
fn a_work_ends_at_its_limits() {
    let harness = harness("aria.yaml");
    let report = run(&Fuzz::new(&harness).plateau(3_000));
    assert_eq!(report.ended, Ended::Quiet);
    assert!(report.status.quiet >= 3_000);
    let report = run(&Fuzz::new(&harness).time(std::time::Duration::from_millis(50)));
    assert_eq!(report.ended, Ended::Time);
    let report = run(&Fuzz::new(&harness).trials(100));
    assert_eq!(report.ended, Ended::Trials);
    assert!(report.status.trials >= 100);
    let stop = std::sync::atomic::AtomicBool::new(true);
    let report = Fuzz::new(&harness).run_with(&stop, |_| std::ops::ControlFlow::Continue(())).unwrap();
    assert_eq!((report.ended, report.status.trials), (Ended::Stopped, 0));
}

#[test]
fn the_summary_names_what_stands_before_a_branch() {
    let project = Project::demo();
    for name in ["harness/defects/stride.yaml", "harness/defects/stride.elf"] {
        project.write(name, std::fs::read(root().join(name)).unwrap());
    }
    let ran = project.run(&["fuzz", "harness/defects/stride.yaml", "--trials", "3000"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.out.contains("patched      alternate                  never"), "{}", ran.out);
    assert!(ran.out.contains("never went to 0x0002E2 <patch_drums>"), "{}", ran.out);
    assert!(ran.out.contains("none takes patched"), "{}", ran.out);
}
