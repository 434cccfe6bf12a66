//! Contrast by WCAG 2.2: as the style sheet's colours say, and as the browser shows them.

use std::collections::BTreeMap;

use super::driver;
use super::sample;
use crate::support::root;

type Rgb = [u8; 3];

/// Relative luminance: WCAG 2.2, "relative luminance".
fn luminance(colour: Rgb) -> f64 {
    let linear = |part: u8| {
        let part = f64::from(part) / 255.0;
        if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
}

/// WCAG 2.2, "contrast ratio".
fn contrast(one: Rgb, other: Rgb) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// The colours of a scheme: those of the first block, and what the second puts in their place.
fn schemes() -> [BTreeMap<String, Rgb>; 2] {
    let style = std::fs::read_to_string(root().join("src/report/html/page/colours.css")).expect("the style");
    let (light, dark) = style.split_once("@media").expect("two schemes");
    let parse = |part: &str| -> BTreeMap<String, Rgb> {
        let lines = part.lines().filter_map(|line| line.trim().strip_prefix("--")?.split_once(": #"));
        lines
            .map(|(name, value)| {
                let number = u32::from_str_radix(value.trim_end_matches(';'), 16).expect("a colour");
                (name.to_owned(), [(number >> 16) as u8, (number >> 8) as u8, number as u8])
            })
            .collect()
    };
    [parse(light), parse(dark)]
}

/// Texts and what they stand on.
const TEXTS: [(&str, &[&str]); 11] = [
    ("ink", &["ground", "sheet", "raised", "marked", "failed-ground", "heat-1", "heat-2", "heat-3"]),
    ("quiet", &["ground", "sheet", "raised", "failed-ground", "marked"]),
    ("link", &["ground", "sheet", "raised"]),
    ("held", &["ground", "sheet", "raised"]),
    ("failed", &["ground", "sheet", "raised", "failed-ground"]),
    ("undecided", &["ground", "sheet", "raised"]),
    ("known", &["ground", "sheet", "raised"]),
    ("on-strong", &["strong"]),
    ("on-heat-low", &["sheet", "heat-1", "heat-2", "heat-3"]),
    ("on-heat-high", &["heat-4", "heat-5"]),
    ("ink", &["sheet"]),
];

/// Lines and shapes that carry meaning, and what they stand on.
const SHAPES: [(&str, &[&str]); 5] = [
    ("edge", &["ground", "sheet", "raised"]),
    ("focus", &["ground", "sheet", "raised", "failed-ground", "heat-1", "heat-2", "heat-3"]),
    ("strong", &["ground", "sheet", "raised"]),
    ("failed", &["sheet", "marked", "failed-ground"]),
    ("ink", &["sheet", "ground"]),
];

#[test]
fn the_colours_of_both_schemes_have_contrast() {
    // WCAG 2.2 gives black on white as 21:1, and #767676 on white is the well-known grey that just passes 4.5.
    assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
    assert!((contrast([0x76; 3], [255; 3]) - 4.54).abs() < 0.01);
    let [light, dark] = schemes();
    assert_eq!(light.keys().collect::<Vec<_>>(), dark.keys().collect::<Vec<_>>());
    assert!(light.len() > 15);
    for (scheme, colours) in [("light", &light), ("dark", &dark)] {
        for (pairs, least) in [(&TEXTS[..], 4.5), (&SHAPES[..], 3.0)] {
            for (front, backs) in pairs {
                for back in *backs {
                    let ratio = contrast(colours[*front], colours[*back]);
                    assert!(ratio >= least, "{scheme}: {front} on {back} has {ratio:.2}, not {least}");
                }
            }
        }
    }
}

/// For every text in the page: its colour and the first colour behind it that is not transparent. Texts of pictures stand
/// on the shape before them.
const SHOWN: &str = "[...document.querySelectorAll('body *')].filter(one => !one.closest('script,style,noscript,svg,option,[hidden]')
    && [...one.childNodes].some(part => part.nodeType === 3 && part.textContent.trim() !== '') && one.getClientRects().length > 0)
    .map(one => {
        let behind = one;
        while (behind && getComputedStyle(behind).backgroundColor === 'rgba(0, 0, 0, 0)') behind = behind.parentElement;
        return getComputedStyle(one).color + ';' + (behind ? getComputedStyle(behind).backgroundColor : 'rgb(255, 255, 255)')
            + ';' + one.tagName + '.' + one.className + ' ' + one.textContent.slice(0, 30);
    }).join('\\n')";

fn rgb(text: &str) -> Rgb {
    let numbers = text.trim_start_matches("rgba(").trim_start_matches("rgb(").trim_end_matches(')');
    let parts: Vec<u8> = numbers.split(',').filter_map(|part| part.trim().parse().ok()).collect();
    [parts[0], parts[1], parts[2]]
}

#[test]
fn what_the_browser_shows_has_contrast() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(600)).expect("a file");
    browser.open(&file);
    browser.value("document.getElementById('next-failure').click()");
    browser.value("document.querySelectorAll('details').forEach(part => { part.open = true; })");
    for scheme in ["light", "dark"] {
        browser.scheme(scheme);
        let shown = browser.text(SHOWN);
        assert!(shown.lines().count() > 300);
        for line in shown.lines() {
            let mut parts = line.splitn(3, ';');
            let (Some(front), Some(back), Some(what)) = (parts.next(), parts.next(), parts.next()) else { continue };
            let ratio = contrast(rgb(front), rgb(back));
            assert!(ratio >= 4.5, "{scheme}: {ratio:.2} for {what}: {front} on {back}");
        }
    }
}
