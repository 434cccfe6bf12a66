//! The page of a proof, read back by a parser of XML: its body is well formed.

use keyway::prove::Answer;
use keyway::report::write_proof_page;
use pretty_assertions::assert_eq;
use roxmltree::{Document, Node};

use super::NASTY;
use super::proof_sample::{answer, doubted, empty, plain};
use crate::support::Project;

pub fn page(answers: &[Answer]) -> String {
    let mut page = Vec::new();
    write_proof_page(&mut page, answers).expect("memory");
    String::from_utf8(page).expect("UTF-8")
}

/// The body without its script.
fn body(page: &str) -> String {
    let (_, body) = page.split_once("<body").expect("a body");
    let (body, _) = body.rsplit_once("<script>").expect("a script");
    format!("<body{body}</body>")
}

fn named<'a>(document: &'a Document, id: &str) -> Node<'a, 'a> {
    let found = document.descendants().find(|node| node.attribute("id") == Some(id));
    found.unwrap_or_else(|| panic!("no {id}"))
}

fn words(node: Node) -> String {
    let texts: Vec<&str> = node.descendants().filter(Node::is_text).filter_map(|node| node.text()).collect();
    texts.join(" ")
}

const SECTIONS: [&str; 10] =
    ["verdict", "scope", "branches", "never", "promises", "rules", "dead", "influence", "paths", "effort"];

#[test]
fn every_part_is_there_in_its_order() {
    let page = page(&[plain()]);
    assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
    assert!(page.contains("<title>Aria Workshop: proved within its scope</title>"));
    let body = body(&page);
    let document = Document::parse(&body).expect("a well-formed body");
    let sections: Vec<&str> = document
        .descendants()
        .filter(|node| node.has_tag_name("section"))
        .filter_map(|node| node.attribute("id"))
        .collect();
    assert_eq!(sections, SECTIONS);
    for (section, parts) in [
        ("verdict", &["Proved within the scope below", "2 promises are broken"][..]),
        ("scope", &["every byte of the attached image", "1,296 bits: 2^1296 headers", "4 MiB", "no interrupts"]),
        ("branches", &["Attached: nothing", "always", "alternate", "5 x 2^1056", "AW-2100-27", "a drum library"]),
        ("branches", &["the same for 4 more ways", "4 MiB, header copy", "hangs at 0x000284", "without a short form"]),
        ("never", &["No input within the scope comes to these branches", "noise", "fallback"]),
        (
            "promises",
            &["crash", "the routine does not hang", "a cartridge that makes it write astray", "starts \"AX-\""],
        ),
        ("promises", &["wrote 0x01 to 0xC00000", "0x000284 <our_products>", "which was there before", "size: 64 KiB"]),
        ("promises", &["what RAM holds decides", "no case file can say these inputs"]),
        ("rules", &["harness/aria.yaml:41", "does what it says", "does otherwise", "decides nothing", "no rule fits"]),
        ("dead", &["AW-2100-02", "0x000372", "0x000260", "0x0002AE", "0x0002BE", "7"]),
        (
            "influence",
            &["signature", "0-2, 5-9, 12 (of 2 of them no example was found)", "outside of all fields", "272"],
        ),
        ("paths", &["longest", "61,234", "7.654", "4,321", "AW-2100-1F", "most instructions", "size: 64 KiB"]),
        ("effort", &["12,345", "6,789", "11"]),
    ] {
        let text = words(named(&document, section));
        for part in parts {
            assert!(text.contains(part), "{section} lacks {part}: {text}");
        }
    }
    assert!(!words(named(&document, "paths")).contains("fewest instructions"));
}

/// 16 bytes all count; 9 of 14 do; 98 of 200 are one shape; none counts; what is in no field is not drawn.
#[test]
fn the_strips_show_the_bytes_that_count() {
    let page = page(&[plain()]);
    let body = body(&page);
    let document = Document::parse(&body).expect("a well-formed body");
    let row = |row: Node| {
        let drawn: Vec<u32> = row
            .descendants()
            .filter(|node| node.attribute("class") == Some("counts"))
            .filter_map(|node| node.attribute("width")?.parse().ok())
            .collect();
        (drawn.len(), drawn.iter().sum::<u32>(), row.descendants().any(|node| node.attribute("class") == Some("strip")))
    };
    let table = named(&document, "influence").descendants().find(|node| node.has_tag_name("tbody")).expect("a table");
    let rows: Vec<_> = table.children().map(row).collect();
    assert_eq!(rows, [(16, 16, true), (9, 9, true), (1, 98, true), (0, 0, true), (0, 0, false)]);
}

#[test]
fn texts_become_texts_only() {
    let shape = |answers: &[Answer]| {
        let page = page(answers);
        let body = body(&page);
        let document = Document::parse(&body).unwrap_or_else(|error| panic!("{error}: {body}"));
        let elements: Vec<String> = document
            .descendants()
            .filter(Node::is_element)
            .map(|node| {
                let names: Vec<&str> = node.attributes().map(|attribute| attribute.name()).collect();
                format!("{} {}", node.tag_name().name(), names.join(" "))
            })
            .filter(|element| !element.starts_with("rect") && !element.starts_with("svg"))
            .collect();
        (elements, words(document.root()))
    };
    for make in [answer, doubted] {
        let (elements, _) = shape(&[make(&|plain| format!("{plain}x"))]);
        assert!(elements.len() > 250, "{} elements", elements.len());
        for (nasty, tame) in NASTY {
            let (others, text) = shape(&[make(&|plain| format!("{plain}{nasty}"))]);
            assert_eq!(others, elements, "{nasty}");
            // Blanks and ends of lines aside, with which cases are written.
            let times = text.matches(tame.trim()).count();
            let least = if nasty.contains('\n') { 40 } else { 60 };
            assert!(times >= least, "{nasty} stands {times} times in {text}");
            assert!(!text.contains(|letter: char| letter.is_control() && letter != '\n'), "{text:?}");
        }
    }
}

