//! An unknown meter behind a line whose settings are wrong at first, on a clock set by hand.
//! The far end is scripted: it answers in one dialect, at one speed, and is mute or garbled in
//! every other.

use super::*;
use crate::clock::{HandClock, Moment};
use crate::link::SerialSettings;
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

/// A meter that is understood at one baud rate only.
#[derive(Clone, Copy)]
struct Unknown {
    baud: u32,
    parity: Parity,
    /// Sent every 400 ms.
    line: &'static [u8],
    /// Query with its line end, and the answer.
    answers: &'static [(&'static [u8], &'static [u8])],
    echo: bool,
}

const MUTE: Unknown =
    Unknown { baud: 9600, parity: Parity::None, line: b"", answers: &[], echo: false };

struct UnknownLink {
    writes: Arc<AtomicU32>,
    meter: Unknown,
    right: bool,
    clock: Arc<HandClock>,
    opened: Moment,
    next_line: Moment,
    heard: Vec<u8>,
    out: VecDeque<u8>,
}

impl Link for UnknownLink {
    fn write(&mut self, bytes: &[u8], _within: Duration) -> Result<(), DriverError> {
        self.writes.fetch_add(1, Ordering::SeqCst);
        if !self.right {
            return Ok(());
        }
        if self.meter.echo {
            self.out.extend(bytes);
        }
        self.heard.extend_from_slice(bytes);
        for (query, answer) in self.meter.answers {
            if self.heard.ends_with(query) {
                self.out.extend(*answer);
                self.heard.clear();
            }
        }
        Ok(())
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let now = self.clock.moment();
        if !self.meter.line.is_empty() && now >= self.next_line {
            // The first line lacks its head: the link was opened in the middle of it.
            let torn = self.next_line == self.opened;
            let line = if torn { b"HM\r\n" } else { self.meter.line };
            self.next_line = now + Duration::from_millis(400);
            self.out.extend(line.iter().map(|byte| if self.right { *byte } else { byte ^ 0xd5 }));
        }
        let count = self.out.len().min(into.len());
        if count == 0 {
            self.clock.advance(wait);
            return Ok(Received::Nothing);
        }
        for (place, byte) in into.iter_mut().zip(self.out.drain(..count)) {
            *place = byte;
        }
        Ok(Received::Bytes(count))
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.out.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        "unknown"
    }
}

fn work_out_unknown(meter: Unknown, link: &str) -> (Result<Found, DriverError>, Vec<String>) {
    let (found, told, _) = work_out_counted(meter, link);
    (found, told)
}

/// Also how often something was sent.
fn work_out_counted(meter: Unknown, link: &str) -> (Result<Found, DriverError>, Vec<String>, u32) {
    let writes = Arc::new(AtomicU32::new(0));
    let counted = writes.clone();
    let clock = Arc::new(HandClock::new());
    let mut open = |spec: &LinkSpec| -> Result<Box<dyn Link>, DriverError> {
        let right = match spec {
            LinkSpec::Serial { settings: SerialSettings { baud, parity, .. }, .. } => {
                (*baud, *parity) == (meter.baud, meter.parity)
            }
            _ => true,
        };
        let clock = clock.clone();
        let next_line = clock.moment();
        let (opened, writes) = (next_line, counted.clone());
        let (heard, out) = (Vec::new(), VecDeque::new());
        Ok(Box::new(UnknownLink { writes, opened, meter, right, clock, next_line, heard, out }))
    };
    let mut told = Vec::new();
    let mut tell = |step: &str| told.push(step.to_owned());
    let found = work_out_over(&link.parse().unwrap(), &*clock, &mut open, &mut tell);
    (found, told, writes.load(Ordering::SeqCst))
}

// F41, F19: baud rate and line end are found, not asked for.
#[test]
fn a_scpi_meter_is_found_by_baud_rate_and_line_end() {
    for (line_end, word) in [(&b"*IDN?\n"[..], "lf"), (b"*IDN?\r\n", "crlf"), (b"*IDN?\r", "cr")] {
        let answers: &'static [_] =
            Box::leak(Box::new([(line_end, &b"MAKER,MODEL,0,1.0\r\n"[..])]));
        let meter = Unknown { baud: 19_200, answers, ..MUTE };
        let found = work_out_unknown(meter, "serial:/dev/ttyS0").0.unwrap();
        assert_eq!(found.link.to_string(), "serial:/dev/ttyS0?baud=19200");
        assert_eq!((found.profile, found.said.as_str()), ("scpi", "MAKER,MODEL,0,1.0"));
        let line = format!("terminator = \"{word}\"");
        assert!(found.profile_text.contains(&line), "{word}");
    }
}

