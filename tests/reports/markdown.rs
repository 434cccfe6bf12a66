//! The compatibility matrix, read back by a parser of Markdown: what stands in its tables is what the JSON lines say.

use keyway::report::Markdown;
use keyway::rom::HostRom;
use pretty_assertions::assert_eq;
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use serde_json::Value;

use super::{NASTY, mixed, nasty};
use crate::support::{Project, root, run};

/// What a reader sees: headings, and the texts of cells and list items. Anything else but text and emphasis is a fault.
#[derive(Debug, Default)]
struct Seen {
    headings: Vec<String>,
    rows: Vec<Vec<String>>,
    items: Vec<String>,
}

impl Seen {
    fn parse(text: &str) -> Self {
        let mut seen = Self::default();
        let mut words = String::new();
        for event in Parser::new_ext(text, Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH) {
            match event {
                Event::Text(text) => words.push_str(&text),
                Event::Start(Tag::TableRow) => seen.rows.push(Vec::new()),
                Event::Start(Tag::TableHead) => seen.rows.push(vec!["head".to_owned()]),
                Event::Start(Tag::Heading { .. } | Tag::TableCell | Tag::Item) => words.clear(),
                Event::End(TagEnd::TableCell) => seen.rows.last_mut().expect("a row").push(words.clone()),
                Event::End(TagEnd::Heading(_)) => seen.headings.push(words.clone()),
                Event::End(TagEnd::Item) => seen.items.push(words.clone()),
                Event::Start(Tag::Table(_) | Tag::List(_) | Tag::Paragraph | Tag::Strong) | Event::End(_) => {}
                other => panic!("{other:?} in\n{text}"),
            }
        }
        seen
    }

    /// The rows of the matrices.
    fn cases(&self) -> Vec<&[String]> {
        let rows = self.rows.iter().filter(|row| row.len() == 7 && row[0] != "head");
        rows.map(Vec::as_slice).collect()
    }
}

fn written(project: &Project, arguments: &[&str]) -> String {
    let ran = project.run(&[&["check", "--markdown", "out.md"], arguments].concat());
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    std::fs::read_to_string(project.path().join("out.md")).expect("the file")
}

#[test]
fn the_matrix_says_what_the_run_says() {
    let project = mixed();
    let text = written(&project, &[]);
    let seen = Seen::parse(&text);
    let lines = project.run(&["check", "--format", "json"]).out;
    let lines: Vec<Value> = lines.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let cases: Vec<&Value> = lines.iter().filter(|line| line["record"] == "case").collect();
    assert_eq!(seen.cases().len(), cases.len());
    for case in cases {
        let words = |key: &str| case[key].as_str().expect("a text").to_owned();
        let row = seen.cases().into_iter().find(|row| row[1] == words("name")).expect("its row");
        assert_eq!(row[0], words("attached"));
        assert!(row[2].starts_with(&words("expected")), "{row:?}");
        assert_eq!(row[3], case["reached"]["branch"].as_str().unwrap_or("limit"));
        assert_eq!(row[4].replace(',', ""), case["cycles"].to_string());
    }
    let verdicts: Vec<&str> = seen.cases().iter().map(|row| row[6].as_str()).collect();
    assert_eq!(verdicts, ["FAILED", "known bug", "held", "BUG GONE", "undecided", "held"]);
}

#[test]
fn it_says_of_which_rom_and_by_which_tool() {
    let text = written(&mixed(), &["--seed", "5"]);
    let seen = Seen::parse(&text);
    assert_eq!(seen.headings[0], "Compatibility of Aria Workshop; Aria Workshop, in a hurry");
    // Counted from the ELF file by other means: objcopy -O binary --gap-fill=0xFF, crc32 and sha256sum.
    let rom =
        ["harness/aria.elf", "1,132", "531C8A03", "ddd6b979a45d771c3ec2c9b33140257a298c93ecafde76653cf99625d3124445"];
    let rows: Vec<&Vec<String>> = seen.rows.iter().filter(|row| row[0] == rom[0]).collect();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[1][..4], rom);
    assert_eq!(rows[1][4], "harness/short.yaml");
    let tool = format!("keyway {}, seed 5", env!("CARGO_PKG_VERSION"));
    assert!(seen.items.contains(&tool), "{:?}", seen.items);
    assert!(seen.items.contains(&"6 cases: 2 held, 2 failed, 1 undecided, 1 known bug".to_owned()));
    for start in [
        "it fails (cases/all.yaml:4): took alone (rejected); wanted patched",
        "it is mended (cases/all.yaml:6): it is marked `known-bug: it was broken`, but it holds; remove the mark",
        "it is known (cases/all.yaml:5): nobody has mended it (took alone (rejected); wanted patched)",
        "it is given up (cases/short.yaml:3): ",
    ] {
        assert!(seen.items.iter().any(|item| item.starts_with(start)), "no {start:?} in {:#?}", seen.items);
    }
}

/// FIPS 180-4, the example of SHA-256 with a message of two blocks.
#[test]
fn sha_256_is_sha_256() {
    let text = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    let rom = HostRom::from_bytes(text, 0).expect("an image");
    assert_eq!(rom.sha256(), "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

#[test]
fn a_date_stands_there_only_if_it_is_given() {
    let project = mixed();
    let text = written(&project, &[]);
    assert!(!text.contains("date"), "{text}");
    assert_eq!(text, written(&project, &[]), "it is not reproducible");
    let dated = written(&project, &["--date", "*1* | <2027> | `x`"]);
    assert!(Seen::parse(&dated).items.contains(&"date: *1* | <2027> | `x`".to_owned()), "{dated}");
}

#[test]
fn no_name_breaks_a_table() {
    let seen = Seen::parse(&nasty(|out| Markdown::new(out, None)));
    let found: Vec<[&str; 2]> = seen.cases().iter().map(|row| [&*row[0], &row[1]]).collect();
    assert_eq!(found, NASTY.map(|(_, tamed)| [tamed, tamed]));
    for (_, tamed) in NASTY {
        assert!(
            seen.items.iter().any(|item| item.starts_with(&format!("{tamed} ("))),
            "no {tamed:?} in {:#?}",
            seen.items
        );
    }
}

#[test]
fn the_demo_suite_is_as_wanted() {
    let project = Project::new();
    let file = project.path().join("out.md");
    let ran = run(root(), &["check", "--markdown", &file.display().to_string()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let text = std::fs::read_to_string(file).expect("the file");
    assert!(text.contains("\n**As wanted**, but for the known bugs below: each other case held.\n"), "{text}");
    let count: usize = ran.out.lines().last().and_then(|line| line.split(' ').next()?.parse().ok()).expect("a count");
    assert_eq!(Seen::parse(&text).cases().len(), count);
}
