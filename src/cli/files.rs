//! Files that a run writes: opened before the first case runs, put in their places when everything has been written.
//!
//! [`Files`] writes to temporary files beside the targets, so that what exists is whole at any time: it is untouched if
//! the run is refused, interrupted, or cannot write.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tempfile::NamedTempFile;

use super::{Failure, exit};

/// The longest chain of symbolic links.
const LONGEST_CHAIN: usize = 40;

/// The files of one run.
pub struct Files {
    /// What the run reads, as canonical paths.
    inputs: Vec<PathBuf>,
    open: Vec<OpenFile>,
}

/// A file that is not in its place yet.
struct OpenFile {
    option: &'static str,
    /// As the user gave it.
    path: PathBuf,
    /// Where it goes: no symbolic link.
    target: PathBuf,
    temporary: NamedTempFile,
}

impl Files {
    /// No files yet, for a run that reads `inputs`.
    pub fn new(inputs: &[PathBuf]) -> Self {
        Self { inputs: inputs.iter().filter_map(|input| input.canonicalize().ok()).collect(), open: Vec::new() }
    }

    /// Opens the file for an option.
    pub fn open(&mut self, option: &'static str, path: &Path) -> Result<FileWriter, Failure> {
        let refuse = |why: String| Failure::Usage(format!("{option} {}: {why}", path.display()));
        let target = target(path).map_err(refuse)?;
        if let Some(other) = self.open.iter().find(|other| other.target == target) {
            return Err(refuse(format!("{} writes this file already", other.option)));
        }
        if self.inputs.contains(&target) {
            return Err(refuse("the run reads this file, so it is not overwritten".to_owned()));
        }
        let temporary = temporary(&target).map_err(|error| refuse(format!("the file cannot be written: {error}")))?;
        remove_when_interrupted(temporary.path());
        let file = temporary.as_file().try_clone()?;
        self.open.push(OpenFile { option, path: path.to_owned(), target, temporary });
        Ok(FileWriter { path: path.to_owned(), file: BufWriter::new(file) })
    }

    /// Puts all files in their places; what was written to them has been flushed.
    pub fn put_in_place(self) -> Result<(), Failure> {
        for open in &self.open {
            // Some file systems say only now that they are full.
            open.temporary.as_file().sync_all().map_err(|error| about(&open.path, &error))?;
        }
        for open in self.open {
            open.temporary.persist(&open.target).map_err(|error| about(&open.path, &error.error))?;
        }
        Ok(())
    }
}

/// Writes one of the files; errors name it.
pub struct FileWriter {
    path: PathBuf,
    file: BufWriter<File>,
}

impl Write for FileWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes).map_err(|error| about(&self.path, &error))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush().map_err(|error| about(&self.path, &error))
    }
}

fn about(path: &Path, error: &io::Error) -> io::Error {
    io::Error::new(error.kind(), format!("{}: {error}", path.display()))
}

/// The file that a path means, symbolic links followed; one that does not exist yet may be made there.
fn target(path: &Path) -> Result<PathBuf, String> {
    let mut path = path.to_owned();
    for _ in 0..LONGEST_CHAIN {
        let Some(name) = path.file_name().filter(|_| !path.to_string_lossy().ends_with('/')) else {
            return Err("this is no name of a file".to_owned());
        };
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let missing = |error: io::Error| format!("the folder {} cannot be used: {error}", folder.display());
        let folder = folder.canonicalize().map_err(missing)?;
        if !folder.is_dir() {
            return Err(missing(io::ErrorKind::NotADirectory.into()));
        }
        path = folder.join(name);
        match fs::symlink_metadata(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(path),
            Err(error) => return Err(format!("the file cannot be written: {error}")),
            Ok(about) if about.is_dir() => return Err("this is a folder, but a file is needed".to_owned()),
            Ok(about) if about.is_file() => return Ok(path),
            Ok(about) if about.is_symlink() => {
                let link = fs::read_link(&path).map_err(|error| format!("the link cannot be followed: {error}"))?;
                path = folder.join(link);
            }
            Ok(_) => return Err("this is a device, pipe or socket, but a regular file is needed".to_owned()),
        }
    }
    Err("the symbolic links lead round and round".to_owned())
}

/// A new file beside the target, with the permissions that the target has or would get.
fn temporary(target: &Path) -> io::Result<NamedTempFile> {
    // A file that may not be written is not replaced either, though the folder would let us.
    let permissions = match OpenOptions::new().write(true).open(target) {
        Ok(file) => Some(file.metadata()?.permissions()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(error) => return Err(error),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".keyway-").suffix(".tmp");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let temporary = builder.tempfile_in(target.parent().unwrap_or(Path::new(".")))?;
    if let Some(permissions) = permissions {
        temporary.as_file().set_permissions(permissions)?;
    }
    Ok(temporary)
}

/// The temporary files that an interrupted run would leave behind.
static LEFT_BEHIND: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn remove_when_interrupted(temporary: &Path) {
    let mut left = LEFT_BEHIND.lock().unwrap_or_else(PoisonError::into_inner);
    if left.is_empty() {
        // Without a handler the run still works; it only does not tidy up.
        let _ = ctrlc::set_handler(|| {
            for path in LEFT_BEHIND.lock().unwrap_or_else(PoisonError::into_inner).iter() {
                // One that is in its place already is not there any more.
                let _ = fs::remove_file(path);
            }
            std::process::exit(exit::INTERRUPTED.into());
        });
    }
    left.push(temporary.to_owned());
}
