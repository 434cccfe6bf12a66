//! The page in light and dark, on a small screen and in print. Pictures stay in cargo's folder for tests, below
//! `pages`, to be looked at.

use super::driver::{self, Browser};
use super::{demo, sample};

pub fn no_overflow(browser: &mut Browser, what: &str) {
    let wide = browser.text(
        "[...document.querySelectorAll('body, body *')].filter(one => one.scrollWidth > document.documentElement.clientWidth
            && !one.closest('.map-frame, .scroll, .sr')).map(one => one.tagName + '.' + one.className + ' ' + one.scrollWidth).join(', ')",
    );
    let fits = browser.value("document.documentElement.scrollWidth <= document.documentElement.clientWidth");
    assert!(fits == true, "{what} is wider than the window: {wide}");
}

#[test]
fn no_window_is_too_narrow() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(300)).expect("a file");
    let (_folder, demo) = demo::page();
    for (name, file) in [("made-up", &file), ("demo", &demo)] {
        for (scheme, width) in [("light", 1280), ("dark", 1280), ("light", 360), ("dark", 360), ("light", 320)] {
            browser.size(width, 900);
            browser.scheme(scheme);
            browser.open(file);
            browser.value("document.getElementById('next-failure').click()");
            browser.frame();
            no_overflow(&mut browser, &format!("{name}, {width}, {scheme}"));
            browser.picture(&format!("{name}-{scheme}-{width}"), true);
        }
    }
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn print_has_all_failures_and_says_what_is_left_out() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(2500)).expect("a file");
    browser.open(&file);
    browser.value(
        "window.addEventListener('beforeprint', () => { window.printed = [
        document.querySelectorAll('#matrix-grid .whole [role=row]').length,
        document.querySelectorAll('#matrix-grid .whole .failing').length,
        document.querySelectorAll('#print-failures article').length,
        document.querySelector('#matrix-grid + .print-only').textContent].join('|'); })",
    );
    assert!(browser.print("made-up") > 10_000);
    // 2,500 cases, of which every 97th failed: 25.
    assert_eq!(
        browser.text("window.printed"),
        "2000|25|20|500 more are not printed; none of them failed unless 2,000 rows did."
    );
    browser.frame();
    assert!(browser.number("document.querySelectorAll('#matrix-grid .whole [role=row]').length") < 60.0);
    assert_eq!(browser.complaints(), [""; 0]);
}
