//! The page of a proof: looks, names of controls, keys, and that it can be read without its script.

use serde_json::json;

use super::driver::{self, Browser};
use super::looks::no_overflow;
use crate::reports::{proof_page, proof_sample};

const HOSTILE: &str = "</code><script>window.broken=1</script><img src=x onerror=window.broken=1> \u{202E}{{SCRIPT}}";

/// The pages by name: proved, inconclusive, with texts that try to become markup, several, none.
fn pages(folder: &tempfile::TempDir) -> Vec<(&'static str, std::path::PathBuf)> {
    let (proved, doubted) = (proof_sample::plain(), proof_sample::doubted(&str::to_owned));
    let hostile = proof_sample::answer(&|text| format!("{text} {HOSTILE}"));
    let pages = [
        ("proof", proof_page::page(std::slice::from_ref(&proved))),
        ("proof-inconclusive", proof_page::page(std::slice::from_ref(&doubted))),
        ("proof-hostile", proof_page::page(&[hostile])),
        ("proof-several", proof_page::page(&[proved, doubted, proof_sample::empty()])),
        ("proof-none", proof_page::page(&[])),
    ];
    let write = |(name, page): (&'static str, String)| {
        let file = folder.path().join(format!("{name}.html"));
        std::fs::write(&file, page).expect("a file");
        (name, file)
    };
    pages.into_iter().map(write).collect()
}

#[test]
fn a_proof_can_be_read_anywhere() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    for (name, file) in pages(&folder) {
        for (scheme, width) in [("light", 1280), ("dark", 1280), ("light", 360), ("dark", 320)] {
            browser.size(width, 900);
            browser.scheme(scheme);
            browser.open(&file);
            for (open, word) in [("false", ""), ("true", "-open")] {
                browser
                    .value(&format!("document.querySelectorAll('details').forEach(part => {{ part.open = {open}; }})"));
                browser.frame();
                no_overflow(&mut browser, &format!("{name}, {width}, {scheme}"));
                if name != "proof-none" && (open == "false" || width == 360) {
                    browser.picture(&format!("{name}-{scheme}-{width}{word}"), true);
                }
            }
            controls(&mut browser, name);
        }
        assert!(browser.print(name) > 5_000, "{name}");
    }
    assert_eq!(browser.value("window.broken === undefined"), true);
    assert_eq!(browser.complaints(), [""; 0]);
}

/// Headings in order, targets of 24 by 24 CSS pixels (WCAG 2.2, 2.5.8), links that lead somewhere.
fn controls(browser: &mut Browser, name: &str) {
    let levels =
        browser.text("[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(one => one.tagName[1]).join('')");
    let levels: Vec<u32> = levels.chars().filter_map(|level| level.to_digit(10)).collect();
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{name}: {levels:?}");
    assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1, "{name}");
    let small = browser.text(
        "[...document.querySelectorAll('button, a, summary')].filter(one => !one.classList.contains('skip'))
            .map(one => [one, one.getBoundingClientRect()])
            .filter(([, box]) => box.width > 0 && (box.width < 24 || box.height < 23.5))
            .map(([one, box]) => one.textContent.slice(0, 40) + ' ' + box.width + ' x ' + box.height).join('\\n')",
    );
    assert_eq!(small, "", "{name}");
    let astray = browser.text(
        "[...document.querySelectorAll('a')].filter(one => !document.querySelector(one.getAttribute('href')))
            .map(one => one.textContent).join()",
    );
    assert_eq!(astray, "", "{name}");
}

#[test]
fn a_case_is_opened_and_copied_with_the_keyboard() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let (_, file) = pages(&folder).swap_remove(0);
    browser.open(&file);
    assert_eq!(browser.number("document.querySelectorAll('details.case[open]').length"), 1.0);
    let mut reached = 0;
    while browser.value("document.activeElement.closest('details.case') !== null") != true && reached < 60 {
        browser.key("Tab");
        reached += 1;
    }
    assert!(reached < 60, "no case is reached");
    browser.key("Enter");
    assert_eq!(browser.value("document.activeElement.closest('details').open"), true);
    browser.key("Tab");
    assert!(browser.text("document.activeElement.textContent").starts_with("Copy the case"));
    browser.key("Enter");
    let said = "document.activeElement.parentElement.querySelector('[role=status]').textContent";
    browser.until(&format!("{said} !== ''"));
    let selected = browser.text("getSelection().toString()");
    assert!(browser.text(said) == "copied" || selected.contains("size: 64 KiB"), "{selected}");
    browser.value("document.querySelector('#page-tools button').click()");
    assert_eq!(browser.number("document.querySelectorAll('details.case:not([open])').length"), 0.0);
    let tree = browser.call("Accessibility.getFullAXTree", json!({}));
    let nodes = tree["nodes"].as_array().expect("nodes");
    for role in ["main", "banner", "navigation", "contentinfo", "region", "table", "rowheader", "columnheader"] {
        let mut some = nodes.iter().filter(|node| node["ignored"] == false && node["role"]["value"] == role).peekable();
        assert!(some.peek().is_some(), "no {role}");
        let unnamed = ["main", "banner", "contentinfo"].contains(&role);
        assert!(
            unnamed || some.all(|node| node["name"]["value"].as_str().is_some_and(|name| !name.is_empty())),
            "{role}"
        );
    }
    assert_eq!(browser.complaints(), [""; 0]);
}

#[test]
fn a_proof_can_be_read_without_its_script() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let (_, file) = pages(&folder).swap_remove(1);
    browser.call("Emulation.setScriptExecutionDisabled", json!({"value": true}));
    browser.call("Page.navigate", json!({"url": format!("file://{}", file.display())}));
    browser.until("location.protocol === 'file:' && document.readyState === 'complete'");
    assert_eq!(browser.value("document.documentElement.dataset.ready === undefined"), true);
    let text = browser.text("document.body.innerText");
    for part in ["inconclusive", "Nothing of this answer is proved", "5 x 2^1056", "61,234", "size: 64 KiB"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert_eq!(browser.number("document.querySelectorAll('button').length"), 0.0);
}

#[test]
fn the_policy_of_a_proof_holds() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let (_, file) = pages(&folder).swap_remove(0);
    browser.open(&file);
    assert_eq!(browser.complaints(), [""; 0]);
    browser.value(
        "(script => { script.textContent = 'window.other = 1'; document.body.append(script); })(document.createElement('script'));
        document.body.append(Object.assign(document.createElement('style'), {textContent: 'body { --other: 1 }'}));
        new Image().src = 'picture.png';",
    );
    assert_eq!(browser.text("fetch('other.js').then(() => 'loaded', () => 'refused')"), "refused");
    assert_eq!(browser.value("window.other === undefined"), true);
    assert_eq!(browser.text("getComputedStyle(document.body).getPropertyValue('--other')"), "");
}
