//! Whatever may come out of a USB pipe: frames cut anywhere, sizes that lie, tags of other requests.
//! The first byte says where the rest is cut in two; both ways must come to the same, and what is
//! put together is never more than was received, nor more than is ever kept.

#![no_main]

use drivers::usbtmc::{ANSWER_AT_MOST, Answer, HEAD, Progress, message_in, message_out};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Some(([cut, tag], bytes)) = bytes.split_first_chunk::<2>() else { return };
    let whole = Answer::new().push(*tag, bytes);
    if let Ok(Progress::Whole(data)) = &whole {
        assert!(data.len() <= ANSWER_AT_MOST && data.len() + HEAD <= bytes.len());
    }
    let (head, tail) = bytes.split_at(usize::from(*cut).min(bytes.len()));
    let mut answer = Answer::new();
    let first = answer.push(*tag, head);
    if matches!(first, Ok(Progress::Frame)) {
        assert_eq!(answer.push(*tag, tail), whole, "cut at {}", head.len());
    } else if !head.is_empty() {
        assert!(tail.is_empty() || first.is_err() == whole.is_err(), "cut at {}", head.len());
    }
    // What is framed reads back.
    if !bytes.is_empty() && *tag != 0 {
        let framed = message_in(*tag, bytes, true);
        let read = Answer::new().push(*tag, &framed);
        assert_eq!(read, Ok(Progress::Whole(bytes.to_vec())));
        assert_eq!(message_out(*tag, bytes, true).len() % 4, 0);
    }
});
