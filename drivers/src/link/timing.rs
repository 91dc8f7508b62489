//! A link that measures: how long from the last byte sent to the first byte that comes back, and
//! how much passes. It changes nothing on the way. What it measures is the whole of it: cable,
//! adapter, instrument. Read by `coilmark meters --watch`.

use super::{Flow, Link, Received};
use crate::clock::{Clock, Moment};
use crate::error::DriverError;
use crate::spans::Spans;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// What a [`TimingLink`] has measured; shared with whoever shows it.
#[derive(Debug, Default)]
pub struct RoundTrips {
    measured: Mutex<Measured>,
    poll: Option<String>,
}

#[derive(Debug, Default)]
struct Measured {
    times: Spans,
    sent: u64,
    received: u64,
}

impl RoundTrips {
    /// Nothing measured yet. What has a question mark is a query, and so is `poll`.
    #[must_use]
    pub fn new(poll: Option<String>) -> Arc<Self> {
        Arc::new(Self { poll, ..Self::default() })
    }

    /// Times from query to answer, in seconds.
    #[must_use]
    pub fn times(&self) -> Spans {
        self.measured().times.clone()
    }

    /// Bytes sent and received.
    #[must_use]
    pub fn bytes(&self) -> (u64, u64) {
        let measured = self.measured();
        (measured.sent, measured.received)
    }

    fn is_query(&self, bytes: &[u8]) -> bool {
        let poll = self.poll.as_ref().is_some_and(|poll| bytes.trim_ascii() == poll.as_bytes());
        poll || bytes.contains(&b'?')
    }

    fn measured(&self) -> MutexGuard<'_, Measured> {
        self.measured.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A link that measures round trips.
pub struct TimingLink {
    inner: Box<dyn Link>,
    clock: Arc<dyn Clock>,
    round_trips: Arc<RoundTrips>,
    asked_at: Option<Moment>,
}

impl TimingLink {
    /// Wraps a link; what is measured goes to `round_trips`.
    #[must_use]
    pub fn new(inner: Box<dyn Link>, clock: Arc<dyn Clock>, round_trips: Arc<RoundTrips>) -> Self {
        Self { inner, clock, round_trips, asked_at: None }
    }
}

impl Link for TimingLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        self.inner.write(bytes, within)?;
        self.asked_at = self.round_trips.is_query(bytes).then(|| self.clock.now());
        self.round_trips.measured().sent += bytes.len() as u64;
        Ok(())
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let received = self.inner.read_some(into, wait)?;
        if let Received::Bytes(count) = received {
            let waited = self.asked_at.take().map(|asked| self.clock.now().since(asked));
            let mut measured = self.round_trips.measured();
            measured.received += count as u64;
            if let Some(waited) = waited {
                measured.times.add(waited.as_secs_f64());
            }
        }
        Ok(received)
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

#[cfg(test)]
mod tests {
    use super::super::{ScriptedLink, Step};
    use super::*;
    use crate::clock::HandClock;

    #[test]
    fn a_round_trip_runs_from_the_query_to_the_first_byte_of_its_answer() {
        let clock = Arc::new(HandClock::new());
        let script = vec![
            Step::Expect(b"CONF:RES\nREAD?\n".to_vec()),
            Step::Delay(Duration::from_millis(40)),
            Step::Send(b"+1.0\n".to_vec()),
            Step::Chunk(vec![2]),
            Step::Expect(b"*CLS\n".to_vec()),
            Step::Send(b"key\n".to_vec()),
            Step::Expect(b"D\r\n".to_vec()),
            Step::Delay(Duration::from_millis(10)),
            Step::Send(b"OL\n".to_vec()),
            Step::Stall,
        ];
        let inner = Box::new(ScriptedLink::new(script, clock.clone()));
        let round_trips = RoundTrips::new(Some("D".to_owned()));
        let mut link = TimingLink::new(inner, clock, round_trips.clone());
        link.write(b"CONF:RES\n", Duration::ZERO).unwrap();
        link.write(b"READ?\n", Duration::ZERO).unwrap();
        let mut buffer = [0; 64];
        for _ in 0..10 {
            link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        }
        // What follows a command answers nothing.
        link.write(b"*CLS\n", Duration::ZERO).unwrap();
        link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        let times = round_trips.times().spread();
        assert_eq!(times.count(), 1);
        assert!((times.mean().unwrap() - 0.04).abs() < 1e-9, "{times:?}");
        // A poll is a query without a question mark.
        link.write(b"D\r\n", Duration::ZERO).unwrap();
        link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        link.read_some(&mut buffer, Duration::from_millis(20)).unwrap();
        let times = round_trips.times();
        assert_eq!(times.spread().count(), 2);
        assert!((times.spread().range().unwrap().0 - 0.01).abs() < 1e-9, "{times:?}");
        assert_eq!(round_trips.bytes(), (23, 12));
    }
}
