//! `keyway explain`: why cases take their branch.

use std::io::{self, Write};
use std::sync::Arc;

use anstyle::Style;
use clap::Args;

use super::select::{Selected, Selection, select};
use super::{Failure, Format, exit};
use crate::check::Checker;
use crate::explain::Explanation;
use crate::report::{self, LinesStart, Told, ToldCase, Unlisted};
use crate::suite::{Case, Harness};
use crate::units;

const BOLD: Style = Style::new().bold();
const DIM: Style = Style::new().dimmed();

/// Arguments of `explain`.
#[derive(Debug, Args)]
pub struct ExplainArguments {
    #[command(flatten)]
    selection: Selection,

    /// Also list every instruction that ran, with what it read and the clock.
    #[arg(long)]
    instructions: bool,

    /// How to print the explanation.
    #[arg(long, value_enum, default_value_t = Format::Terminal)]
    format: Format,
}

/// Runs the command.
pub fn run(arguments: &ExplainArguments) -> Result<u8, Failure> {
    let groups = select(&arguments.selection)?;
    let mut out = io::BufWriter::new(anstream::stdout());
    if arguments.format == Format::Json {
        line(&mut out, &Told::Start(LinesStart::default()))?;
    }
    for group in &groups {
        explain_group(arguments, group, &mut out)?;
    }
    out.flush()?;
    Ok(exit::HELD)
}

fn explain_group(arguments: &ExplainArguments, group: &Selected, out: &mut impl Write) -> Result<(), Failure> {
    let harness = &group.harness;
    let mut checker = Checker::new(Arc::clone(harness));
    for job in &group.jobs {
        for index in &job.cases {
            let case = job.source.case(*index as usize)?;
            let explanation = checker.explain(&case);
            match arguments.format {
                Format::Terminal => {
                    head(out, harness, &case)?;
                    if arguments.instructions {
                        let listed = checker.instructions(&case);
                        let ran = listed.ran(&case.setup.inputs.attached, harness.names());
                        report::write_instructions(out, ran, listed.unlisted)?;
                    }
                    report::write_explanation(out, &explanation)?;
                    writeln!(out)?;
                }
                Format::Json => {
                    line(out, &told(harness, &case, &explanation))?;
                    if arguments.instructions {
                        let listed = checker.instructions(&case);
                        for ran in listed.ran(&case.setup.inputs.attached, harness.names()) {
                            line(out, &Told::Instruction(ran))?;
                        }
                        if listed.unlisted > 0 {
                            line(out, &Told::Unlisted(Unlisted { instructions: listed.unlisted }))?;
                        }
                    }
                }
            }
        }
    }
    Ok(())
}

fn head(out: &mut impl Write, harness: &Harness, case: &Case) -> io::Result<()> {
    writeln!(out, "{BOLD}{}{BOLD:#}", units::tame(&case.name))?;
    let file = case.file.display().to_string();
    writeln!(out, "  {DIM}case{DIM:#}       {}:{}, {}", units::tame(&file), case.line, harness.name)?;
    writeln!(out, "  {DIM}attached{DIM:#}   {}", units::tame(&case.label))
}

fn told<'a>(harness: &Harness, case: &'a Case, explanation: &'a Explanation) -> Told<'a> {
    Told::Explanation(Box::new(ToldCase {
        name: &case.name,
        file: case.file.display().to_string(),
        line: case.line,
        harness: harness.path.display().to_string(),
        attached: &case.label,
        explanation,
    }))
}

fn line(out: &mut impl Write, record: &Told) -> io::Result<()> {
    serde_json::to_writer(&mut *out, record)?;
    out.write_all(b"\n")?;
    out.flush()
}
