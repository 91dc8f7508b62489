//! A log going out: the contract's columns `t_s,value,unit,overload`, one row a reading, decimal
//! points, no blanks. Rows are committed in groups, each one append and one sync, no later than
//! half a second after the first of them by the caller's clock. What is written reads back as it
//! was, to a microsecond and to the last bit of a value. A gap has no row of its own: the analysis
//! sees it in the times, and so does anybody else's tool.

use super::decimal::{put_seconds, put_volts};
use super::error::LogFileError;
use drivers::Moment;
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

pub(super) const HEADER: &[u8] = b"t_s,value,unit,overload\n";
/// A row waits no longer than this for its sync: twice as often as was promised.
const GROUP: Duration = Duration::from_millis(500);
/// Nor do more bytes wait than this.
const WAITING_MAX: usize = 256 * 1024;

/// Where a log goes: bytes at its end, and a word that they are on the disk.
pub trait Durable: Write {
    /// Returns once everything that was written survives a power cut.
    ///
    /// # Errors
    /// What the system says; what was written may then be lost in part.
    fn sync(&mut self) -> io::Result<()>;
}

impl Durable for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// Writes a log in groups of rows. Rows that wait when it is dropped are lost: call
/// [`Self::commit`] at the end.
#[derive(Debug)]
pub struct LogWriter<D: Durable = File> {
    out: D,
    path: PathBuf,
    waiting: Vec<u8>,
    wake_at: Option<Moment>,
    rows: u64,
    /// A failed write or sync ends the log: a retry could lie.
    broken: bool,
}

impl LogWriter<File> {
    /// Begins a log at `path`, where nothing may be yet: header and name are on the disk.
    ///
    /// # Errors
    /// [`LogFileError`] where something is there already or the folder takes no file.
    pub fn create(path: &Path) -> Result<Self, LogFileError> {
        let failed = |step| move |source| LogFileError { file: path.to_owned(), step, source };
        let mut options = OpenOptions::new();
        let file = options.append(true).create_new(true).mode(0o644).open(path);
        let log = Self::begin(file.map_err(failed("making the log"))?, path)?;
        sync_folder(path).map_err(failed("making the folder durable"))?;
        Ok(log)
    }
}

impl<D: Durable> LogWriter<D> {
    /// Begins a log on `out` with its header, durably; `path` is what errors call it.
    ///
    /// # Errors
    /// [`LogFileError`].
    pub fn begin(out: D, path: &Path) -> Result<Self, LogFileError> {
        let mut log = Self::resume(out, path, 0);
        log.waiting.extend_from_slice(HEADER);
        log.commit()?;
        Ok(log)
    }

    /// Goes on with a log whose header and `rows` are there.
    pub(super) fn resume(out: D, path: &Path, rows: u64) -> Self {
        let path = path.to_owned();
        Self { out, path, waiting: Vec::new(), wake_at: None, rows, broken: false }
    }

    /// Takes one reading: seconds since the log began, volts, or `None` for an overload. Commits
    /// the group if its time has come.
    ///
    /// # Errors
    /// [`LogFileError`]; the log is over then.
    pub fn append(
        &mut self,
        t_s: f64,
        volts: Option<f64>,
        now: Moment,
    ) -> Result<(), LogFileError> {
        put_seconds(&mut self.waiting, t_s);
        self.waiting.push(b',');
        match volts.filter(|volts| volts.is_finite()) {
            Some(volts) => {
                put_volts(&mut self.waiting, volts);
                self.waiting.extend_from_slice(b",V,0\n");
            }
            None => self.waiting.extend_from_slice(b",V,1\n"),
        }
        self.rows += 1;
        let due = *self.wake_at.get_or_insert(now + GROUP);
        if now >= due || self.waiting.len() >= WAITING_MAX { self.commit() } else { Ok(()) }
    }

    /// When the rows that wait must be committed, if any wait.
    #[must_use]
    pub const fn wake_at(&self) -> Option<Moment> {
        self.wake_at
    }

    /// Commits what waits: one append, one sync. Nothing where nothing waits.
    ///
    /// # Errors
    /// [`LogFileError`]; the log is over then.
    pub fn commit(&mut self) -> Result<(), LogFileError> {
        let failed = |step, source| LogFileError { file: self.path.clone(), step, source };
        if self.broken {
            let over = io::Error::other("an earlier write failed");
            return Err(failed("going on", over));
        }
        if self.waiting.is_empty() {
            return Ok(());
        }
        self.broken = true;
        self.out.write_all(&self.waiting).map_err(|e| failed("writing rows", e))?;
        self.out.sync().map_err(|e| failed("making rows durable", e))?;
        self.broken = false;
        self.waiting.clear();
        self.wake_at = None;
        Ok(())
    }

    /// How many rows it holds, those that wait included.
    #[must_use]
    pub const fn rows(&self) -> u64 {
        self.rows
    }

    /// What errors call it.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Commits what waits and gives back what was written to.
    ///
    /// # Errors
    /// [`LogFileError`].
    pub fn close(mut self) -> Result<D, LogFileError> {
        self.commit()?;
        Ok(self.out)
    }
}

/// Makes a new file's name durable.
pub(super) fn sync_folder(file: &Path) -> io::Result<()> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}
