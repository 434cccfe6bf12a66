//! What a screen reader gets: names for every control, landmarks, headings in order.

use serde_json::{Value, json};

use super::driver;
use super::sample;

/// Roles of what one can act on or that is named when it is reached.
const CONTROLS: [&str; 14] = [
    "button",
    "link",
    "textbox",
    "searchbox",
    "combobox",
    "listbox",
    "MenuListPopup",
    "checkbox",
    "radio",
    "grid",
    "region",
    "navigation",
    "img",
    "columnheader",
];

fn role(node: &Value) -> &str {
    node["role"]["value"].as_str().unwrap_or_default()
}

#[test]
fn every_control_has_a_name() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(300)).expect("a file");
    browser.open(&file);
    browser.value("document.getElementById('next-failure').click()");
    browser.value("document.querySelectorAll('details').forEach(part => { part.open = true; })");
    browser.frame();
    let tree = browser.call("Accessibility.getFullAXTree", json!({}));
    let nodes = tree["nodes"].as_array().expect("nodes");
    let seen = |node: &&Value| node["ignored"] == false;
    let focusable = |node: &Value| {
        let properties = node["properties"].as_array().map(Vec::as_slice).unwrap_or_default();
        properties.iter().any(|one| one["name"] == "focusable" && one["value"]["value"] == true)
    };
    let named = |node: &Value| !node["name"]["value"].as_str().unwrap_or_default().trim().is_empty();
    let mut controls = 0;
    for node in nodes.iter().filter(seen) {
        if (CONTROLS.contains(&role(node)) || focusable(node)) && role(node) != "MenuListPopup" {
            controls += 1;
            // The page itself and what only scrolls are no controls.
            let exempt = ["RootWebArea", "none", "generic", "rowgroup"].contains(&role(node));
            assert!(named(node) || exempt, "{} without a name: {node}", role(node));
        }
    }
    assert!(controls > 100, "{controls} controls");
    for landmark in ["main", "banner", "navigation", "contentinfo", "grid", "form"] {
        assert!(nodes.iter().any(|node| role(node) == landmark), "no {landmark}");
    }
}

#[test]
fn headings_are_in_order_and_targets_large_enough() {
    let Some(mut browser) = driver::start() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, sample::page(300)).expect("a file");
    browser.open(&file);
    browser.value("document.getElementById('next-failure').click()");
    let levels =
        browser.text("[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(one => one.tagName[1]).join('')");
    assert!(levels.starts_with("12"), "{levels}");
    let levels: Vec<u32> = levels.chars().filter_map(|level| level.to_digit(10)).collect();
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1);
    // WCAG 2.2, 2.5.8: targets of 24 by 24 CSS pixels. Links within sentences are exempt; the page has none.
    for width in [1280, 360] {
        browser.size(width, 800);
        browser.frame();
        let small = browser.text(
            "[...document.querySelectorAll('button, a, select, input, summary, .header-grid td[tabindex], .whole > [role=row], .node')]
                .filter(one => !one.classList.contains('skip'))
                .map(one => [one, one.getBoundingClientRect()])
                .filter(([, box]) => box.width > 0 && (box.width < 24 || box.height < 23.5))
                .map(([one, box]) => (one.textContent || one.id).slice(0, 40) + ' ' + box.width + ' x ' + box.height).join('\\n')",
        );
        assert_eq!(small, "", "at a width of {width}");
    }
}
