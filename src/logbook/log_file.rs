//! The log of a live run in a job folder: `output-1.csv`, `output-2.csv`, ... Rows in; on disk at
//! least twice a second, all that arrived since then in one sync. A row that was torn by loss of
//! power is cut off when the log is gone on with, and said. Whoever wants to know later whether it
//! is still the same file takes its [`Digest`]. Clocks are the caller's.

use super::LogWriter;
use drivers::Moment;
use rustix::fs::OFlags;
use sha2::{Digest as _, Sha256};
use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Rows wait no longer than this to be on disk; the contract is a second.
const SYNC_EVERY: Duration = Duration::from_millis(500);
/// So many logs in one folder, and no more.
const LOGS_MAX: u32 = 9999;

/// Why a log cannot be written or read.
#[derive(Debug, thiserror::Error)]
#[error("{}: log: {step}", crate::event::visible(&file.display().to_string()))]
pub struct LogFileError {
    /// The file.
    pub file: PathBuf,
    /// What was being done.
    pub step: &'static str,
    /// What the system said.
    #[source]
    pub source: io::Error,
}

/// What a log is, for whoever checks it later.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogDigest {
    /// How many rows stand below the header.
    pub rows: u64,
    /// SHA-256 of the whole file, in hex.
    pub sha256: String,
}

/// An open log: the only writer of its file.
#[derive(Debug)]
pub struct LogFile {
    writer: LogWriter<BufWriter<File>>,
    path: PathBuf,
    name: String,
    rows: u64,
    syncs: u64,
    /// When the oldest row that is not on disk yet was written.
    unsynced: Option<Moment>,
}

impl LogFile {
    /// Begins the next log in the folder.
    ///
    /// # Errors
    /// [`LogFileError`] where it cannot be made, or made durable.
    pub fn create(dir: &Path) -> Result<Self, LogFileError> {
        for number in 1..=LOGS_MAX {
            let name = format!("output-{number}.csv");
            let path = dir.join(&name);
            let failed = |step| fails(&path, step);
            let file = match options().create_new(true).mode(0o644).open(&path) {
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => continue,
                made => made.map_err(failed("making it"))?,
            };
            let writer =
                LogWriter::begin(BufWriter::new(file)).map_err(failed("writing its header"))?;
            let mut log =
                Self { writer, path: path.clone(), name, rows: 0, syncs: 0, unsynced: None };
            log.sync()?;
            File::open(dir)
                .and_then(|dir| dir.sync_all())
                .map_err(failed("making the folder durable"))?;
            return Ok(log);
        }
        let full = io::Error::other("there are too many logs");
        Err(fails(dir, "making a log in it")(full))
    }

    /// Goes on with a log; and how many bytes of a torn last row were cut off.
    ///
    /// # Errors
    /// [`LogFileError`] where it is not there, is no log, or cannot be written.
    pub fn go_on(dir: &Path, name: &str) -> Result<(Self, u64), LogFileError> {
        let path = named(dir, name)?;
        let failed = |step| fails(&path, step);
        let mut file = options().read(true).open(&path).map_err(failed("opening it"))?;
        let (whole, torn) = whole_bytes(&mut file).map_err(failed("reading it"))?;
        if torn > 0 {
            file.set_len(whole).map_err(failed("cutting off a torn row"))?;
        }
        file.sync_all().map_err(failed("making it durable"))?;
        let rows = digest(dir, name)?.rows;
        let writer = LogWriter::resume(BufWriter::new(file));
        let name = name.to_owned();
        Ok((Self { writer, path, name, rows, syncs: 0, unsynced: None }, torn))
    }

    /// Its name in the folder.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many rows it has.
    #[must_use]
    pub const fn rows(&self) -> u64 {
        self.rows
    }

    /// How often it was synced.
    #[must_use]
    pub const fn syncs(&self) -> u64 {
        self.syncs
    }

    /// One row: seconds, and volts or overload.
    ///
    /// # Errors
    /// [`LogFileError`]; the record is then not to be relied on, and the run ends.
    pub fn write(&mut self, t_s: f64, volts: Option<f64>, now: Moment) -> Result<(), LogFileError> {
        let written = match volts {
            Some(volts) => self.writer.reading(t_s, volts),
            None => self.writer.overload(t_s),
        };
        written.map_err(fails(&self.path, "writing a row"))?;
        self.rows += 1;
        self.unsynced.get_or_insert(now);
        if self.sync_at().is_some_and(|due| due <= now) { self.sync() } else { Ok(()) }
    }

    /// When a sync is due, if anything is not on disk yet.
    #[must_use]
    pub fn sync_at(&self) -> Option<Moment> {
        self.unsynced.map(|since| since + SYNC_EVERY)
    }

    /// Everything that was written is on disk when this returns.
    ///
    /// # Errors
    /// [`LogFileError`].
    pub fn sync(&mut self) -> Result<(), LogFileError> {
        let out = self.writer.inner();
        out.flush()
            .and_then(|()| out.get_ref().sync_data())
            .map_err(fails(&self.path, "making rows durable"))?;
        self.unsynced = None;
        self.syncs += 1;
        Ok(())
    }

    /// Ends it, and says what it is.
    ///
    /// # Errors
    /// [`LogFileError`] where it cannot be made durable or read back.
    pub fn close(mut self) -> Result<LogDigest, LogFileError> {
        self.sync()?;
        let dir = self.path.parent().unwrap_or(Path::new("."));
        digest(dir, &self.name)
    }
}

