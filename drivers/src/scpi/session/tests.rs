//! Transcripts of the SCPI session: at this time, this in, that out, next wake then. The meter is
//! a list of lines, the clock is set by hand, and a wrong turn shows as a wrong line. Rows of the
//! table of failures are named beside the tests that show them.

use super::*;
use std::time::Duration;

struct Talk {
    session: Box<dyn Session>,
}

fn at(ms: u64) -> Moment {
    Moment::from_start(Duration::from_millis(ms))
}

fn talk() -> Talk {
    Talk { session: Profile::load("scpi").unwrap().session("port") }
}

/// With a meter that has neither error queue nor function query, at rest.
fn plain_talk() -> Talk {
    let text = include_str!("../../../profiles/scpi.toml")
        .replace("error_query = \"SYST:ERR?\"\n", "")
        .replace("function_query = \"FUNC?\"\n", "");
    let mut talk = Talk { session: Profile::parse("plain", &text).unwrap().session("port") };
    talk.hand(0, Input::LinkOpened);
    talk.wake(60);
    talk.wake(120);
    assert_eq!(talk.receive(130, "MAKER,MODEL,0,1.0\n"), "*ESR?;");
    // "Power on" right after `*CLS`: its event status says nothing.
    assert_eq!(talk.receive(140, "128\n"), "");
    talk
}

impl Talk {
    /// Hands over an input; gives what the session then wants to send, line ends as `;`.
    fn hand(&mut self, ms: u64, input: Input<'_>) -> String {
        self.session.handle(input, at(ms)).unwrap();
        let out: Vec<u8> = std::iter::from_fn(|| self.session.next_output()).flatten().collect();
        String::from_utf8(out).unwrap().replace('\n', ";")
    }

    fn receive(&mut self, ms: u64, text: &str) -> String {
        self.hand(ms, Input::BytesReceived(text.as_bytes()))
    }

    fn wake(&mut self, ms: u64) -> String {
        assert_eq!(self.session.wake_at(), Some(at(ms)));
        self.hand(ms, Input::DeadlineReached)
    }

    fn order(&mut self, ms: u64, function: Function, epoch: u64) -> String {
        self.hand(ms, Input::OrderGiven(Order::Measure { function, epoch }))
    }

    fn events(&mut self) -> Vec<String> {
        std::iter::from_fn(|| self.session.next_event())
            .flat_map(MeterEvent::singly)
            .map(|event| match event {
                MeterEvent::Answered { identity, .. } => format!("answered {}", identity.text),
                MeterEvent::ReadingTaken { epoch, reading } => {
                    format!("{epoch}: {:?} {}", reading.value, reading.text)
                }
                MeterEvent::Complained(error) => error.to_string(),
                other => format!("{other:?}"),
            })
            .collect()
    }

    /// From opening to resting.
    fn open(&mut self) {
        assert_eq!(self.hand(0, Input::LinkOpened), ";");
        assert_eq!(self.wake(60), "*CLS;");
        assert_eq!(self.wake(120), "*IDN?;");
        assert_eq!(self.receive(130, "MAKER,MODEL,0,1.0\n"), "*ESR?;");
        assert_eq!(self.receive(140, "0\n"), "SYST:ERR?;");
        assert_eq!(self.receive(150, "+0,\"No error\"\r\n"), "");
        assert_eq!(self.events(), ["answered MAKER,MODEL,0,1.0"]);
        assert_eq!(self.session.wake_at(), None);
        assert!(!self.session.answer_due());
    }

    /// From resting to the first reading under way.
    fn configure(&mut self) {
        assert_eq!(self.order(200, Function::Resistance, 1), "CONF:RES;");
        assert_eq!(self.wake(220), "SYST:ERR?;");
        assert_eq!(self.receive(230, "0,\"No error\"\n"), "FUNC?;");
        assert_eq!(self.receive(240, "\"RES\"\n"), "READ?;");
        assert!(self.session.answer_due());
    }
}

#[test]
fn an_order_runs_from_opening_to_its_readings() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    assert_eq!(talk.receive(300, "+3.2980"), "");
    assert_eq!(talk.receive(310, "0000E+02\n"), "FUNC?;");
    assert_eq!(talk.events(), [""; 0], "not before the function is confirmed");
    assert_eq!(talk.receive(320, "\"RES\"\n"), "READ?;");
    assert_eq!(talk.events(), ["1: Number(329.8) +3.29800000E+02"]);
    assert_eq!(talk.receive(400, "+9.90000000E+37\n"), "FUNC?;");
    talk.receive(410, "\"RES\"\n");
    assert_eq!(talk.events(), ["1: Overload +9.90000000E+37"]);
}

