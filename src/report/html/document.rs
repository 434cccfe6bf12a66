//! A page as one text: template, style, script and data put together so that nothing is loaded from elsewhere and no
//! text from outside can become markup. [`document()`] makes the report, [`written()`] a page that needs no script; what
//! stands in them is not its business.

use sha2::{Digest, Sha256};

use super::markup::{Markup, text};

/// The beginning of every page, with its policy.
const HEAD: &str = include_str!("page/head.html");

/// What a page looks like, and what it does.
struct Look {
    style: &'static str,
    script: &'static str,
    /// The body: marks in double braces are filled in.
    body: &'static str,
}

/// The look of the report.
const REPORT: Look = Look {
    style: concat!(include_str!("page/colours.css"), include_str!("page/page.css"), include_str!("page/parts.css")),
    script: concat!(
        "(function () {\n\"use strict\";\n",
        include_str!("page/elements.js"),
        include_str!("page/base.js"),
        include_str!("page/window.js"),
        include_str!("page/rows.js"),
        include_str!("page/matrix.js"),
        include_str!("page/filter.js"),
        include_str!("page/steps.js"),
        include_str!("page/copy.js"),
        include_str!("page/case.js"),
        include_str!("page/map.js"),
        include_str!("page/header.js"),
        include_str!("page/listing.js"),
        include_str!("page/untried.js"),
        include_str!("page/start.js"),
        "})();\n",
    ),
    body: include_str!("page/page.html"),
};

/// The look of a page that is written whole, without data for a script.
const WRITTEN: Look = Look {
    style: concat!(
        include_str!("page/colours.css"),
        include_str!("page/page.css"),
        include_str!("page/parts.css"),
        include_str!("page/written.css")
    ),
    script: concat!(
        "(function () {\n\"use strict\";\n",
        include_str!("page/elements.js"),
        include_str!("page/copy.js"),
        include_str!("page/written.js"),
        "})();\n",
    ),
    body: include_str!("page/written.html"),
};

/// A block of data: its name in the page, and JSON.
pub type Block = (String, String);

/// The report. The first blocks stand before the script, so that it can show them while the rest still comes.
pub fn document(title: &str, first: &[Block], rest: &[Block]) -> String {
    let data = |blocks: &[Block]| -> String { blocks.iter().map(|(name, json)| data_block(name, json)).collect() };
    sealed(&REPORT, title, &[("ROWS", &data(first)), ("SCRIPT", REPORT.script), ("DATA", &data(rest))])
}

/// A page that can be read as it stands.
pub fn written(title: &str, body: &Markup) -> String {
    sealed(&WRITTEN, title, &[("BODY", body.as_str()), ("SCRIPT", WRITTEN.script)])
}

/// A page with a policy that allows its own style and script, and nothing else.
fn sealed(look: &Look, title: &str, parts: &[(&str, &str)]) -> String {
    let (style, script) = (fingerprint(look.style), fingerprint(look.script));
    let policy = format!(
        "default-src 'none'; script-src '{script}'; style-src '{style}'; img-src data:; base-uri 'none'; form-action 'none'"
    );
    let title = text(title);
    let head = [("POLICY", policy.as_str()), ("TITLE", title.as_str()), ("STYLE", look.style)];
    filled(HEAD, &head) + &filled(look.body, parts)
}

/// A template with its marks filled in. Each stands once, in the order of the parts: what was put in is never searched
/// for marks again.
fn filled(template: &str, parts: &[(&str, &str)]) -> String {
    let mut page = String::with_capacity(template.len() + parts.iter().map(|(_, part)| part.len()).sum::<usize>());
    let mut rest = template;
    for (mark, part) in parts {
        let (before, after) = rest.split_once(&format!("{{{{{mark}}}}}")).unwrap_or((rest, ""));
        page.push_str(before);
        page.push_str(part);
        rest = after;
    }
    page + rest
}

/// JSON in a script element that is not run. Inside strings only these characters could end it or start a comment in
/// it, and JSON has them nowhere else.
fn data_block(name: &str, json: &str) -> String {
    let mut safe = String::with_capacity(json.len() + json.len() / 64);
    for letter in json.chars() {
        match letter {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => safe.push_str(&format!("\\u{:04x}", u32::from(letter))),
            letter => safe.push(letter),
        }
    }
    format!("<script type=\"application/json\" id=\"{name}\">{safe}</script>\n")
}

/// What a policy names an inline style or script by.
fn fingerprint(content: &str) -> String {
    format!("sha256-{}", base64(&Sha256::digest(content)))
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for chunk in bytes.chunks(3) {
        let bits = (0..3).fold(0u32, |bits, index| bits << 8 | u32::from(*chunk.get(index).unwrap_or(&0)));
        for index in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * index) & 63) as usize];
            text.push(if index <= chunk.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first two from RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        assert_eq!(base64(b"foob"), "Zm9vYg==");
        assert_eq!(base64(b"fooba"), "Zm9vYmE=");
        assert_eq!(base64(b"foobar"), "Zm9vYmFy");
    }

    #[test]
    fn data_cannot_leave_their_element() {
        let evil =
            serde_json::json!(["</script><script>alert(1)</script>", "<!--<script>", "]]>", "\u{2028}"]).to_string();
        let block = data_block("cases", &evil);
        let inner = block.strip_prefix("<script type=\"application/json\" id=\"cases\">").unwrap();
        let inner = inner.strip_suffix("</script>\n").unwrap();
        assert!(!inner.contains(['<', '>', '&', '\u{2028}']));
        let [one, two]: [serde_json::Value; 2] = [inner, &evil].map(|text| serde_json::from_str(text).unwrap());
        assert_eq!(one, two);
    }

    #[test]
    fn a_mark_in_the_data_is_not_a_mark() {
        let page = document("{{SCRIPT}} <b>", &[("cases".to_owned(), "\"{{SCRIPT}}\"".to_owned())], &[]);
        assert_eq!(page.matches("{{SCRIPT}}").count(), 2);
        assert!(page.contains("<title>{{SCRIPT}} &lt;b&gt;"));
        assert!(page.ends_with("</html>\n"));
    }
}
