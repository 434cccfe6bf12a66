//! What `keyway explain` prints for each shape, as files. KEYWAY_REWRITE=1 rewrites them; `facts` then still holds.

use std::{env, fs};

use snapbox::{Assert, Data};

use super::case_files;
use crate::support::{root, run};

#[test]
fn explanations_read_as_they_did() {
    let folder = root().join("tests/explaining/snapshots");
    let rewrite = env::var_os("KEYWAY_REWRITE").is_some();
    let mut differences = String::new();
    let mut wanted = Vec::new();
    for file in case_files() {
        let name = file.file_stem().expect("a name").to_string_lossy().into_owned();
        let shown = run(root(), &["explain", &format!("tests/explaining/cases/{name}.yaml")]);
        assert_eq!((shown.code, shown.err.as_str()), (0, ""), "keyway explain {name}");
        let path = folder.join(format!("{name}.txt"));
        wanted.push(path.clone());
        if rewrite {
            fs::create_dir_all(&folder).expect("the folder of snapshots");
            fs::write(&path, &shown.out).expect("a snapshot");
        }
        let expected = fs::read_to_string(&path).unwrap_or_default();
        if let Err(difference) = Assert::new().try_eq(Some(&name), Data::text(shown.out), Data::text(expected)) {
            differences += &difference.to_string();
        }
    }
    assert!(
        differences.is_empty(),
        "explanations changed; if they are right, `KEYWAY_REWRITE=1 cargo test explaining` rewrites the snapshots\n\
         {differences}"
    );
    for entry in fs::read_dir(&folder).expect("the snapshots") {
        let path = entry.expect("a snapshot").path();
        assert!(wanted.contains(&path), "{} is the snapshot of nothing", path.display());
    }
}
