//! Transcripts of the line session: at this time, this comes in; these events come out. The clock
//! is set by hand. What a line means is tested beside the grammar, in its own file.
//! Free-running and polled meters are both here.

use super::*;
use crate::reading::Value;
use std::sync::LazyLock;
use std::time::Duration;

fn at(ms: u64) -> Moment {
    Moment::from_start(Duration::from_millis(ms))
}

static FREE: LazyLock<Profile> = LazyLock::new(|| Profile::load("ascii-lines").unwrap());

fn session(profile: &str) -> Box<dyn Session> {
    match profile {
        "ascii-lines" => FREE.session("port"),
        other => Profile::load(other).unwrap().session("port"),
    }
}

fn ohms(epoch: u64) -> Order {
    Order::Measure { function: Function::Resistance, epoch }
}

/// What happened, in one short word each.
fn events(session: &mut dyn Session) -> Vec<String> {
    std::iter::from_fn(|| session.next_event())
        .map(|event| match event {
            MeterEvent::Answered { gap, .. } => format!("answered {gap:?}"),
            MeterEvent::ReadingTaken { epoch, reading } => match reading.value {
                Value::Number(x) => format!("{epoch}: {x}"),
                other => format!("{epoch}: {other:?}"),
            },
            MeterEvent::OtherFunction { epoch, reading } => {
                format!("{epoch}: other {}", reading.function.name())
            }
            MeterEvent::Declined { epoch, .. } => format!("{epoch}: declined"),
            MeterEvent::Complained(_) => "complained".to_owned(),
            other => format!("{other:?}"),
        })
        .collect()
}

fn receive(session: &mut dyn Session, text: &str, ms: u64) -> Vec<String> {
    session.handle(Input::BytesReceived(text.as_bytes()), at(ms)).unwrap();
    events(session)
}

fn opened() -> Box<dyn Session> {
    let mut session = session("ascii-lines");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    assert_eq!(receive(&mut *session, "9.8 OHM\r\n+0329.8 OHM\r\n", 10), ["answered None"]);
    session
}

#[test]
fn the_first_line_after_opening_is_never_used() {
    let mut session = session("ascii-lines");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    session.handle(Input::OrderGiven(ohms(1)), at(0)).unwrap();
    // The tail of `+0329.8 OHM` reads as 9.8 ohms.
    let got = receive(&mut *session, "9.8 OHM\r\n+1.0 OHM\r\n+2.0 OHM\r\n", 10);
    assert_eq!(got, ["answered None", "1: 2"]);
}

#[test]
fn a_line_under_way_when_the_order_came_is_not_its_reading() {
    let mut session = opened();
    assert_eq!(receive(&mut *session, "+0000", 100), [""; 0]);
    session.handle(Input::OrderGiven(ohms(7)), at(110)).unwrap();
    assert_eq!(receive(&mut *session, ".1 OHM\r\n", 120), [""; 0]);
    assert_eq!(receive(&mut *session, "+0329.8 OHM\r\n", 200), ["7: 329.8"]);
    session.handle(Input::OrderGiven(ohms(8)), at(210)).unwrap();
    assert_eq!(receive(&mut *session, "+1 OHM\r\n", 300), [""; 0]);
    assert_eq!(receive(&mut *session, "OL  OHM\r\n", 400), ["8: Overload"]);
    session.handle(Input::OrderGiven(Order::Rest), at(410)).unwrap();
    assert_eq!(receive(&mut *session, "+1 OHM\r\n+1 OHM\r\n", 500), [""; 0]);
}

// F49: the dial stands elsewhere.
#[test]
fn a_reading_in_another_function_is_told_but_not_credited() {
    let mut session = opened();
    session.handle(Input::OrderGiven(ohms(3)), at(20)).unwrap();
    let got = receive(&mut *session, "+1 OHM\r\n+13.71 VDC\r\n+0.5 DIO\r\n+5 OHM\r\n", 30);
    assert_eq!(got, ["3: other voltage_dc", "3: other diode", "3: 5"]);
    let continuity = Order::Measure { function: Function::Continuity, epoch: 4 };
    session.handle(Input::OrderGiven(continuity), at(40)).unwrap();
    assert_eq!(receive(&mut *session, "+1 OHM\r\n+2 OHM\r\n", 50), ["4: 2"]);
}

