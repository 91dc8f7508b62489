//! A trace as a link: what the meter said comes again, in the same order and with the same
//! delay after what was sent. Bytes that were sent must be sent again, or the replay ends with
//! an error that names both; that makes a trace from the field a regression test. Opened by its
//! file name, a replay skips to the place where those bytes were sent: a person's pauses, and the
//! readings that filled them, need not be repeated.

use super::capturing::HEADER;
use super::{Link, Received, lost};
use crate::clock::{Clock, Moment, SystemClock};
use crate::error::{DriverError, escape};
use crate::text::read_text;
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// A link that plays a trace written by [`CapturingLink`](super::CapturingLink).
pub struct ReplayingLink {
    transfers: VecDeque<Transfer>,
    clock: Arc<dyn Clock>,
    name: String,
    /// Trace time and our time of the transfer played last.
    anchor: (Duration, Moment),
    /// Whether what was sent meanwhile may be left out.
    skips: bool,
}

/// The largest trace that is read, in bytes.
const TRACE_AT_MOST: u64 = 256 << 20;

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
        Ok(Self { transfers, clock, name: "trace".into(), anchor, skips: false })
    }

    /// Opens a trace file as a link that skips, by the machine's clock: what passed after the link
    /// had been opened `openings` times before.
    ///
    /// # Errors
    /// [`DriverError::Missing`], [`DriverError::System`] if it cannot be read,
    /// [`DriverError::TraceOver`] if it was not opened so often, and as [`ReplayingLink::parse`].
    pub fn open(path: &str, openings: usize) -> Result<Self, DriverError> {
        let system = |source| DriverError::System {
            port: escape(path.as_bytes(), 200),
            step: "reading the trace".into(),
            source,
        };
        let text =
            read_text(Path::new(path), TRACE_AT_MOST).map_err(|source| match source.kind() {
                std::io::ErrorKind::NotFound => DriverError::Missing {
                    port: escape(path.as_bytes(), 200),
                    source: Some(source),
                },
                _ => system(source),
            })?;
        let Some((at, _)) = text.match_indices(HEADER).nth(openings) else {
            let over = DriverError::TraceOver { port: path.to_owned() };
            return Err(if openings > 0 { over } else { no_head(path) });
        };
        let rest = text.get(at..).unwrap_or_default();
        let end = rest.match_indices(HEADER).nth(1).map_or(rest.len(), |(end, _)| end);
        let text = rest.get(..end).unwrap_or_default();
        let link =
            Self::parse(text, Arc::new(SystemClock::begin())).map_err(|error| match error {
                DriverError::BadLink { problem, .. } => DriverError::BadLink {
                    text: format!("replay:{}", escape(path.as_bytes(), 200)),
                    problem,
                },
                other => other,
            })?;
        Ok(Self { name: path.to_owned(), skips: true, ..link })
    }

    /// Leaves out what comes before the place where `bytes` were sent, if they were.
    fn skip_to(&mut self, bytes: &[u8]) {
        let place = self.transfers.iter().position(|next| next.mark == '>' && next.bytes == bytes);
        if let Some(place) = place {
            self.transfers.drain(..place);
        }
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

fn no_head(path: &str) -> DriverError {
    DriverError::BadLink {
        text: format!("replay:{}", escape(path.as_bytes(), 200)),
        problem: "not the head of a trace".into(),
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
        if self.skips {
            self.skip_to(bytes);
        }
        let expected = match self.transfers.front() {
            Some(next) if next.mark == '>' && next.bytes == bytes => {
                self.play();
                return Ok(());
            }
            Some(next) => format!("{} {}", next.mark, escape(&next.bytes, 64)),
            None => return Err(DriverError::TraceOver { port: self.name.clone() }),
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
            None => return Err(DriverError::TraceOver { port: self.name.clone() }),
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

    // What a person's pauses held is left out; what was never sent is an error all the same.
    #[test]
    fn a_trace_that_is_opened_by_its_name_skips_to_what_is_sent() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let text = [
            HEADER,
            "0.0 > \"READ?\\n\"",
            "0.1 < \"+1\\n\"",
            "0.2 > \"READ?\\n\"",
            "0.3 < \"+2\\n\"",
            "0.3 > \"CONF:RES\\n\"",
            "0.3 > \"READ?\\n\"",
            "0.3 < \"+3\\n\"",
        ];
        std::fs::write(file.path(), text.join("\n")).unwrap();
        let mut link = ReplayingLink::open(file.path().to_str().unwrap(), 0).unwrap();
        let mut buffer = [0; 8];
        link.write(b"CONF:RES\n", Duration::ZERO).unwrap();
        link.write(b"READ?\n", Duration::ZERO).unwrap();
        let got = link.read_some(&mut buffer, Duration::from_secs(1)).unwrap();
        assert_eq!((got, &buffer[..3]), (Received::Bytes(3), &b"+3\n"[..]));
        let after = link.write(b"READ?\n", Duration::ZERO).unwrap_err();
        assert!(matches!(after, DriverError::TraceOver { .. }), "{after:?}");
        let over = ReplayingLink::open(file.path().to_str().unwrap(), 1).map(|_| ()).unwrap_err();
        assert!(matches!(over, DriverError::TraceOver { .. }), "{over:?}");
        let missing = ReplayingLink::open("no-such.trace", 0).map(|_| ()).unwrap_err();
        assert!(matches!(missing, DriverError::Missing { .. }), "{missing:?}");
        std::fs::write(file.path(), "not a trace").unwrap();
        let bad = ReplayingLink::open(file.path().to_str().unwrap(), 0).map(|_| ()).unwrap_err();
        assert!(bad.to_string().contains(file.path().to_str().unwrap()), "{bad}");
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
