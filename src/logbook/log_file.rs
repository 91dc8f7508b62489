//! The log of a live run in a job folder: `output-1.csv`, `output-2.csv`, ... A [`LogWriter`] with
//! a name that never writes over another log and never leads out of the folder. Whoever wants to
//! know later whether it is still the same file takes its [`LogDigest`]. Clocks are the caller's.

use super::error::LogFileError;
use super::tail::whole_bytes;
use super::write::LogWriter;
use drivers::Moment;
use rustix::fs::OFlags;
use sha2::{Digest as _, Sha256};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// So many logs in one folder, and no more.
const LOGS_MAX: u32 = 9999;

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
    writer: LogWriter<File>,
    name: String,
}

/// The kinds of log, by which their files are named.
const KINDS: [&str; 2] = ["output", "zone"];

impl LogFile {
    /// Begins the next log of this kind in the folder: `output`, `zone`.
    ///
    /// # Errors
    /// [`LogFileError`] where it cannot be made, or made durable.
    pub fn create(dir: &Path, kind: &str) -> Result<Self, LogFileError> {
        for number in 1..=LOGS_MAX {
            let name = format!("{kind}-{number}.csv");
            match LogWriter::create(&dir.join(&name)) {
                Err(e) if e.source.kind() == io::ErrorKind::AlreadyExists => {}
                made => return Ok(Self { writer: made?, name }),
            }
        }
        let full = io::Error::other("there are too many logs");
        Err(fails(dir, "making a log in it")(full))
    }

    /// Goes on with a log; and how many bytes of a torn last row were set aside.
    ///
    /// # Errors
    /// [`LogFileError`] where it is not there, is no log, or cannot be written.
    pub fn go_on(dir: &Path, name: &str) -> Result<(Self, u64), LogFileError> {
        let (writer, gone_on) = LogWriter::open_to_go_on(&named(dir, name)?)?;
        Ok((Self { writer, name: name.to_owned() }, gone_on.torn_bytes))
    }

    /// Its name in the folder.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many rows it has.
    #[must_use]
    pub const fn rows(&self) -> u64 {
        self.writer.rows()
    }

    /// One row: seconds, and volts or overload.
    ///
    /// # Errors
    /// [`LogFileError`]; the record is then not to be relied on, and the run ends.
    pub fn write(&mut self, t_s: f64, volts: Option<f64>, now: Moment) -> Result<(), LogFileError> {
        self.writer.append(t_s, volts, now)
    }

    /// When a sync is due, if anything is not on disk yet.
    #[must_use]
    pub const fn sync_at(&self) -> Option<Moment> {
        self.writer.wake_at()
    }

    /// Everything that was written is on disk when this returns.
    ///
    /// # Errors
    /// [`LogFileError`].
    pub fn sync(&mut self) -> Result<(), LogFileError> {
        self.writer.commit()
    }

    /// Ends it, and says what it is.
    ///
    /// # Errors
    /// [`LogFileError`] where it cannot be made durable or read back.
    pub fn close(self) -> Result<LogDigest, LogFileError> {
        let dir = self.writer.path().parent().unwrap_or(Path::new(".")).to_owned();
        self.writer.close()?;
        digest(&dir, &self.name)
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

/// The whole rows of a log in the folder, to be read: what a cut has torn at its end is left out.
///
/// # Errors
/// [`LogFileError`] where it is not there, or is none.
pub fn open_whole(dir: &Path, name: &str) -> Result<io::Take<File>, LogFileError> {
    let mut file = open(dir, name)?;
    let failed = |step| fails(&dir.join(name), step);
    let bytes = whole_bytes(&file).map_err(failed("reading it"))?;
    file.seek(SeekFrom::Start(0)).map_err(failed("reading it"))?;
    Ok(file.take(bytes))
}

/// A log in the folder, to be read; a link in its place is not followed.
fn open(dir: &Path, name: &str) -> Result<File, LogFileError> {
    let path = named(dir, name)?;
    let mut options = OpenOptions::new();
    options.read(true).custom_flags(OFlags::NOFOLLOW.bits().cast_signed());
    options.open(&path).map_err(fails(&path, "opening it"))
}

/// The path of a log; a name out of a record that leads elsewhere is refused.
fn named(dir: &Path, name: &str) -> Result<PathBuf, LogFileError> {
    let number = KINDS.iter().find_map(|kind| name.strip_prefix(kind)?.strip_prefix('-'));
    let number = number.and_then(|rest| rest.strip_suffix(".csv"));
    let plain = number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
    if plain {
        return Ok(dir.join(name));
    }
    let odd = io::Error::new(io::ErrorKind::InvalidInput, "no name of a log");
    Err(fails(Path::new(name), "looking for it")(odd))
}

fn fails(file: &Path, step: &'static str) -> impl Fn(io::Error) -> LogFileError + use<> {
    let file = file.to_owned();
    move |source| LogFileError { file: file.clone(), step, source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn at(ms: u64) -> Moment {
        Moment::from_start(Duration::from_millis(ms))
    }

    fn text(dir: &Path, name: &str) -> String {
        std::fs::read_to_string(dir.join(name)).unwrap()
    }

    #[test]
    fn logs_are_numbered_and_never_written_over() {
        let dir = tempfile::tempdir().unwrap();
        let names: Vec<String> = (0..3)
            .map(|_| LogFile::create(dir.path(), "output").unwrap().name().to_owned())
            .collect();
        assert_eq!(names, ["output-1.csv", "output-2.csv", "output-3.csv"]);
    }

    #[test]
    fn a_torn_row_is_set_aside_and_said() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = LogFile::create(dir.path(), "output").unwrap();
        log.write(0.1, Some(1.5), at(100)).unwrap();
        log.write(0.2, None, at(200)).unwrap();
        log.sync().unwrap();
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
