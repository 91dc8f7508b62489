//! A log as Apache Parquet, so that it opens in the usual data tools: columns `t_s` and `volts`
//! (doubles; `volts` is null where the meter was over its range) and `overload` (a boolean). Plain
//! and uncompressed, by the format's specification (apache/parquet-format, version 1 data pages);
//! [`thrift`](super::thrift) writes its headers. Rows go out in groups, so that memory stays small.

use super::thrift::{Compact, I32, STRUCT, TEXT};
use std::io::{self, Write};

const MAGIC: &[u8] = b"PAR1";
/// Rows of a group.
const GROUP: usize = 65_536;

// Physical types, repetitions and encodings, as parquet.thrift numbers them.
const BOOLEAN: i64 = 0;
const DOUBLE: i64 = 5;
const REQUIRED: i64 = 0;
const OPTIONAL: i64 = 1;
const PLAIN: i64 = 0;
const RLE: i64 = 3;

const COLUMNS: [(&str, i64, i64); 3] =
    [("t_s", DOUBLE, REQUIRED), ("volts", DOUBLE, OPTIONAL), ("overload", BOOLEAN, REQUIRED)];

/// Writes a log as Parquet.
#[derive(Debug)]
pub struct ParquetWriter<W: Write> {
    out: W,
    at: u64,
    times: Vec<u8>,
    volts: Vec<u8>,
    /// Of each row of the group, whether it is an overload.
    overloads: Vec<bool>,
    groups: Vec<Group>,
}

/// Where the pages of a group stand, how long they are, and for how many rows.
#[derive(Clone, Copy, Debug)]
struct Group {
    rows: i64,
    pages: [(i64, i64); 3],
}

impl<W: Write> ParquetWriter<W> {
    /// Begins a file.
    ///
    /// # Errors
    /// What the writer says; so for all of these.
    pub fn begin(mut out: W) -> io::Result<Self> {
        out.write_all(MAGIC)?;
        let at = MAGIC.len() as u64;
        let (times, volts, overloads) = (Vec::new(), Vec::new(), Vec::new());
        Ok(Self { out, at, times, volts, overloads, groups: Vec::new() })
    }

    /// Takes readings: seconds, and as many volts.
    ///
    /// # Errors
    /// What the writer says.
    pub fn readings(&mut self, t_s: &[f64], volts: &[f64]) -> io::Result<()> {
        for (t, x) in t_s.iter().zip(volts) {
            self.times.extend_from_slice(&t.to_le_bytes());
            self.volts.extend_from_slice(&x.to_le_bytes());
            self.row(false)?;
        }
        Ok(())
    }

    /// Takes an overload reading.
    ///
    /// # Errors
    /// What the writer says.
    pub fn overload(&mut self, t_s: f64) -> io::Result<()> {
        self.times.extend_from_slice(&t_s.to_le_bytes());
        self.row(true)
    }

    fn row(&mut self, overload: bool) -> io::Result<()> {
        self.overloads.push(overload);
        if self.overloads.len() == GROUP { self.end_group() } else { Ok(()) }
    }

    fn end_group(&mut self) -> io::Result<()> {
        let rows = self.overloads.len();
        let (times, mut volts) = (std::mem::take(&mut self.times), levels(&self.overloads));
        volts.append(&mut self.volts);
        let flags = bits(&self.overloads);
        let mut pages = [(0, 0); 3];
        for (page, body) in pages.iter_mut().zip([&times, &volts, &flags]) {
            let header = page_header(rows, body.len());
            self.out.write_all(&header)?;
            self.out.write_all(body)?;
            let length = (header.len() + body.len()) as u64;
            *page = (self.at.cast_signed(), length.cast_signed());
            self.at += length;
        }
        self.groups.push(Group { rows: whole(rows), pages });
        self.times = times;
        self.times.clear();
        self.overloads.clear();
        Ok(())
    }

