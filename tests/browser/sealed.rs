//! The page is sealed: its policy lets it load nothing and run nothing but its own script, and that script makes no
//! markup from texts.

use super::driver;
use super::sample;
use crate::support::root;

#[test]
fn the_script_makes_no_markup_from_texts() {
    let folder = root().join("src/report/html/page");
    let mut scripts = 0;
    for entry in std::fs::read_dir(&folder).expect("the page") {
        let path = entry.expect("an entry").path();
        let text = std::fs::read_to_string(&path).expect("a text");
        let name = path.display();
        scripts += usize::from(path.extension().is_some_and(|ending| ending == "js"));
        for word in
            ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function", "fetch("]
        {
            assert!(!text.contains(word), "{name} has {word}");
        }
        // The name of SVG's namespace is no address that anything is loaded from.
        let text = text.replace("http://www.w3.org/2000/svg", "");
        for word in ["http:", "https:", "url(", "@import", "src="] {
            assert!(!text.contains(word), "{name} has {word}");
        }
    }
    assert!(scripts >= 10, "{scripts} scripts");
}

#[test]
fn the_policy_holds() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(20)).expect("a file");
    std::fs::write(folder.path().join("other.js"), "window.other = 1").expect("a file");
    browser.open(&file);
    assert_eq!(browser.complaints(), [""; 0]);
    // What somebody might get into the page is neither run nor loaded.
    browser.value(
        "for (const make of [script => { script.textContent = 'window.other = 1'; }, script => { script.src = 'other.js'; }]) {
            const script = document.createElement('script'); make(script); document.body.append(script);
        }
        new Image().src = 'picture.png';
        document.body.append(Object.assign(document.createElement('style'), {textContent: 'body { --other: 1 }'}));",
    );
    let fetched = browser.text("fetch('other.js').then(() => 'loaded', () => 'refused')");
    assert_eq!(fetched, "refused");
    assert_eq!(browser.value("window.other === undefined"), true);
    assert_eq!(browser.text("getComputedStyle(document.body).getPropertyValue('--other')"), "");
    let refused = browser.complaints().iter().filter(|line| line.contains("Content Security Policy")).count();
    assert!(refused >= 4, "{:?}", browser.complaints());
}
