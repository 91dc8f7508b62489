//! A link carries bytes to and from one instrument and knows nothing of their meaning. Reading
//! has three outcomes: bytes, nothing yet, or gone (an error, for good). A link never retries,
//! never resends and keeps no lines: that is the session's work. Deadlines come in as spans
//! counted from the call, and hold for the whole call however slowly bytes trickle.

mod capturing;
mod device;
mod faulty;
mod replaying;
mod scripted;
mod serial;
mod spec;
mod tcp;
mod timing;
mod usb;
mod waiting;

pub use capturing::CapturingLink;
pub use device::DeviceLink;
pub use faulty::{Faults, FaultyLink};
pub use replaying::ReplayingLink;
pub use scripted::{ScriptedLink, Step};
pub(crate) use serial::holder_of;
pub use serial::{Dtr, SerialLink, SerialSettings};
pub use spec::{LinkSpec, UsbName};
pub use tcp::TcpLink;
pub use timing::{RoundTrips, TimingLink};
pub use usb::{PipeFault, Pipes, Recipient, UsbLink};

use crate::error::DriverError;
use std::io;
use std::time::Duration;

/// What one read brought. Gone is an error, see [`Link::read_some`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Received {
    /// This many bytes, at least one, at the beginning of the buffer.
    Bytes(usize),
    /// Nothing within the time given.
    Nothing,
}

/// Whether bytes may be looked for at any time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// Bytes come whenever they like (serial, TCP): read at any time.
    Stream,
    /// Each read asks the instrument for a message (USB test class): read only when an answer
    /// is due, or the instrument reports -420 and the kernel blocks for its own timeout.
    Messages,
}

/// An open link to one instrument. Dropping it closes it, without waiting for unsent bytes.
pub trait Link: Send {
    /// Sends all of `bytes` within the span.
    ///
    /// # Errors
    /// [`DriverError::NoAnswer`] if the other end did not take them in time (some may have gone
    /// out); [`DriverError::LinkLost`] if the link is gone.
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError>;

    /// Waits until bytes have come, at most the span; zero looks without waiting. A signal may
    /// end the wait early with [`Received::Nothing`].
    ///
    /// # Errors
    /// [`DriverError::LinkLost`] if the link is gone. It stays gone: open a new one.
    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError>;

    /// Throws away what has arrived and was not read. Bytes in an adapter may still follow.
    ///
    /// # Errors
    /// [`DriverError::LinkLost`] if the link is gone.
    fn clear_input(&mut self) -> Result<(), DriverError>;

    /// The link's name for messages: the path, or `host:port`.
    fn name(&self) -> &str;

    /// Whether bytes may be looked for at any time.
    fn flow(&self) -> Flow {
        Flow::Stream
    }

    /// Whether a read that does not fill its buffer has brought all that was there.
    fn drains(&self) -> bool {
        false
    }
}

/// Opens the same link again and again: at the start, and after each loss.
pub type Opener = Box<dyn FnMut() -> Result<Box<dyn Link>, DriverError> + Send>;

/// Whether an error of the system means "nothing yet". Everything else means gone: libraries
/// fold `EIO`, `ENXIO` and `ENODEV` into nameless kinds, so that no list of them can be whole.
pub(crate) fn is_nothing_yet(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::TimedOut | io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock
    )
}

/// One read's result, classified: no bytes without an error is a hung-up line.
pub(crate) fn classify_read(
    port: &str,
    result: io::Result<usize>,
) -> Result<Received, DriverError> {
    match result {
        Ok(0) => Err(lost(port, "reading", None)),
        Ok(count) => Ok(Received::Bytes(count)),
        Err(error) if is_nothing_yet(&error) => Ok(Received::Nothing),
        Err(error) => Err(lost(port, "reading", Some(error))),
    }
}

pub(crate) fn lost(port: &str, step: &str, source: Option<io::Error>) -> DriverError {
    DriverError::LinkLost { port: port.to_owned(), step: step.to_owned(), source }
}

pub(crate) fn not_taken(port: &str, bytes: &[u8], within: Duration) -> DriverError {
    DriverError::NoAnswer {
        port: port.to_owned(),
        query: crate::error::escape(bytes, 64),
        waited_ms: u64::try_from(within.as_millis()).unwrap_or(u64::MAX),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // F02: the same unplug has many names.
    #[test]
    fn every_error_but_nothing_yet_is_gone() {
        let gone = [
            io::Error::from(io::ErrorKind::BrokenPipe),
            io::Error::from(io::ErrorKind::UnexpectedEof),
            io::Error::from(io::ErrorKind::ConnectionReset),
            io::Error::from_raw_os_error(5),
            io::Error::from_raw_os_error(6),
            io::Error::from_raw_os_error(19),
            io::Error::other("nameless"),
        ];
        for error in gone {
            let text = error.to_string();
            let class = classify_read("port", Err(error));
            assert!(matches!(class, Err(DriverError::LinkLost { .. })), "{text}");
        }
        assert!(matches!(classify_read("port", Ok(0)), Err(DriverError::LinkLost { .. })));
    }

    // F53: a signal during a wait is not a fault.
    #[test]
    fn a_signal_or_a_timeout_is_nothing_yet() {
        for kind in [io::ErrorKind::TimedOut, io::ErrorKind::Interrupted, io::ErrorKind::WouldBlock]
        {
            let class = classify_read("port", Err(io::Error::from(kind)));
            assert_eq!(class.unwrap(), Received::Nothing);
        }
        assert_eq!(classify_read("port", Ok(3)).unwrap(), Received::Bytes(3));
    }
}
