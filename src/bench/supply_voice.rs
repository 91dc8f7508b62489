//! The simulated supply's voice: SCPI commands that set volts, a current limit and the output, and
//! queries that read them back or measure. One command a line; what it does not know goes to its
//! error queue with the standard's number, as in a real one. What the volts then do to the part,
//! the shared [`State`] knows.

use super::state::State;
use super::supply::Setting;
use drivers::Moment;
use std::collections::VecDeque;

/// The most that this supply can be set to.
const VOLTS_MAX: f64 = 60.0;
const AMPS_MAX: f64 = 3.0;
/// Longest line, in bytes.
const LINE_MAX: usize = 256;
/// Longest error queue.
const ERRORS_MAX: usize = 16;

/// The voice.
#[derive(Clone, Debug, Default)]
pub(crate) struct SupplyVoice {
    input: Vec<u8>,
    output: Vec<u8>,
    errors: VecDeque<&'static str>,
}

impl SupplyVoice {
    /// Bytes arrived.
    pub(crate) fn push(&mut self, bytes: &[u8], state: &mut State, now: Moment) {
        for &byte in bytes {
            if byte == b'\n' {
                let line = std::mem::take(&mut self.input);
                let line = String::from_utf8_lossy(&line).trim().to_ascii_uppercase();
                if !line.is_empty() {
                    self.obey(&line, state, now);
                }
            } else if self.input.len() < LINE_MAX {
                self.input.push(byte);
            }
        }
    }

    /// What it has to say.
    pub(crate) fn next(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.output)
    }

    /// Switched off and on: nothing is applied, nothing is set.
    pub(crate) fn power_cycle(&mut self, state: &mut State) {
        *self = Self::default();
        state.setting = Setting::default();
        state.switch(Moment::START);
    }

    fn obey(&mut self, line: &str, state: &mut State, now: Moment) {
        let (header, parameter) = line.split_once(' ').unwrap_or((line, ""));
        let words: Vec<&str> = header.trim_start_matches(':').split(':').map(short).collect();
        let words = match words.as_slice() {
            ["SOUR", rest @ ..] if !rest.is_empty() => rest,
            all => all,
        };
        let setting = &mut state.setting;
        match (words, parameter.trim()) {
            (["*IDN?"], "") => self.say("BENCH,SUPPLY,0,1.0"),
            (["*CLS"], "") => self.errors.clear(),
            (["*RST"], "") => {
                *setting = Setting::default();
                state.switch(now);
            }
            (["OUTP?"], "") => {
                let state = if setting.on { "1" } else { "0" };
                self.say(state);
            }
            (["OUTP"], word) => match word {
                "ON" | "1" => self.output_to(true, state, now),
                "OFF" | "0" => self.output_to(false, state, now),
                _ => self.raise("-224,\"Illegal parameter value\""),
            },
            (["VOLT?"], "") => self.say(&format!("{:.4}", setting.volts)),
            (["CURR?"], "") => self.say(&format!("{:.4}", setting.amps)),
            (["VOLT"], number) => {
                setting.volts = self.number(number, VOLTS_MAX).unwrap_or(setting.volts);
                state.switch(now);
            }
            (["CURR"], number) => {
                setting.amps = self.number(number, AMPS_MAX).unwrap_or(setting.amps);
                state.switch(now);
            }
            (["MEAS", "VOLT?"], "") => {
                let volts = state.delivered().volts;
                self.say(&format!("{volts:+.5E}"));
            }
            (["MEAS", "CURR?"], "") => {
                let amps = state.delivered().amps;
                self.say(&format!("{amps:+.5E}"));
            }
            (["SYST", "ERR?"], "") => {
                let error = self.errors.pop_front().unwrap_or("0,\"No error\"");
                self.say(error);
            }
            _ => self.raise("-113,\"Undefined header\""),
        }
    }

    fn output_to(&mut self, on: bool, state: &mut State, now: Moment) {
        state.setting.on = on;
        state.switch(now);
    }

    fn number(&mut self, text: &str, most: f64) -> Option<f64> {
        match text.parse::<f64>() {
            Ok(x) if (0.0..=most).contains(&x) => Some(x),
            Ok(_) => {
                self.raise("-222,\"Data out of range\"");
                None
            }
            Err(_) => {
                self.raise("-120,\"Numeric data error\"");
                None
            }
        }
    }

    fn say(&mut self, text: &str) {
        self.output.extend_from_slice(text.as_bytes());
        self.output.push(b'\n');
    }

    fn raise(&mut self, error: &'static str) {
        if self.errors.len() < ERRORS_MAX {
            self.errors.push_back(error);
        }
    }
}

/// A word in its short form, where it is one of this supply's.
fn short(word: &str) -> &str {
    match word {
        "SOURCE" => "SOUR",
        "VOLTAGE" => "VOLT",
        "VOLTAGE?" => "VOLT?",
        "CURRENT" => "CURR",
        "CURRENT?" => "CURR?",
        "OUTPUT" => "OUTP",
        "OUTPUT?" => "OUTP?",
        "MEASURE" => "MEAS",
        "SYSTEM" => "SYST",
        "ERROR?" => "ERR?",
        word => word,
    }
}
