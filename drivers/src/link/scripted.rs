//! A link that follows a script, on a clock set by hand: waiting costs no time. It is the other
//! end of every session test, and a way to play a fault that a real line would take days to
//! show. A script that is not followed (another query than expected) ends the link with an
//! error that says so.

use super::{Link, Received, lost, not_taken};
use crate::clock::{HandClock, Moment};
use crate::error::{DriverError, escape};
use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::time::Duration;

/// One step of a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Wait for exactly these bytes from the program.
    Expect(Vec<u8>),
    /// Bytes from the instrument.
    Send(Vec<u8>),
    /// From here on, one read gives at most this many bytes, in turn; empty: no limit.
    Chunk(Vec<usize>),
    /// Nothing happens for this long.
    Delay(Duration),
    /// The other end takes nothing and says nothing, for good.
    Stall,
    /// The line is hung up.
    Eof,
    /// The next read or write fails with this kind.
    Error(io::ErrorKind),
    /// From here on, what the program sends comes back first.
    Echo(bool),
    /// Bytes of 0x80 and above, from a seed.
    Noise {
        /// Seed of the generator.
        seed: u64,
        /// How many bytes.
        count: usize,
    },
    /// What the last `Send` sent, once more.
    Duplicate,
    /// The next `Send` gets lost.
    DropNext,
    /// Sent by the program and swallowed, whatever it is.
    Swallow,
}

/// A link whose other end is a script.
#[derive(Debug)]
pub struct ScriptedLink {
    steps: VecDeque<Step>,
    clock: Arc<HandClock>,
    arrived: VecDeque<u8>,
    written: Vec<u8>,
    chunks: VecDeque<usize>,
    not_before: Moment,
    last_sent: Vec<u8>,
    echo: bool,
    drop_next: bool,
    transfers: u32,
}

impl ScriptedLink {
    /// A link that follows `steps` and moves `clock` on when it waits.
    #[must_use]
    pub fn new(steps: Vec<Step>, clock: Arc<HandClock>) -> Self {
        Self {
            steps: steps.into(),
            clock,
            arrived: VecDeque::new(),
            written: Vec::new(),
            chunks: VecDeque::new(),
            not_before: Moment::START,
            last_sent: Vec::new(),
            echo: false,
            drop_next: false,
            transfers: 0,
        }
    }

    /// How often the program wrote to this link.
    #[must_use]
    pub const fn writes(&self) -> u32 {
        self.transfers
    }

    /// Takes the steps that need neither time nor the program.
    fn advance(&mut self) -> Result<(), DriverError> {
        while self.clock.moment() >= self.not_before {
            match self.steps.front() {
                Some(Step::Expect(bytes)) => {
                    if !self.take_expected(&bytes.clone())? {
                        return Ok(());
                    }
                }
                Some(Step::Swallow) if self.written.is_empty() => return Ok(()),
                Some(Step::Swallow) => self.written.clear(),
                Some(Step::Eof | Step::Error(_) | Step::Stall) | None => return Ok(()),
                Some(Step::Send(bytes)) => {
                    self.last_sent.clone_from(bytes);
                    if !std::mem::take(&mut self.drop_next) {
                        self.arrived.extend(&self.last_sent);
                    }
                }
                Some(Step::Chunk(sizes)) => self.chunks = sizes.iter().copied().collect(),
                Some(Step::Delay(span)) => self.not_before = self.clock.moment() + *span,
                Some(Step::Echo(on)) => self.echo = *on,
                Some(Step::Noise { seed, count }) => self.arrived.extend(noise(*seed, *count)),
                Some(Step::Duplicate) => self.arrived.extend(&self.last_sent),
                Some(Step::DropNext) => self.drop_next = true,
            }
            self.steps.pop_front();
        }
        Ok(())
    }

    /// Whether all of `bytes` has come; takes it from what was written.
    fn take_expected(&mut self, bytes: &[u8]) -> Result<bool, DriverError> {
        let same = self.written.iter().zip(bytes).all(|(a, b)| a == b);
        if !same {
            return Err(DriverError::Garbled {
                port: self.name().to_owned(),
                expected: format!("`{}` by the script", escape(bytes, 64)),
                found: escape(&self.written, 64),
                unprintable: false,
            });
        }
        if self.written.len() < bytes.len() {
            return Ok(false);
        }
        self.written.drain(..bytes.len());
        Ok(true)
    }

    fn next_chunk(&mut self) -> usize {
        match self.chunks.pop_front() {
            Some(size) => {
                self.chunks.push_back(size);
                size.max(1)
            }
            None => usize::MAX,
        }
    }
}

impl Link for ScriptedLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        self.advance()?;
        match self.steps.front() {
            Some(Step::Stall) => {
                self.clock.advance(within);
                return Err(not_taken(self.name(), bytes, within));
            }
            Some(Step::Eof) | None => return Err(lost(self.name(), "sending", None)),
            Some(Step::Error(kind)) => {
                let kind = *kind;
                self.steps.pop_front();
                return Err(lost(self.name(), "sending", Some(kind.into())));
            }
            Some(_) => {}
        }
        self.transfers += 1;
        self.written.extend_from_slice(bytes);
        if self.echo {
            self.arrived.extend(bytes);
        }
        self.advance()
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let until = self.clock.moment() + wait;
        loop {
            self.advance()?;
            if !self.arrived.is_empty() {
                let count = self.next_chunk().min(into.len()).min(self.arrived.len());
                for (place, byte) in into.iter_mut().zip(self.arrived.drain(..count)) {
                    *place = byte;
                }
                return Ok(Received::Bytes(count));
            }
            let now = self.clock.moment();
            if now >= self.not_before {
                match self.steps.front() {
                    Some(Step::Eof) | None => return Err(lost(self.name(), "reading", None)),
                    Some(Step::Error(kind)) => {
                        let kind = *kind;
                        self.steps.pop_front();
                        return super::classify_read(self.name(), Err(kind.into()));
                    }
                    Some(_) => {}
                }
            }
            if now >= until {
                return Ok(Received::Nothing);
            }
            let next = if self.not_before > now { self.not_before.min(until) } else { until };
            self.clock.advance(next.since(now));
        }
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.arrived.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        "script"
    }
}

/// Bytes of 0x80 and above from a seed (SplitMix64, S. Vigna's public-domain mixer).
pub(super) fn noise(seed: u64, count: usize) -> Vec<u8> {
    let mut state = seed;
    (0..count).map(|_| (super::faulty::next_random(&mut state) >> 56) as u8 | 0x80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waiting_moves_the_clock_and_not_the_test() {
        let clock = Arc::new(HandClock::new());
        let script = vec![Step::Delay(Duration::from_secs(3600)), Step::Send(b"x".to_vec())];
        let mut link = ScriptedLink::new(script, clock.clone());
        let mut buffer = [0; 8];
        let wait = Duration::from_secs(3000);
        assert_eq!(link.read_some(&mut buffer, wait).unwrap(), Received::Nothing);
        assert_eq!(link.read_some(&mut buffer, wait).unwrap(), Received::Bytes(1));
        assert_eq!(clock.moment().since_start(), Duration::from_secs(3600));
    }

    #[test]
    fn a_script_that_is_not_followed_ends_the_link() {
        let clock = Arc::new(HandClock::new());
        let mut link = ScriptedLink::new(vec![Step::Expect(b"READ?\n".to_vec())], clock);
        let error = link.write(b"*RST\n", Duration::ZERO).unwrap_err().to_string();
        assert!(error.contains("READ?") && error.contains("*RST"), "{error}");
    }
}
