//! A USB test device without a node of the kernel's: messages framed by [`usbtmc`](crate::usbtmc),
//! carried by [`Pipes`]. An answer is requested once and then waited for; if another message is to
//! be sent before it has come, it is aborted first, and a device that will not even abort is
//! cleared, or every later transfer would fail too (USBTMC 1.0, 4.2.1; request numbers from
//! memory). The pipes of a real device are in `device.rs`, behind the feature `usb`.

#[cfg(feature = "usb")]
mod device;

#[cfg(feature = "usb")]
pub(super) use device::open;

use super::{Flow, Link, Received, lost, not_taken};
use crate::clock::Allowance;
use crate::error::DriverError;
use crate::usbtmc::{Answer, Progress, Tags, message_out, request_in};
use std::collections::VecDeque;
use std::io;
use std::time::Duration;

/// How much of an answer one request asks for, in bytes.
const REQUEST_BYTES: u32 = 64 * 1024;
/// How long one control request may take.
const CONTROL_WITHIN: Duration = Duration::from_millis(500);
/// How often a device is asked whether it has finished an abort or a clear.
const ASKED_AT_MOST: usize = 20;

const INITIATE_ABORT_BULK_IN: u8 = 3;
const CHECK_ABORT_BULK_IN_STATUS: u8 = 4;
const INITIATE_CLEAR: u8 = 5;
const CHECK_CLEAR_STATUS: u8 = 6;

const SUCCESS: u8 = 1;
const PENDING: u8 = 2;

/// Why a transfer did not happen.
#[derive(Debug, thiserror::Error)]
pub enum PipeFault {
    /// Nothing moved within the time given.
    #[error("nothing moved in time")]
    TimedOut,
    /// The device halted the pipe.
    #[error("the pipe is halted")]
    Halted,
    /// The device is gone, or the system says that it is.
    #[error("the device is gone")]
    Gone(#[source] io::Error),
}

/// To whom a control request is addressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recipient {
    /// The interface.
    Interface,
    /// The pipe from the device.
    BulkIn,
}

/// The transfers that a test device needs, each with a time of its own.
pub trait Pipes: Send {
    /// Sends one whole transfer.
    ///
    /// # Errors
    /// A [`PipeFault`]; some of it may have gone out.
    fn send(&mut self, transfer: &[u8], within: Duration) -> Result<(), PipeFault>;

    /// Receives one transfer of at most `size` bytes; it ends with a packet that is not full, and
    /// may be empty. What came before the time was over is received.
    ///
    /// # Errors
    /// A [`PipeFault`]; nothing of the transfer was received.
    fn receive(&mut self, size: usize, within: Duration) -> Result<Vec<u8>, PipeFault>;

    /// A class request with an answer of at most `size` bytes.
    ///
    /// # Errors
    /// A [`PipeFault`].
    fn control(
        &mut self,
        to: Recipient,
        request: u8,
        value: u16,
        size: u16,
    ) -> Result<Vec<u8>, PipeFault>;

    /// Takes the halt off both pipes.
    ///
    /// # Errors
    /// A [`PipeFault`].
    fn clear_halt(&mut self) -> Result<(), PipeFault>;
}

/// An open USB test device.
pub struct UsbLink<P> {
    pipes: P,
    name: String,
    tags: Tags,
    /// The tag of a request whose answer has not come whole, and what has come of it.
    requested: Option<(u8, Answer)>,
    received: VecDeque<u8>,
}

impl<P: Pipes> UsbLink<P> {
    /// A link over these pipes.
    pub fn over(pipes: P, name: &str) -> Self {
        Self {
            pipes,
            name: name.to_owned(),
            tags: Tags::new(),
            requested: None,
            received: VecDeque::new(),
        }
    }

    /// Makes the device give up an answer that nobody waits for any more.
    fn abort(&mut self) -> Result<(), PipeFault> {
        let Some((tag, _)) = self.requested.take() else { return Ok(()) };
        let begun = self.ask(Recipient::BulkIn, INITIATE_ABORT_BULK_IN, tag.into(), 2);
        if begun? != SUCCESS {
            return self.clear();
        }
        // What was on its way is received and dropped, up to the packet that ends it.
        let _ = self.pipes.receive(REQUEST_BYTES as usize, CONTROL_WITHIN);
        match self.until_not_pending(Recipient::BulkIn, CHECK_ABORT_BULK_IN_STATUS, 8)? {
            SUCCESS => Ok(()),
            _ => self.clear(),
        }
    }