#[test]
fn a_line_with_noise_is_complained_about_and_the_next_one_is_good() {
    let mut session = opened();
    session.handle(Input::OrderGiven(ohms(1)), at(20)).unwrap();
    receive(&mut *session, "+1 OHM\r\n", 30);
    session.handle(Input::BytesReceived(b"+3\xb29.8 OHM\r\n"), at(40)).unwrap();
    assert_eq!(events(&mut *session), ["complained"]);
    // The spoilt line may have been two lines: one more is skipped.
    assert_eq!(receive(&mut *session, "+1 OHM\r\n+5 OHM\r\n", 50), ["1: 5"]);
}

#[test]
fn a_wrong_dialect_ends_the_use_of_the_link() {
    let mut session = opened();
    let line = "hello\r\n".repeat(11);
    assert_eq!(receive(&mut *session, &line, 30).len(), 11);
    let error = session.handle(Input::BytesReceived(b"hello\r\n"), at(40)).unwrap_err();
    assert!(matches!(error, DriverError::Garbled { .. }), "{error:?}");
}

#[test]
fn silence_is_an_error_while_something_is_wanted_and_at_opening() {
    let mut session = session("ascii-lines");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    assert_eq!(session.wake_at(), Some(at(5000)));
    assert!(session.handle(Input::DeadlineReached, at(4999)).is_ok());
    let error = session.handle(Input::DeadlineReached, at(5000)).unwrap_err();
    assert!(matches!(error, DriverError::NoAnswer { waited_ms: 5000, .. }), "{error:?}");

    let mut session = opened();
    for ms in [5010, 10_010, 15_010] {
        assert!(session.handle(Input::DeadlineReached, at(ms)).is_ok(), "resting");
    }
    session.handle(Input::OrderGiven(ohms(1)), at(19_000)).unwrap();
    assert!(session.handle(Input::DeadlineReached, at(20_100)).is_ok());
    assert!(session.handle(Input::DeadlineReached, at(24_000)).is_err());
}

#[test]
fn after_a_loss_the_order_goes_on_and_the_gap_is_told() {
    let mut session = opened();
    session.handle(Input::OrderGiven(ohms(5)), at(100)).unwrap();
    session.handle(Input::LinkLost, at(1000)).unwrap();
    session.handle(Input::LinkOpened, at(3000)).unwrap();
    let got = receive(&mut *session, "OHM\r\n+1 OHM\r\n+2 OHM\r\n", 3500);
    assert_eq!(got, ["answered Some(2.5s)", "5: 2"]);
}

#[test]
fn a_polled_meter_is_asked_once_at_a_time() {
    let mut session = session("polled-lines");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    assert_eq!(session.next_output().unwrap(), b"D\n");
    assert_eq!(session.next_output(), None);
    assert_eq!(receive(&mut *session, "+1 OHM\r\n", 100), ["answered None"]);
    assert_eq!(session.next_output(), None, "nothing is wanted");
    session.handle(Input::OrderGiven(ohms(1)), at(200)).unwrap();
    assert_eq!(session.next_output().unwrap(), b"D\n");
    assert_eq!(receive(&mut *session, "D\r\n+2 OHM\r\n", 300), ["1: 2"]);
    assert_eq!(session.next_output().unwrap(), b"D\n");
    // An order while a poll is under way: its answer is not the order's.
    session.handle(Input::OrderGiven(ohms(2)), at(310)).unwrap();
    assert_eq!(session.next_output(), None);
    assert_eq!(receive(&mut *session, "+3 OHM\r\n", 400), [""; 0]);
    assert_eq!(session.next_output().unwrap(), b"D\n");
    assert_eq!(receive(&mut *session, "+4 OHM\r\n", 500), ["2: 4"]);
}

