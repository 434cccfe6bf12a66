//! Where the vectors are: the folder of `KEYWAY_CPU_VECTORS`, or `../shared/cpu-vectors` beside the package. Whoever
//! has neither can still run the tests; `KEYWAY_REQUIRE_VECTORS=1` makes that, and any run of a part, a failure.

use std::env;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Once;

const FOLDER: &str = "KEYWAY_CPU_VECTORS";
const REQUIRE: &str = "KEYWAY_REQUIRE_VECTORS";
const ONLY: &str = "KEYWAY_VECTORS_ONLY";
const ENDING: &str = ".json.bin";
/// The files of the whole set, and of a sample of each.
pub const WHOLE: usize = 127;
/// The vectors of the sample that was taken of them; the whole set has 317,500.
pub const SAMPLE: usize = 12_700;

/// The files to run.
pub struct Found {
    pub files: Vec<PathBuf>,
    /// The text that chose them, if they are not all.
    pub only: Option<String>,
    /// Whether somebody insists on all of them.
    pub required: bool,
}

/// What the environment asks for.
#[derive(Clone, Default)]
pub struct Wanted {
    pub folder: Option<PathBuf>,
    pub beside: PathBuf,
    pub required: bool,
    pub only: Option<String>,
}

impl Wanted {
    pub fn from_environment() -> Self {
        let text = |name| env::var_os(name).filter(|value| !value.is_empty());
        Self {
            folder: text(FOLDER).map(PathBuf::from),
            beside: Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/cpu-vectors"),
            required: text(REQUIRE).is_some_and(|value| value != "0"),
            only: text(ONLY).map(|value| value.to_string_lossy().into_owned()),
        }
    }

    /// The files, or `None` if there is no folder and nobody insists.
    ///
    /// # Errors
    /// A sentence if vectors were asked for that are not there.
    pub fn find(&self) -> Result<Option<Found>, String> {
        if let (true, Some(only)) = (self.required, &self.only) {
            return Err(format!("{ONLY}={only} runs a part of the vectors, but {REQUIRE} asks for all of them"));
        }
        let Some(folder) = self.folder.as_deref().or_else(|| self.beside.exists().then_some(&*self.beside)) else {
            if self.required {
                return Err(format!("{REQUIRE} is set, but {}", where_to_get()));
            }
            return Ok(None);
        };
        let all = list(&folder.join("v1"))?;
        if self.required && all.len() < WHOLE {
            let place = folder.join("v1");
            return Err(format!("{REQUIRE} asks for all {WHOLE} files, {} has {}", place.display(), all.len()));
        }
        let files: Vec<PathBuf> = match &self.only {
            None => all,
            Some(only) => all.into_iter().filter(|path| stem(path).contains(only.as_str())).collect(),
        };
        if files.is_empty() {
            let filter = self.only.as_ref().map_or(String::new(), |only| format!(" whose name contains {only}"));
            return Err(format!("{} has no file *{ENDING}{filter}", folder.join("v1").display()));
        }
        Ok(Some(Found { files, only: self.only.clone(), required: self.required }))
    }
}

/// The files that the environment asks for. Says so if there are none.
///
/// # Panics
/// If they were asked for and are not there.
pub fn find() -> Option<Found> {
    let found = Wanted::from_environment().find().unwrap_or_else(|what| panic!("{what}"));
    if found.is_none() {
        // Not `eprintln!`: the test harness would swallow it, since the test passes. Once: several tests ask.
        static SAID: Once = Once::new();
        SAID.call_once(|| {
            let _ = writeln!(std::io::stderr(), "The published vectors were NOT run: {}", where_to_get());
        });
    }
    found
}

fn where_to_get() -> String {
    format!(
        "there is no folder of them. They are the open data set SingleStepTests/m68000 on GitHub; set {FOLDER} to a \
         folder that contains its v1/."
    )
}

fn list(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let broken = |error: std::io::Error| format!("the vectors in {}: {error}", folder.display());
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(broken)? {
        let path = entry.map_err(broken)?.path();
        if path.to_string_lossy().ends_with(ENDING) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// The name of a file without its ending: the instruction and its size.
pub fn stem(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.strip_suffix(ENDING).unwrap_or(&name).to_owned()
}
