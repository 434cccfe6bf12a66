//! The page of the demo suite, made by the command.

use std::path::PathBuf;

use super::driver::{self, Browser};
use crate::support::{Project, Ran, root, run};

/// The page of the whole demo suite and of one case that fails, with the folder that it lies in.
pub fn page() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("report.html");
    let arguments =
        ["check", "cases/drums.yaml", "tests/readme/almost.yaml", "cases/contacts.yaml", "cases/blanks.yaml"];
    let Ran { code, err, .. } = run(root(), &[&arguments[..], &["--html", file.to_str().expect("UTF-8")]].concat());
    assert_eq!(code, 1, "one case of almost.yaml fails: {err}");
    (folder, file)
}

fn opened() -> Option<(tempfile::TempDir, Browser)> {
    let mut browser = driver::start()?;
    let (folder, file) = page();
    browser.open(&file);
    Some((folder, browser))
}

/// The texts of all elements that fit, joined by bars.
fn texts(browser: &mut Browser, selector: &str) -> String {
    browser.text(&format!("[...document.querySelectorAll({selector:?})].map(one => one.textContent).join('|')"))
}

const ROWS: &str = "#matrix-grid .whole [role=row]";

#[test]
fn the_page_shows_the_run_and_nothing_goes_wrong() {
    let Some((_folder, mut browser)) = opened() else { return };
    assert_eq!(texts(&mut browser, "h1"), "Aria Workshop");
    assert!(texts(&mut browser, "#host-facts").contains("CRC-32 531C8A03"));
    assert!(texts(&mut browser, "#tally").contains("1 failed"));
    let rows = texts(&mut browser, ROWS);
    assert!(rows.contains("drums, 4 MiB") && rows.contains("FAILED"), "{rows}");
    // What the cases tried of the routine.
    assert!(browser.number("document.querySelectorAll('.branch-node').length") == 5.0);
    assert!(texts(&mut browser, ".node .name").contains("compare_signature+2"));
    assert!(browser.number("document.querySelectorAll('.header-grid td[tabindex]').length") >= 16.0);
    assert!(texts(&mut browser, ".listing-grid .whole [role=row]").contains("harness/detect.s:23"));
    assert!(texts(&mut browser, "#untried-body").contains("was not reached"));
    // All products were attached, but no unknown code of the same publisher, so its prefix never agreed.
    assert!(
        texts(&mut browser, "#untried-body").contains("<own_product> \"A\" harness/aria.s:33, compared in 3 cases")
    );
    assert!(texts(&mut browser, ".byte-table").contains("product[0]"));
    // Every path was followed, so nothing is said of that.
    assert_eq!(texts(&mut browser, ".followed-note"), "");
    // Every harness has its own cases.
    assert_eq!(browser.number("document.querySelectorAll('#harness option').length"), 2.0);
    browser.value(
        "(choice => { choice.value = '1'; choice.dispatchEvent(new Event('change')); })(document.getElementById('harness'))",
    );
    assert_eq!(texts(&mut browser, "h1"), "Aria Workshop, the picture");
    assert!(texts(&mut browser, ROWS).contains("vertical blank never"));
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn a_filter_and_an_order_change_the_rows() {
    let Some((_folder, mut browser)) = opened() else { return };
    let all = browser.number(&format!("document.querySelectorAll('{ROWS}').length"));
    browser.value("document.getElementById('filter-text').focus()");
    browser.type_text("4 MiB");
    let some = texts(&mut browser, ROWS);
    let count = browser.number(&format!("document.querySelectorAll('{ROWS}').length"));
    assert!(count > 0.0 && count < all, "{count} of {all}");
    assert!(some.split('|').all(|row| row.to_lowercase().contains("4 mib")), "{some}");
    assert!(texts(&mut browser, "#shown").contains(&format!("{count} of ")));
    browser.value("document.getElementById('clear-filters').click()");
    browser.value("(s => { s.value = 'FAILED'; s.dispatchEvent(new Event('change')); })(document.getElementById('filter-verdict'))");
    assert_eq!(browser.number(&format!("document.querySelectorAll('{ROWS}').length")), 1.0);
    browser.value("document.getElementById('clear-filters').click()");
    assert_eq!(browser.number(&format!("document.querySelectorAll('{ROWS}').length")), all);
    // Sorted by instructions, down: a click for up, another for down.
    for order in ["ascending", "descending"] {
        browser.value("document.querySelector('#matrix-grid [data-key=instructions] button').click()");
        let said =
            browser.text("document.querySelector('#matrix-grid [data-key=instructions]').getAttribute('aria-sort')");
        assert_eq!(said, order);
    }
    let numbers = texts(&mut browser, "#matrix-grid .whole .cell-instructions").replace(',', "");
    let numbers: Vec<u64> = numbers.split('|').map(|number| number.parse().expect("a number")).collect();
    assert!(numbers.len() > 5 && numbers.is_sorted_by(|one, other| one >= other), "{numbers:?}");
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn the_keyboard_alone_finds_and_opens_a_failure() {
    let Some((_folder, mut browser)) = opened() else { return };
    // From the top of the page with Tab only.
    let mut reached = Vec::new();
    for _ in 0..60 {
        browser.key("Tab");
        reached.push(browser.text("document.activeElement.id || document.activeElement.getAttribute('role') || document.activeElement.tagName"));
        if reached.last().is_some_and(|id| id == "next-failure") {
            break;
        }
    }
    assert!(reached.iter().any(|id| id == "filter-text"), "{reached:?}");
    assert_eq!(reached.last().map(String::as_str), Some("next-failure"), "{reached:?}");
    browser.key("Enter");
    assert!(browser.text("document.activeElement.textContent").contains("FAILED"));
    assert!(texts(&mut browser, "#case-body").contains("the drum library is patched, whatever its size, size 4 MiB"));
    // The explanation of a real run.
    let told = texts(&mut browser, "#case-body");
    assert!(told.contains("the first byte differs: found 0xFF, compared with 0x50 \"P\""), "{told}");
    assert!(told.contains("keyway check 'tests/readme/almost.yaml:"), "{told}");
    // Rows.
    let at = |browser: &mut Browser| browser.number("Number(document.activeElement.dataset.index)");
    let failure = at(&mut browser);
    for (key, to) in
        [("ArrowUp", failure - 1.0), ("ArrowDown", failure), ("Home", 0.0), ("ArrowUp", 0.0), ("ArrowDown", 1.0)]
    {
        browser.key(key);
        assert_eq!(at(&mut browser), to, "{key}");
    }
    browser.key("PageDown");
    assert!(at(&mut browser) > 3.0);
    browser.key("Home");
    browser.key("Enter");
    assert_eq!(browser.text("document.activeElement.id"), "case-title");
    assert!(texts(&mut browser, "#case-body .facts").contains("instructions"));
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn the_page_is_the_same_for_any_number_of_threads() {
    let folder = tempfile::tempdir().expect("a folder");
    let pages = ["1", "3"].map(|jobs| {
        let file = folder.path().join(jobs);
        let ran = run(
            root(),
            &["check", "cases/drums.yaml", "cases/choir.yaml", "--jobs", jobs, "--html", file.to_str().expect("UTF-8")],
        );
        assert_eq!(ran.code, 0, "{}", ran.err);
        std::fs::read(file).expect("a page")
    });
    assert!(pages[0].len() > 50_000);
    assert!(pages[0] == pages[1]);
}

/// Two failures of one harness and one of another: the button goes through all three and begins again.
#[test]
fn the_next_failure_may_be_another_harness_s() {
    let Some(mut browser) = driver::start() else { return };
    let project = Project::demo();
    project.write(
        "cases/a.yaml",
        "harness: ../harness/aria.yaml\ncases:\n\
         - {name: one, attach: nothing, expect: {branch: patched}}\n\
         - {name: two, attach: nothing, empty: ones, expect: {branch: patched}}\n",
    );
    project.write(
        "cases/b.yaml",
        "harness: ../harness/blanks.yaml\ncases:\n- {name: three, attach: nothing, expect: {branch: blind}}\n",
    );
    let ran = project.run(&["check", "--html", "page.html"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    browser.open(&project.path().join("page.html"));
    let names = std::iter::repeat_with(|| {
        browser.value("document.getElementById('next-failure').click()");
        browser.frame();
        texts(&mut browser, "#case-body h3, #case-title")
    });
    let seen: Vec<String> = names.take(4).collect();
    for (text, name) in seen.iter().zip(["one", "two", "three", "one"]) {
        assert!(text.contains(name), "{name} is not in {seen:?}");
    }
}
