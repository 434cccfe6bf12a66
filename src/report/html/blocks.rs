//! What pages are built of: sections, tables, facts, cases to unfold, places in the code. They know how something looks
//! and not what it says.

use super::markup::{Markup, el, lines, none, of_text, text};
use crate::units;
use crate::verdict::Spot;

/// How deep headings stand: the level of a section's heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Depth(usize);

impl Depth {
    /// Below the page's only heading.
    pub const SECTIONS: Self = Self(2);

    /// One deeper.
    pub fn below(self) -> Self {
        Self(self.0 + 1)
    }

    /// The element of a heading.
    pub fn heading(self) -> &'static str {
        ["h1", "h1", "h2", "h3", "h4", "h5", "h6"][self.0.min(6)]
    }
}

/// A section with its heading, to which `#id` leads.
pub fn section(depth: Depth, id: &str, title: &str, inside: impl IntoIterator<Item = Markup>) -> Markup {
    let title_id = format!("{id}-title");
    let title = el(depth.heading(), &[("id", &title_id)], [text(title)]);
    let inside: Markup = inside.into_iter().collect();
    el("section", &[("id", id), ("aria-labelledby", &title_id)], [title, inside])
}

/// A heading within a section.
pub fn heading(depth: Depth, title: &str) -> Markup {
    of_text(depth.below().heading(), "", title)
}

/// A paragraph.
pub fn paragraph(what: &str) -> Markup {
    of_text("p", "", what)
}

/// A paragraph that says that there is nothing.
pub fn nothing(what: &str) -> Markup {
    of_text("p", "quiet", what)
}

/// What must not be overlooked.
pub fn note(what: &str) -> Markup {
    el("p", &[("class", "note"), ("role", "note")], [text(what)])
}

/// A list of items.
pub fn list(class: &str, items: impl IntoIterator<Item = Markup>) -> Markup {
    let items: Vec<Markup> = items.into_iter().map(|item| el("li", &[], [item])).collect();
    el("ul", &[("class", class)], items)
}

/// Facts with their names.
pub fn facts(facts: impl IntoIterator<Item = (&'static str, Markup)>) -> Markup {
    let pairs = facts.into_iter().flat_map(|(name, value)| [of_text("dt", "", name), el("dd", &[], [value])]);
    el("dl", &[("class", "facts")], pairs)
}

/// A column of a table.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    name: &'static str,
    number: bool,
}

/// A column of texts.
pub const fn words(name: &'static str) -> Column {
    Column { name, number: false }
}

/// A column of numbers.
pub const fn numbers(name: &'static str) -> Column {
    Column { name, number: true }
}

/// A table. The first cell of a row is its heading. On small screens each row becomes a block, in which the cells say
/// what they are.
pub fn table(class: &str, caption: &str, columns: &[Column], rows: impl IntoIterator<Item = Vec<Markup>>) -> Markup {
    let class_of = |column: &Column| if column.number { "number" } else { "" };
    let head = |column: &Column| el("th", &[("scope", "col"), ("class", class_of(column))], [text(column.name)]);
    let heads = el("tr", &[], columns.iter().map(head));
    let row = |cells: Vec<Markup>| {
        let cells = cells.into_iter().zip(columns).enumerate().map(|(index, (cell, column))| {
            if index == 0 {
                el("th", &[("scope", "row")], [cell])
            } else {
                el("td", &[("class", class_of(column)), ("data-label", column.name)], [cell])
            }
        });
        el("tr", &[], cells)
    };
    let rows: Vec<Markup> = rows.into_iter().map(row).collect();
    let class = format!("wide-table {class}");
    el(
        "table",
        &[("class", class.trim_end())],
        [of_text("caption", "", caption), el("thead", &[], [heads]), el("tbody", &[], rows)],
    )
}

/// What somebody may want to see: closed at first.
pub fn fold(summary: &str, inside: Markup) -> Markup {
    el("details", &[], [of_text("summary", "", summary), inside])
}

/// The text of a case, to unfold; what it does is said for those who only hear "case". Without a text there is nothing.
pub fn case(does: &str, case: &str, open: bool) -> Markup {
    if case.is_empty() {
        return none();
    }
    let summary = el("summary", &[], [text("Case"), el("span", &[("class", "sr")], [text(": "), text(does)])]);
    let code = el("pre", &[], [el("code", &[("class", "case-text")], [lines(case)])]);
    let attributes = [("class", "case"), ("open", "")];
    el("details", &attributes[..if open { 2 } else { 1 }], [summary, code])
}

/// A place in the code: address, symbol, source line.
pub fn place(spot: &Spot) -> Markup {
    let symbol = spot.symbol.as_ref().map_or_else(String::new, |symbol| format!(" <{symbol}>"));
    let code = of_text("code", "", &format!("{}{symbol}", units::address(spot.address)));
    let source = spot
        .source
        .as_ref()
        .map_or_else(none, |source| [text(" "), of_text("span", "where", source)].into_iter().collect());
    [code, source].into_iter().collect()
}

/// A word with the look of a verdict.
pub fn verdict(look: Tone, word: &str) -> Markup {
    of_text("span", &format!("verdict {}", look.class()), word)
}

/// Looks of verdicts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// As it should be.
    Good,
    /// Not as it should be.
    Bad,
    /// Nobody knows.
    Open,
    /// Neither.
    Quiet,
}

impl Tone {
    /// Its class in the style.
    pub fn class(self) -> &'static str {
        match self {
            Self::Good => "is-held",
            Self::Bad => "is-failed",
            Self::Open => "is-undecided",
            Self::Quiet => "quiet",
        }
    }
}

/// The most bytes that are drawn one by one; beyond that, bytes side by side make one shape.
const MOST_SINGLE: u32 = 64;

/// Bytes of a field as a strip: those of the ranges are filled. It is for the eye alone, the text beside it says it too.
pub fn strip(bytes: u32, ranges: &[(u32, u32)]) -> Markup {
    let shape = |class: &str, from: u32, length: u32| {
        let (x, width) = (from.to_string(), length.to_string());
        el("rect", &[("class", class), ("x", &x), ("y", "0"), ("width", &width), ("height", "1")], [])
    };
    let single = bytes <= MOST_SINGLE;
    let ground: Vec<Markup> = match single {
        true => (0..bytes).map(|byte| shape("ground", byte, 1)).collect(),
        false => vec![shape("ground", 0, bytes)],
    };
    let filled = ranges.iter().flat_map(|&(first, last)| {
        let each: Vec<Markup> = match single {
            true => (first..=last).map(|byte| shape("counts", byte, 1)).collect(),
            false => vec![shape("counts", first, last - first + 1)],
        };
        each
    });
    let view = format!("0 0 {} 1", bytes.max(1));
    let attributes =
        [("class", "strip"), ("viewBox", view.as_str()), ("preserveAspectRatio", "none"), ("aria-hidden", "true")];
    el("svg", &attributes, ground.into_iter().chain(filled))
}

/// Ranges as texts write them, `0-9, 12`, as far as they lie within so many bytes; none if they do not.
pub fn ranges(written: &str, bytes: u32) -> Option<Vec<(u32, u32)>> {
    let written = written.split_once(" (").map_or(written, |(ranges, _)| ranges);
    let range = |part: &str| {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (first, last) = (first.trim().parse().ok()?, last.trim().parse().ok()?);
        (first <= last && last < bytes).then_some((first, last))
    };
    written.split(',').filter(|part| !part.trim().is_empty()).map(range).collect()
}
