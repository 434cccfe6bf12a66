//! Results for servers, programs and release notes: JUnit XML, JSON lines, GitHub annotations, Markdown, and what
//! `watch` says. Each output is read back by a parser that is not keyway's.

mod changes;
mod files;
mod github;
pub mod json;
mod junit;
mod markdown;
pub mod proof_page;
pub mod proof_sample;
mod watch;

pub use self::json::check as fits_schema;

use std::cell::RefCell;
use std::io::{self, Write};
use std::rc::Rc;
use std::sync::Arc;

use keyway::check::{CaseResult, Checker, Summary};
use keyway::report::{Group, Reporter, Start};
use keyway::verdict::Wanted;
use keyway::{Attached, Harness};

use crate::support::{Project, root};

/// Texts that mean something in XML, HTML, Markdown, workflow commands, shells or terminals. In the second place stands
/// what may become of them: only what a terminal would act on is replaced.
const NASTY: [(&str, &str); 12] = [
    ("<b>&amp; \"q\" 'r' ]]> <!-- x --> <?pi?>", "<b>&amp; \"q\" 'r' ]]> <!-- x --> <?pi?>"),
    ("| a || b \\| c \\\\| d |", "| a || b \\| c \\\\| d |"),
    ("`code` ``x` *a* **b** _c_ __d__ ~e~ ~~f~~", "`code` ``x` *a* **b** _c_ __d__ ~e~ ~~f~~"),
    (
        "[link](to) ![image](x) [x]: y <https://z> &#65; &copy;",
        "[link](to) ![image](x) [x]: y <https://z> &#65; &copy;",
    ),
    ("100%, %0A::error file=a::b %25", "100%, %0A::error file=a::b %25"),
    ("# - + 1. > $m$ \\", "# - + 1. > $m$ \\"),
    ("---|---", "---|---"),
    (" blanks at the ends ", " blanks at the ends "),
    ("two\nlines\r\nand a\ttab", "two\u{FFFD}lines\u{FFFD}\u{FFFD}and a\u{FFFD}tab"),
    ("\u{1B}[31mred\u{1B}[0m \u{0}\u{7}\u{7F}\u{9B}", "\u{FFFD}[31mred\u{FFFD}[0m \u{FFFD}\u{FFFD}\u{FFFD}\u{FFFD}"),
    ("\u{202E}turned\u{2066} \u{2028}", "\u{FFFD}turned\u{FFFD} \u{FFFD}"),
    ("日本語 🎹 é e\u{301}", "日本語 🎹 é e\u{301}"),
];

/// A project whose cases come to every verdict: two hold, one fails, one bug is still there, one is gone, one is
/// undecided.
fn mixed() -> Project {
    let project = Project::demo();
    project.write(
        "harness/short.yaml",
        "extends: aria.yaml\nname: Aria Workshop, in a hurry\n\
         routine: {entry: detect, stack: 0xE0FE00, limit: {instructions: 1000}}\n",
    );
    project.write(
        "cases/all.yaml",
        "harness: ../harness/aria.yaml\ncases:\n\
         - {name: it holds, attach: nothing}\n\
         - {name: it fails, attach: nothing, expect: {branch: patched}}\n\
         - {name: it is known, attach: nothing, expect: {branch: patched}, known-bug: nobody has mended it}\n\
         - {name: it is mended, attach: nothing, expect: {branch: alone}, known-bug: it was broken}\n",
    );
    project.write(
        "cases/short.yaml",
        "harness: ../harness/short.yaml\ncases:\n\
         - {name: it is given up, attach: {signature: \"PARLOR16 SYSTEM \", product: AW-2100-03}}\n\
         - {name: it holds too, attach: nothing}\n",
    );
    project
}

fn demo_harness() -> Arc<Harness> {
    Arc::new(Harness::load(root().join("harness/aria.yaml")).expect("the demo harness"))
}

/// A result that failed, under any name.
fn failing(harness: &Arc<Harness>, name: &str) -> CaseResult {
    let mut case = harness.case("it", Attached::nothing());
    case.expectation.branch = Wanted::Branches(harness.branch("patched").into_iter().collect());
    let result = Checker::new(Arc::clone(harness)).check(&case);
    assert!(result.verdict.failed());
    CaseResult { name: name.to_owned(), attached: name.to_owned(), line: 7, rerun: format!("keyway {name}"), ..result }
}

/// Shows results to a reporter as a run does.
fn show(reporter: &mut dyn Reporter, harness: &Harness, results: &[CaseResult]) {
    let mut summary = Summary::default();
    results.iter().for_each(|result| summary.count(&result.verdict));
    reporter.started(&Start { cases: results.len(), derived: 0, open: 0, seed: 1 }).unwrap();
    reporter.group(&Group { harness, cases: results.len(), widest_label: 10 }).unwrap();
    results.iter().for_each(|result| reporter.case(result).unwrap());
    reporter.finished(&summary).unwrap();
}

/// What a reporter writes.
#[derive(Clone, Default)]
struct Written(Rc<RefCell<Vec<u8>>>);

impl Written {
    fn text(&self) -> String {
        String::from_utf8(self.0.borrow().clone()).expect("UTF-8")
    }
}

impl Write for Written {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Results that failed, one for each nasty text, as a reporter writes them.
fn nasty<R: Reporter>(reporter: impl FnOnce(Written) -> R) -> String {
    let harness = demo_harness();
    let results: Vec<CaseResult> = NASTY.iter().map(|(text, _)| failing(&harness, text)).collect();
    let written = Written::default();
    show(&mut reporter(written.clone()), &harness, &results);
    written.text()
}
