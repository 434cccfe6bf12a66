//! Says what is wrong, on standard error, and with which exit code.

use std::io::{ErrorKind, Write};

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use super::{Failure, exit};
use crate::suite::Complaint;
use crate::units;

/// Reports a failure and returns the exit code.
pub fn report(failure: &Failure) -> u8 {
    let (text, code) = match failure {
        Failure::Complaint(complaint) => (render(complaint), exit::BAD_INPUT),
        Failure::Usage(message) => (title(message), exit::BAD_INPUT),
        Failure::Nothing(message) => (title(message), exit::NOTHING),
        Failure::Output(error) if error.kind() == ErrorKind::BrokenPipe => return exit::INTERRUPTED,
        Failure::Output(error) => (title(&format!("the output cannot be written: {error}")), exit::FAULT),
        Failure::Fault(error) => (title(&format!("a fault of keyway itself: {error:#}")), exit::FAULT),
    };
    // If standard error is closed too, the exit code is all there is to say.
    let _ = writeln!(anstream::stderr(), "{text}");
    code
}

/// What is wrong with the input, in one line; nothing for what is not about input.
pub fn one_line(failure: &Failure) -> Option<String> {
    let line = match failure {
        Failure::Complaint(complaint) => {
            let place = complaint.position.as_ref().map_or(String::new(), |position| format!(":{}", position.line));
            let path = if complaint.path.is_empty() { String::new() } else { format!("{}: ", complaint.path) };
            format!("{}{place}: {path}{}", complaint.file.display(), complaint.message)
        }
        Failure::Usage(message) | Failure::Nothing(message) => message.clone(),
        Failure::Output(_) | Failure::Fault(_) => return None,
    };
    Some(units::tame(&line.replace('\n', " ")).into_owned())
}

/// Says something on standard error that ends nothing.
pub fn say(level: Level<'static>, message: &str) {
    let text = Renderer::styled().render(&[Group::with_title(level.primary_title(message))]);
    let _ = writeln!(anstream::stderr(), "{text}");
}

fn title(message: &str) -> String {
    Renderer::styled().render(&[Group::with_title(Level::ERROR.primary_title(message))])
}

/// A complaint with the lines that it is about.
fn render(complaint: &Complaint) -> String {
    let path = complaint.file.display().to_string();
    let path = units::tame(&path);
    let message = if complaint.path.is_empty() {
        complaint.message.clone()
    } else {
        format!("{}: {}", complaint.path, complaint.message)
    };
    let Some(position) = &complaint.position else {
        let help = complaint.help.as_ref().map(|help| format!("\n  {help}")).unwrap_or_default();
        return title(&format!("{path}: {message}{help}"));
    };
    let label = complaint.help.as_deref().unwrap_or("here");
    // The renderer refuses bytes beyond the text; whoever made the complaint, it must be shown.
    let last = complaint.text.len();
    let bytes = position.bytes.start.min(last)..position.bytes.end.min(last);
    let annotation = AnnotationKind::Primary.span(bytes).label(label);
    let snippet = Snippet::source(&*complaint.text).path(&*path).annotation(annotation);
    Renderer::styled().render(&[Level::ERROR.primary_title(&message).element(snippet)])
}
