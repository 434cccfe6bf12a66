//! The page as one text: template, style, script and data put together so that nothing is loaded from elsewhere and no
//! text from outside can become markup. [`document()`] does it; what the data mean is not its business.

use sha2::{Digest, Sha256};

const PAGE: &str = include_str!("page/page.html");
const STYLE: &str =
    concat!(include_str!("page/colours.css"), include_str!("page/page.css"), include_str!("page/parts.css"));
const SCRIPT: &str = concat!(
    "(function () {\n\"use strict\";\n",
    include_str!("page/base.js"),
    include_str!("page/window.js"),
    include_str!("page/rows.js"),
    include_str!("page/matrix.js"),
    include_str!("page/filter.js"),
    include_str!("page/steps.js"),
    include_str!("page/case.js"),
    include_str!("page/map.js"),
    include_str!("page/header.js"),
    include_str!("page/listing.js"),
    include_str!("page/untried.js"),
    include_str!("page/start.js"),
    "})();\n",
);

/// A block of data: its name in the page, and JSON.
pub type Block = (String, String);

/// The whole page. The first blocks stand before the script, so that it can show them while the rest still comes.
pub fn document(title: &str, first: &[Block], rest: &[Block]) -> String {
    let data = |blocks: &[Block]| -> String { blocks.iter().map(|(name, json)| data_block(name, json)).collect() };
    let (first, last) = (data(first), data(rest));
    let (style, script) = (fingerprint(STYLE), fingerprint(SCRIPT));
    let policy = format!(
        "default-src 'none'; script-src '{script}'; style-src '{style}'; img-src data:; base-uri 'none'; form-action 'none'"
    );
    let mut page = String::with_capacity(PAGE.len() + first.len() + last.len() + STYLE.len() + SCRIPT.len());
    let mut rest = PAGE;
    // Each mark stands once, in this order: what was put in is never searched for marks again.
    let parts = [("POLICY", policy), ("TITLE", text(title)), ("STYLE", STYLE.to_owned())];
    for (mark, part) in parts.into_iter().chain([("ROWS", first), ("SCRIPT", SCRIPT.to_owned()), ("DATA", last)]) {
        let (before, after) = rest.split_once(&format!("{{{{{mark}}}}}")).unwrap_or((rest, ""));
        page.push_str(before);
        page.push_str(&part);
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

/// A text between tags.
fn text(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
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
