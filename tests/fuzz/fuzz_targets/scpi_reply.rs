//! Whatever a SCPI meter may answer: numbers, error entries, identifications, and a whole session
//! that has been told to measure and gets these bytes instead of answers, in two pieces, with time
//! passing. Nothing may panic; a number that is taken is finite and below the overload mark.

#![no_main]

use drivers::clock::Moment;
use drivers::scpi::{ErrorEntry, IdentityFields, parse_value, short_header};
use drivers::{Function, Input, MeterEvent, Order, Profile, Value};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;
use std::time::Duration;

static PROFILE: LazyLock<Profile> = LazyLock::new(|| Profile::load("scpi").unwrap());

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(Value::Number(number)) = parse_value(&text) {
        assert!(number.is_finite() && number.abs() < 9.9e37, "{text:?}");
        assert_eq!(text.trim().parse(), Ok(number), "our grammar is a part of the language's");
    }
    if let Some(entry) = ErrorEntry::parse(&text) {
        assert!(text.contains(&entry.number.unsigned_abs().to_string()), "{text:?}");
    }
    let _ = (IdentityFields::parse(&text), short_header(&text));
    converse(bytes);
});

fn converse(bytes: &[u8]) {
    let Some((cut, bytes)) = bytes.split_first() else { return };
    let mut session = PROFILE.session("fuzz");
    let at = |ms| Moment::from_start(Duration::from_millis(ms));
    let order = Order::Measure { function: Function::Resistance, epoch: 1 };
    let (head, tail) = bytes.split_at(usize::from(*cut).min(bytes.len()));
    let inputs = [
        Input::LinkOpened,
        Input::DeadlineReached,
        Input::BytesReceived(b"MAKER,MODEL,0,1.0\n0,\"No error\"\n0\n"),
        Input::OrderGiven(order),
        Input::BytesReceived(head),
        Input::DeadlineReached,
        Input::BytesReceived(tail),
        Input::DeadlineReached,
        Input::LinkLost,
        Input::LinkOpened,
        Input::BytesReceived(bytes),
        Input::Closing,
    ];
    for (step, input) in (0_u64..).zip(inputs) {
        let _ = session.handle(input, at(400 * step));
        while session.next_output().is_some() {}
        let _ = session.handle(Input::OutputSent, at(400 * step));
        for event in std::iter::from_fn(|| session.next_event()).flat_map(MeterEvent::singly) {
            if let MeterEvent::ReadingTaken { reading, .. } = event {
                assert!(reading.value.number().is_none_or(f64::is_finite), "{reading:?}");
            }
        }
    }
}