    /// Ends the file and gives back what was written to.
    ///
    /// # Errors
    /// What the writer says.
    pub fn finish(mut self) -> io::Result<W> {
        if !self.overloads.is_empty() {
            self.end_group()?;
        }
        let footer = footer(&self.groups);
        self.out.write_all(&footer)?;
        let length = u32::try_from(footer.len())
            .map_err(|_| io::Error::other("too many rows for one Parquet file"))?;
        self.out.write_all(&length.to_le_bytes())?;
        self.out.write_all(MAGIC)?;
        self.out.flush()?;
        Ok(self.out)
    }
}

/// Which rows have a value: runs of equal one-bit levels, behind their length in bytes.
fn levels(overloads: &[bool]) -> Vec<u8> {
    let mut runs = vec![0; 4];
    for run in overloads.chunk_by(|a, b| a == b) {
        let mut header = run.len() << 1;
        while header > 0x7f {
            runs.push((header & 0x7f) as u8 | 0x80);
            header >>= 7;
        }
        runs.push((header & 0x7f) as u8);
        runs.push(u8::from(run.first() == Some(&false)));
    }
    // A group's runs are far shorter than 4 GiB.
    let length = u32::try_from(runs.len() - 4).unwrap_or(u32::MAX).to_le_bytes();
    runs.splice(..4, length);
    runs
}

/// Eight flags a byte, the first lowest.
fn bits(flags: &[bool]) -> Vec<u8> {
    let eight = |flags: &[bool]| {
        flags.iter().enumerate().fold(0, |byte, (i, flag)| byte | u8::from(*flag) << i)
    };
    flags.chunks(8).map(eight).collect()
}

fn page_header(rows: usize, bytes: usize) -> Vec<u8> {
    let mut header = Compact::default();
    header.i32(1, 0);
    header.i32(2, whole(bytes));
    header.i32(3, whole(bytes));
    header.begin(5);
    header.i32(1, whole(rows));
    header.i32(2, PLAIN);
    header.i32(3, RLE);
    header.i32(4, RLE);
    header.end();
    header.end();
    header.bytes()
}

fn footer(groups: &[Group]) -> Vec<u8> {
    let mut footer = Compact::default();
    footer.i32(1, 1);
    footer.list(2, STRUCT, 1 + COLUMNS.len());
    footer.element();
    footer.text(4, "log");
    footer.i32(5, whole(COLUMNS.len()));
    footer.end();
    for (name, kind, repetition) in COLUMNS {
        footer.element();
        footer.i32(1, kind);
        footer.i32(3, repetition);
        footer.text(4, name);
        footer.end();
    }
    footer.i64(3, groups.iter().map(|group| group.rows).sum());
    footer.list(4, STRUCT, groups.len());
    for group in groups {
        footer.element();
        footer.list(1, STRUCT, COLUMNS.len());
        for (column, page) in COLUMNS.iter().zip(group.pages) {
            chunk(&mut footer, *column, page, group.rows);
        }
        footer.i64(2, group.pages.iter().map(|(_, length)| length).sum());
        footer.i64(3, group.rows);
        footer.end();
    }
    footer.text(6, "coilmark");
    footer.end();
    footer.bytes()
}

/// One column of one group.
fn chunk(footer: &mut Compact, column: (&str, i64, i64), page: (i64, i64), rows: i64) {
    let ((name, kind, _), (at, length)) = (column, page);
    footer.element();
    footer.i64(2, at);
    footer.begin(3);
    footer.i32(1, kind);
    footer.list(2, I32, 2);
    footer.number(PLAIN);
    footer.number(RLE);
    footer.list(3, TEXT, 1);
    footer.letters(name);
    footer.i32(4, 0);
    footer.i64(5, rows);
    footer.i64(6, length);
    footer.i64(7, length);
    footer.i64(9, at);
    footer.end();
    footer.end();
}

fn whole(n: usize) -> i64 {
    (n as u64).cast_signed()
}
