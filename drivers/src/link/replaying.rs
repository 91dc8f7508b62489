//! A trace as a link: what the meter said comes again, in the same order and with the same
//! delay after what was sent. Bytes that were sent must be sent again, or the replay ends with
//! an error that names both; that makes a trace from the field a regression test.

use super::capturing::HEADER;
use super::{Link, Received, lost};
use crate::clock::{Clock, Moment};
use crate::error::{DriverError, escape};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

/// A link that plays a trace written by [`CapturingLink`](super::CapturingLink).
pub struct ReplayingLink {
    transfers: VecDeque<Transfer>,
    clock: Arc<dyn Clock>,
    name: String,
    /// Trace time and our time of the transfer played last.
    anchor: (Duration, Moment),
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Transfer {
    at: Duration,
    mark: char,
    bytes: Vec<u8>,
}

impl ReplayingLink {
    /// Reads a trace.
    ///
    /// # Errors
    /// [`DriverError::BadLink`] with the number of the line that is no transfer.
    pub fn parse(trace: &str, clock: Arc<dyn Clock>) -> Result<Self, DriverError> {
        let bad = |number: usize, problem: &str| DriverError::BadLink {
            text: "trace".into(),
            problem: format!("line {number}: {problem}"),
        };
        let mut lines = trace.lines();
        if lines.next() != Some(HEADER) {
            return Err(bad(1, "not the head of a trace"));
        }
        let mut transfers = VecDeque::new();
        for (index, line) in lines.enumerate() {
            let transfer = parse_transfer(line);
            transfers.push_back(transfer.ok_or_else(|| bad(index + 2, "no transfer"))?);
        }
        let first = transfers.front().map_or(Duration::ZERO, |transfer| transfer.at);
        let anchor = (first, clock.now());
        Ok(Self { transfers, clock, name: "trace".into(), anchor })
    }

    /// Whether all of the trace has been played.
    #[must_use]
    pub fn is_played(&self) -> bool {
        self.transfers.is_empty()
    }

    fn due(&self, transfer: &Transfer) -> Moment {
        self.anchor.1 + transfer.at.saturating_sub(self.anchor.0)
    }

    fn play(&mut self) -> Option<Transfer> {
        let transfer = self.transfers.pop_front()?;
        self.anchor = (transfer.at, self.clock.now());
        Some(transfer)
    }
}

fn parse_transfer(line: &str) -> Option<Transfer> {
    let (seconds, rest) = line.split_once(' ')?;
    let at = Duration::try_from_secs_f64(seconds.parse().ok()?).ok()?;
    let mark = rest.chars().next().filter(|mark| ['<', '>', '!'].contains(mark))?;
    let quoted = rest.get(1..)?.strip_prefix(" \"")?.strip_suffix('"')?;
    Some(Transfer { at, mark, bytes: unescape(quoted)? })
}

fn unescape(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'\\' {
            bytes.push(byte);
            continue;
        }
        bytes.push(match rest.next()? {
            b'n' => b'\n',
            b'r' => b'\r',
            b't' => b'\t',
            b'x' => {
                let digits = [rest.next()?, rest.next()?];
                u8::from_str_radix(std::str::from_utf8(&digits).ok()?, 16).ok()?
            }
            other @ (b'\\' | b'\'' | b'"') => other,
            _ => return None,
        });
    }
    Some(bytes)
}

