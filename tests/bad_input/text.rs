//! YAML that cannot be read, or that says something else than its writer thinks.

use super::support::{Break, CASES, HARNESS, Project, broken, try_all};

/// What YAML allows and these files do not mean.
#[rustfmt::skip]
const ALLOWED: &[Break] = &[
    broken("    attach: choir", "    <<: {empty: zeros}\n    attach: choir", "12:5", "cases[1]", "merge keys are not understood"),
    broken("attach: choir", "attach: !foo choir", "12:13", "cases[1].attach", "tags (`!...`) have no meaning"),
    broken("attach: choir", "attach: !!str choir", "12:13", "cases[1].attach", "tags (`!...`) have no meaning"),
    broken("attach: choir", "attach: *nope", "12:13", "cases[1].attach", "unknown anchor"),
    broken("attach: choir", "attach: &x [*x]", "12:17", "cases[1].attach[0]", "the alias stands within what it repeats"),
    broken("    ports:", "    [a, b]: c\n    ports:", "13:5", "cases[1]", "a key is a name, not a list or a mapping"),
    broken("    ports:", "    ~: c\n    ports:", "13:5", "cases[1]", "a key is a name; put it in quotes"),
    broken("    ports:", "    true: c\n    ports:", "13:5", "cases[1]", "a key is a name; put it in quotes"),
    broken("    ports:", "    5.5: c\n    ports:", "13:5", "cases[1]", "a key is a name; put it in quotes"),
    broken("[1, 0]", "[1, ~]", "10:51", "cases[0].expect.writes.latch[1]", "this element of the list is empty"),
    broken("    attach: choir", "\tattach: choir", "11:11", "cases[1].name", "found a tab"),
    broken("attach: choir", "attach: 99999999999999999999", "12:13", "cases[1].attach", "the number 99999999999999999999 is too large"),
];

#[test]
fn what_yaml_allows() {
    try_all("c.yaml", ALLOWED);
}

/// The project with another case file.
fn with(text: impl AsRef<[u8]>) -> Project {
    let project = Project::new();
    project.write("c.yaml", text);
    project
}

#[test]
fn several_documents() {
    with(format!("{CASES}---\n{CASES}")).complains("two", "c.yaml:15:1", "", "a second document begins here");
    let project = Project::new();
    project.write("h.yaml", format!("{HARNESS}---\nname: x\n"));
    project.complains("two", "h.yaml:33:1", "", "a second document begins here");
}

#[test]
fn nothing_in_the_file() {
    for (text, said) in [("", "the file is empty"), (" \n\n", "the file is empty")] {
        let lines = with(text).refused("empty", &["check", "c.yaml"], 2);
        assert_eq!(lines, [format!("error: c.yaml: {said}")]);
    }
    with("null\n").complains("null", "c.yaml:1:1", "", "there is nothing in this file");
    with("---\n").complains("a start", "c.yaml:1:5", "", "there is nothing in this file");
    with("- a\n").complains("a list", "c.yaml:1:1", "", "wrong type: a list, expected a mapping");
    with("hello\n").complains("a word", "c.yaml:1:1", "", "expected a mapping");
}

#[test]
fn cut_off() {
    with(&CASES[..CASES.len() - 17]).complains("braces", "c.yaml:14:42", "cases[1].expect.memory", "this is not YAML");
    let quote = CASES.find("PARLOR").expect("a quote") + 3;
    with(&CASES[..quote]).complains("a quote", "c.yaml:4:22", "cartridges.drums.signature", "this is not YAML");
    with([CASES.as_bytes(), b"  - name: \xC3"].concat()).complains("a letter", "c.yaml:15:11", "", "not UTF-8");
    // Wherever it ends, it is refused or it is a smaller suite; it never is a fault of the program.
    for end in (1..CASES.len()).step_by(37) {
        let code = with(&CASES[..end]).run(&["list", "c.yaml"]).status.code();
        assert!(matches!(code, Some(0 | 2)), "cut at {end}: {code:?}");
    }
}

#[test]
fn not_utf8() {
    let latin: Vec<u8> = CASES.replace("name: two", "name: tw\u{F6}").chars().map(|letter| letter as u8).collect();
    with(latin).complains("Latin-1", "c.yaml:11:13", "", "the file is not UTF-8 text from here on");
    let wide: Vec<u8> = "\u{FEFF}harness: h.yaml".encode_utf16().flat_map(u16::to_le_bytes).collect();
    with(wide).complains("UTF-16", "c.yaml:1:1", "", "the file is UTF-16; UTF-8 is wanted");
    let project = Project::new();
    project
        .write("h.yaml", HARNESS.replace("Aria", "\u{C4}ria").chars().map(|letter| letter as u8).collect::<Vec<_>>());
    project.complains("Latin-1", "h.yaml:1:7", "", "the file is not UTF-8 text from here on");
}

