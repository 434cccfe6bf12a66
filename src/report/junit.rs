//! JUnit XML for CI servers: a test suite for each case file, a test for each case.
//!
//! The same run gives the same file: there is no time stamp, and no test has a time, since emulated milliseconds are
//! not those in which it ran.

use std::collections::HashMap;
use std::io::{self, Write};

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite, XmlString};

use super::words::{self, facts};
use super::{Group, NotRun, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::units;
use crate::verdict::Verdict;

/// Writes JUnit XML when the run is over.
#[derive(Debug)]
pub struct Junit<W> {
    out: W,
    suites: Vec<TestSuite>,
    /// The suite of each harness and case file.
    by_file: HashMap<(String, String), usize>,
    /// The harness of the cases that come.
    harness: String,
    properties: Vec<(String, String)>,
    seed: u64,
}

impl<W: Write> Junit<W> {
    /// Writes to `out`.
    pub fn new(out: W) -> Self {
        let (suites, by_file, harness, properties) = (Vec::new(), HashMap::new(), String::new(), Vec::new());
        Self { out, suites, by_file, harness, properties, seed: 0 }
    }

    fn add(&mut self, name: &str, file: &str, line: usize, status: TestCaseStatus) {
        let mut case = TestCase::new(one_line(name), status);
        case.set_classname(one_line(without_ending(file)));
        case.extra.insert("file".into(), one_line(file));
        case.extra.insert("line".into(), line.to_string().into());
        let index = *self.by_file.entry((self.harness.clone(), file.to_owned())).or_insert_with(|| {
            let mut suite = TestSuite::new(one_line(file));
            suite.add_properties(self.properties.iter().map(|(name, value)| (one_line(name), one_line(value))));
            self.suites.push(suite);
            self.suites.len() - 1
        });
        self.suites[index].add_test_case(case);
    }
}

impl<W: Write> Reporter for Junit<W> {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.seed = start.seed;
        Ok(())
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        let host = group.harness.rig.map.host();
        self.harness = group.harness.path.display().to_string();
        let property = |name: &str, value: String| (name.to_owned(), value);
        self.properties = vec![
            property("keyway", env!("CARGO_PKG_VERSION").to_owned()),
            property("seed", self.seed.to_string()),
            property("host", group.harness.name.clone()),
            property("harness", self.harness.clone()),
            property("image", units::file_names(host.files())),
            property("crc32", format!("{:08X}", host.crc32())),
            property("sha256", host.sha256()),
        ];
        Ok(())
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        self.add(&result.name, &result.file, result.line, status(result));
        Ok(())
    }

    fn not_run(&mut self, case: &NotRun) -> io::Result<()> {
        let mut status = TestCaseStatus::skipped();
        status.set_message("not run: an earlier case failed");
        if self.harness != case.harness {
            self.harness.clone_from(&case.harness);
            self.properties.clear();
        }
        self.add(&case.name, &case.file, case.line, status);
        Ok(())
    }

    fn finished(&mut self, _: &Summary) -> io::Result<()> {
        let mut report = Report::new("keyway");
        report.add_test_suites(self.suites.drain(..));
        report.serialize(&mut self.out).map_err(io::Error::other)?;
        self.out.flush()
    }
}

/// What a server shows of a case.
fn status(result: &CaseResult) -> TestCaseStatus {
    let (mut status, kind) = match &result.verdict {
        Verdict::Held => return TestCaseStatus::success(),
        Verdict::KnownBug { why, reasons } => {
            let mut status = TestCaseStatus::skipped();
            status.set_message(one_line(&format!("known bug: {why}")));
            let lines: Vec<XmlString> = reasons.iter().map(|reason| one_line(&reason.text)).collect();
            status.set_description(lines.join("\n"));
            return status;
        }
        Verdict::Failed { .. } => (TestCaseStatus::non_success(NonSuccessKind::Failure), "failed"),
        Verdict::BugGone { .. } => (TestCaseStatus::non_success(NonSuccessKind::Failure), "bug-gone"),
        Verdict::Undecided { .. } => (TestCaseStatus::non_success(NonSuccessKind::Error), "undecided"),
    };
    let message = words::reasons(result).into_iter().next().unwrap_or_default();
    let lines: Vec<String> =
        facts(result).iter().map(|(what, text)| format!("{what:<9}  {}", one_line(text).as_str())).collect();
    status.set_type(kind).set_message(one_line(&message)).set_description(lines.join("\n"));
    status
}

/// A text as one line. What XML cannot hold is replaced, so that two names that differ are not made the same by leaving
/// it out.
fn one_line(text: &str) -> XmlString {
    units::tame(text).replace(['\u{FFFE}', '\u{FFFF}'], "\u{FFFD}").into()
}

/// A path without the ending of its file's name, as servers make a tree of it.
fn without_ending(file: &str) -> &str {
    let name = file.rfind(['/', '\\']).map_or(0, |slash| slash + 1);
    match file.rfind('.') {
        Some(dot) if dot > name => &file[..dot],
        _ => file,
    }
}
