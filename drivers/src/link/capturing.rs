//! A link that writes down every byte that passes, with direction and time, and is otherwise
//! the link inside it. The trace is text, one line a transfer: seconds, `>` (to the meter) or
//! `<` (from it), and the bytes escaped between quotes; `!` marks the loss of the link. It is
//! played back by [`ReplayingLink`](super::ReplayingLink).

use super::{Flow, Link, Received};
use crate::clock::Clock;
use crate::error::DriverError;
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

/// First line of every trace file.
pub(super) const HEADER: &str = "# bytes of a meter link, version 1";

/// A link that keeps a trace.
pub struct CapturingLink {
    inner: Box<dyn Link>,
    trace: Box<dyn Write + Send>,
    clock: Arc<dyn Clock>,
}

impl CapturingLink {
    /// Wraps a link; each transfer is written to `trace` at once. A trace that cannot be written
    /// is given up with a log line: it must not stop a measurement.
    #[must_use]
    pub fn new(
        inner: Box<dyn Link>,
        mut trace: Box<dyn Write + Send>,
        clock: Arc<dyn Clock>,
    ) -> Self {
        if let Err(error) = writeln!(trace, "{HEADER}") {
            tracing::warn!(%error, "trace not written");
        }
        Self { inner, trace, clock }
    }

    fn note(&mut self, mark: char, bytes: &[u8]) {
        let at = self.clock.now().as_secs_f64();
        let line = format!("{at:.6} {mark} \"{}\"\n", bytes.escape_ascii());
        let written = self.trace.write_all(line.as_bytes()).and_then(|()| self.trace.flush());
        if let Err(error) = written {
            tracing::warn!(%error, "trace not written");
        }
    }
}

impl Link for CapturingLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        self.note('>', bytes);
        self.inner.write(bytes, within)
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let received = self.inner.read_some(into, wait);
        match &received {
            Ok(Received::Bytes(count)) => self.note('<', into.get(..*count).unwrap_or_default()),
            Ok(Received::Nothing) => {}
            Err(error) => self.note('!', error.to_string().as_bytes()),
        }
        received
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.inner.clear_input()
    }

    fn name(&self) -> &str {
        self.inner.name()
    }

    fn flow(&self) -> Flow {
        self.inner.flow()
    }

    fn drains(&self) -> bool {
        self.inner.drains()
    }
}
