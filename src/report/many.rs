//! Several reporters as one: each gets to see everything, in the order in which they were added.

use std::io;

use super::{Group, NotRun, Reporter, Start};
use crate::check::{CaseResult, Summary};
use crate::coverage::Coverage;

/// Passes everything on to each of its reporters; the first that cannot write ends it.
#[derive(Default)]
pub struct Many {
    reporters: Vec<Box<dyn Reporter>>,
}

impl Many {
    /// Adds a reporter.
    pub fn add(&mut self, reporter: Box<dyn Reporter>) {
        self.reporters.push(reporter);
    }
}

impl Reporter for Many {
    fn started(&mut self, start: &Start) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.started(start))
    }

    fn group(&mut self, group: &Group) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.group(group))
    }

    fn case(&mut self, result: &CaseResult) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.case(result))
    }

    fn not_run(&mut self, case: &NotRun) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.not_run(case))
    }

    fn coverage(&mut self, coverage: &Coverage) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.coverage(coverage))
    }

    fn finished(&mut self, summary: &Summary) -> io::Result<()> {
        self.reporters.iter_mut().try_for_each(|reporter| reporter.finished(summary))
    }
}
