//! Markup that no text from outside can break out of. [`Markup`] is only made by [`el`], whose names are constants, and
//! by [`text`], which escapes; so whatever is put together of them is well formed.

use crate::units;

/// Elements and texts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Markup(String);

impl Markup {
    /// As it goes into a page.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromIterator<Markup> for Markup {
    fn from_iter<I: IntoIterator<Item = Markup>>(parts: I) -> Self {
        Self(parts.into_iter().map(|part| part.0).collect())
    }
}

/// Nothing.
pub fn none() -> Markup {
    Markup::default()
}

/// A text; what would act on its surroundings is replaced.
pub fn text(text: &str) -> Markup {
    let tame = units::tame(text);
    let mut safe = String::with_capacity(tame.len() + tame.len() / 16);
    for letter in tame.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            letter => safe.push(letter),
        }
    }
    Markup(safe)
}

/// A text of several lines, whose ends are kept.
pub fn lines(several: &str) -> Markup {
    let each: Vec<String> = several.split('\n').map(|line| text(line).0).collect();
    Markup(each.join("\n"))
}

/// An element. It always has an end tag, so it must be one that may have one.
pub fn el(
    tag: &'static str,
    attributes: &[(&'static str, &str)],
    children: impl IntoIterator<Item = Markup>,
) -> Markup {
    let mut made = format!("<{tag}");
    // No class is written as none.
    for (name, value) in attributes.iter().filter(|attribute| **attribute != ("class", "")) {
        made.push_str(&format!(" {name}=\"{}\"", text(value).0));
    }
    made.push('>');
    for child in children {
        made.push_str(&child.0);
    }
    made.push_str(&format!("</{tag}>"));
    Markup(made)
}

/// An element with one text and a class, or none.
pub fn of_text(tag: &'static str, class: &str, inner: &str) -> Markup {
    el(tag, &[("class", class)], [text(inner)])
}
