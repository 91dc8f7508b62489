//! From bytes to lines, however the bytes were cut: bytes go in by [`LineAssembler::push`],
//! lines come out by [`LineAssembler::next`]. CR, LF and CRLF all end a line, CR and LF may
//! arrive apart, empty lines are dropped. A line with anything but printable ASCII in it is a
//! [`BadLine`], never mended: what noise ate may have been a digit. At most [`LINE_AT_MOST`]
//! bytes of one are kept, unless longer ones are awaited. See fixtures/lines/.

use crate::error::{DriverError, escape};
use std::collections::VecDeque;

/// The longest line, in bytes; the rest of a longer one is thrown away up to its end.
pub const LINE_AT_MOST: usize = 4096;

/// How many whole lines may wait; more than this at once is a flood, and the oldest are lost. One
/// read of a link brings at most [`READ_AT_MOST`] bytes: they cannot be more lines than this.
const WAITING_AT_MOST: usize = READ_AT_MOST / 2;

/// How many bytes one read of a link brings at most.
pub(crate) const READ_AT_MOST: usize = 65_536;

/// A line that is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BadLine {
    /// It has bytes that are not printable ASCII.
    Noise(Vec<u8>),
    /// It had no end within [`LINE_AT_MOST`] bytes; these are its first.
    TooLong(Vec<u8>),
}

impl BadLine {
    /// The error for it: what was expected on which port, and what came.
    #[must_use]
    pub fn into_error(self, port: &str, expected: &str) -> DriverError {
        let (bytes, expected) = match self {
            Self::Noise(bytes) => (bytes, expected.to_owned()),
            Self::TooLong(bytes) => (bytes, format!("a line end within {LINE_AT_MOST} bytes")),
        };
        garbled(port, &expected, &bytes)
    }
}

/// The error for bytes that are not what was expected.
#[must_use]
pub fn garbled(port: &str, expected: &str, found: &[u8]) -> DriverError {
    let noisy = found.iter().filter(|byte| !is_printable(**byte)).count();
    DriverError::Garbled {
        port: port.to_owned(),
        expected: expected.to_owned(),
        found: escape(found, 64),
        unprintable: noisy * 10 >= found.len().max(1),
    }
}

/// Puts lines together.
#[derive(Clone, Debug)]
pub struct LineAssembler {
    line_at_most: usize,
    partial: Vec<u8>,
    overflowed: bool,
    ready: VecDeque<Result<String, BadLine>>,
}

impl Default for LineAssembler {
    fn default() -> Self {
        Self::with_lines_up_to(LINE_AT_MOST)
    }
}

impl LineAssembler {
    /// Nothing received yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// One that awaits lines of up to so many bytes: a block of many readings.
    #[must_use]
    pub const fn with_lines_up_to(line_at_most: usize) -> Self {
        Self { line_at_most, partial: Vec::new(), overflowed: false, ready: VecDeque::new() }
    }

    /// Takes what has arrived.
    pub fn push(&mut self, bytes: &[u8]) {
        let mut rest = bytes;
        loop {
            let end = memchr::memchr2(b'\r', b'\n', rest);
            let part = rest.get(..end.unwrap_or(rest.len())).unwrap_or_default();
            let room = self.line_at_most.saturating_sub(self.partial.len()).min(part.len());
            self.partial.extend_from_slice(part.get(..room).unwrap_or_default());
            self.overflowed |= room < part.len();
            let Some(end) = end else { return };
            self.end_line();
            rest = rest.get(end + 1..).unwrap_or_default();
        }
    }

    /// The next whole line, without its end, never empty; `None` if there is none yet.
    #[expect(clippy::should_implement_trait, reason = "more lines may come after a `None`")]
    pub fn next(&mut self) -> Option<Result<String, BadLine>> {
        self.ready.pop_front()
    }

    /// Whether a line has begun and not ended.
    #[must_use]
    pub fn has_partial(&self) -> bool {
        !self.partial.is_empty()
    }

    /// Forgets everything received; returns how many bytes and lines that was, for the record.
    pub fn clear(&mut self) -> usize {
        let forgotten = self.partial.len() + self.ready.len();
        *self = Self::with_lines_up_to(self.line_at_most);
        forgotten
    }

    fn end_line(&mut self) {
        if self.partial.is_empty() {
            return;
        }
        // The next line is mostly as long as this one.
        let next = Vec::with_capacity(self.partial.len());
        let bytes = std::mem::replace(&mut self.partial, next);
        let line = if std::mem::take(&mut self.overflowed) {
            Err(BadLine::TooLong(bytes))
        } else if is_all_printable(&bytes) {
            String::from_utf8(bytes).map_err(|error| BadLine::Noise(error.into_bytes()))
        } else {
            Err(BadLine::Noise(bytes))
        };
        if self.ready.len() >= WAITING_AT_MOST {
            self.ready.pop_front();
        }
        self.ready.push_back(line);
    }
}

/// Looks at many bytes at once: a line may be a block of thousands of readings.
fn is_all_printable(bytes: &[u8]) -> bool {
    let all = |part: &[u8]| part.iter().fold(true, |all, byte| all & is_printable(*byte));
    bytes.chunks(64).all(all)
}

