//! Claims about the supply against a pretended one in memory: nothing above the limits is ever
//! sent, what was set is read back before the output goes on, and the output is off after every
//! failure and on every way out, a panic included. Commands are SCPI-99's (vol. 2, SOURce, OUTPut,
//! MEASure).

use super::*;
use crate::clock::HandClock;
use crate::link::Received;
use std::collections::VecDeque;
use std::sync::Mutex;

/// A supply in memory.
#[derive(Default)]
struct Pretended {
    heard: Vec<String>,
    said: VecDeque<u8>,
    volts: f64,
    amps: f64,
    on: bool,
    errors: VecDeque<&'static str>,
    /// Holds more than it is told.
    stubborn: bool,
    /// Ohms at its output.
    load_ohms: f64,
    silent: bool,
    /// Answers this query only when the next one comes.
    late_for: Option<&'static str>,
    held_back: Vec<u8>,
    gone: bool,
}

impl Pretended {
    fn hear(&mut self, line: &str) {
        self.heard.push(line.to_owned());
        let number = |text: &str| text.parse::<f64>().unwrap();
        let by_load = (self.amps * self.load_ohms).min(self.volts);
        let volts = if self.on { by_load } else { 0.0 };
        let answer = match line.split_once(' ').unwrap_or((line, "")) {
            ("*IDN?", _) => Some("BENCH,SUPPLY,0,1".to_owned()),
            ("SOUR:VOLT", v) => {
                self.volts = number(v) + if self.stubborn { 5.0 } else { 0.0 };
                None
            }
            ("SOUR:CURR", a) => {
                self.amps = number(a);
                None
            }
            ("SOUR:VOLT?", _) => Some(self.volts.to_string()),
            ("SOUR:CURR?", _) => Some(self.amps.to_string()),
            ("OUTP", word) => {
                self.on = word == "ON";
                None
            }
            ("OUTP?", _) => Some(u8::from(self.on).to_string()),
            ("MEAS:VOLT?", _) => Some(volts.to_string()),
            ("MEAS:CURR?", _) => Some((volts / self.load_ohms).to_string()),
            ("SYST:ERR?", _) => {
                Some(self.errors.pop_front().unwrap_or("0,\"No error\"").to_owned())
            }
            _ => None,
        };
        let Some(answer) = answer.filter(|_| !self.silent) else { return };
        let answer = format!("{answer}\n").into_bytes();
        if self.late_for.take_if(|query| *query == line).is_some() {
            self.held_back = answer;
        } else {
            self.said.extend(answer);
        }
    }
}

struct Wire(Arc<Mutex<Pretended>>, Arc<HandClock>);

impl Link for Wire {
    fn write(&mut self, bytes: &[u8], _: Duration) -> Result<(), DriverError> {
        let mut supply = self.0.lock().unwrap();
        if supply.gone {
            return Err(crate::link::lost("wire", "writing", None));
        }
        let late = std::mem::take(&mut supply.held_back);
        supply.said.extend(late);
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        text.lines().filter(|line| !line.is_empty()).for_each(|line| supply.hear(line));
        Ok(())
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let mut supply = self.0.lock().unwrap();
        if supply.gone {
            return Err(crate::link::lost("wire", "reading", None));
        }
        if supply.said.is_empty() {
            self.1.advance(wait.max(Duration::from_millis(1)));
            return Ok(Received::Nothing);
        }
        let count = supply.said.len().min(into.len());
        into.iter_mut().zip(supply.said.drain(..count)).for_each(|(to, byte)| *to = byte);
        Ok(Received::Bytes(count))
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.0.lock().unwrap().said.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        "wire"
    }
}

const LIMITS: SupplyLimits = SupplyLimits { volts_max: 24.0, watts_max: 3.0 };

fn supply(load_ohms: f64) -> (Supply, Arc<Mutex<Pretended>>) {
    let (supply, shared) = opened(Pretended { load_ohms, on: true, ..Pretended::default() });
    (supply.unwrap(), shared)
}

fn opened(pretended: Pretended) -> (Result<Supply, DriverError>, Arc<Mutex<Pretended>>) {
    let shared = Arc::new(Mutex::new(pretended));
    let clock = Arc::new(HandClock::new());
    let wire = Box::new(Wire(Arc::clone(&shared), Arc::clone(&clock)));
    (Supply::over(wire, LIMITS, clock), shared)
}

fn is_on(shared: &Mutex<Pretended>) -> bool {
    shared.lock().unwrap().on
}

#[test]
fn a_supply_that_was_left_on_is_off_once_it_is_opened() {
    let (supply, shared) = supply(400.0);
    assert!(!is_on(&shared) && !supply.is_on());
    assert_eq!(supply.identity(), "BENCH,SUPPLY,0,1");
}

#[test]
fn nothing_above_a_limit_is_ever_sent() {
    let (mut supply, shared) = supply(400.0);
    let before = shared.lock().unwrap().heard.len();
    let over =
        [(24.1, 0.05), (-1.0, 0.05), (f64::NAN, 0.05), (12.0, 0.3), (12.0, 0.0), (12.0, f64::NAN)];
    for (volts, amps) in over {
        let error = supply.apply(volts, amps).unwrap_err();
        assert!(matches!(error, DriverError::OverLimit { .. }), "{volts} V, {amps} A: {error}");
        assert!(error.hint().contains("--volts-max"));
    }
    assert_eq!(shared.lock().unwrap().heard.len(), before);
}

