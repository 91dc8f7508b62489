//! A log going out: the contract's columns `t_s,value,unit,overload`, one row a reading, decimal
//! points, no blanks. What is written here reads back as it was, to a microsecond and to the last
//! bit of a value; flushing and syncing are the caller's.

use std::io::{self, Write};

/// Writes a log row by row.
#[derive(Debug)]
pub struct LogWriter<W: Write> {
    out: W,
}

impl<W: Write> LogWriter<W> {
    /// Begins a log with its header.
    ///
    /// # Errors
    /// What the writer says.
    pub fn begin(mut out: W) -> io::Result<Self> {
        out.write_all(b"t_s,value,unit,overload\n")?;
        Ok(Self { out })
    }

    /// Goes on with a log whose header is there.
    pub const fn resume(out: W) -> Self {
        Self { out }
    }

    /// One reading: seconds, volts.
    ///
    /// # Errors
    /// What the writer says.
    pub fn reading(&mut self, t_s: f64, volts: f64) -> io::Result<()> {
        writeln!(self.out, "{t_s:.6},{volts},V,0")
    }

    /// One overload reading.
    ///
    /// # Errors
    /// What the writer says.
    pub fn overload(&mut self, t_s: f64) -> io::Result<()> {
        writeln!(self.out, "{t_s:.6},,V,1")
    }

    /// The writer, to flush and sync.
    pub const fn inner(&mut self) -> &mut W {
        &mut self.out
    }
}
