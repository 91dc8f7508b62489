//! Whatever may stand in a recorded log: both ways of reading it, the byte loop and the csv crate,
//! give the same readings and the same counts, however the bytes are cut, or the same refusal. The
//! first byte says how long the pieces are.

#![no_main]

use coilmark::logbook::{Columns, Listener, Pace, Rows, read};
use libfuzzer_sys::fuzz_target;
use std::io::{self, Read};

#[derive(Debug, Default, PartialEq)]
struct Heard {
    readings: Vec<(u64, u64)>,
    overloads: Vec<u64>,
}

impl Listener for Heard {
    fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        let pairs = t_s.iter().zip(volts).map(|(t, x)| (t.to_bits(), x.to_bits()));
        self.readings.extend(pairs);
    }

    fn overload(&mut self, t_s: f64) {
        self.overloads.push(t_s.to_bits());
    }
}

/// Gives at most so many bytes at once.
struct InPieces<'a> {
    bytes: &'a [u8],
    most: usize,
}

impl Read for InPieces<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let most = self.most.min(into.len());
        self.bytes.read(&mut into[..most])
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Some((most, bytes)) = bytes.split_first() else { return };
    let whole = heard(bytes, bytes.len().max(1), Pace::Plain);
    assert_eq!(whole, heard(bytes, bytes.len().max(1), Pace::Fast), "the byte loop");
    assert_eq!(whole, heard(bytes, usize::from(*most).max(1), Pace::Fast), "in pieces");
});

fn heard(bytes: &[u8], most: usize, pace: Pace) -> (Result<Rows, String>, Heard) {
    let mut heard = Heard::default();
    let rows = read(InPieces { bytes, most }, &Columns::default(), pace, &mut heard);
    (rows.map_err(|error| error.to_string()), heard)
}
