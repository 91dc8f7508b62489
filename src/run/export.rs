//! The export of a log that is being analysed: rows into a Parquet file as they pass, under the
//! name `FILE.part` until the log has ended well. A write that fails is kept and told at the end,
//! so that the analysis itself goes on undisturbed. A program without the feature `parquet` says
//! so before it reads anything.

use super::failure::{Exit, Failure};
use crate::event::visible;
use crate::logbook::ParquetWriter;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// An export under way.
pub(super) struct Export {
    path: PathBuf,
    part: PathBuf,
    out: io::Result<ParquetWriter>,
}

impl Export {
    /// Begins an export to `path`.
    pub(super) fn begin(path: &Path) -> Result<Self, Failure> {
        let mut part = path.as_os_str().to_owned();
        part.push(".part");
        let part = PathBuf::from(part);
        let out = ParquetWriter::create(&part).map_err(|e| not_written(path, &e))?;
        Ok(Self { path: path.to_owned(), part, out: Ok(out) })
    }

    pub(super) fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        if let Ok(out) = self.out.as_mut()
            && let Err(e) = out.readings(t_s, volts)
        {
            self.out = Err(e);
        }
    }

    pub(super) fn overload(&mut self, t_s: f64) {
        if let Ok(out) = self.out.as_mut()
            && let Err(e) = out.overload(t_s)
        {
            self.out = Err(e);
        }
    }

    /// Ends the file and gives it its name.
    pub(super) fn finish(self) -> Result<(), Failure> {
        let Self { path, part, out } = self;
        let done = out.and_then(ParquetWriter::finish).and_then(|()| fs::rename(&part, &path));
        done.map_err(|e| {
            let _ = fs::remove_file(&part);
            not_written(&path, &e)
        })
    }

    /// Leaves nothing behind.
    pub(super) fn give_up(self) {
        let _ = fs::remove_file(&self.part);
    }
}

fn not_written(path: &Path, e: &io::Error) -> Failure {
    let message = format!("{}: not written: {e}", visible(&path.display().to_string()));
    if e.kind() == io::ErrorKind::Unsupported {
        let hint =
            "build it with `cargo build --release --features parquet`, or leave --parquet out";
        return Failure::bad_input(message, hint);
    }
    Failure::new(Exit::RecordNotWritten, message, "name a file in a folder that is there")
}
