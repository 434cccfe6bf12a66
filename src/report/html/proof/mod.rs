//! The page of proofs. Everything stands in it as text and markup, so it can be read without a script. What is not proved
//! says so: at the top of the page, and at the top of each of its sections.

mod branches;
mod code;
mod promises;
mod verdict;

use std::io::{self, Write};

use super::blocks::{Depth, Tone, note, section, verdict};
use super::document::written;
use super::markup::{Markup, el, none, of_text, text};
use crate::prove::Answer;

/// Writes one page for answers.
pub fn write_proof_page(out: &mut impl Write, answers: &[Answer]) -> io::Result<()> {
    let body: Markup = [head(answers), main(answers), foot()].into_iter().collect();
    out.write_all(written(&title(answers), &body).as_bytes())?;
    out.flush()
}

/// What may be called proved: an answer that passed every gate and has no doubt left.
fn is_proved(answer: &Answer) -> bool {
    answer.proved && answer.doubts.is_empty()
}

/// One answer and where it stands in the page.
#[derive(Clone, Copy)]
struct Sheet<'a> {
    answer: &'a Answer,
    proved: bool,
    /// What stands before the names of its sections, so that each leads to one place.
    prefix: Option<usize>,
    depth: Depth,
}

impl Sheet<'_> {
    fn id(&self, name: &str) -> String {
        self.prefix.map_or_else(|| name.to_owned(), |number| format!("answer-{number}-{name}"))
    }

    /// A section. It says so if nothing in it is proved.
    fn part(&self, name: &str, title: &str, inside: impl IntoIterator<Item = Markup>) -> Markup {
        let inside: Markup = inside.into_iter().collect();
        section(self.depth, &self.id(name), title, [self.warning(), inside])
    }

    fn warning(&self) -> Markup {
        if self.proved { none() } else { note(NOT_PROVED) }
    }

    /// Every section, in the order of [`SECTIONS`].
    fn all(&self) -> Markup {
        [
            verdict::section(self),
            verdict::scope(self),
            branches::reached(self),
            branches::never(self),
            promises::section(self),
            code::rules(self),
            code::dead(self),
            code::influence(self),
            branches::paths(self),
            verdict::effort(self),
        ]
        .into_iter()
        .collect()
    }
}

/// What every section of an inconclusive answer says.
const NOT_PROVED: &str = "Nothing in this section is proved: the answer is inconclusive.";

/// The sections, in their order. These names claim nothing, whatever was proved.
const SECTIONS: [(&str, &str); 10] = [
    ("verdict", "Verdict"),
    ("scope", "Scope"),
    ("branches", "Branches"),
    ("never", "Untaken"),
    ("promises", "Promises"),
    ("rules", "Acceptance table"),
    ("dead", "Unreached"),
    ("influence", "Influence"),
    ("paths", "Paths"),
    ("effort", "Effort"),
];

fn title(answers: &[Answer]) -> String {
    match answers {
        [] => "Proofs: nothing was asked".to_owned(),
        [one] if is_proved(one) => format!("{}: proved within its scope", one.harness),
        [one] => format!("{}: inconclusive, nothing is proved", one.harness),
        many => {
            let proved = many.iter().filter(|answer| is_proved(answer)).count();
            format!("Proofs: {proved} of {} are conclusive", many.len())
        }
    }
}

fn head(answers: &[Answer]) -> Markup {
    let (name, file) = match answers {
        [one] => (one.harness.as_str(), format!("harness {}", one.file)),
        many => ("Proofs", format!("of {} harnesses", many.len())),
    };
    let names = el("div", &[("class", "head-names")], [of_text("h1", "", name), of_text("p", "quiet", &file)]);
    let tally = match answers {
        [one] => el("p", &[("class", "tally")], verdict::words(one)),
        _ => none(),
    };
    let links: Vec<Markup> = match answers {
        [] => Vec::new(),
        [_] => SECTIONS.iter().map(|(id, title)| link(&format!("#{id}"), title)).collect(),
        many => many
            .iter()
            .enumerate()
            .map(|(index, answer)| link(&format!("#answer-{index}-verdict"), &answer.harness))
            .collect(),
    };
    let nav = if links.is_empty() { none() } else { sections("Sections", links) };
    el("header", &[("class", "head")], [names, tally, nav])
}

fn link(to: &str, name: &str) -> Markup {
    el("a", &[("href", to)], [text(name)])
}

fn sections(label: &str, links: Vec<Markup>) -> Markup {
    el("nav", &[("aria-label", label)], [super::blocks::list("sections", links)])
}

fn main(answers: &[Answer]) -> Markup {
    let tools = el("div", &[("id", "page-tools"), ("class", "case-walk")], []);
    let inside: Markup = match answers {
        [] => note("Nothing was asked, so nothing on this page is proved."),
        [one] => [top(one), tools, sheet(one, None).all()].into_iter().collect(),
        many => {
            [tools].into_iter().chain(many.iter().enumerate().flat_map(|(index, one)| several(index, one))).collect()
        }
    };
    el("main", &[("id", "content"), ("tabindex", "-1")], [inside])
}

fn sheet(answer: &Answer, prefix: Option<usize>) -> Sheet<'_> {
    let depth = if prefix.is_some() { Depth::SECTIONS.below() } else { Depth::SECTIONS };
    Sheet { answer, proved: is_proved(answer), prefix, depth }
}

/// Before everything else.
fn top(answer: &Answer) -> Markup {
    if is_proved(answer) { none() } else { note("Nothing of this answer is proved: it is inconclusive.") }
}

/// One of several answers, with its own heading and its own way to its sections.
fn several(index: usize, answer: &Answer) -> [Markup; 4] {
    let sheet = sheet(answer, Some(index));
    let title = el(
        Depth::SECTIONS.heading(),
        &[("class", "answer-title")],
        [text(&answer.harness), text(" "), verdict(short(answer).0, short(answer).1)],
    );
    let links = SECTIONS.iter().map(|(id, title)| link(&format!("#{}", sheet.id(id)), title)).collect();
    [title, top(answer), sections(&format!("Sections of {}", answer.harness), links), sheet.all()]
}

/// The verdict in a word.
fn short(answer: &Answer) -> (Tone, &'static str) {
    if is_proved(answer) { (Tone::Good, "proved within its scope") } else { (Tone::Open, "inconclusive") }
}

fn foot() -> Markup {
    let version = env!("CARGO_PKG_VERSION");
    of_text("footer", "quiet", &format!("Made by keyway {version}. This page is one file and loads nothing."))
}