/// What a log in the folder is now.
///
/// # Errors
/// [`LogFileError`] where it is not there, or is none.
pub fn digest(dir: &Path, name: &str) -> Result<LogDigest, LogFileError> {
    let mut file = open(dir, name)?;
    let path = dir.join(name);
    let mut sha = Sha256::new();
    let mut lines = 0_u64;
    let mut block = vec![0; 1 << 16];
    loop {
        let count = file.read(&mut block).map_err(fails(&path, "reading it"))?;
        let Some(bytes) = block.get(..count).filter(|bytes| !bytes.is_empty()) else { break };
        sha.update(bytes);
        lines += bytes.iter().filter(|b| **b == b'\n').count() as u64;
    }
    let sha256 = sha.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok(LogDigest { rows: lines.saturating_sub(1), sha256 })
}

/// A log in the folder, to be read.
///
/// # Errors
/// [`LogFileError`] where it is not there, or its name is none of a log's.
pub fn open(dir: &Path, name: &str) -> Result<File, LogFileError> {
    let path = named(dir, name)?;
    let mut options = OpenOptions::new();
    options.read(true).custom_flags(OFlags::NOFOLLOW.bits().cast_signed());
    options.open(&path).map_err(fails(&path, "opening it"))
}

/// The path of a log; a name out of a record that leads elsewhere is refused.
fn named(dir: &Path, name: &str) -> Result<PathBuf, LogFileError> {
    let number = name.strip_prefix("output-").and_then(|rest| rest.strip_suffix(".csv"));
    let plain = number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
    if plain {
        return Ok(dir.join(name));
    }
    let odd = io::Error::new(io::ErrorKind::InvalidInput, "no name of a log");
    Err(fails(Path::new(name), "looking for it")(odd))
}

/// How long the file is up to the end of its last whole row, and how much is behind that.
fn whole_bytes(file: &mut File) -> io::Result<(u64, u64)> {
    let length = file.metadata()?.len();
    let tail = length.min(1 << 16);
    let from = length - tail;
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(tail).read_to_end(&mut bytes)?;
    let whole = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |at| at as u64 + 1);
    if whole == 0 {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "no whole row at its end"));
    }
    Ok((from + whole, tail - whole))
}

fn options() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.append(true).custom_flags(OFlags::NOFOLLOW.bits().cast_signed());
    options
}

fn fails(file: &Path, step: &'static str) -> impl Fn(io::Error) -> LogFileError + use<> {
    let file = file.to_owned();
    move |source| LogFileError { file: file.clone(), step, source }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Moment {
        Moment::from_start(Duration::from_millis(ms))
    }

    fn text(dir: &Path, name: &str) -> String {
        std::fs::read_to_string(dir.join(name)).unwrap()
    }

    #[test]
    fn logs_are_numbered_and_never_written_over() {
        let dir = tempfile::tempdir().unwrap();
        let names: Vec<String> =
            (0..3).map(|_| LogFile::create(dir.path()).unwrap().name().to_owned()).collect();
        assert_eq!(names, ["output-1.csv", "output-2.csv", "output-3.csv"]);
    }

    #[test]
    fn rows_are_synced_together_and_at_least_twice_a_second() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = LogFile::create(dir.path()).unwrap();
        assert_eq!(log.syncs(), 1, "the header");
        for ms in (0..=2000).step_by(10) {
            log.write(ms as f64 / 1e3, Some(13.6), at(ms)).unwrap();
        }
        assert!((4..=5).contains(&log.syncs()), "{} syncs in two seconds", log.syncs());
        assert!(log.sync_at().is_none_or(|due| due > at(2000)));
        let digest = log.close().unwrap();
        assert_eq!(digest.rows, 201);
        assert_eq!(text(dir.path(), "output-1.csv").lines().count(), 202);
    }

    #[test]
    fn a_torn_row_is_cut_off_and_said() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = LogFile::create(dir.path()).unwrap();
        log.write(0.1, Some(1.5), at(100)).unwrap();
        log.write(0.2, None, at(200)).unwrap();
        drop(log);
        let file = dir.path().join("output-1.csv");
        let whole = std::fs::read_to_string(&file).unwrap();
        std::fs::write(&file, whole.clone() + "0.3000").unwrap();
        let (mut log, torn) = LogFile::go_on(dir.path(), "output-1.csv").unwrap();
        assert_eq!((log.rows(), torn), (2, 6));
        log.write(0.4, Some(-2.0), at(400)).unwrap();
        let digest = log.close().unwrap();
        assert_eq!(text(dir.path(), "output-1.csv"), whole + "0.400000,-2,V,0\n");
        assert_eq!(super::digest(dir.path(), "output-1.csv").unwrap(), digest);
    }

    #[test]
    fn the_digest_is_sha_256() {
        let dir = tempfile::tempdir().unwrap();
        // FIPS 180-4's example message "abc", as published in NIST's SHA-256 example values.
        std::fs::write(dir.path().join("output-1.csv"), "abc").unwrap();
        assert_eq!(
            super::digest(dir.path(), "output-1.csv").unwrap().sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_name_that_leads_elsewhere_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("x"), "t_s\n").unwrap();
        for name in ["x", "../output-1.csv", "output-1.csv/..", "output-.csv", "output-a.csv"] {
            assert!(super::digest(dir.path(), name).is_err(), "{name}");
            assert!(LogFile::go_on(dir.path(), name).is_err(), "{name}");
        }
        std::os::unix::fs::symlink("x", dir.path().join("output-1.csv")).unwrap();
        assert!(super::digest(dir.path(), "output-1.csv").is_err(), "a link is not followed");
    }
}
