//! `keyway list`: cases and branches, without running anything.

use std::io::{self, Write};

use anstyle::Style;
use clap::Args;
use unicode_width::UnicodeWidthStr;

use super::select::{Selected, Selection, select};
use super::{Failure, Format, exit};
use crate::report::{LinesStart, Listed, ListedBranch, ListedCase, ListedHarness};
use crate::run::Exit;
use crate::suite::Harness;
use crate::verdict::{Decision, Wanted};

const BOLD: Style = Style::new().bold();
const DIM: Style = Style::new().dimmed();

/// Arguments of `list`.
#[derive(Debug, Args)]
pub struct ListArguments {
    #[command(flatten)]
    selection: Selection,

    /// How to print the list.
    #[arg(long, value_enum, default_value_t = Format::Terminal)]
    format: Format,
}

/// Runs the command.
pub fn run(arguments: &ListArguments) -> Result<u8, Failure> {
    let mut out = io::BufWriter::new(anstream::stdout());
    if arguments.format == Format::Json {
        line(&mut out, &Listed::Start(LinesStart::default()))?;
    }
    for group in select(&arguments.selection)? {
        match arguments.format {
            Format::Terminal => print(&mut out, &group)?,
            Format::Json => print_json(&mut out, &group)?,
        }
    }
    out.flush()?;
    Ok(exit::HELD)
}

fn exit_words(harness: &Harness, exit: Exit) -> String {
    match exit {
        Exit::Return => "on return".to_owned(),
        Exit::At(address) => harness.names().spot(address).to_string(),
    }
}

/// The branches that a case wants, for a list.
fn wanted(harness: &Harness, wanted: &Wanted, decision: &Decision) -> String {
    match (wanted, decision) {
        (Wanted::Branches(list), _) => harness.names().branches(list),
        (Wanted::Kind(kind), _) => format!("any {}", kind.name()),
        (Wanted::Specified, Decision::Branch { branch, .. }) => harness.names().branches(&[*branch]),
        (Wanted::Specified | Wanted::Any, _) => "any".to_owned(),
    }
}

fn print(out: &mut impl Write, group: &Selected) -> Result<(), Failure> {
    let harness = &group.harness;
    writeln!(out, "{BOLD}{}{BOLD:#}  {DIM}{}{DIM:#}", harness.name, harness.path.display())?;
    let branches = &harness.rig.branches;
    let width = branches.iter().map(|branch| branch.name.width()).max().unwrap_or(0);
    for branch in branches {
        let exit = exit_words(harness, branch.exit);
        writeln!(out, "  branch {:<width$}  {:<16}  {exit}", branch.name, branch.kind.name())?;
    }
    for job in &group.jobs {
        for index in &job.cases {
            let case = job.source.case(*index as usize)?;
            let wanted = wanted(harness, &case.expectation.branch, &case.expectation.specified);
            writeln!(
                out,
                "  {}:{}  {}  {DIM}{}{DIM:#}  -> {wanted}",
                case.file.display(),
                case.line,
                case.name,
                case.label
            )?;
        }
    }
    let plural = if group.len() == 1 { "" } else { "s" };
    writeln!(out, "{} case{plural}", group.len())?;
    Ok(())
}

fn print_json(out: &mut impl Write, group: &Selected) -> Result<(), Failure> {
    let harness = &group.harness;
    line(out, &Listed::Harness(ListedHarness::new(harness, group.len())))?;
    for branch in &harness.rig.branches {
        let at = match branch.exit {
            Exit::At(address) => Some(address),
            Exit::Return => None,
        };
        line(out, &Listed::Branch(ListedBranch { name: branch.name.clone(), kind: branch.kind, at }))?;
    }
    for (source, index) in group.cases() {
        let case = source.case(index)?;
        let expected = wanted(harness, &case.expectation.branch, &case.expectation.specified);
        let file = case.file.display().to_string();
        line(
            out,
            &Listed::Case(ListedCase { name: case.name, file, line: case.line, attached: case.label, expected }),
        )?;
    }
    Ok(())
}

fn line(out: &mut impl Write, record: &Listed) -> io::Result<()> {
    serde_json::to_writer(&mut *out, record)?;
    out.write_all(b"\n")
}
