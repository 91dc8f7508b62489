//! The record of a job: an append-only file of JSON lines, one per [`Event`], each on disk
//! before [`Journal::append`] returns. Opening keeps the longest good prefix: a line torn by
//! power loss is set aside in `journal.torn` and said; anything else that does not fit is an
//! error with its line. The journal reads no clock; what the events mean is for others to fold.

mod check;
mod error;
mod job;
mod line;
mod sift;
mod signature;
mod task;
mod time;
mod verify;

pub use check::{Damage, DamageKind};
pub use error::JournalError;
pub use job::{JobState, StepState, StepStatus};
pub use line::Entry;
pub use sift::{Sifted, sift};
pub use signature::{SIGNATURE_NAME, SignatureError, Signed, check_signature, make_keys, sign};
pub use task::{Task, tasks};
pub use time::{LocalTime, Stamp};
pub use verify::{Verified, verify};

use crate::event::Event;
use check::Checked;
use rustix::fs::{FlockOperation, OFlags, flock};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// The journal's name in a job folder.
pub const FILE_NAME: &str = "journal.jsonl";
/// Where torn tails are set aside.
pub const TORN_NAME: &str = "journal.torn";
/// The longest journal that is read, in bytes: a thousand times a long job.
const JOURNAL_MAX: u64 = 1 << 30;

/// An open journal: the only writer of its file until it is dropped.
#[derive(Debug)]
pub struct Journal {
    file: File,
    path: PathBuf,
    seq: u64,
    chain: String,
    bytes: u64,
    /// The most that it may grow to, in bytes: what is longer cannot be read back.
    bytes_max: u64,
    /// A failed write or sync ends the record: a retry could lie.
    broken: bool,
}

/// What a journal held when it was opened.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Past {
    /// Every entry, in order.
    pub entries: Vec<Entry>,
    /// The torn tail that was set aside, if there was one.
    pub repaired: Option<Repair>,
}

impl Past {
    /// How many bytes of a torn last line were set aside.
    #[must_use]
    pub fn torn_bytes(&self) -> u64 {
        self.repaired.map_or(0, |repair| repair.bytes_torn)
    }
}

/// A torn tail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Repair {
    /// How many whole lines stand before it.
    pub lines_kept: u64,
    /// How many bytes were torn.
    pub bytes_torn: u64,
}

impl Journal {
    /// Begins a journal in the folder `dir`, which is made if it is not there.
    ///
    /// # Errors
    /// [`JournalError::Exists`] where one is already; [`JournalError::NotWritten`] where the
    /// folder or the file cannot be made durable.
    pub fn create(dir: &Path) -> Result<Self, JournalError> {
        let not_written =
            |step| move |source| JournalError::NotWritten { file: dir.to_owned(), step, source };
        fs::create_dir_all(dir).map_err(not_written("making the folder"))?;
        let path = dir.join(FILE_NAME);
        refuse_odd_files(&path)?;
        let file =
            options().create_new(true).mode(0o644).open(&path).map_err(|source| {
                match source.kind() {
                    io::ErrorKind::AlreadyExists => JournalError::Exists { file: path.clone() },
                    _ => not_written("making the journal")(source),
                }
            })?;
        lock(&file, &path)?;
        sync_folder(dir).map_err(not_written("making the folder durable"))?;
        if let Some(above) = dir.parent().filter(|p| !p.as_os_str().is_empty()) {
            sync_folder(above).map_err(not_written("making the folder durable"))?;
        }
        let (chain, bytes_max) = (line::FIRST_CHAIN.into(), JOURNAL_MAX);
        Ok(Self { file, path, seq: 0, chain, bytes: 0, bytes_max, broken: false })
    }

    /// Goes on with the journal in `dir`.
    ///
    /// # Errors
    /// [`JournalError::NoJournal`], [`JournalError::InUse`], or what is wrong with it and where.
    pub fn open(dir: &Path) -> Result<(Self, Past), JournalError> {
        let path = dir.join(FILE_NAME);
        refuse_odd_files(&path)?;
        let mut file = options().read(true).open(&path).map_err(|e| not_opened(&path, e))?;
        lock(&file, &path)?;
        let bytes = read_all(&mut file, &path)?;
        let Checked { entries, good_bytes, last_chain, torn_bytes, stop, .. } =
            check::check(&bytes);
        if let Some(stop) = stop {
            return Err(JournalError::stopped(&path, stop));
        }
        let lines_kept = entries.len() as u64;
        let repaired =
            (torn_bytes > 0).then_some(Repair { lines_kept, bytes_torn: torn_bytes as u64 });
        if repaired.is_some() {
            set_aside(dir, &file, &bytes, good_bytes).map_err(|source| {
                JournalError::NotWritten {
                    file: path.clone(),
                    step: "setting a torn line aside",
                    source,
                }
            })?;
        }
        let journal = Self {
            file,
            path,
            seq: lines_kept,
            chain: last_chain,
            bytes: good_bytes as u64,
            bytes_max: JOURNAL_MAX,
            broken: false,
        };
        Ok((journal, Past { entries, repaired }))
    }

