//! Ten thousand made-up cases with every kind of step, and texts that try to become markup.

use super::driver::{self, Browser};
use super::sample;

const CASES: usize = 10_000;
/// Rows in the page at once, at the most: those in sight, a few more on both sides, and the one that the keyboard is on.
const MOST_ROWS: f64 = 60.0;

fn opened(cases: usize) -> Option<(tempfile::TempDir, Browser)> {
    let mut browser = driver::start()?;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("large.html");
    std::fs::write(&file, sample::page(cases)).expect("a file");
    browser.open(&file);
    Some((folder, browser))
}

fn rows(browser: &mut Browser) -> f64 {
    browser.number("document.querySelectorAll('#matrix-grid .whole [role=row]').length")
}

#[test]
fn ten_thousand_cases_open_quickly_and_only_visible_rows_are_there() {
    let Some((folder, mut browser)) = opened(CASES) else { return };
    let size = std::fs::metadata(folder.path().join("large.html")).expect("a file").len();
    let rows_at = browser.number("performance.getEntriesByName('rows')[0].startTime");
    let painted = browser.number("performance.getEntriesByName('painted')[0].startTime");
    let first = browser.number("(performance.getEntriesByType('paint')[0] || {startTime: -1}).startTime");
    let ready = browser.number("performance.now()");
    let opened = browser.number("(t => { document.querySelector('#matrix-grid .whole [role=row]').click(); return performance.now() - t; })(performance.now())");
    eprintln!(
        "note: {CASES} cases, {:.1} MB: rows made after {rows_at:.0} ms, first paint {first:.0} ms, rows painted {painted:.0} ms, \
         all sections within {ready:.0} ms, a case opened in {opened:.0} ms",
        size as f64 / 1e6
    );
    assert!(painted < 10_000.0);
    assert!(size < 15_000_000, "{size}");
    assert_eq!(
        browser.text("document.querySelector('#matrix-grid [role=grid]').getAttribute('aria-rowcount')"),
        "10001"
    );
    assert!(rows(&mut browser) < MOST_ROWS);
    let mut seen = std::collections::BTreeSet::new();
    for step in 0..=20 {
        browser.value(&format!("(view => {{ view.scrollTop = view.scrollHeight * {step} / 20; }})(document.querySelector('#matrix-grid .view'))"));
        browser.frame();
        let count = rows(&mut browser);
        assert!(count > 5.0 && count < MOST_ROWS, "{count} rows");
        let last = browser.text(
            "[...document.querySelectorAll('#matrix-grid .whole [role=row]')].pop().getAttribute('aria-rowindex')",
        );
        seen.insert(last.parse::<usize>().expect("a number"));
    }
    assert_eq!(seen.last(), Some(&(CASES + 1)), "the end is in sight");
    assert!(seen.len() > 15, "{seen:?}");
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn every_case_opens_and_every_kind_of_step_is_told() {
    let Some((_folder, mut browser)) = opened(300) else { return };
    browser.value("document.querySelector('#matrix-grid .whole [role=row]').focus()");
    browser.key("Home");
    browser.key("Enter");
    let told = browser.text("document.getElementById('case-body').textContent");
    for words in [
        "Compared",
        "all 16 bytes agree",
        "Looked through a table",
        "no entry agreed",
        "then byte",
        "Tested 2,000 times",
        "Jumped to a computed address",
        "Looked up",
        "Wrote to a port",
        "format patch shows at",
        "Exception: zero divide",
        "no handler took it",
        "Branch told by a cell",
        "12,345 decisions left out",
        "product[12] = 0x32 \"2\" instead of 0x31 \"1\"",
        "port pedal reads 0x01",
        "would have matched",
        "What had influenceproduct",
        "keyway check 'cases/list-0.yaml:",
    ] {
        assert!(told.contains(words), "{words} is not in {told}");
    }
    // The difference is marked by a sign and a sentence too.
    assert!(browser.text("document.querySelector('.first-difference').textContent").contains('\u{25B2}'));
    browser.value("document.getElementById('next-failure').click()");
    assert!(browser.text("document.querySelector('#case-body .reasons').textContent").contains("wanted patched"));
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn a_hostile_text_stays_a_text() {
    let Some((_folder, mut browser)) = opened(12) else { return };
    browser.value("document.querySelector('#matrix-grid .whole [role=row]').focus()");
    browser.key("End");
    browser.key("Enter");
    let shown = browser.text("document.querySelector('#case-body h3').textContent");
    // What turns the direction of writing is replaced, everything else is shown as it is.
    assert_eq!(shown, sample::HOSTILE.replace('\u{202E}', "\u{FFFD}"));
    assert_eq!(browser.value("window.broken === undefined"), true);
    assert_eq!(browser.number("document.querySelectorAll('img').length"), 0.0);
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn maps_and_listing_are_walked_with_keys_and_lead_to_each_other() {
    let Some((_folder, mut browser)) = opened(300) else { return };
    assert_eq!(browser.number("document.querySelectorAll('.node').length"), 61.0);
    assert!(browser.number("document.querySelectorAll('.map-edge.never[d]').length") > 5.0);
    assert_eq!(browser.number("document.querySelectorAll('.node[tabindex=\"0\"]').length"), 1.0);
    browser.value("document.querySelector('.node').focus()");
    browser.key("ArrowDown");
    assert!(browser.text("document.activeElement.getAttribute('aria-label')").starts_with("decision, compare_1"));
    browser.key("Enter");
    // A decision leads to its instruction in the listing.
    assert!(browser.text("document.activeElement.textContent").contains("0x000252"));
    assert!(browser.number("document.querySelectorAll('.listing-grid .whole [role=row]').length") < MOST_ROWS);
    browser.key("End");
    assert_eq!(browser.number("Number(document.activeElement.dataset.index)"), 1999.0);
    // A branch filters the matrix.
    browser.value("document.querySelector('.branch-node').focus()");
    browser.key("Enter");
    assert!(browser.text("document.getElementById('shown').textContent").contains(" of 300 cases"));
    // The header map.
    browser.value("document.querySelector('.header-grid td[tabindex=\"0\"]').focus()");
    for key in ["ArrowDown", "ArrowRight", "End", "Home", "ArrowUp", "PageDown", "PageUp"] {
        browser.key(key);
    }
    for _ in 0..8 {
        browser.key("ArrowDown");
    }
    assert!(
        browser
            .text("document.activeElement.getAttribute('aria-label')")
            .starts_with("0x180, product[0], read by 300 cases")
    );
    let panel = browser.text("document.querySelector('.byte-panel').textContent");
    assert!(panel.contains("product[0]") && panel.contains("0x30 \"0\" to 0x39 \"9\""), "{panel}");
    assert_eq!(browser.complaints(), [""; 0]);
}
