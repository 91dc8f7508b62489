//! Recorded logs: CSV in, readings out, and back. A log has a header; which column is what is read
//! off its names (`header`). Rows of the usual shape go through a plain byte loop (`fast`), any
//! other through csv-core (`record`, `row`), with the same outcome: a property test holds that.
//! Memory is one block of 256 KiB however long the log. Broken rows are skipped and counted, never
//! guessed at. Seconds and volts come out; what they mean is for the analysis. A log goes out row
//! by row (`write`, `log_file`), or as Parquet with that feature.

mod decimal;
mod error;
mod fast;
mod header;
mod log_file;
#[cfg_attr(not(feature = "parquet"), path = "no_parquet.rs")]
mod parquet;
mod record;
mod row;
mod shape;
mod stamp;
mod tail;
mod write;

pub use error::{LogError, LogFileError};
pub use header::Columns;
pub use log_file::{LogDigest, LogFile, digest, open_whole};
pub use parquet::ParquetWriter;
pub use tail::GoneOn;
pub use write::{Durable, LogWriter};

use fast::Batch;
use header::Layout;
use record::Record;
use row::{Clock, Row};
use std::io::{ErrorKind, Read};

const BLOCK: usize = 256 * 1024;
/// A record longer than this is broken, whatever it is.
const RECORD_MAX: usize = 1024 * 1024;
/// Readings are handed on in batches of this many.
const BATCH: usize = 8192;

/// Where the readings of a log go.
pub trait Listener {
    /// Readings in the order of the log: seconds, and as many volts.
    fn readings(&mut self, t_s: &[f64], volts: &[f64]);
    /// A reading beyond the meter's range.
    fn overload(&mut self, t_s: f64);
}

/// What was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rows {
    /// Rows with something on them, the header not counted.
    pub rows: u64,
    /// Those of them that could not be read.
    pub broken: u64,
    /// The first of those, counted from 1, and what is wrong with it.
    pub first_broken: Option<(u64, String)>,
}

/// How rows are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// The usual shape through the byte loop, the rest through csv-core.
    Fast,
    /// Everything through csv-core.
    Plain,
}

/// Reads a log to its end.
///
/// # Errors
/// [`LogError`] where it cannot be read, has no usable header or no reading, or where more than a
/// tenth of its rows are broken.
pub fn read(
    source: impl Read,
    columns: &Columns,
    pace: Pace,
    listener: &mut impl Listener,
) -> Result<Rows, LogError> {
    let mut blocks = Blocks { source, bytes: vec![0; BLOCK], from: 0, to: 0, ended: false };
    let layout = loop {
        if let Some((layout, length)) = header::find(blocks.rest(), blocks.ended, columns)? {
            blocks.from += length;
            break layout;
        }
        blocks.more()?;
    };
    let mut taking = Taking {
        record: Record::new(layout.delimiter),
        layout,
        pace,
        clock: Clock::default(),
        rows: Rows::default(),
        batch: Batch::default(),
        listener,
    };
    loop {
        let taken = taking.take(blocks.rest(), blocks.ended);
        blocks.from += taken;
        if blocks.ended {
            break;
        }
        blocks.more()?;
    }
    taking.hand_on();
    let rows = taking.rows;
    if rows.broken * 10 > rows.rows || rows.broken == rows.rows {
        return Err(error::too_broken(rows));
    }
    Ok(rows)
}

/// The log in blocks; what is left of one stands in front of the next.
struct Blocks<R> {
    source: R,
    bytes: Vec<u8>,
    from: usize,
    to: usize,
    ended: bool,
}

impl<R: Read> Blocks<R> {
    fn rest(&self) -> &[u8] {
        self.bytes.get(self.from..self.to).unwrap_or(&[])
    }

    fn more(&mut self) -> Result<(), LogError> {
        self.bytes.copy_within(self.from..self.to, 0);
        (self.from, self.to) = (0, self.to - self.from);
        if self.to == self.bytes.len() {
            self.bytes.resize(self.to * 2, 0);
        }
        loop {
            let free = self.bytes.get_mut(self.to..).unwrap_or(&mut []);
            match self.source.read(free) {
                Ok(0) => self.ended = true,
                Ok(n) => self.to += n,
                Err(e) if e.kind() == ErrorKind::Interrupted => continue,
                Err(e) => return Err(LogError::NotRead(e)),
            }
            return Ok(());
        }
    }
}

struct Taking<'a, L> {
    record: Record,
    layout: Layout,
    pace: Pace,
    clock: Clock,
    rows: Rows,
    batch: Batch,
    listener: &'a mut L,
}

impl<L: Listener> Taking<'_, L> {
    /// Takes the whole records at the start of `bytes`; how many bytes they are.
    fn take(&mut self, bytes: &[u8], ended: bool) -> usize {
        let whole = bytes.iter().rposition(|b| matches!(b, b'\n' | b'\r')).map_or(0, |i| i + 1);
        let mut at = 0;
        while at < whole || (ended && at < bytes.len()) {
            if let (Pace::Fast, Some(origin)) = (self.pace, self.clock.origin_s()) {
                let before = self.batch.t.len();
                at = fast::rows(bytes, at, &self.layout, origin, BATCH, &mut self.batch);
                self.rows.rows += (self.batch.t.len() - before) as u64;
                if self.batch.t.len() >= BATCH {
                    self.hand_on();
                    continue;
                }
                if at >= whole && !(ended && at < bytes.len()) {
                    break;
                }
            }
            let rest = bytes.get(at..).unwrap_or(&[]);
            let Some(end) = self.record.read(rest, ended) else {
                if rest.len() > RECORD_MAX {
                    self.broken("a record of more than a megabyte");
                    return bytes.len();
                }
                break;
            };
            self.take_record();
            at += end;
        }
        at
    }

    /// One record of whatever shape.
    fn take_record(&mut self) {
        match row::read(&self.record, &self.layout, &mut self.clock) {
            Ok(None) => {}
            Ok(Some(Row { t, value })) => {
                self.rows.rows += 1;
                match value {
                    Some(x) => self.reading(t, x),
                    None => self.overload(t),
                }
            }
            Err(why) => self.broken(&why),
        }
    }

    fn reading(&mut self, t: f64, x: f64) {
        self.batch.t.push(t);
        self.batch.x.push(x);
        if self.batch.t.len() == BATCH {
            self.hand_on();
        }
    }

    fn overload(&mut self, t: f64) {
        self.hand_on();
        self.listener.overload(t);
    }

    fn broken(&mut self, why: &str) {
        self.rows.rows += 1;
        self.rows.broken += 1;
        if self.rows.first_broken.is_none() {
            self.rows.first_broken = Some((self.rows.rows, why.into()));
        }
    }

    fn hand_on(&mut self) {
        if !self.batch.t.is_empty() {
            self.listener.readings(&self.batch.t, &self.batch.x);
        }
        self.batch.t.clear();
        self.batch.x.clear();
    }
}