    /// Goes on with the journal in `dir`, if there is one.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_existing(dir: &Path) -> Result<Option<(Self, Past)>, JournalError> {
        match dir.join(FILE_NAME).symlink_metadata() {
            Ok(_) => Self::open(dir).map(Some),
            Err(_) => Ok(None),
        }
    }

    /// Writes one event and returns when it is on disk; what it returns is read back from the
    /// very line, so that a live view and a replay see the same entry.
    ///
    /// # Errors
    /// [`JournalError::NotWritten`]; every later call then fails too, since a retry could lie.
    pub fn append(&mut self, event: &Event, at: Stamp) -> Result<Entry, JournalError> {
        if self.broken {
            let source = io::Error::other("an earlier write failed");
            return Err(self.not_written("going on after a failure", source));
        }
        let entry = Entry::new(self.seq + 1, at, event);
        let unfit = |e: serde_json::Error| io::Error::new(io::ErrorKind::InvalidData, e);
        let (line, chain) = entry
            .render(&self.chain)
            .map_err(|e| self.not_written("putting an event into words", unfit(e)))?;
        let entry = serde_json::from_str(&line)
            .map_err(|e| self.not_written("reading back an event", unfit(e)))?;
        if line.len() > line::LINE_MAX {
            let source = io::Error::new(io::ErrorKind::FileTooLarge, "one line over 1 MiB");
            return Err(self.not_written("putting an event into words", source));
        }
        self.write(line.as_bytes())?;
        self.seq += 1;
        self.chain = chain;
        self.bytes += line.len() as u64;
        Ok(entry)
    }

    /// The journal's path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The same journal with room for this many bytes: a disk that is nearly full. Never more than
    /// what can be read back.
    #[must_use]
    pub fn with_room(mut self, bytes_max: u64) -> Self {
        self.bytes_max = bytes_max.min(JOURNAL_MAX);
        self
    }

    fn write(&mut self, line: &[u8]) -> Result<(), JournalError> {
        let room = self.bytes_max.saturating_sub(self.bytes);
        let fits = line.get(..usize::try_from(room).unwrap_or(usize::MAX)).unwrap_or(line);
        let mut written = self.file.write_all(fits);
        if written.is_ok() && fits.len() < line.len() {
            written = Err(io::ErrorKind::StorageFull.into());
        }
        if let Err(source) = written {
            self.broken = true;
            // The line may be half there. Without it the file is whole; if this fails as well,
            // the next opening sets the half line aside.
            let _ = self.file.set_len(self.bytes);
            return Err(self.not_written("writing a line", source));
        }
        self.file.sync_data().map_err(|source| {
            self.broken = true;
            self.not_written("making a line durable", source)
        })
    }

    fn not_written(&self, step: &'static str, source: io::Error) -> JournalError {
        JournalError::NotWritten { file: self.path.clone(), step, source }
    }
}

/// Reads the journal in `dir` without touching it; a torn tail is left where it is, and said.
///
/// # Errors
/// As [`Journal::open`], without [`JournalError::InUse`].
pub fn read(dir: &Path) -> Result<Past, JournalError> {
    let path = dir.join(FILE_NAME);
    parse(&read_bytes(&path)?, &path)
}

/// Reads a journal's bytes; `file` is its name in errors.
///
/// # Errors
/// [`JournalError`] where the bytes are no journal, or were changed, cut or reordered.
pub fn parse(bytes: &[u8], file: &Path) -> Result<Past, JournalError> {
    let checked = check::check(bytes);
    if let Some(stop) = checked.stop {
        return Err(JournalError::stopped(file, stop));
    }
    let lines_kept = checked.entries.len() as u64;
    let repaired = (checked.torn_bytes > 0)
        .then_some(Repair { lines_kept, bytes_torn: checked.torn_bytes as u64 });
    Ok(Past { entries: checked.entries, repaired })
}