#[test]
fn a_query_under_way_is_finished_for_a_new_order_and_its_value_dropped() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    assert_eq!(talk.order(250, Function::VoltageDc, 2), "", "one query at a time");
    assert_eq!(talk.receive(300, "+1.0E+00\n"), "FUNC?;");
    assert_eq!(talk.receive(310, "\"RES\"\n"), "CONF:VOLT:DC;");
    assert_eq!(talk.events(), [""; 0]);
    assert_eq!(talk.wake(330), "SYST:ERR?;");
    assert_eq!(talk.receive(340, "0,\"No error\"\n"), "FUNC?;");
    assert_eq!(talk.receive(350, "\"VOLT:DC\"\n"), "READ?;");
    // The same function with a new epoch: no configuring.
    assert_eq!(talk.order(360, Function::VoltageDc, 3), "");
    talk.receive(370, "+2.0E+00\n");
    assert_eq!(talk.receive(380, "\"VOLT\"\n"), "READ?;");
    talk.receive(390, "+3.0E+00\n");
    assert_eq!(talk.receive(400, "\"VOLT\"\n"), "READ?;");
    assert_eq!(talk.events(), ["3: Number(3.0) +3.0E+00"]);
    assert_eq!(talk.hand(405, Input::OrderGiven(Order::Rest)), "");
    talk.receive(410, "+4.0E+00\n");
    assert_eq!(talk.receive(420, "\"VOLT\"\n"), "", "at rest");
    assert_eq!(talk.events(), [""; 0]);
}

// F44: after a timeout the meter is asked what it did not like, and nothing else is read.
#[test]
fn a_timeout_leads_through_the_error_queue_back_into_step() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    assert_eq!(talk.wake(3740), "SYST:ERR?;", "1 s and 2.5 s after the query");
    assert_eq!(talk.receive(3750, "-230,\"Data corrupt or stale\"\n"), ";");
    assert!(talk.events()[0].contains("refused `READ?`: -230"));
    // The late answer is waited for, a quarter of what was waited, and thrown away.
    let quarter = Moment::from_start(Duration::from_micros(3_750_000 + 3_510_000 / 4));
    assert_eq!(talk.session.wake_at(), Some(quarter));
    assert_eq!(talk.receive(3900, "+7.0E+00\n"), "");
    assert_eq!(talk.wake(3960), "*CLS;");
    assert_eq!(talk.wake(4020), "*IDN?;");
    // READ? has never worked here, so the query that names its function is tried from now on.
    assert_eq!(talk.receive(4030, "MAKER,MODEL,0,1.0\n"), "MEAS:RES?;");
    assert_eq!(talk.events(), [""; 0], "no second announcement");
}

// F10: numbers before the identification are late answers.
#[test]
fn late_answers_before_the_identification_are_thrown_away() {
    let mut talk = talk();
    assert_eq!(talk.hand(0, Input::LinkOpened), ";");
    talk.wake(60);
    talk.wake(120);
    assert_eq!(talk.receive(130, "+1.0E+00\n0,\"No error\"\n\"RES\"\n"), "");
    assert_eq!(talk.events().len(), 3);
    assert_eq!(talk.receive(140, "MAKER,MODEL,0,1.0\n"), "*ESR?;");
}

// Asked twice, it may answer twice: the second answer must not meet the next query.
#[test]
fn a_second_copy_of_the_identification_is_drained() {
    let mut talk = talk();
    talk.hand(0, Input::LinkOpened);
    talk.wake(60);
    talk.wake(120);
    assert_eq!(talk.wake(1120), ";");
    assert_eq!(talk.wake(1180), "*CLS;");
    assert_eq!(talk.wake(1240), "*IDN?;");
    assert_eq!(talk.receive(1250, "MAKER,MODEL,0,1.0\n"), "");
    assert_eq!(talk.receive(1260, "MAKER,MODEL,0,1.0\n"), "");
    assert_eq!(talk.wake(1320), "*ESR?;");
}

#[test]
fn three_silences_are_no_answer() {
    let mut talk = talk();
    talk.hand(0, Input::LinkOpened);
    let mut asked = 0;
    loop {
        let at = talk.session.wake_at().unwrap();
        match talk.session.handle(Input::DeadlineReached, at) {
            Ok(()) => {}
            Err(DriverError::NoAnswer { query, waited_ms, .. }) => {
                assert_eq!((query.as_str(), waited_ms), ("*IDN?", 3360));
                break;
            }
            Err(other) => panic!("{other:?}"),
        }
        while let Some(bytes) = talk.session.next_output() {
            asked += usize::from(bytes == b"*IDN?\n");
        }
    }
    assert_eq!(asked, 3);
}

// F05, within one run: the identity is compared each time both ends get into step.
#[test]
fn another_identity_in_place_is_another_meter() {
    let mut talk = talk();
    talk.open();
    talk.receive(1000, "nobody asked\n");
    let mut ms = 1060;
    let error = loop {
        talk.wake(ms);
        talk.wake(ms + 60);
        let input = Input::BytesReceived(b"MAKER,MODEL,1,1.0\n");
        match talk.session.handle(input, at(ms + 70)) {
            Ok(()) => while talk.session.next_output().is_some() {},
            Err(error) => break error,
        }
        ms += 130;
    };
    assert!(matches!(error, DriverError::OtherMeter { .. }), "{error:?}");
    assert_eq!(ms, 1060 + 260, "three times, not one garbled line");
}

