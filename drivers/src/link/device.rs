//! A character device that carries one message per read, as Linux gives it for USB test and
//! measurement instruments (`/dev/usbtmcN`). A read blocks in the kernel until the message, or
//! the kernel's own timeout (5 s), comes; it is only tried when an answer is due. A message ends
//! with its LF (IEEE 488.2, 8.5), not with the transfer: packets may be cut anywhere. The
//! kernel's timeout and abort calls need unsafe code, which this project forbids.

use super::{Flow, Link, Received, is_nothing_yet, lost, not_taken};
use crate::clock::Allowance;
use crate::error::DriverError;
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::FileTypeExt;
use std::time::Duration;

/// A message device, over a file or over anything that reads and writes like one.
#[derive(Debug)]
pub struct DeviceLink<F> {
    file: F,
    name: String,
}

impl DeviceLink<File> {
    /// Opens the character device at `path`.
    ///
    /// # Errors
    /// [`DriverError::Missing`], [`DriverError::Busy`], [`DriverError::Denied`],
    /// [`DriverError::WrongKind`] if it is no character device, [`DriverError::System`] else.
    pub fn open(path: &str) -> Result<Self, DriverError> {
        let port = path.to_owned();
        let meta = std::fs::metadata(path).map_err(|error| classify_open(path, error))?;
        if !meta.file_type().is_char_device() {
            let found = super::serial::kind_of(path).to_owned();
            return Err(DriverError::WrongKind { port, expected: "a character device", found });
        }
        let opened = OpenOptions::new().read(true).write(true).open(path);
        let file = opened.map_err(|error| classify_open(path, error))?;
        Ok(Self::over(file, path))
    }
}

impl<F: Read + Write> DeviceLink<F> {
    /// A link over something that reads and writes whole messages.
    pub fn over(file: F, name: &str) -> Self {
        Self { file, name: name.to_owned() }
    }
}

impl<F: Read + Write + Send> Link for DeviceLink<F> {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        let allowed = Allowance::of(within);
        loop {
            // A message goes out in one call, or it would be two messages.
            match self.file.write(bytes) {
                Ok(count) if count == bytes.len() => return Ok(()),
                Ok(_) => return Err(lost(&self.name, "sending a whole message", None)),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if is_nothing_yet(&error) => {
                    return Err(not_taken(&self.name, bytes, within));
                }
                Err(error) => return Err(lost(&self.name, "sending", Some(error))),
            }
            if allowed.left().is_zero() {
                return Err(not_taken(&self.name, bytes, within));
            }
        }
    }

    fn read_some(&mut self, into: &mut [u8], _wait: Duration) -> Result<Received, DriverError> {
        match self.file.read(into) {
            // An empty message, not a hangup: this driver answers ENODEV for that.
            Ok(0) => Ok(Received::Nothing),
            Ok(count) => Ok(Received::Bytes(count)),
            Err(error) if is_nothing_yet(&error) => Ok(Received::Nothing),
            Err(error) => Err(lost(&self.name, "reading", Some(error))),
        }
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        // Reading without an answer due would make the instrument report -420.
        Ok(())
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn flow(&self) -> Flow {
        Flow::Messages
    }
}

fn classify_open(path: &str, error: io::Error) -> DriverError {
    let port = path.to_owned();
    match error.kind() {
        io::ErrorKind::NotFound => DriverError::Missing { port, source: Some(error) },
        io::ErrorKind::PermissionDenied => {
            DriverError::Denied { group: super::serial::group_of(path), port }
        }
        io::ErrorKind::ResourceBusy => {
            DriverError::Busy { holder: super::serial::holder_of(path), port }
        }
        // ENXIO and ENODEV: the node outlived its device.
        _ if matches!(error.raw_os_error(), Some(6 | 19)) => {
            DriverError::Missing { port, source: Some(error) }
        }
        _ => DriverError::System { port, step: "opening the device".into(), source: error },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives its script one read at a time.
    struct Packets(Vec<io::Result<Vec<u8>>>);

    impl Read for Packets {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            let next = self.0.remove(0)?;
            into[..next.len()].copy_from_slice(&next);
            Ok(next.len())
        }
    }

    impl Write for Packets {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    // F57, F60: the kernel's timeout is "nothing yet"; ENODEV is the end.
    #[test]
    fn a_kernel_timeout_is_nothing_yet_and_enodev_is_gone() {
        let script = vec![
            Err(io::Error::from_raw_os_error(110)),
            Ok(b"+1.5\n".to_vec()),
            Err(io::Error::from_raw_os_error(19)),
        ];
        let mut link = DeviceLink::over(Packets(script), "usbtmc0");
        let mut buffer = [0; 64];
        let mut read = || link.read_some(&mut buffer, Duration::ZERO);
        assert_eq!(read().unwrap(), Received::Nothing);
        assert_eq!(read().unwrap(), Received::Bytes(5));
        assert!(matches!(read(), Err(DriverError::LinkLost { .. })));
        assert_eq!(link.flow(), Flow::Messages);
    }

    #[test]
    fn a_plain_file_is_no_device() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let error = DeviceLink::open(file.path().to_str().unwrap()).unwrap_err();
        assert!(matches!(error, DriverError::WrongKind { .. }), "{error:?}");
        let error = DeviceLink::open("/dev/no-such-device").unwrap_err();
        assert!(matches!(error, DriverError::Missing { .. }), "{error:?}");
    }
}
