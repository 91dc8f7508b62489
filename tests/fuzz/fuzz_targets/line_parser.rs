//! Whatever may come from a meter of lines, or from a wrong baud rate: the assembler must give the
//! same lines however the bytes are cut, each printable; the parser of each shipped profile must
//! give a finite number or say what is wrong. The first byte says where the rest is cut.

#![no_main]

use drivers::line::{LINE_AT_MOST, LineAssembler};
use drivers::profile::Dialect;
use drivers::stream::parse_line;
use drivers::{Profile, Value};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static PROFILES: LazyLock<Vec<Profile>> = LazyLock::new(|| {
    ["ascii-lines", "polled-lines"].map(|name| Profile::load(name).unwrap()).into()
});

fuzz_target!(|bytes: &[u8]| {
    let Some((cut, bytes)) = bytes.split_first() else { return };
    let (head, tail) = bytes.split_at(usize::from(*cut).min(bytes.len()));
    let whole = lines(&[bytes]);
    assert_eq!(whole, lines(&[head, tail]), "cut at {}", head.len());
    for line in whole.into_iter().flatten() {
        assert!(!line.is_empty() && line.len() <= LINE_AT_MOST);
        assert!(line.bytes().all(|byte| matches!(byte, b' '..=b'~' | b'\t')));
        for profile in PROFILES.iter() {
            let Dialect::Lines(dialect) = &profile.dialect else { continue };
            let Ok(reading) = parse_line(&line, dialect) else { continue };
            assert!(!reading.functions.is_empty(), "{line:?}");
            assert!(!matches!(reading.value, Value::Number(x) if !x.is_finite()), "{line:?}");
        }
    }
});

fn lines(pieces: &[&[u8]]) -> Vec<Result<String, drivers::line::BadLine>> {
    let mut assembler = LineAssembler::new();
    let mut lines = Vec::new();
    for piece in pieces {
        assembler.push(piece);
        lines.extend(std::iter::from_fn(|| assembler.next()));
    }
    lines
}
