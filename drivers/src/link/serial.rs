//! A serial port. Opened for us alone, in raw mode, at the settings the link names. The library
//! folds several causes into one kind; they are told apart here, and a port in use is reported
//! with the process that holds it. Bytes pass through a descriptor of our own that never blocks,
//! because the library's may in a long write. Never flushed: that would wait for a reader that may
//! be gone.

use super::waiting::{send_all, wait_for};
use super::{Link, Received, classify_read, lost};
use crate::error::DriverError;
use rustix::event::PollFlags;
use rustix::fs::{Mode, OFlags};
use serialport::{ClearBuffer, DataBits, ErrorKind, Parity, SerialPort, StopBits, TTYPort};
use std::fs;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::Duration;

/// What to do with the DTR line when the port opens. Some adapters need it, some meters take
/// their power from it, some boards reset on it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dtr {
    /// Raise it.
    On,
    /// Lower it.
    Off,
    /// Leave it as the driver has it.
    #[default]
    Leave,
}

/// Line settings of a serial port.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SerialSettings {
    /// Bits per second.
    pub baud: u32,
    /// Data bits.
    pub data: DataBits,
    /// Parity.
    pub parity: Parity,
    /// Stop bits.
    pub stop: StopBits,
    /// The DTR line.
    pub dtr: Dtr,
}

impl Default for SerialSettings {
    /// 9600 baud, eight data bits, no parity, one stop bit.
    fn default() -> Self {
        Self {
            baud: 9600,
            data: DataBits::Eight,
            parity: Parity::None,
            stop: StopBits::One,
            dtr: Dtr::Leave,
        }
    }
}

/// An open serial port.
#[derive(Debug)]
pub struct SerialLink {
    /// Holds the settings and the lock.
    port: TTYPort,
    line: OwnedFd,
    name: String,
}

impl SerialLink {
    /// Opens the port at `path`, for this program alone.
    ///
    /// # Errors
    /// [`DriverError::Missing`], [`DriverError::Busy`], [`DriverError::Denied`],
    /// [`DriverError::WrongKind`], or [`DriverError::System`] for anything else.
    pub fn open(path: &str, settings: SerialSettings) -> Result<Self, DriverError> {
        let mut builder = serialport::new(path, settings.baud)
            .data_bits(settings.data)
            .parity(settings.parity)
            .stop_bits(settings.stop)
            .timeout(Duration::from_millis(10));
        builder = match settings.dtr {
            Dtr::On => builder.dtr_on_open(true),
            Dtr::Off => builder.dtr_on_open(false),
            Dtr::Leave => builder,
        };
        // Ahead of the lock, which keeps others from opening it; the library says what is wrong.
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let line = rustix::fs::open(path, flags, Mode::empty());
        let port = TTYPort::open(&builder).map_err(|error| classify_open(path, &error))?;
        let line = line.map_err(|error| DriverError::System {
            port: path.to_owned(),
            step: "opening the port".into(),
            source: error.into(),
        })?;
        Ok(Self { port, line, name: path.to_owned() })
    }
}

impl Link for SerialLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        let write = |line: &&OwnedFd, bytes: &[u8]| rustix::io::write(line, bytes);
        send_all(&self.name, &self.line, bytes, within, write)
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        if !wait.is_zero() {
            let ready = wait_for(&self.line, PollFlags::IN, wait);
            ready.map_err(|error| lost(&self.name, "reading", Some(error)))?;
        }
        classify_read(&self.name, rustix::io::read(&self.line, into).map_err(io::Error::from))
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        let cleared = self.port.clear(ClearBuffer::Input);
        cleared.map_err(|error| lost(&self.name, "clearing input", Some(error.into())))
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn drains(&self) -> bool {
        true
    }
}

impl Drop for SerialLink {
    /// Unsent output is thrown away, or closing would wait for an instrument that takes nothing.
    fn drop(&mut self) {
        let _ = self.port.clear(ClearBuffer::Output);
    }
}

/// The cause behind a failed opening.
fn classify_open(path: &str, error: &serialport::Error) -> DriverError {
    let port = path.to_owned();
    match error.kind() {
        ErrorKind::Io(io::ErrorKind::NotFound) => {
            DriverError::Missing { port, source: Some(io::Error::other(error.description.clone())) }
        }
        ErrorKind::NoDevice if Path::new(path).exists() => {
            DriverError::Busy { holder: holder_of(path), port }
        }
        ErrorKind::NoDevice => DriverError::Missing { port, source: None },
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            DriverError::Denied { group: group_of(path), port }
        }
        _ if error.description.contains("typewriter")
            || error.description.contains("Inappropriate ioctl") =>
        {
            DriverError::WrongKind {
                port,
                expected: "a serial port",
                found: kind_of(path).to_owned(),
            }
        }
        _ if Path::new(path).is_dir() => {
            DriverError::WrongKind { port, expected: "a serial port", found: "a folder".to_owned() }
        }
        // ENXIO, ENODEV, EIO: the node is there, the device behind it is not.
        _ if is_gone_text(&error.description) => {
            DriverError::Missing { port, source: Some(io::Error::other(error.description.clone())) }
        }
        _ => DriverError::System {
            port,
            step: "opening the port".into(),
            source: io::Error::other(error.description.clone()),
        },
    }
}