    /// Empties the device's buffers, whatever is in them.
    fn clear(&mut self) -> Result<(), PipeFault> {
        self.requested = None;
        self.received.clear();
        self.ask(Recipient::Interface, INITIATE_CLEAR, 0, 1)?;
        self.until_not_pending(Recipient::Interface, CHECK_CLEAR_STATUS, 2)?;
        self.pipes.clear_halt()
    }

    /// The status with which the device answers; 0 if it answers nothing.
    fn ask(&mut self, to: Recipient, request: u8, value: u16, size: u16) -> Result<u8, PipeFault> {
        let answer = self.pipes.control(to, request, value, size)?;
        Ok(answer.first().copied().unwrap_or_default())
    }

    fn until_not_pending(
        &mut self,
        to: Recipient,
        request: u8,
        size: u16,
    ) -> Result<u8, PipeFault> {
        for _ in 0..ASKED_AT_MOST {
            let status = self.ask(to, request, 0, size)?;
            if status != PENDING {
                return Ok(status);
            }
            // A device that still has bytes for us finishes when they are gone.
            let _ = self.pipes.receive(REQUEST_BYTES as usize, Duration::from_millis(20));
        }
        Ok(PENDING)
    }

    fn gone(&self, step: &str, fault: PipeFault) -> DriverError {
        let source = match fault {
            PipeFault::Gone(source) => source,
            other => io::Error::other(other),
        };
        lost(&self.name, step, Some(source))
    }

    /// Requests an answer if none is, and takes what comes of it within the time.
    fn answer(&mut self, wait: Duration) -> Result<(), DriverError> {
        let allowed = Allowance::of(wait);
        loop {
            let (tag, mut answer) = match self.requested.take() {
                Some(requested) => requested,
                None => (self.request()?, Answer::new()),
            };
            let bytes = match self.pipes.receive(REQUEST_BYTES as usize, allowed.left()) {
                Ok(bytes) => bytes,
                Err(PipeFault::TimedOut) => {
                    self.requested = Some((tag, answer));
                    return Ok(());
                }
                Err(PipeFault::Halted) => {
                    // It refuses the request: nothing to say (-420). The halt is taken off.
                    return self.clear().map_err(|fault| self.gone("clearing it", fault));
                }
                Err(fault) => return Err(self.gone("reading", fault)),
            };
            match answer.push(tag, &bytes) {
                Ok(Progress::Whole(data)) => {
                    self.received.extend(data);
                    return Ok(());
                }
                Ok(Progress::Frame) => self.requested = Some((tag, answer)),
                Ok(Progress::More) => self.requested = Some((self.request()?, answer)),
                Err(fault) => {
                    let step = format!("reading: {fault}");
                    let _ = self.clear();
                    return Err(lost(&self.name, &step, None));
                }
            }
            if allowed.left().is_zero() {
                return Ok(());
            }
        }
    }

    /// Sends a request for an answer, or for more of one; gives its tag.
    fn request(&mut self) -> Result<u8, DriverError> {
        let tag = self.tags.next();
        let frame = request_in(tag, REQUEST_BYTES, None);
        match self.pipes.send(&frame, CONTROL_WITHIN) {
            Ok(()) => Ok(tag),
            Err(fault) => {
                let _ = self.clear();
                Err(self.gone("asking for an answer", fault))
            }
        }
    }
}

impl<P: Pipes> Link for UsbLink<P> {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        self.received.clear();
        if let Err(fault) = self.abort() {
            match self.clear() {
                Ok(()) => tracing::info!(%fault, "the device was cleared"),
                Err(fault) => return Err(self.gone("clearing it", fault)),
            }
        }
        let frame = message_out(self.tags.next(), bytes, true);
        match self.pipes.send(&frame, within) {
            Ok(()) => Ok(()),
            Err(PipeFault::TimedOut | PipeFault::Halted) => match self.clear() {
                Ok(()) => Err(not_taken(&self.name, bytes, within)),
                Err(fault) => Err(self.gone("clearing it", fault)),
            },
            Err(fault) => Err(self.gone("sending", fault)),
        }
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        if self.received.is_empty() {
            self.answer(wait)?;
        }
        let count = self.received.len().min(into.len());
        for (place, byte) in into.iter_mut().zip(self.received.drain(..count)) {
            *place = byte;
        }
        Ok(if count == 0 { Received::Nothing } else { Received::Bytes(count) })
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        // Reading without an answer due would make the instrument report -420.
        self.received.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn flow(&self) -> Flow {
        Flow::Messages
    }
}

#[cfg(test)]
mod tests;