impl Link for ReplayingLink {
    fn write(&mut self, bytes: &[u8], _within: Duration) -> Result<(), DriverError> {
        let expected = match self.transfers.front() {
            Some(next) if next.mark == '>' && next.bytes == bytes => {
                self.play();
                return Ok(());
            }
            Some(next) => format!("{} {}", next.mark, escape(&next.bytes, 64)),
            None => "nothing more".to_owned(),
        };
        Err(DriverError::Garbled {
            port: self.name.clone(),
            expected: format!("`{expected}` as in the trace"),
            found: escape(bytes, 64),
            unprintable: false,
        })
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let now = self.clock.now();
        let due = match self.transfers.front() {
            None => return Err(lost(&self.name, "reading past the end of the trace", None)),
            Some(next) if next.mark == '>' => now + wait + Duration::from_nanos(1),
            Some(next) => self.due(next),
        };
        if due > now + wait {
            self.clock.pause(wait);
            return Ok(Received::Nothing);
        }
        self.clock.pause(due.since(now));
        let Some(mut transfer) = self.play() else { return Ok(Received::Nothing) };
        if transfer.mark == '!' {
            return Err(lost(&self.name, "reading, as in the trace", None));
        }
        let count = transfer.bytes.len().min(into.len());
        let rest = transfer.bytes.split_off(count);
        if let Some(part) = into.get_mut(..count) {
            part.copy_from_slice(&transfer.bytes);
        }
        if !rest.is_empty() {
            self.transfers.push_front(Transfer { bytes: rest, ..transfer });
        }
        Ok(if count == 0 { Received::Nothing } else { Received::Bytes(count) })
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        Ok(())
    }

    fn name(&self) -> &str {
        &self.name
    }
}

#[cfg(test)]
mod tests {
    use super::super::{CapturingLink, ScriptedLink, Step};
    use super::*;
    use crate::clock::HandClock;
    use std::io::Write;
    use std::sync::Mutex;

    #[derive(Clone, Default)]
    struct Shared(Arc<Mutex<Vec<u8>>>);

    impl Write for Shared {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_trace_plays_back_byte_for_byte_and_at_its_own_times() {
        let clock = Arc::new(HandClock::new());
        let script = vec![
            Step::Expect(b"*IDN?\n".to_vec()),
            Step::Delay(Duration::from_millis(250)),
            Step::Send(b"A\\B,\"\xff\x01,0,1\r\n".to_vec()),
            Step::Eof,
        ];
        let trace = Shared::default();
        let inner = Box::new(ScriptedLink::new(script, clock.clone()));
        let mut link = CapturingLink::new(inner, Box::new(trace.clone()), clock.clone());
        let live = converse(&mut link, &clock);
        let text = String::from_utf8(trace.0.lock().unwrap().clone()).unwrap();
        let clock = Arc::new(HandClock::new());
        let mut link = ReplayingLink::parse(&text, clock.clone()).unwrap();
        assert_eq!(converse(&mut link, &clock), live);
        assert_eq!(live.0, b"A\\B,\"\xff\x01,0,1\r\n");
        assert_eq!(live.1, Duration::from_millis(250));
        assert!(link.is_played());
    }

    fn converse(link: &mut dyn Link, clock: &HandClock) -> (Vec<u8>, Duration) {
        link.write(b"*IDN?\n", Duration::from_secs(1)).unwrap();
        let mut buffer = [0; 64];
        for _ in 0..100 {
            if let Received::Bytes(count) =
                link.read_some(&mut buffer, Duration::from_millis(50)).unwrap()
            {
                let at = clock.now().since_start();
                assert!(link.read_some(&mut [0; 8], Duration::ZERO).is_err());
                return (buffer[..count].to_vec(), at);
            }
        }
        panic!("nothing came");
    }

    #[test]
    fn another_query_than_in_the_trace_is_an_error() {
        let text = format!("{HEADER}\n0.000000 > \"*IDN?\\n\"\n");
        let mut link = ReplayingLink::parse(&text, Arc::new(HandClock::new())).unwrap();
        let error = link.write(b"READ?\n", Duration::ZERO).unwrap_err().to_string();
        assert!(error.contains("*IDN?") && error.contains("READ?"), "{error}");
    }

    #[test]
    fn a_broken_trace_names_its_line() {
        for line in ["", "x > \"\"", "1.0 ? \"\"", "1.0 > \"\\q\"", "1.0 > \"", "-1 > \"\""] {
            let text = format!("{HEADER}\n0.0 < \"ok\"\n{line}\n");
            let Err(error) = ReplayingLink::parse(&text, Arc::new(HandClock::new())) else {
                panic!("{line} was taken");
            };
            assert!(error.to_string().contains("line 3"), "{error}");
        }
    }
}
