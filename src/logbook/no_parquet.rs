//! Stands in for the Parquet writer in a program that was built without the feature `parquet`:
//! asking for one says so. There is no value of its type, so that nothing can be written by
//! mistake.

use std::io;
use std::path::Path;

/// Writes a log as Parquet, with the feature `parquet`.
pub enum ParquetWriter {}

impl ParquetWriter {
    /// Makes no file.
    ///
    /// # Errors
    /// Always: [`io::ErrorKind::Unsupported`].
    pub fn create(_: &Path) -> io::Result<Self> {
        let why = "this program was built without the feature parquet";
        Err(io::Error::new(io::ErrorKind::Unsupported, why))
    }

    /// Takes readings.
    ///
    /// # Errors
    /// None; there is no such writer.
    pub fn readings(&mut self, _: &[f64], _: &[f64]) -> io::Result<()> {
        match *self {}
    }

    /// Takes an overload reading.
    ///
    /// # Errors
    /// None; there is no such writer.
    pub fn overload(&mut self, _: f64) -> io::Result<()> {
        match *self {}
    }

    /// Ends the file.
    ///
    /// # Errors
    /// None; there is no such writer.
    pub fn finish(self) -> io::Result<()> {
        match self {}
    }
}