#[test]
fn control_characters() {
    for (odd, name) in
        [('\0', "0000"), ('\u{1B}', "001B"), ('\u{7F}', "007F"), ('\u{85}', "0085"), ('\u{202E}', "202E")]
    {
        let text = CASES.replace("name: two", &format!("name: t{odd}wo"));
        with(text).complains(name, "c.yaml:11:12", "", &format!("the control character U+{name} stands here"));
    }
    // A tab may stand in a text; the complaint that quotes it still is one line.
    let text = CASES.replace("attach: choir", "attach: \"ch\\tir\"");
    with(text).complains("a tab", "c.yaml:12:13", "cases[1].attach", "there is no cartridge `ch\u{FFFD}ir`");
    with(CASES.replace('\n', "\r")).complains("CR", "c.yaml:1:16", "", "a carriage return without a line feed");
}

#[test]
fn line_ends_and_marks_that_are_right() {
    for text in [CASES.replace('\n', "\r\n"), format!("\u{FEFF}{CASES}"), format!("{CASES}...\n")] {
        assert_eq!(with(&text).run(&["list", "c.yaml"]).status.code(), Some(0), "{text:?}");
    }
    let text = CASES.replace("attach: choir", "attach: chior").replace('\n', "\r\n");
    with(text).complains("CR LF", "c.yaml:12:13", "cases[1].attach", "did you mean `choir`?");
    let text = format!("\u{FEFF}{}", CASES.replace("harness", "harnes"));
    with(text).complains("a byte order mark", "c.yaml:1:1", "harnes", "did you mean `harness`?");
}

#[test]
fn deep_nesting() {
    const DEEP: usize = 10_000;
    let too_deep = "nested more than 24 levels deep";
    let cases = |text: String| with(format!("harness: h.yaml\ncases: {text}\n"));
    cases("[".repeat(DEEP) + &"]".repeat(DEEP)).complains("flow", "c.yaml:2:263", "cases[0]", too_deep);
    cases("[".repeat(100_000)).complains("unclosed", "c.yaml:2:263", "cases[0]", too_deep);
    let path = format!("cases{}", ".a".repeat(23));
    cases("{a: ".repeat(DEEP) + &"}".repeat(DEEP)).complains("mappings", "c.yaml:2:100", &path, too_deep);
    let path = format!("cases{}", "[0]".repeat(23));
    cases(format!("\n  {}x", "- ".repeat(DEEP))).complains("blocks", "c.yaml:3:49", &path, too_deep);
    let path = format!("cases{}", ".a".repeat(23));
    let blocks: String = (1..2000).map(|depth| format!("{}a:\n", " ".repeat(depth))).collect();
    cases(format!("\n{blocks}")).complains("block mappings", "c.yaml:26:25", &path, too_deep);
}

#[test]
fn aliases_that_explode() {
    let mut text = "harness: h.yaml\ncartridges:\n  a: &a {x: [1, 1, 1, 1, 1, 1, 1, 1, 1]}\n".to_owned();
    for (letter, before) in ('b'..='i').zip('a'..) {
        text.push_str(&format!("  {letter}: &{letter} {{x: [{}]}}\n", vec![format!("*{before}"); 9].join(", ")));
    }
    text.push_str("cases: []\n");
    with(text).complains("nine levels of nine", "c.yaml:8:14", "cartridges.f.x[0]", "repeat more than 100,000 values");
    // Two levels are enough if the first one is large.
    let large = ["1"; 50_000].join(",");
    let text = format!("harness: h.yaml\ncartridges:\n  a: &a {{x: [{large}]}}\n  b: {{x: [*a, *a, *a]}}\ncases: []\n");
    with(text).complains("a large one", "c.yaml:4:15", "cartridges.b.x[1]", "repeat more than 100,000 values");
}

#[test]
fn larger_than_any_suite() {
    let project = Project::new();
    std::fs::File::create(project.path("c.yaml")).and_then(|file| file.set_len(100 << 20)).expect("a large file");
    let said = project.refused("100 MiB", &["check", "c.yaml"], 2);
    assert_eq!(said, ["error: c.yaml: the file is larger than 8,388,608 bytes"]);
}