#[test]
fn volts_and_current_limit_are_read_back_before_the_output_goes_on() {
    let (mut supply, shared) = supply(400.0);
    let delivered = supply.apply(12.0, 0.0375).unwrap();
    assert!((delivered.volts - 12.0).abs() < 1e-9 && (delivered.amps - 0.03).abs() < 1e-9);
    assert!(is_on(&shared) && supply.is_on());
    let heard = shared.lock().unwrap().heard.clone();
    let at = |line: &str| heard.iter().rposition(|heard| heard == line).unwrap();
    assert!(at("SOUR:VOLT 12.000") < at("SOUR:VOLT?") && at("SOUR:VOLT?") < at("OUTP ON"));
    assert!(at("SOUR:CURR 0.0375") < at("SOUR:CURR?") && at("SOUR:CURR?") < at("OUTP ON"));
    supply.off().unwrap();
    assert!(!is_on(&shared));
}

#[test]
fn a_supply_that_holds_something_else_stays_off() {
    let (mut supply, shared) = supply(400.0);
    shared.lock().unwrap().stubborn = true;
    let error = supply.apply(12.0, 0.0375).unwrap_err();
    assert!(matches!(error, DriverError::SettingLost { .. }), "{error}");
    assert!(!is_on(&shared) && !shared.lock().unwrap().heard.iter().any(|line| line == "OUTP ON"));
}

#[test]
fn a_short_is_told_and_the_output_is_off_again() {
    let (mut supply, shared) = supply(0.5);
    let error = supply.apply(12.0, 0.0375).unwrap_err();
    assert!(matches!(error, DriverError::CurrentLimited { .. }), "{error}");
    assert!(error.hint().contains("short"));
    assert!(!is_on(&shared));
}

#[test]
fn an_error_of_the_supplys_own_switches_it_off() {
    let (mut supply, shared) = supply(400.0);
    shared.lock().unwrap().errors.push_back("-222,\"Data out of range\"");
    let error = supply.apply(12.0, 0.0375).unwrap_err();
    assert!(matches!(error, DriverError::Refused { number: -222, .. }), "{error}");
    assert!(!is_on(&shared));
}

#[test]
fn a_drop_switches_it_off() {
    let (mut supply, shared) = supply(400.0);
    supply.apply(12.0, 0.0375).unwrap();
    drop(supply);
    assert!(!is_on(&shared));
}

#[test]
fn a_panic_switches_it_off() {
    let (mut supply, shared) = supply(400.0);
    supply.apply(12.0, 0.0375).unwrap();
    let thread = std::thread::spawn(move || {
        let _held = supply;
        panic!("on purpose, in a test");
    });
    assert!(thread.join().is_err());
    assert!(!is_on(&shared));
}

#[test]
fn silence_is_an_error_and_off_is_still_sent() {
    let (mut supply, shared) = supply(400.0);
    supply.apply(12.0, 0.0375).unwrap();
    shared.lock().unwrap().silent = true;
    let error = supply.measure().unwrap_err();
    assert!(matches!(error, DriverError::NoAnswer { .. }), "{error}");
    drop(supply);
    assert!(!is_on(&shared));
}

#[test]
fn a_late_answer_is_never_credited_to_a_later_query() {
    let (mut supply, shared) = supply(400.0);
    supply.apply(12.0, 0.0375).unwrap();
    shared.lock().unwrap().late_for = Some("MEAS:VOLT?");
    assert!(supply.measure().is_err());
    // The late 12 V comes with the next exchange; the current must not be read as 12 A.
    shared.lock().unwrap().said.extend(b"12\n");
    let delivered = supply.measure().unwrap();
    assert!((delivered.amps - 0.03).abs() < 1e-9, "{delivered:?}");
}

#[test]
fn a_supply_that_says_its_name_late_is_asked_again() {
    let late =
        Pretended { load_ohms: 400.0, on: true, late_for: Some("*IDN?"), ..Pretended::default() };
    let (supply, shared) = opened(late);
    // The second answer to the same question must not be taken for the state of the output.
    assert_eq!(supply.unwrap().identity(), "BENCH,SUPPLY,0,1");
    assert!(!is_on(&shared));
    let (supply, shared) = opened(Pretended { silent: true, ..Pretended::default() });
    assert!(matches!(supply.err(), Some(DriverError::NoAnswer { .. })));
    let asked = shared.lock().unwrap().heard.iter().filter(|line| *line == "*IDN?").count();
    assert_eq!(asked, 3);
}

#[test]
fn a_link_that_is_gone_ends_it_without_a_panic() {
    let (mut supply, shared) = supply(400.0);
    supply.apply(12.0, 0.0375).unwrap();
    shared.lock().unwrap().gone = true;
    assert!(matches!(supply.off().unwrap_err(), DriverError::LinkLost { .. }));
    assert!(supply.is_on(), "nobody knows that it is off");
}
