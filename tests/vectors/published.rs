//! The test of all published vectors that there are.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use super::compare::compare;
use super::find::{Found, SAMPLE, WHOLE, find, stem};
use super::format::read;
use super::meaning::Category;
use super::report::{FileResult, counts, failures};
use super::run::{Executor, Runner, Runs};

#[test]
fn published_vectors() {
    all_agree::<Runner>();
}

/// The executor of proofs, over numbers: the same vectors and the same comparison.
#[test]
fn published_vectors_by_the_executor() {
    all_agree::<Executor>();
}

fn all_agree<P: Runs + Default>() {
    let Some(found) = find() else { return };
    let results = run_all::<P>(&found);
    eprintln!("{}", counts(&results));
    if let Some(only) = &found.only {
        eprintln!("This was a PARTIAL run: only files whose name contains {only}.");
    }
    let bad = results.iter().filter(|result| !result.good()).count();
    if bad > 0 {
        eprintln!("{}", failures(&results));
        panic!("{bad} of {} files of published vectors have mismatches", results.len());
    }
    let vectors: usize = results.iter().flat_map(|result| result.run).sum();
    assert!(!found.required || vectors >= SAMPLE, "{vectors} vectors are less than the sample");
    // A whole set has vectors of every category; none of a category means that they are not recognised.
    for category in Category::ALL {
        let count: usize = results.iter().map(|result| result.run[category as usize]).sum();
        assert!(count > 0 || found.only.is_some() || results.len() < WHOLE, "no vector is {}", category.name());
    }
}

/// Runs the files on all processors. The results have the order of the files.
fn run_all<P: Runs + Default>(found: &Found) -> Vec<FileResult> {
    let next = AtomicUsize::new(0);
    let results = Mutex::new(Vec::new());
    let threads = thread::available_parallelism().map_or(1, usize::from);
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while let Some(path) = found.files.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let result = run_file::<P>(path);
                    results.lock().unwrap().push(result);
                }
            });
        }
    });
    let mut results = results.into_inner().unwrap();
    results.sort_by(|one, other| one.name.cmp(&other.name));
    results
}

fn run_file<P: Runs + Default>(path: &Path) -> FileResult {
    let mut result = FileResult { name: stem(path), ..FileResult::default() };
    let bytes = std::fs::read(path).map_err(|error| error.to_string());
    let vectors = match bytes.and_then(|bytes| read(&bytes)) {
        Ok(vectors) => vectors,
        Err(what) => {
            result.broken = Some(format!("{}: {what}", path.display()));
            return result;
        }
    };
    let mut runner = P::default();
    for vector in &vectors {
        // One panic is enough: the rest of the file would say the same.
        let Ok(seen) = catch_unwind(AssertUnwindSafe(|| runner.run(vector))) else {
            result.broken = Some(format!("the processor PANICS in {:?}, the rest was not run", vector.name));
            break;
        };
        result.add(vector, &compare(&result.name, vector, &seen));
    }
    result
}
