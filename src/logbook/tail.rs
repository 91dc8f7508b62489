//! A log that a power cut or a kill has ended, made ready to go on: whatever stands behind its
//! last whole row is moved to `NAME.torn` beside it, durably, before it is taken off. Rows before
//! that one are left as they are. A row is whole if it is one of the writer's and its line ends.

use super::error::LogFileError;
use super::write::{HEADER, LogWriter, sync_folder};
use rustix::fs::OFlags;
use std::ffi::OsString;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// No line of a log that goes on is longer than this.
const LINE_MAX: u64 = 4096;

/// What a log held when it was opened to go on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GoneOn {
    /// Rows that are kept.
    pub rows: u64,
    /// The time of the last of them, in seconds.
    pub last_s: Option<f64>,
    /// Bytes that were set aside.
    pub torn_bytes: u64,
}

impl LogWriter<File> {
    /// Opens a log that was begun before, to append to it. A log that was cut inside its header
    /// begins anew.
    ///
    /// # Errors
    /// [`LogFileError`] where it is not there, is no log of this program, or takes no bytes.
    pub fn open_to_go_on(path: &Path) -> Result<(Self, GoneOn), LogFileError> {
        let failed = |step| move |source| LogFileError { file: path.to_owned(), step, source };
        let file = plain().read(true).append(true).open(path);
        let mut file = file.map_err(failed("opening the log to go on"))?;
        let length = file.metadata().map_err(failed("looking at the log"))?.len();
        let kept = whole_rows(&file).map_err(failed("reading the log"))?;
        let gone_on = GoneOn { torn_bytes: length - kept.bytes, ..kept.gone_on };
        if gone_on.torn_bytes > 0 {
            set_aside(path, &mut file, kept.bytes).map_err(failed("setting a torn row aside"))?;
        }
        if kept.bytes == 0 {
            return Ok((Self::begin(file, path)?, gone_on));
        }
        Ok((Self::resume(file, path, gone_on.rows), gone_on))
    }
}

struct Kept {
    bytes: u64,
    gone_on: GoneOn,
}

/// How many bytes of the log are whole rows, and the header ahead of them.
pub(super) fn whole_bytes(file: &File) -> io::Result<u64> {
    Ok(whole_rows(file)?.bytes)
}

/// How far the log is whole.
fn whole_rows(file: &File) -> io::Result<Kept> {
    let mut lines = BufReader::with_capacity(64 * 1024, file);
    let mut line = Vec::new();
    let mut next = |line: &mut Vec<u8>| {
        line.clear();
        lines.by_ref().take(LINE_MAX).read_until(b'\n', line)
    };
    next(&mut line)?;
    if line != HEADER {
        // Cut while it was begun: nothing is lost but the header.
        if HEADER.starts_with(&line) {
            return Ok(Kept { bytes: 0, gone_on: GoneOn::default() });
        }
        let found = line.get(..line.len().min(60)).unwrap_or(&line).escape_ascii().to_string();
        let wanted = HEADER.trim_ascii().escape_ascii();
        return Err(io::Error::other(format!("expected the header {wanted}, found {found}")));
    }
    let mut kept = Kept { bytes: line.len() as u64, gone_on: GoneOn::default() };
    let (mut at, mut rows) = (kept.bytes, 0);
    while next(&mut line)? > 0 {
        at += line.len() as u64;
        rows += 1;
        if let Some(t) = whole_row(&line) {
            kept = Kept { bytes: at, gone_on: GoneOn { rows, last_s: Some(t), torn_bytes: 0 } };
        }
    }
    Ok(kept)
}

/// The time of a row, if the line is one of the writer's.
fn whole_row(line: &[u8]) -> Option<f64> {
    let line = std::str::from_utf8(line).ok()?.strip_suffix('\n')?;
    let mut fields = line.split(',');
    let t: f64 = fields.next()?.parse().ok()?;
    let value = fields.next()?;
    let overload = (fields.next()?, fields.next()?) == ("V", "1") && value.is_empty();
    let number = line.ends_with(",V,0") && value.parse::<f64>().is_ok_and(f64::is_finite);
    (t.is_finite() && (overload || number) && fields.next().is_none()).then_some(t)
}

/// Copies the tail to `NAME.torn`, durably, before it is taken off the log.
fn set_aside(path: &Path, file: &mut File, from: u64) -> io::Result<()> {
    let mut name = OsString::from(path);
    name.push(".torn");
    let name = PathBuf::from(name);
    let mut torn = plain().append(true).create(true).mode(0o644).open(&name)?;
    file.seek(SeekFrom::Start(from))?;
    io::copy(file, &mut torn)?;
    torn.write_all(b"\n")?;
    torn.sync_data()?;
    sync_folder(&name)?;
    file.set_len(from)?;
    file.sync_all()
}

/// A link in the way is an error, not followed.
fn plain() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.custom_flags(OFlags::NOFOLLOW.bits().cast_signed());
    options
}
