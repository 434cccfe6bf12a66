//! Workflow commands, taken apart by the documented rules: `%25`, `%0D`, `%0A`, and in properties `%3A` and `%2C`.

use keyway::report::Github;
use pretty_assertions::assert_eq;

use super::{NASTY, Written, demo_harness, failing, mixed, nasty, show};
use crate::support::{root, run};

/// One command.
#[derive(Debug)]
struct Annotation {
    level: String,
    file: String,
    line: String,
    title: String,
    message: String,
}

fn decode(text: &str) -> String {
    // `%25` last, so that what it stands for is not read again.
    let text = text.replace("%3A", ":").replace("%2C", ",").replace("%0D", "\r").replace("%0A", "\n");
    text.replace("%25", "%")
}

fn annotation(line: &str) -> Option<Annotation> {
    let (level, rest) = line.strip_prefix("::")?.split_once(' ')?;
    let (properties, message) = rest.split_once("::")?;
    let property = |name: &str| {
        let found = properties.split(',').find_map(|pair| pair.strip_prefix(name)?.strip_prefix('='));
        decode(found.unwrap_or_default())
    };
    let (file, line, title) = (property("file"), property("line"), property("title"));
    Some(Annotation { level: level.to_owned(), file, line, title, message: decode(message) })
}

#[test]
fn failures_are_told_beside_the_case_files() {
    let ran = mixed().run(&["check", "--format", "github"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    let lines: Vec<&str> = ran.out.lines().collect();
    let told: Vec<Annotation> = lines.iter().filter_map(|line| annotation(line)).collect();
    let heads: Vec<[&str; 4]> = told.iter().map(|one| [&*one.level, &one.file, &one.line, &one.title]).collect();
    assert_eq!(
        heads,
        [
            ["error", "cases/all.yaml", "4", "wanted patched (alternate), took alone: it fails"],
            ["error", "cases/all.yaml", "6", "known bug gone: it is mended"],
            ["warning", "cases/short.yaml", "3", "wanted refused (rejected), took limit: it is given up"],
        ]
    );
    let message = &told[0].message;
    assert!(message.starts_with("it fails\ncase: cases/all.yaml:4\nattached: nothing\nwhy: took alone"), "{message}");
    assert!(message.ends_with("rerun: keyway check 'cases/all.yaml:it fails'"), "{message}");
    assert_eq!(lines[told.len()..], ["6 cases: 2 held, 2 failed, 1 undecided, 1 known bug"]);
}

#[test]
fn where_all_holds_there_is_only_the_count() {
    let ran = run(root(), &["check", "cases/choir.yaml", "--format", "github"]);
    assert_eq!((ran.code, &*ran.out), (0, "24 cases: 24 held\n"));
}

#[test]
fn ten_are_told_and_the_rest_is_counted() {
    let project = mixed();
    let attach = "{signature: \"PARLOR16 SYSTEM \", product: AW-2100-03}";
    project.write(
        "cases/all.yaml",
        format!(
            "harness: ../harness/short.yaml\ncases:\n\
             - {{name: early, for: {{n: [2, 4, 6, 8]}}, attach: {attach}, ports: {{pedal: \"{{n}}\"}}}}\n\
             - {{name: wrong, for: {{n: [1, 2, 3, 4, 5, 6, 7]}}, attach: nothing, ports: {{pedal: \"{{n}}\"}}, \
             expect: {{branch: patched}}}}\n",
        ),
    );
    // Four are undecided, and another one is in the other file.
    let tell = || {
        let ran = project.run(&["check", "--format", "github"]);
        assert_eq!(ran.code, 1, "{}", ran.err);
        let levels: Vec<String> =
            ran.out.lines().filter_map(|line| Some(line.strip_prefix("::")?.split_once(' ')?.0.to_owned())).collect();
        let count = |level: &str| levels.iter().filter(|other| *other == level).count();
        (count("error"), count("warning"), ran.out.lines().rev().nth(1).unwrap_or_default().to_owned())
    };
    assert_eq!(tell(), (7, 3, "::notice title=keyway::not annotated: 2 undecided more".to_owned()));
    let more = std::fs::read_to_string(project.path().join("cases/all.yaml")).expect("the cases");
    project.write("cases/all.yaml", more.replace("6, 7]", "6, 7, 8, 9, 10, 11, 12]"));
    assert_eq!(tell(), (10, 0, "::notice title=keyway::not annotated: 2 failed and 5 undecided more".to_owned()));
}

#[test]
fn no_name_breaks_out_of_its_line() {
    let text = nasty(Github::new);
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 10 + 2, "{text}");
    for (line, (_, tamed)) in lines.iter().zip(NASTY).take(10) {
        let told = annotation(line).unwrap_or_else(|| panic!("no annotation: {line}"));
        assert_eq!(told.level, "error");
        assert!(told.message.starts_with(&format!("{tamed}\n")), "{tamed:?}: {}", told.message);
        assert!(told.message.contains(&format!("\nattached: {tamed}\n")), "{tamed:?}: {}", told.message);
        assert!(told.title.ends_with(tamed), "{tamed:?}: {}", told.title);
    }
}

#[test]
fn a_long_title_is_cut() {
    let harness = demo_harness();
    let written = Written::default();
    show(&mut Github::new(written.clone()), &harness, &[failing(&harness, &"é".repeat(1000))]);
    let text = written.text();
    let told = annotation(text.lines().next().expect("a line")).expect("an annotation");
    assert!(told.title.chars().count() < 256 && told.title.ends_with('…'), "{}", told.title);
    assert!(told.message.starts_with(&"é".repeat(1000)));
}
