//! The operator as JSON lines: one object a line on the output, one object a line on the input,
//! nothing else. Asks carry `seq` and want exactly one answer with that `seq`; facts are notes
//! under the names they have in the journal. `coilmark schema operator` describes both sides.

use super::{Heard, Operator};
use crate::event::{Answer, Ask, Event, VERSION};
use drivers::{Reading, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::io::{self, Write};

/// Writes and reads JSON lines.
#[derive(Debug)]
pub struct Json<W> {
    out: W,
}

/// An ask on the wire.
#[derive(Serialize, JsonSchema)]
pub(super) struct AskLine {
    /// Version of the words.
    v: u32,
    /// Number of the ask.
    seq: u64,
    /// The ask.
    #[serde(flatten)]
    ask: Ask,
}

/// An answer on the wire.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AnswerLine {
    /// Version of the words; may be left out.
    #[serde(default)]
    v: Option<u32>,
    /// Number of the ask that is answered.
    seq: u64,
    /// The answer.
    answer: Answer,
    /// With `skip`: why, in the operator's words; may be left out.
    #[serde(default)]
    reason: Option<String>,
    /// With `ready`, where a serial number is asked for: the number.
    #[serde(default)]
    serial: Option<String>,
    /// With `ready`, where a label is asked for: the text.
    #[serde(default)]
    text: Option<String>,
}

/// A live reading on the wire.
#[derive(Serialize, JsonSchema)]
pub(super) struct ReadingLine {
    /// Version of the words.
    v: u32,
    /// Always `reading`.
    note: &'static str,
    /// The value in `unit`; null on overload.
    value: Option<f64>,
    /// The unit.
    unit: Unit,
    /// Whether it is overload: open circuit, on ohms.
    overload: bool,
    /// Standard uncertainty, in `unit`.
    u: Option<f64>,
    /// The meter's function.
    function: drivers::Function,
    /// Seconds since the program began.
    t_s: f64,
}

/// An objection on the wire.
#[derive(Serialize, JsonSchema)]
pub(super) struct ErrorLine {
    /// Version of the words.
    v: u32,
    /// Always `error`.
    note: &'static str,
    /// What is wrong with the line.
    text: String,
}

impl<W: Write> Json<W> {
    /// An operator that is written to `out`.
    pub const fn new(out: W) -> Self {
        Self { out }
    }

    fn line(&mut self, line: &impl Serialize) -> io::Result<()> {
        let mut text = serde_json::to_vec(line)?;
        text.push(b'\n');
        self.out.write_all(&text)?;
        self.out.flush()
    }
}

/// An event as a note, with its newline: the same object, with `v` and its name under `note`.
///
/// # Errors
/// What the serialiser says; no event that is known makes it fail.
pub fn note(event: &Event) -> io::Result<String> {
    let text = serde_json::to_string(event)?;
    let tail = text.strip_prefix("{\"event\":").unwrap_or(&text);
    Ok(format!("{{\"v\":{VERSION},\"note\":{tail}\n"))
}