#[test]
fn nothing_can_leave_its_place() {
    let evil = "</code></pre></details><script>alert(1)</script>{{SCRIPT}}\"'><!-- ]]>";
    let page = page(&[answer(&|_| evil.to_owned()), doubted(&|_| evil.to_owned())]);
    assert_eq!(page.matches("<script").count(), 1);
    assert_eq!(page.matches("</script").count(), 1);
    assert!(!page.contains("<!--"));
    Document::parse(&body(&page)).expect("a well-formed body");
}

/// Every word that would make somebody believe in a proof, and the look of it.
#[test]
fn what_is_inconclusive_never_looks_proved() {
    let without_doubts = Answer { proved: false, ..plain() };
    let in_spite_of_doubts = Answer { proved: true, ..doubted(&str::to_owned) };
    let nothing_found = Answer { proved: false, ..empty() };
    for answer in [doubted(&str::to_owned), without_doubts, in_spite_of_doubts, nothing_found] {
        let page = page(&[answer]);
        assert!(page.contains("<title>Aria Workshop: inconclusive, nothing is proved</title>"));
        let body = body(&page);
        assert!(!body.contains("is-held"), "a look of success");
        let document = Document::parse(&body).expect("a well-formed body");
        let text = words(document.root());
        let unsaid = text.to_lowercase();
        let unsaid = ["nothing in this section is proved", "nothing of this answer is proved"]
            .iter()
            .fold(unsaid, |text, said| text.replace(said, ""));
        for word in [
            "proved",
            "proof",
            "kept",
            "for every",
            "no input",
            "never",
            "decides nothing",
            "does what it says",
            "only these",
        ] {
            assert!(!unsaid.contains(word), "{word}: {text}");
        }
        for section in SECTIONS {
            let text = words(named(&document, section));
            assert!(
                text.contains("Nothing in this section is proved: the answer is inconclusive."),
                "{section}: {text}"
            );
        }
        let main = named(&document, "content");
        let first = main.first_element_child().expect("something");
        assert_eq!(words(first), "Nothing of this answer is proved: it is inconclusive.");
    }
}

#[test]
fn every_doubt_is_told_with_its_place() {
    let page = page(&[doubted(&str::to_owned)]);
    let body = body(&page);
    let document = Document::parse(&body).expect("a well-formed body");
    let verdict = words(named(&document, "verdict"));
    for part in
        ["a word of code that is not known", "0x000300 <our_products>", "harness/detect.s:173", "the solver gave up"]
    {
        assert!(verdict.contains(part), "{part}: {verdict}");
    }
}

#[test]
fn lists_without_an_entry_say_so() {
    let page = page(&[empty()]);
    let body = body(&page);
    let document = Document::parse(&body).expect("a well-formed body");
    assert!(!document.descendants().any(|node| node.has_tag_name("table") || node.has_tag_name("article")));
    for section in SECTIONS {
        let inside = named(&document, section);
        assert!(inside.children().filter(Node::is_element).count() > 1, "{section} has nothing but its heading");
    }
    assert!(words(named(&document, "rules")).contains("The harness has no acceptance table."));
}

/// Of no answer nothing is claimed, and of several each has its own verdict.
#[test]
fn any_number_of_answers_is_a_page() {
    let none = page(&[]);
    assert!(none.contains("Nothing was asked, so nothing on this page is proved."));
    assert!(!body(&none).contains("is-held"));
    let several = page(&[plain(), doubted(&str::to_owned)]);
    assert!(several.contains("<title>Proofs: 1 of 2 are conclusive</title>"));
    let body = body(&several);
    let document = Document::parse(&body).expect("a well-formed body");
    assert!(words(named(&document, "answer-0-verdict")).contains("Proved within the scope"));
    assert!(words(named(&document, "answer-1-verdict")).contains("Inconclusive"));
    let ids: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    let mut unique = ids.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), ids.len());
    for link in document.descendants().filter_map(|node| node.attribute("href")) {
        assert!(ids.contains(&link.trim_start_matches('#')), "{link} leads nowhere");
    }
}

#[test]
fn the_command_does_not_write_over_what_it_reads() {
    let project = Project::demo();
    for file in ["harness/aria.yaml", "harness/aria.elf", "harness/patch.bin"] {
        let before = std::fs::read(project.path().join(file)).expect("a file");
        let ran = project.run(&["prove", "harness/aria.yaml", "--html", file]);
        assert_eq!(ran.code, 2, "{file}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains("the run reads this file, so it is not overwritten"), "{}", ran.err);
        assert!(before == std::fs::read(project.path().join(file)).expect("a file"), "{file} has changed");
    }
    let ran = project.run(&["prove", "harness/aria.yaml", "--html", "none/page.html"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert_eq!(ran.out, "");
}