// F10: an answer later than its deadline is nobody's.
#[test]
fn a_late_answer_to_a_poll_is_not_the_next_polls() {
    let mut session = session("polled-lines");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    session.handle(Input::OrderGiven(ohms(1)), at(0)).unwrap();
    while session.next_output().is_some() {}
    assert_eq!(receive(&mut *session, "+1 OHM\r\n", 100), ["answered None"]);
    session.next_output().unwrap();
    session.handle(Input::DeadlineReached, at(2100)).unwrap();
    assert_eq!(events(&mut *session), ["complained"]);
    session.next_output().unwrap();
    assert_eq!(receive(&mut *session, "+2 OHM\r\n+3 OHM\r\n", 2200), ["1: 3"]);
}

#[test]
fn every_fixture_gives_the_same_readings_split_at_every_byte() {
    // The long one is split at every byte by the assembler's own test, without a session each.
    for fixture in crate::fixtures::line_fixtures().into_iter().filter(|f| f.bytes.len() < 4096) {
        let run = |chunks: &[&[u8]]| {
            let mut session = opened();
            session.handle(Input::OrderGiven(ohms(1)), at(20)).unwrap();
            for chunk in chunks {
                if session.handle(Input::BytesReceived(chunk), at(30)).is_err() {
                    return vec!["error".to_owned()];
                }
            }
            events(&mut *session)
        };
        let whole = run(&[&fixture.bytes]);
        for cut in 0..fixture.bytes.len() {
            let (head, tail) = fixture.bytes.split_at(cut);
            assert_eq!(run(&[head, tail]), whole, "{} at {cut}", fixture.name);
        }
    }
}

#[test]
fn a_line_measured_in_part_before_the_order_is_not_its_reading() {
    let text = include_str!("../../../profiles/ascii-lines.toml")
        .replace("skip_lines = 1", "skip_lines = 0\nintegration_ms = 400");
    let mut session = Profile::parse("slow", &text).unwrap().session("port");
    session.handle(Input::LinkOpened, at(0)).unwrap();
    assert_eq!(receive(&mut *session, "x\r\n+1 OHM\r\n", 10), ["answered None"]);
    session.handle(Input::OrderGiven(ohms(1)), at(100)).unwrap();
    assert_eq!(receive(&mut *session, "+2 OHM\r\n", 499), [""; 0]);
    assert_eq!(receive(&mut *session, "+3 OHM\r\n", 500), ["1: 3"]);
}

#[test]
fn lines_that_a_profile_does_not_read_are_not_called_silence() {
    let pattern = "pattern = '^(?<function>GS) (?<value>[0-9.]+)(?<unit>[a-z]+)$'";
    for (key, line, wanted) in [
        (pattern, "GS 1.5mv", "a reading in one of the profile's units, not `MVGS`"),
        (pattern, "GS 1.5", "a line of the profile's `pattern`"),
        ("checksum = \"xor\"", "+1.0 OHM00", "a reading with its checksum"),
        ("decimal_comma = true", "+1.0 OHM", "a number or an overload word"),
        ("", "+1.0 FARAD", "a reading in one of the profile's units, not `FARAD`"),
        ("", "FARAD", "a reading with its unit"),
    ] {
        let text = include_str!("../../../profiles/ascii-lines.toml")
            .replace("skip_lines = 1", &format!("skip_lines = 1\n{key}"));
        let mut session = Profile::parse("own", &text).unwrap().session("port");
        session.handle(Input::LinkOpened, at(0)).unwrap();
        assert_eq!(receive(&mut *session, &format!("x\r\n{line}\r\n"), 10), ["complained"]);
        let error = session.handle(Input::DeadlineReached, at(5000)).unwrap_err();
        assert_eq!(error.to_string(), format!("port: expected {wanted}, received `{line}`"));
    }
}
