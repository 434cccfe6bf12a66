//! Image files in a folder that vanishes with the test.

use std::fs::File;
use std::io::Write;
use std::path::PathBuf;

use keyway::rom::{ByteOrder, Format, HostRom, HostSource, ImageFiles, RomError};
use tempfile::TempDir;

/// Where the host answers in all tests that do not say otherwise.
pub const LAST: u32 = 0x1F_FFFF;

/// A folder of input files and the settings they are loaded with.
pub struct Bench {
    folder: TempDir,
    pub source: HostSource,
}

impl Bench {
    /// One image file with the given content.
    pub fn image(content: impl AsRef<[u8]>) -> Bench {
        let folder = TempDir::new().expect("a temporary folder");
        let image = ImageFiles::One(folder.path().join("image"));
        let source = HostSource {
            image,
            format: None,
            byte_order: ByteOrder::Normal,
            origin: None,
            symbols: None,
            range: 0..=LAST,
        };
        let bench = Bench { folder, source };
        bench.write("image", content);
        bench
    }

    /// Two halves.
    pub fn halves(even: impl AsRef<[u8]>, odd: impl AsRef<[u8]>) -> Bench {
        let mut bench = Bench::image("");
        let (even, odd) = (bench.write("even", even), bench.write("odd", odd));
        bench.source.image = ImageFiles::Halves { even, odd };
        bench
    }

    pub fn format(mut self, format: Format) -> Bench {
        self.source.format = Some(format);
        self
    }

    pub fn swapped(mut self) -> Bench {
        self.source.byte_order = ByteOrder::Swapped;
        self
    }

    pub fn origin(mut self, origin: u32) -> Bench {
        self.source.origin = Some(origin);
        self
    }

    pub fn symbols(mut self, text: impl AsRef<[u8]>) -> Bench {
        self.source.symbols = Some(self.write("symbols", text));
        self
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        // Cut to length after writing: some file systems flush a file to the disk at once if it was
        // emptied first, which the tests that write thousands of files would wait for.
        let content = content.as_ref();
        let write = || -> std::io::Result<()> {
            let mut file = File::options().create(true).write(true).truncate(false).open(&path)?;
            file.write_all(content)?;
            file.set_len(content.len() as u64)
        };
        write().expect("a file in the temporary folder");
        path
    }

    pub fn load(&self) -> HostRom {
        self.try_load().unwrap_or_else(|error| panic!("{error}"))
    }

    pub fn try_load(&self) -> Result<HostRom, RomError> {
        HostRom::load(&self.source)
    }

    pub fn error(&self) -> RomError {
        self.try_load().expect_err("the input must be refused")
    }

    /// The message without the folder, which differs from run to run.
    pub fn refusal(&self) -> String {
        let folder = format!("{}{}", self.folder.path().display(), std::path::MAIN_SEPARATOR);
        self.error().to_string().replace(&folder, "")
    }
}