#[test]
fn a_meter_that_sends_by_itself_is_found_by_listening_alone() {
    let meter = Unknown { baud: 2400, parity: Parity::Even, line: b"+0329.8 OHM\r\n", ..MUTE };
    let (found, told, writes) = work_out_counted(meter, "serial:/dev/ttyS0");
    let found = found.unwrap();
    assert_eq!(writes, 0, "who talks is not asked");
    assert_eq!(found.link.to_string(), "serial:/dev/ttyS0?baud=2400&data=7&parity=even");
    assert_eq!((found.profile, found.said.as_str()), ("ascii-lines", "+0329.8 OHM"));
    assert!(told.iter().any(|step| step.contains("wrong baud rate")), "{told:?}");
}

#[test]
fn a_polled_meter_is_found_and_its_own_echo_is_no_answer() {
    let meter = Unknown { answers: &[(b"D\r\n", b"OL  OHM\r\n")], echo: true, ..MUTE };
    let found = work_out_unknown(meter, "serial:/dev/ttyS0").0.unwrap();
    assert_eq!((found.profile, found.said.as_str()), ("polled-lines", "OL  OHM"));
    assert!(found.profile_text.contains("terminator = \"crlf\""));
}

#[test]
fn an_echoing_meter_is_found_with_its_echo() {
    let meter = Unknown { answers: &[(b"*IDN?\n", b"meter\n")], echo: true, ..MUTE };
    let found = work_out_unknown(meter, "tcp:localhost:5025").0.unwrap();
    assert_eq!(found.said, "meter");
    assert!(found.profile_text.contains("echo = true"));
}

// F33: a service of the system holds a fresh port for ten seconds.
#[test]
fn a_port_that_is_held_for_ten_seconds_is_waited_for() {
    let held = |for_s: u64| {
        let clock = Arc::new(HandClock::new());
        let (mut told, mut attempts) = (Vec::new(), 0);
        let mut open = |_: &LinkSpec| -> Result<Box<dyn Link>, DriverError> {
            attempts += 1;
            if clock.moment().since_start() < Duration::from_secs(for_s) {
                let holder = Some("probe (pid 7)".to_owned());
                return Err(DriverError::Busy { port: "p".into(), holder });
            }
            let steps = vec![
                crate::link::Step::Expect(b"\n*IDN?\n".to_vec()),
                crate::link::Step::Send(b"meter\n".to_vec()),
                crate::link::Step::Stall,
            ];
            Ok(Box::new(crate::link::ScriptedLink::new(steps, clock.clone())))
        };
        let spec = "tcp:localhost:5025".parse().unwrap();
        let found =
            work_out_over(&spec, &*clock, &mut open, &mut |step| told.push(step.to_owned()));
        (found, told, attempts)
    };
    let (found, told, attempts) = held(10);
    assert_eq!((found.unwrap().said.as_str(), attempts), ("meter", 41));
    assert_eq!(told.iter().filter(|step| step.contains("probe (pid 7)")).count(), 1, "{told:?}");
    assert!(matches!(held(60).0, Err(DriverError::Busy { .. })));
}

#[test]
fn what_cannot_be_worked_out_ends_with_what_was_seen() {
    let silent = work_out_unknown(MUTE, "serial:/dev/ttyS0");
    assert!(matches!(silent.0, Err(DriverError::NoAnswer { .. })), "{:?}", silent.0);
    let tried = silent.1.iter().filter(|step| step.starts_with("trying")).count();
    assert_eq!(tried, 16, "each setting once");
    let strange = Unknown { line: b"T=21.5C H=40%\r\n", ..MUTE };
    let error = work_out_unknown(strange, "tcp:localhost:5025").0.unwrap_err().to_string();
    assert!(error.contains("T=21.5C"), "{error}");
}
