//! Frames of the USB test and measurement class, without I/O: messages to the instrument, requests
//! for its answer, the answer's frames, and the USB488 trigger. Twelve bytes of head, little
//! endian, then data (USBTMC 1.0, tables 1 to 4, 8 and 9). The kernel does this for
//! `/dev/usbtmcN`; these are for a link of our own where there is no such node, and for the
//! simulated bench. Checked byte by byte against fixtures/reference/usbtmc-frames.csv.

/// Length of every head, in bytes.
pub const HEAD: usize = 12;
/// The longest answer that is put together, in bytes.
pub const ANSWER_AT_MOST: usize = 1 << 20;

const MESSAGE_OUT: u8 = 1;
const MESSAGE_IN: u8 = 2;
const TRIGGER: u8 = 128;
const END_OF_MESSAGE: u8 = 1;
const ENDS_AT_CHARACTER: u8 = 2;

/// Why bytes are no frame of the answer that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrameFault {
    /// Shorter than a head.
    #[error("{0} bytes are too few for a frame")]
    Short(usize),
    /// Another kind of message.
    #[error("message kind {0} instead of 2")]
    Kind(u8),
    /// The tag and its complement do not belong together.
    #[error("tag {0} with complement {1}")]
    Complement(u8, u8),
    /// The answer to another request.
    #[error("answer to request {found} instead of {expected}")]
    Tag {
        /// The tag of the request.
        expected: u8,
        /// The tag that came.
        found: u8,
    },
    /// A size that no request allows.
    #[error("a message of {0} bytes")]
    Size(u64),
}

/// Gives each message its tag: 1 to 255, then 1 again, never 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tags(u8);

impl Tags {
    /// The first tag will be 1.
    #[must_use]
    pub const fn new() -> Self {
        Self(0)
    }

    /// The next tag.
    pub const fn next(&mut self) -> u8 {
        self.0 = if self.0 == u8::MAX { 1 } else { self.0 + 1 };
        self.0
    }
}

/// A message, or a part of one, to the instrument; padded with zeros to a multiple of four.
#[must_use]
pub fn message_out(tag: u8, data: &[u8], end_of_message: bool) -> Vec<u8> {
    let attributes = if end_of_message { END_OF_MESSAGE } else { 0 };
    let size = u32::try_from(data.len()).unwrap_or(u32::MAX);
    let mut frame = head(MESSAGE_OUT, tag, size, attributes, 0).to_vec();
    frame.extend_from_slice(data);
    frame.resize(frame.len().next_multiple_of(4), 0);
    frame
}

/// A request for at most `size` bytes of an answer, ended early at `until` if it is given.
#[must_use]
pub fn request_in(tag: u8, size: u32, until: Option<u8>) -> [u8; HEAD] {
    let attributes = if until.is_some() { ENDS_AT_CHARACTER } else { 0 };
    head(MESSAGE_IN, tag, size, attributes, until.unwrap_or(0))
}

/// The USB488 trigger (USB488 1.0).
#[must_use]
pub fn trigger(tag: u8) -> [u8; HEAD] {
    head(TRIGGER, tag, 0, 0, 0)
}

/// One frame of an answer, as an instrument sends it; for the simulated bench.
#[must_use]
pub fn message_in(tag: u8, data: &[u8], end_of_message: bool) -> Vec<u8> {
    let attributes = if end_of_message { END_OF_MESSAGE } else { 0 };
    let size = u32::try_from(data.len()).unwrap_or(u32::MAX);
    let mut frame = head(MESSAGE_IN, tag, size, attributes, 0).to_vec();
    frame.extend_from_slice(data);
    frame
}

fn head(kind: u8, tag: u8, size: u32, attributes: u8, until: u8) -> [u8; HEAD] {
    let [a, b, c, d] = size.to_le_bytes();
    [kind, tag, !tag, 0, a, b, c, d, attributes, until, 0, 0]
}

/// What one transfer brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Progress {
    /// The frame is not whole: read on, without another request.
    Frame,
    /// The frame is whole, the answer is not: request more, with the next tag.
    More,
    /// The whole answer.
    Whole(Vec<u8>),
}

/// Puts one answer together from transfers cut anywhere. The size in a head is believed only as
/// far as bytes come; what comes beyond it is padding.
#[derive(Clone, Debug, Default)]
pub struct Answer {
    data: Vec<u8>,
    /// Bytes of the frame that are still to come, and whether it ends the message.
    frame: Option<(usize, bool)>,
    head: Vec<u8>,
}

impl Answer {
    /// Nothing received yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes what one read of the pipe brought; `tag` is the tag of the request it answers.
    ///
    /// # Errors
    /// A [`FrameFault`]; the answer is then lost and the pipe has to be cleared.
    pub fn push(&mut self, tag: u8, bytes: &[u8]) -> Result<Progress, FrameFault> {
        let mut rest = bytes;
        if self.frame.is_none() {
            let missing = HEAD.saturating_sub(self.head.len()).min(rest.len());
            let (head, data) = rest.split_at_checked(missing).unwrap_or((rest, &[]));
            self.head.extend_from_slice(head);
            if self.head.len() < HEAD {
                return Ok(Progress::Frame);
            }
            self.frame = Some(read_head(&self.head, tag)?);
            self.head.clear();
            rest = data;
        }
        let Some((left, end)) = self.frame else { return Ok(Progress::Frame) };
        let part = rest.get(..left.min(rest.len())).unwrap_or_default();
        if self.data.len() + part.len() > ANSWER_AT_MOST {
            return Err(FrameFault::Size((self.data.len() + part.len()) as u64));
        }
        self.data.extend_from_slice(part);
        let left = left - part.len();
        if left > 0 {
            self.frame = Some((left, end));
            return Ok(Progress::Frame);
        }
        self.frame = None;
        Ok(if end { Progress::Whole(std::mem::take(&mut self.data)) } else { Progress::More })
    }
}