const fn is_printable(byte: u8) -> bool {
    matches!(byte, b' '..=b'~' | b'\t')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines(chunks: &[&[u8]]) -> Vec<Result<String, BadLine>> {
        let mut assembler = LineAssembler::new();
        let mut out = Vec::new();
        for chunk in chunks {
            assembler.push(chunk);
            while let Some(line) = assembler.next() {
                out.push(line);
            }
        }
        out
    }

    fn texts(chunks: &[&[u8]]) -> Vec<String> {
        lines(chunks).into_iter().map(Result::unwrap).collect()
    }

    // F19: any line end is understood.
    #[test]
    fn every_line_end_gives_the_same_lines() {
        for text in ["+1\n+2\n", "+1\r+2\r", "+1\r\n+2\r\n", "+1\n\r+2\n\r"] {
            assert_eq!(texts(&[text.as_bytes()]), ["+1", "+2"], "{text:?}");
        }
        assert_eq!(texts(&[b"+1"]), [""; 0], "a line without an end is no line");
    }

    // F20: CR and LF apart make no empty line.
    #[test]
    fn line_ends_that_arrive_apart_make_no_empty_line() {
        assert_eq!(texts(&[b"+1\r", b"\n+2\r", b"\n"]), ["+1", "+2"]);
        assert_eq!(texts(&[b"\n\n\r\n", b"\r"]), [""; 0]);
    }

    // F18, F41: noise spoils its own line, and the next one is whole.
    #[test]
    fn noise_spoils_its_own_line_only() {
        for noisy in [&b"\xff\xfe+1\r\n"[..], b"+\x801\r\n", b"+1\x00\r\n", b"+1\xc3\xa9\r\n"] {
            let got = lines(&[noisy, b"+2\n"]);
            assert!(matches!(&got[0], Err(BadLine::Noise(_))), "{got:?}");
            assert_eq!(got[1], Ok("+2".to_owned()));
        }
        let bad = BadLine::Noise(b"\xff\xfe+1".to_vec()).into_error("port", "a reading");
        let message = format!("{bad}; {}", bad.hint());
        assert!(message.contains("parity") && message.contains("baud"), "{message}");
    }

    // F22: no end, no growth.
    #[test]
    fn an_endless_line_is_cut_and_reported_once() {
        let mut assembler = LineAssembler::new();
        for _ in 0..1000 {
            assembler.push(&[b'x'; 1000]);
            assert!(assembler.partial.len() <= LINE_AT_MOST);
            assert_eq!(assembler.next(), None);
        }
        assembler.push(b"\n+2\n");
        assert!(matches!(assembler.next(), Some(Err(BadLine::TooLong(_)))));
        assert_eq!(assembler.next(), Some(Ok("+2".to_owned())));
    }

    #[test]
    fn one_read_of_the_shortest_lines_loses_none() {
        let mut assembler = LineAssembler::new();
        assembler.push(&b"1\n".repeat(READ_AT_MOST / 2));
        assert_eq!(std::iter::from_fn(|| assembler.next()).count(), READ_AT_MOST / 2);
    }

    #[test]
    fn a_flood_of_lines_is_bounded() {
        let mut assembler = LineAssembler::new();
        assembler.push(&b"1\n".repeat(100_000));
        let mut count = 0;
        while assembler.next().is_some() {
            count += 1;
        }
        assert_eq!(count, WAITING_AT_MOST);
    }

    fn whole(bytes: &[u8]) -> Vec<Result<String, BadLine>> {
        lines(&[bytes])
    }

    #[test]
    fn every_fixture_split_at_every_byte_gives_the_same_lines() {
        for fixture in crate::fixtures::line_fixtures() {
            let expected = whole(&fixture.bytes);
            for cut in 0..=fixture.bytes.len() {
                let (head, tail) = fixture.bytes.split_at(cut);
                assert_eq!(lines(&[head, tail]), expected, "{} at {cut}", fixture.name);
            }
            let singly: Vec<&[u8]> = fixture.bytes.chunks(1).collect();
            assert_eq!(lines(&singly), expected, "{} byte by byte", fixture.name);
            let mut after_garbage = vec![0xff, b'x', b'\n'];
            after_garbage.extend_from_slice(&fixture.bytes);
            assert_eq!(whole(&after_garbage)[1..], expected[..], "{}", fixture.name);
            for end in 0..fixture.bytes.len() {
                let truncated = whole(&fixture.bytes[..end]);
                assert!(expected.starts_with(&truncated), "{} cut at {end}", fixture.name);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        // Any conversation cut into any chunks.
        #[test]
        fn any_chunking_gives_the_same_lines(
            bytes in proptest::collection::vec(
                prop_oneof![Just(b'\r'), Just(b'\n'), Just(b'5'), any::<u8>()], 0..200),
            cuts in proptest::collection::vec(0usize..200, 0..8),
        ) {
            let mut cuts: Vec<usize> = cuts.into_iter().map(|c| c.min(bytes.len())).collect();
            cuts.sort_unstable();
            let mut chunks = Vec::new();
            let mut from = 0;
            for cut in cuts {
                chunks.push(&bytes[from..cut]);
                from = cut;
            }
            chunks.push(&bytes[from..]);
            prop_assert_eq!(lines(&chunks), whole(&bytes));
        }
    }
}