// A number instead of the function: the answers have shifted by one.
#[test]
fn answers_that_have_shifted_by_one_are_found_by_their_kind() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    talk.receive(300, "+1.0E+00\n");
    assert_eq!(talk.receive(310, "+2.0E+00\n"), ";", "out of step");
    assert!(talk.events()[0].contains("lost its setting"), "told, and no reading");
}

// The terminator must have come within the deadline.
#[test]
fn a_terminator_after_the_deadline_is_too_late() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    talk.receive(3700, "+1.0E+00");
    assert_eq!(talk.receive(3741, "\n"), ";", "out of step");
    assert!(talk.events()[0].contains("nothing was asked"), "told, and no reading");
}

// F16: what is left of another answer must not become the head of the next.
#[test]
fn half_a_line_behind_an_answer_never_joins_the_next() {
    let mut talk = plain_talk();
    talk.order(200, Function::Resistance, 1);
    assert_eq!(talk.wake(220), "MEAS:RES?;");
    assert_eq!(talk.receive(221, "+1.0E+00\n2"), ";", "out of step");
    let events = talk.events();
    assert!(events.iter().any(|event| event.contains("a line begun before the query")));
    talk.receive(230, "5.0E+00\n");
    assert!(!talk.events().iter().any(|event| event.contains("Number(25")));
}

// F12, F48: many readings per query, in the number expected or not at all.
#[test]
fn a_block_of_readings_is_taken_whole_or_not_at_all() {
    let text = include_str!("../../../profiles/scpi.toml")
        .replace("pace_ms = 5", "pace_ms = 5\nreadings_per_query = 3");
    let mut talk = Talk { session: Profile::parse("blocks", &text).unwrap().session("port") };
    talk.open();
    talk.configure();
    talk.receive(300, "+1.0,OL,+9.91E+37\n");
    talk.receive(310, "\"RES\"\n");
    let readings = ["1: Number(1.0) +1.0", "1: Overload OL", "1: NotANumber +9.91E+37"];
    assert_eq!(talk.events(), readings);
    for bad in ["+1.0,+2.0\n", "+1.0,+2.0,+3.0,+4.0\n", "+1.0,,+3.0\n", "+1.0\n"] {
        // It is read once the next query is out, or else before that is believed.
        for next in [Input::OutputSent, Input::BytesReceived(b"\"RES\"\n")] {
            let mut talk =
                Talk { session: Profile::parse("blocks", &text).unwrap().session("port") };
            talk.open();
            talk.configure();
            assert_eq!(talk.receive(300, bad), "FUNC?;");
            assert_eq!(talk.hand(301, next), ";", "{bad:?} puts both out of step");
            assert!(talk.events()[0].contains("a reading for `READ?`"), "{bad:?}");
            talk.receive(302, "\"RES\"\n");
            assert_eq!(talk.events().len(), 0, "nothing of it counts");
        }
    }
}

#[test]
fn a_reading_that_has_not_begun_makes_way_for_an_order() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    talk.receive(241, "+1.0\n");
    assert_eq!(talk.receive(242, "\"RES\"\n"), "", "the next reading waits for its time");
    assert_eq!(talk.session.wake_at(), Some(at(245)));
    assert_eq!(talk.order(243, Function::Resistance, 2), "READ?;");
    talk.receive(244, "+2.0\n");
    talk.receive(246, "\"RES\"\n");
    assert_eq!(talk.events(), ["1: Number(1.0) +1.0", "2: Number(2.0) +2.0"]);
    assert_eq!(talk.order(247, Function::VoltageDc, 3), "CONF:VOLT:DC;");
}

// F49: a query that names its function sets the meter to it, and READ? would go on measuring that.
#[test]
fn after_a_query_that_names_its_function_the_other_is_configured_again() {
    let mut talk = talk();
    talk.open();
    talk.configure();
    talk.wake(3740);
    talk.receive(3750, "0,\"No error\"\n");
    talk.hand(4700, Input::DeadlineReached);
    talk.hand(4800, Input::DeadlineReached);
    assert_eq!(talk.receive(4830, "MAKER,MODEL,0,1.0\n"), "MEAS:RES?;", "READ? never worked");
    for begin in [5000, 6000] {
        assert_eq!(talk.order(begin, Function::Diode, begin), "");
        assert_eq!(talk.receive(begin + 10, "+1.0\n"), "FUNC?;");
        assert_eq!(talk.receive(begin + 15, "\"RES\"\n"), "CONF:DIOD;");
        assert_eq!(talk.wake(begin + 35), "SYST:ERR?;");
        assert_eq!(talk.receive(begin + 40, "0,\"No error\"\n"), "FUNC?;");
        assert_eq!(talk.receive(begin + 50, "\"DIOD\"\n"), "READ?;");
        talk.receive(begin + 60, "+0.5\n");
        assert_eq!(talk.order(begin + 65, Function::Resistance, begin + 1), "");
        assert_eq!(talk.receive(begin + 70, "\"DIOD\"\n"), "MEAS:RES?;");
    }
}