/// Size and end mark of an answer's frame.
fn read_head(head: &[u8], tag: u8) -> Result<(usize, bool), FrameFault> {
    let &[kind, found, complement, _, a, b, c, d, attributes, _, _, _] = head else {
        return Err(FrameFault::Short(head.len()));
    };
    if kind != MESSAGE_IN {
        return Err(FrameFault::Kind(kind));
    }
    if found != !complement {
        return Err(FrameFault::Complement(found, complement));
    }
    if found != tag {
        return Err(FrameFault::Tag { expected: tag, found });
    }
    let size = u32::from_le_bytes([a, b, c, d]);
    match usize::try_from(size) {
        Ok(size) if (1..=ANSWER_AT_MOST).contains(&size) => {
            Ok((size, attributes & END_OF_MESSAGE != 0))
        }
        _ => Err(FrameFault::Size(size.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::reference_rows;
    use proptest::prelude::*;

    fn reference(name: &str) -> Vec<u8> {
        let rows = reference_rows("usbtmc-frames.csv");
        let row = rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("no {name}"));
        row[2].split(' ').map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
    }

    // USBTMC 1.0, tables 1 to 4, 8 and 9; USB488 1.0: the frames of the reference table.
    #[test]
    fn frames_are_the_references_byte_by_byte() {
        assert_eq!(message_out(1, b"*IDN?\n", true), reference("out_idn"));
        assert_eq!(message_out(255, b"READ?\n", true), reference("out_tag_255"));
        assert_eq!(request_in(2, 1024, None).to_vec(), reference("request_1024"));
        assert_eq!(request_in(3, 1024, Some(b'\n')).to_vec(), reference("request_1024_lf"));
        assert_eq!(trigger(5).to_vec(), reference("trigger"));
        let whole = |tag, name| Answer::new().push(tag, &reference(name)).unwrap();
        assert_eq!(whole(2, "in_idn"), Progress::Whole(b"MAKER,MODEL,0,1.0\n".to_vec()));
        assert_eq!(whole(2, "in_overload"), Progress::Whole(b"+9.90000000E+37\n".to_vec()));
        assert_eq!(whole(4, "in_partial"), Progress::More);
    }

    #[test]
    fn tags_run_from_1_to_255_and_never_0() {
        let mut tags = Tags::new();
        let first: Vec<u8> = (0..256).map(|_| tags.next()).collect();
        assert_eq!((first[0], first[254], first[255]), (1, 255, 1));
        assert!(!first.contains(&0));
    }

    // F61: the length lies, packets are cut anywhere, padding follows.
    #[test]
    fn an_answer_cut_at_every_byte_is_the_same_answer() {
        let frame = reference("in_idn");
        for cut in 0..frame.len() {
            let mut answer = Answer::new();
            let (head, tail) = frame.split_at(cut);
            let early = answer.push(2, head).unwrap();
            let wanted = Progress::Whole(b"MAKER,MODEL,0,1.0\n".to_vec());
            if early != wanted {
                assert_eq!(early, Progress::Frame, "cut at {cut}");
                assert_eq!(answer.push(2, tail).unwrap(), wanted, "cut at {cut}");
            }
        }
        let mut two = Answer::new();
        assert_eq!(two.push(4, &reference("in_partial")).unwrap(), Progress::More);
        let rest = message_in(5, b"67\n", true);
        assert_eq!(two.push(5, &rest).unwrap(), Progress::Whole(b"+1.234567\n".to_vec()));
        assert_eq!(Answer::new().push(5, &rest[..14]).unwrap(), Progress::Frame, "fewer than said");
    }

    #[test]
    fn a_frame_of_another_request_is_refused() {
        let good = message_in(7, b"1\n", true);
        let spoilt = |place: usize, byte: u8| {
            let mut frame = good.clone();
            frame[place] = byte;
            Answer::new().push(7, &frame).unwrap_err()
        };
        assert_eq!(spoilt(0, 1), FrameFault::Kind(1));
        assert_eq!(spoilt(2, 7), FrameFault::Complement(7, 7));
        assert_eq!(spoilt(4, 0), FrameFault::Size(0));
        assert_eq!(spoilt(7, 255), FrameFault::Size(0xff00_0002));
        let other = Answer::new().push(8, &good).unwrap_err();
        assert_eq!(other, FrameFault::Tag { expected: 8, found: 7 });
    }

    proptest! {
        #[test]
        fn any_answer_in_any_pieces_reads_back(
            data in proptest::collection::vec(any::<u8>(), 1..300),
            piece in 1_usize..64,
            padding in 0_usize..4,
        ) {
            let mut frame = message_in(9, &data, true);
            frame.resize(frame.len() + padding, 0);
            let mut answer = Answer::new();
            let mut whole = None;
            for piece in frame.chunks(piece) {
                if let Progress::Whole(got) = answer.push(9, piece).unwrap() {
                    whole = Some(got);
                    break;
                }
            }
            prop_assert_eq!(whole, Some(data));
        }

        #[test]
        fn no_bytes_whatever_panic(bytes in proptest::collection::vec(any::<u8>(), 0..40)) {
            let _ = Answer::new().push(1, &bytes);
        }
    }
}
