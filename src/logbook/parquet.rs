//! A log as Apache Parquet, so that it opens in the usual data tools: columns `t_s` and `volts`
//! (doubles; `volts` is null where the meter was over its range) and `overload` (a boolean), plain
//! and uncompressed. The crate `parquet` writes the format; rows go out in groups, so that memory
//! stays small. Only with the feature `parquet`; without it `no_parquet.rs` stands here.

use ::parquet::basic::Compression;
use ::parquet::data_type::{BoolType, DataType, DoubleType};
use ::parquet::errors::ParquetError;
use ::parquet::file::properties::{EnabledStatistics, WriterProperties};
use ::parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use ::parquet::schema::parser::parse_message_type;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::sync::Arc;

const SCHEMA: &str = "message log {
    required double t_s;
    optional double volts;
    required boolean overload;
}";
/// Rows of a group.
const GROUP: usize = 65_536;

/// Writes a log as Parquet.
pub struct ParquetWriter {
    out: SerializedFileWriter<BufWriter<File>>,
    times: Vec<f64>,
    /// Those of the rows that have any.
    volts: Vec<f64>,
    overloads: Vec<bool>,
}

impl ParquetWriter {
    /// Makes the file, or empties it.
    ///
    /// # Errors
    /// What the file says; so for all of these.
    pub fn create(path: &Path) -> io::Result<Self> {
        let schema = Arc::new(parse_message_type(SCHEMA).map_err(said)?);
        let properties = WriterProperties::builder()
            .set_created_by(format!("coilmark {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::UNCOMPRESSED)
            .set_dictionary_enabled(false)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true)
            .build();
        let file = BufWriter::new(File::create(path)?);
        let out = SerializedFileWriter::new(file, schema, Arc::new(properties)).map_err(said)?;
        Ok(Self { out, times: Vec::new(), volts: Vec::new(), overloads: Vec::new() })
    }

    /// Takes readings: seconds, and as many volts.
    ///
    /// # Errors
    /// What the file says.
    pub fn readings(&mut self, t_s: &[f64], volts: &[f64]) -> io::Result<()> {
        for (t, x) in t_s.iter().zip(volts) {
            self.volts.push(*x);
            self.row(*t, false)?;
        }
        Ok(())
    }

    /// Takes an overload reading.
    ///
    /// # Errors
    /// What the file says.
    pub fn overload(&mut self, t_s: f64) -> io::Result<()> {
        self.row(t_s, true)
    }

    fn row(&mut self, t_s: f64, overload: bool) -> io::Result<()> {
        self.times.push(t_s);
        self.overloads.push(overload);
        if self.times.len() == GROUP { self.end_group().map_err(said) } else { Ok(()) }
    }

    fn end_group(&mut self) -> Result<(), ParquetError> {
        let present: Vec<i16> = self.overloads.iter().map(|over| i16::from(!over)).collect();
        let mut group = self.out.next_row_group()?;
        write_column::<DoubleType>(&mut group, &self.times, None)?;
        write_column::<DoubleType>(&mut group, &self.volts, Some(&present))?;
        write_column::<BoolType>(&mut group, &self.overloads, None)?;
        group.close()?;
        self.times.clear();
        self.volts.clear();
        self.overloads.clear();
        Ok(())
    }

    /// Ends the file.
    ///
    /// # Errors
    /// What the file says.
    pub fn finish(mut self) -> io::Result<()> {
        if !self.times.is_empty() {
            self.end_group().map_err(said)?;
        }
        self.out.into_inner().map_err(said)?.flush()
    }
}

/// The next column of a group; `present` says which rows have a value, if not all have.
fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, BufWriter<File>>,
    values: &[T::T],
    present: Option<&[i16]>,
) -> Result<(), ParquetError> {
    if let Some(mut column) = group.next_column()? {
        column.typed::<T>().write_batch(values, present, None)?;
        column.close()?;
    }
    Ok(())
}

/// The system's own words, where it was the file that failed.
fn said(e: ParquetError) -> io::Error {
    match e {
        ParquetError::External(source) => match source.downcast::<io::Error>() {
            Ok(io) => *io,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    }
}
