//! The reader of the format, and the search for files, without the published vectors.

use std::path::PathBuf;

use super::find::{Found, Wanted, find};
use super::format::{ENTRIES, FILE, NAME, STATE, VECTOR, read};
use super::made;

#[test]
fn what_is_written_is_read() {
    let vectors = made::vectors();
    assert_eq!(vectors.len(), 5);
    assert_eq!(read(&made::write(&vectors)), Ok(vectors));
}

/// The writer in this test was made from the same description as the reader; the published files are not.
#[test]
fn published_files_are_read_without_loss() {
    let Some(found) = find() else { return };
    for path in found.files {
        let bytes = std::fs::read(&path).unwrap();
        let vectors = read(&bytes).unwrap_or_else(|what| panic!("{}: {what}", path.display()));
        assert!(made::write(&vectors) == bytes, "{} does not come back as it was", path.display());
    }
}

#[test]
fn a_file_that_ends_early_is_refused() {
    let bytes = made::write(&made::vectors());
    for length in 0..bytes.len() {
        let what = read(&bytes[..length]).expect_err("a truncated file was read");
        assert!(what.contains("are left"), "{length}: {what}");
    }
}

/// Each spoils one long of a good file, at the place where a pattern occurs first.
#[test]
fn a_broken_promise_is_named() {
    let good = made::write(&made::vectors()[..1]);
    let long = u32::to_le_bytes;
    let first = |pattern: &[u8]| good.windows(pattern.len()).position(|window| window == pattern).unwrap();
    let [vector, name, state, entries] = [VECTOR, NAME, STATE, ENTRIES].map(|magic| first(&long(magic)));
    let name_size = u32::from_le_bytes(good[name - 4..name].try_into().unwrap());
    let access = entries + 12;
    let ram = state + 4 + 21 * 4 + 4;
    for (place, value, message) in [
        (0, FILE ^ 1, "no file begins with"),
        (4, 0, "no vector"),
        (4, 2, "vector 1 of 2: vector at byte"),
        (vector, VECTOR ^ 1, "no vector begins with"),
        (name, NAME ^ 1, "no name begins with"),
        (state, STATE ^ 1, "no state before begins with"),
        (entries, ENTRIES ^ 1, "no transactions begins with"),
        (vector - 4, 3, "less than its own size field"),
        (vector - 4, 9, "are left"),
        (vector - 4, u32::MAX, "are left"),
        (name - 4, name_size - 1, "are left"),
        (name - 4, name_size + 1, "left at the end of the name"),
        (name + 4, 0, "left at the end of the name"),
        (name + 8, 0xFFFF_FFFF, "not UTF-8"),
        (state + 4 + 18 * 4, 0x1001, "PC, USP or SSP before is odd"),
        (state + 4 + 19 * 4, 0x1_0000, "is no word"),
        (ram - 4, u32::MAX, "are left"),
        (ram, 0x1001, "is odd or beyond 24 bits"),
        (ram, 0x0100_0000, "is odd or beyond 24 bits"),
        (ram, 0x1002, "is there twice"),
        (entries + 4, 9, "the transactions take 8 clocks, the total says 9"),
        (entries + 8, 1, "left at the end of the transactions"),
        (entries + 8, 3, "are left"),
        (access + 1, 6, "a bus cycle of 6 clocks"),
        (access + 5, 3, "function code 3"),
        (access + 9, 1, "is odd or beyond 24 bits"),
        (access + 13, 0x0180, "on a lane without a strobe"),
        (access + 17, 2, "strobes UDS 2, LDS 1"),
        (access + 21, 0, "strobes UDS 0, LDS 0"),
    ] {
        let mut bad = good.clone();
        bad[place..place + 4].copy_from_slice(&long(value));
        let what = read(&bad).expect_err(message);
        assert!(what.contains(message), "wanted {message:?}, got {what:?}");
    }
    for kind in [3, 6] {
        let mut bad = good.clone();
        bad[access] = kind;
        assert!(read(&bad).expect_err("a kind").contains("which no reader knows"));
    }
    let longer: Vec<u8> = good.iter().copied().chain([0]).collect();
    assert!(read(&longer).expect_err("a longer file").contains("1 bytes are left at the end of the file"));
}

fn wanted(wanted: &Wanted) -> Result<Option<usize>, String> {
    wanted.find().map(|found| found.map(|Found { files, .. }| files.len()))
}

#[test]
fn a_run_without_vectors_is_never_a_full_one() {
    let folder = tempfile::tempdir().unwrap();
    let nowhere = Wanted { beside: folder.path().join("nowhere"), ..Wanted::default() };
    let here = Wanted { folder: Some(folder.path().to_owned()), ..nowhere.clone() };
    let beside = Wanted { beside: folder.path().to_owned(), ..Wanted::default() };
    let refused = |setting: &Wanted, text: &str| {
        let what = wanted(setting).expect_err(text);
        assert!(what.contains(text), "wanted {text:?}, got {what:?}");
    };
    assert_eq!(wanted(&nowhere), Ok(None));
    refused(&Wanted { required: true, ..nowhere.clone() }, "SingleStepTests/m68000");
    refused(&here, "v1");
    refused(&beside, "v1");
    std::fs::create_dir(folder.path().join("v1")).unwrap();
    refused(&here, "has no file");
    refused(&beside, "has no file");
    for name in ["ADD.b.json.bin", "NOP.json.bin", "README.md"] {
        std::fs::write(folder.path().join("v1").join(name), []).unwrap();
    }
    let only = |text: &str| Wanted { only: Some(text.to_owned()), ..here.clone() };
    assert_eq!(wanted(&here), Ok(Some(2)));
    assert_eq!(wanted(&beside), Ok(Some(2)));
    refused(&Wanted { required: true, ..here.clone() }, "asks for all 127 files");
    assert_eq!(wanted(&only("ADD")), Ok(Some(1)));
    refused(&only("MUL"), "whose name contains MUL");
    refused(&Wanted { required: true, ..only("ADD") }, "runs a part of the vectors");
    for number in 2..127 {
        std::fs::write(folder.path().join(format!("v1/{number}.json.bin")), []).unwrap();
    }
    assert_eq!(wanted(&Wanted { required: true, ..here.clone() }), Ok(Some(127)));
    refused(&Wanted { folder: Some(PathBuf::from("/nowhere")), ..beside }, "/nowhere/v1");
}
