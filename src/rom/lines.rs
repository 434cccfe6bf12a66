//! The source lines of addresses, as one sorted table that needs no debugging data any more.

use std::collections::{BinaryHeap, HashMap};
use std::ops::Range;
use std::path::Path;

/// A place in the source code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceLine<'a> {
    /// The file's path, as the debugging data say it; as seen from the current folder if it exists there.
    pub file: &'a str,
    /// The line, counted from 1.
    pub line: u32,
}

/// Which source line each address belongs to.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    files: Vec<String>,
    /// Sorted and disjoint.
    rows: Vec<Row>,
    warning: Option<String>,
}

#[derive(Debug, Clone)]
struct Row {
    addresses: Range<u32>,
    file: u32,
    line: u32,
}

impl Lines {
    /// The source line of the instruction at an address.
    pub fn at(&self, address: u32) -> Option<SourceLine<'_>> {
        let above = self.rows.partition_point(|row| row.addresses.start <= address);
        let row = self.rows[..above].last()?;
        row.addresses.contains(&address).then(|| self.source(row))
    }

    /// All stretches of code with a source line, by address; none overlaps another.
    pub fn iter(&self) -> impl Iterator<Item = (Range<u32>, SourceLine<'_>)> {
        self.rows.iter().map(|row| (row.addresses.clone(), self.source(row)))
    }

    /// The source files.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        self.files.iter().map(String::as_str)
    }

    /// Whether no address has a source line.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Why the file's debugging data could not be used, as a sentence, if that is so.
    pub fn warning(&self) -> Option<&str> {
        self.warning.as_deref()
    }

    /// No lines, for a reason worth telling.
    pub(super) fn unusable(warning: String) -> Lines {
        Lines { warning: Some(warning), ..Lines::default() }
    }

    /// Says the files' paths as a user would: those that exist beside the image as seen from here, absolute ones below
    /// the current folder from there. `image` is the file that the lines are from.
    pub(super) fn seen_from_here(&mut self, image: &Path) {
        let folder = image.parent().unwrap_or(Path::new(""));
        let here = std::env::current_dir().ok();
        for file in &mut self.files {
            let path = Path::new(file.as_str());
            let beside = folder.join(path);
            let nearer = if path.is_absolute() {
                here.as_deref().and_then(|here| path.strip_prefix(here).ok()).map(Path::to_path_buf)
            } else {
                beside.is_file().then_some(beside)
            };
            if let Some(nearer) = nearer.as_deref().and_then(Path::to_str) {
                *file = nearer.to_owned();
            }
        }
    }

    fn source(&self, row: &Row) -> SourceLine<'_> {
        SourceLine { file: &self.files[row.file as usize], line: row.line }
    }
}

/// Collects the rows of line programs, which may overlap, into [`Lines`].
#[derive(Default)]
pub(super) struct LinesBuilder {
    files: Vec<String>,
    numbers: HashMap<String, u32>,
    rows: Vec<RawRow>,
    sequences: usize,
}

/// Where a sequence overlaps another, the one that starts later wins, then the earlier one of the
/// file.
type Priority = (u32, std::cmp::Reverse<usize>);

struct RawRow {
    priority: Priority,
    row: Row,
}

impl LinesBuilder {
    /// The number by which rows refer to a file.
    pub fn file(&mut self, path: String) -> u32 {
        if let Some(&number) = self.numbers.get(&path) {
            return number;
        }
        let number = self.files.len() as u32;
        self.files.push(path.clone());
        self.numbers.insert(path, number);
        number
    }

    pub fn files(&self) -> usize {
        self.files.len()
    }

    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    /// Adds one sequence: address, file number and line of each row, ascending, and the end of the
    /// last. A line of 0 is the compiler's word for code that belongs to no line.
    pub fn sequence(&mut self, rows: &[(u32, u32, u32)], end: u32) {
        let Some(&(start, ..)) = rows.first() else {
            return;
        };
        let priority = (start, std::cmp::Reverse(self.sequences));
        self.sequences += 1;
        let ends = rows.iter().skip(1).map(|next| next.0).chain([end]);
        for (&(address, file, line), end) in rows.iter().zip(ends) {
            // Of several rows for one address the last holds, so those without a byte of their own
            // are dropped.
            if address < end {
                self.rows.push(RawRow { priority, row: Row { addresses: address..end, file, line } });
            }
        }
    }

    /// Resolves overlaps by sweeping over the addresses.
    ///
    /// Overlaps are common: for functions that it dropped, a linker leaves sequences that start at
    /// address 0, and in a boot ROM address 0 is real.
    pub fn build(mut self) -> Lines {
        self.rows.sort_by_key(|raw| raw.row.addresses.start);
        let ends = self.rows.iter().flat_map(|raw| [raw.row.addresses.start, raw.row.addresses.end]);
        let mut edges: Vec<u32> = ends.collect();
        edges.sort_unstable();
        edges.dedup();
        let mut rows: Vec<Row> = Vec::new();
        let mut waiting = self.rows.iter().enumerate().peekable();
        let mut active: BinaryHeap<(Priority, usize)> = BinaryHeap::new();
        for edge in edges.windows(2) {
            while let Some((index, raw)) = waiting.next_if(|(_, raw)| raw.row.addresses.start <= edge[0]) {
                active.push((raw.priority, index));
            }
            while active.peek().is_some_and(|&(_, index)| self.rows[index].row.addresses.end <= edge[0]) {
                active.pop();
            }
            if let Some(&(_, index)) = active.peek() {
                append(&mut rows, edge[0]..edge[1], &self.rows[index].row);
            }
        }
        rows.retain(|row| row.line != 0);
        Lines { files: self.files, rows, warning: None }
    }
}

/// Appends a stretch, joined to the one before it if that belongs to the same line.
fn append(rows: &mut Vec<Row>, addresses: Range<u32>, from: &Row) {
    match rows.last_mut() {
        Some(last) if last.addresses.end == addresses.start && (last.file, last.line) == (from.file, from.line) => {
            last.addresses.end = addresses.end;
        }
        _ => rows.push(Row { addresses, ..from.clone() }),
    }
}