impl<W: Write> Operator for Json<W> {
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        self.line(&AskLine { v: VERSION, seq, ask: ask.clone() })
    }

    fn object(&mut self, problem: &str) -> io::Result<()> {
        self.line(&ErrorLine { v: VERSION, note: "error", text: problem.to_owned() })
    }

    fn show(&mut self, event: &Event) -> io::Result<()> {
        self.out.write_all(note(event)?.as_bytes())?;
        self.out.flush()
    }

    fn show_reading(&mut self, reading: &Reading) -> io::Result<()> {
        self.line(&ReadingLine {
            v: VERSION,
            note: "reading",
            value: reading.value.number(),
            unit: reading.unit,
            overload: reading.value.is_overload(),
            u: reading.u,
            function: reading.function,
            t_s: reading.at.as_secs_f64(),
        })
    }

    fn parse(&self, line: &str) -> Heard {
        if line.trim().is_empty() {
            return Heard::Nothing;
        }
        match serde_json::from_str::<AnswerLine>(line) {
            Ok(AnswerLine { v: Some(v), .. }) if v != VERSION => {
                Heard::Unclear(format!("version {v} is not spoken here, only {VERSION}"))
            }
            Ok(AnswerLine { seq, answer: Answer::Skip, reason: Some(reason), .. }) => {
                Heard::SkipBecause(Some(seq), reason)
            }
            Ok(AnswerLine { reason: Some(_), answer, .. }) => {
                Heard::Unclear(format!("`{}` takes no reason, only `skip` does", answer.name()))
            }
            Ok(AnswerLine { serial: Some(_), text: Some(_), .. }) => {
                Heard::Unclear("a serial number or a text, not both".into())
            }
            Ok(
                AnswerLine { seq, answer: Answer::Ready, serial: Some(text), .. }
                | AnswerLine { seq, answer: Answer::Ready, text: Some(text), .. },
            ) => Heard::Text(Some(seq), text),
            Ok(AnswerLine { serial: Some(_), .. } | AnswerLine { text: Some(_), .. }) => {
                Heard::Unclear("a serial number or a text goes with the answer ready only".into())
            }
            Ok(AnswerLine { seq, answer, .. }) => Heard::Answer(Some(seq), answer),
            Err(error) => Heard::Unclear(format!(
                "expected {{\"seq\":N,\"answer\":\"ready\"}} or acknowledged, skip, again, abort: {error}"
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{AskedDrive, Caution, DriveState, Pin};
    use drivers::Function;

    fn said(act: impl FnOnce(&mut Json<&mut Vec<u8>>) -> io::Result<()>) -> String {
        let mut out = Vec::new();
        act(&mut Json::new(&mut out)).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn asks_stand_on_the_wire_as_the_contract_says() {
        let place = Ask::Place {
            red: Pin::new("3"),
            black: Pin::new("5"),
            function: Function::Resistance,
            drive: AskedDrive::Rest,
            why: None,
        };
        assert_eq!(
            said(|o| o.ask(8, &place)),
            "{\"v\":1,\"seq\":8,\"ask\":\"place\",\"red\":\"3\",\"black\":\"5\",\
             \"function\":\"resistance\",\"drive\":\"rest\"}\n"
        );
        let drive = Ask::Drive(DriveState::Energised {
            plus: Pin::new("1"),
            minus: Pin::new("2"),
            volts: 12.0,
        });
        assert_eq!(
            said(|o| o.ask(9, &drive)),
            "{\"v\":1,\"seq\":9,\"ask\":\"drive\",\"state\":\"energised\",\"plus\":\"1\",\
             \"minus\":\"2\",\"volts\":12.0}\n"
        );
        assert_eq!(
            said(|o| o.ask(10, &Ask::Drive(DriveState::Rest))),
            "{\"v\":1,\"seq\":10,\"ask\":\"drive\",\"state\":\"rest\"}\n"
        );
        assert_eq!(
            said(|o| o.ask(11, &Ask::Dial { function: Function::VoltageDc })),
            "{\"v\":1,\"seq\":11,\"ask\":\"dial\",\"function\":\"voltage_dc\"}\n"
        );
        let caution = Ask::Acknowledge { caution: Caution::CoilDrive, text: "t".into() };
        assert_eq!(
            said(|o| o.ask(7, &caution)),
            "{\"v\":1,\"seq\":7,\"ask\":\"acknowledge\",\"caution\":\"coil-drive\",\"text\":\"t\"}\n"
        );
    }

    #[test]
    fn a_fact_becomes_a_note_of_its_name() {
        let event = Event::RunFinished { exit: 0, reason: None, job: "j".into() };
        assert_eq!(
            said(|o| o.show(&event)),
            "{\"v\":1,\"note\":\"finished\",\"exit\":0,\"job\":\"j\"}\n"
        );
    }

    #[test]
    fn answers_need_their_seq_and_a_known_word() {
        let json = Json::new(Vec::new());
        assert_eq!(
            json.parse("{\"seq\":7,\"answer\":\"ready\"}"),
            Heard::Answer(Some(7), Answer::Ready)
        );
        assert_eq!(json.parse("  "), Heard::Nothing);
        let odd = [
            "ready",
            "{\"seq\":7}",
            "{\"seq\":7,\"answer\":\"yes\"}",
            "{\"answer\":\"ready\"}",
            "{\"seq\":7,\"answer\":\"ready\",\"x\":1}",
            "[",
            "\u{0}",
            "{\"v\":2,\"seq\":7,\"answer\":\"ready\"}",
        ];
        for line in odd {
            assert!(matches!(json.parse(line), Heard::Unclear(_)), "{line}");
        }
    }
}