/// JSON Schema of one line.
#[must_use]
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(line::WireLine)
}

fn read_checked(path: &Path) -> Result<Checked, JournalError> {
    Ok(check::check(&read_bytes(path)?))
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, JournalError> {
    refuse_odd_files(path)?;
    let mut file = OpenOptions::new()
        .read(true)
        .custom_flags(OFlags::NOFOLLOW.bits().cast_signed())
        .open(path)
        .map_err(|e| not_opened(path, e))?;
    read_all(&mut file, path)
}

fn options() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.append(true).custom_flags(OFlags::NOFOLLOW.bits().cast_signed());
    options
}

fn read_all(file: &mut File, path: &Path) -> Result<Vec<u8>, JournalError> {
    let mut bytes = Vec::new();
    let not_read = |source| JournalError::NotRead { file: path.to_owned(), source };
    file.take(JOURNAL_MAX + 1).read_to_end(&mut bytes).map_err(not_read)?;
    if bytes.len() as u64 > JOURNAL_MAX {
        let source = io::Error::new(io::ErrorKind::FileTooLarge, "over 1 GiB");
        return Err(JournalError::NotRead { file: path.to_owned(), source });
    }
    Ok(bytes)
}

fn not_opened(path: &Path, source: io::Error) -> JournalError {
    let file = path.to_owned();
    match source.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => JournalError::NoJournal { file },
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            JournalError::NotWritten { file, step: "opening the journal", source }
        }
        _ => JournalError::NotRead { file, source },
    }
}

fn refuse_odd_files(path: &Path) -> Result<(), JournalError> {
    let Ok(there) = fs::symlink_metadata(path) else { return Ok(()) };
    let kind = there.file_type();
    let found = match () {
        () if kind.is_file() => return Ok(()),
        () if kind.is_symlink() => "a link",
        () if kind.is_dir() => "a folder",
        () => "a device or a pipe",
    };
    Err(JournalError::NotAPlainFile { file: path.to_owned(), found })
}

fn lock(file: &File, path: &Path) -> Result<(), JournalError> {
    flock(file, FlockOperation::NonBlockingLockExclusive).map_err(|errno| match errno {
        rustix::io::Errno::WOULDBLOCK => JournalError::InUse { file: path.to_owned() },
        errno => JournalError::NotWritten {
            file: path.to_owned(),
            step: "locking the journal",
            source: errno.into(),
        },
    })
}

/// Copies the tail to `journal.torn`, durably, before it is taken off the journal.
fn set_aside(dir: &Path, file: &File, bytes: &[u8], good_bytes: usize) -> io::Result<()> {
    let mut torn = options().create(true).mode(0o644).open(dir.join(TORN_NAME))?;
    torn.write_all(&bytes[good_bytes..])?;
    torn.write_all(b"\n")?;
    torn.sync_data()?;
    sync_folder(dir)?;
    file.set_len(good_bytes as u64)?;
    file.sync_all()
}

fn sync_folder(dir: &Path) -> io::Result<()> {
    File::open(dir)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::Moment;
    use jiff::Timestamp;
    use jiff::tz::Offset;

    #[test]
    fn a_full_disk_ends_the_record_for_good() {
        // The system's own always-full device stands for the disk.
        let Ok(full) = OpenOptions::new().append(true).open("/dev/full") else {
            eprintln!("skipped: this system has no /dev/full");
            return;
        };
        let mut journal = Journal {
            file: full,
            path: "full/journal.jsonl".into(),
            seq: 0,
            chain: line::FIRST_CHAIN.into(),
            bytes: 0,
            bytes_max: JOURNAL_MAX,
            broken: false,
        };
        let stamp = Stamp {
            at: LocalTime::new(Timestamp::UNIX_EPOCH, Offset::UTC),
            elapsed: Moment::START,
        };
        let event = Event::MeterComplained { text: "noise".into() };
        let first = journal.append(&event, stamp).unwrap_err();
        assert!(matches!(&first, JournalError::NotWritten { source, .. }
            if source.kind() == io::ErrorKind::StorageFull));
        assert!(first.hint().contains("room"));
        let second = journal.append(&event, stamp).unwrap_err();
        assert!(matches!(
            second,
            JournalError::NotWritten { step: "going on after a failure", .. }
        ));
    }
}