fn is_gone_text(text: &str) -> bool {
    ["No such device", "Input/output error", "I/O error"].iter().any(|gone| text.contains(gone))
}

/// What stands at `path`, in words.
pub(super) fn kind_of(path: &str) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    match fs::metadata(path).map(|meta| meta.file_type()) {
        Ok(kind) if kind.is_char_device() => "another kind of device",
        Ok(kind) if kind.is_dir() => "a folder",
        Ok(kind) if kind.is_file() => "a plain file",
        Ok(kind) if kind.is_fifo() => "a pipe",
        Ok(kind) if kind.is_socket() => "a socket",
        Ok(kind) if kind.is_block_device() => "a disk",
        Ok(_) => "something else",
        Err(_) => "nothing",
    }
}

/// Name of the group that owns the node, from the system's group list.
pub(super) fn group_of(path: &str) -> Option<String> {
    let gid = fs::metadata(path).ok()?.gid();
    group_named(&fs::read_to_string("/etc/group").ok()?, gid)
}

fn group_named(groups: &str, gid: u32) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        let number = fields.nth(1)?.parse::<u32>().ok()?;
        (number == gid).then(|| name.to_owned())
    })
}

/// `name (pid N)` of a process that has `path` open, as far as this user may see.
pub(crate) fn holder_of(path: &str) -> Option<String> {
    let target = fs::canonicalize(path).ok()?;
    let processes = fs::read_dir("/proc").ok()?;
    for process in processes.flatten() {
        let Ok(pid) = process.file_name().to_string_lossy().parse::<u32>() else { continue };
        let Ok(descriptors) = fs::read_dir(process.path().join("fd")) else { continue };
        let holds = descriptors
            .flatten()
            .any(|descriptor| fs::read_link(descriptor.path()).is_ok_and(|link| link == target));
        if holds {
            let name = fs::read_to_string(process.path().join("comm")).unwrap_or_default();
            let name = crate::error::escape(name.trim().as_bytes(), 32);
            return Some(format!("{name} (pid {pid})"));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn opened(kind: ErrorKind, text: &str, path: &str) -> DriverError {
        classify_open(path, &serialport::Error::new(kind, text))
    }

    // F28, F29, F30: one kind for two causes, told apart.
    #[test]
    fn each_cause_of_a_failed_opening_has_its_own_error() {
        let here = "/dev/null";
        let busy = opened(ErrorKind::NoDevice, "Unable to acquire exclusive lock", here);
        assert!(matches!(busy, DriverError::Busy { .. }), "{busy:?}");
        let missing = opened(ErrorKind::Io(io::ErrorKind::NotFound), "No such file", "/dev/none");
        assert!(matches!(missing, DriverError::Missing { .. }), "{missing:?}");
        let denied = opened(ErrorKind::Io(io::ErrorKind::PermissionDenied), "denied", here);
        assert!(matches!(&denied, DriverError::Denied { group: Some(_), .. }), "{denied:?}");
        let wrong = opened(ErrorKind::Unknown, "Not a typewriter", here);
        assert!(matches!(wrong, DriverError::WrongKind { .. }), "{wrong:?}");
        let gone = opened(ErrorKind::Unknown, "No such device or address", here);
        assert!(matches!(gone, DriverError::Missing { .. }), "{gone:?}");
        let other = opened(ErrorKind::Unknown, "Settings did not apply correctly", here);
        assert!(matches!(other, DriverError::System { .. }), "{other:?}");
    }

    // F28: the hint names the group of the node.
    #[test]
    fn the_group_of_a_node_is_read_from_the_group_list() {
        let groups = "root:x:0:\ndialout:x:20:someone\nbroken\nplugdev:x:46:";
        assert_eq!(group_named(groups, 20).as_deref(), Some("dialout"));
        assert_eq!(group_named(groups, 21), None);
        let error = DriverError::Denied { port: "p".into(), group: Some("dialout".into()) };
        assert!(error.hint().contains("dialout"));
    }

    #[test]
    fn the_holder_of_an_open_file_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("held");
        let _held = fs::File::create(&path).unwrap();
        let holder = holder_of(path.to_str().unwrap()).unwrap();
        assert!(holder.contains(&format!("pid {}", std::process::id())), "{holder}");
    }
}
