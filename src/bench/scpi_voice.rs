//! A commanded meter's voice: program messages in, response messages out, after IEEE 488.2
//! clause 6 and SCPI-99. Sans-I/O: bytes and the time come in, bytes and the next wake go out.
//! It keeps the message exchange honestly: a message that arrives while an answer is still due
//! interrupts it (-410), and being read with nothing to say is -420. What it measures, the
//! shared [`State`] knows.

use super::meter::{Conversion, Shown};
use super::scpi_header::{Command, check_number, function_of, short_name};
use super::scpi_message::Message;
use super::scpi_status::{OPC, ScpiError, Status};
use super::state::State;
use drivers::{Function, Moment, Value};
use std::collections::VecDeque;

/// Longest program message, in bytes.
const MESSAGE_MAX: usize = 1024;

/// The voice.
#[derive(Clone, Debug)]
pub(crate) struct ScpiVoice {
    pub(crate) identity: String,
    status: Status,
    input: Vec<u8>,
    overrun: bool,
    output: Vec<u8>,
    conversion: Option<Conversion>,
    last: Option<Shown>,
    complete_when_done: bool,
    under_way: Option<Message>,
    backlog: VecDeque<String>,
}

impl ScpiVoice {
    pub(crate) fn new(identity: String) -> Self {
        Self {
            identity,
            status: Status::powered_on(),
            input: Vec::new(),
            overrun: false,
            output: Vec::new(),
            conversion: None,
            last: None,
            complete_when_done: false,
            under_way: None,
            backlog: VecDeque::new(),
        }
    }

    /// Switched off and on: settings, queue and whatever was under way are gone.
    pub(crate) fn power_cycle(&mut self, state: &mut State) {
        state.meter.set_function(Function::VoltageDc);
        *self = Self::new(std::mem::take(&mut self.identity));
    }

    /// Bytes arrived.
    pub(crate) fn push(&mut self, bytes: &[u8], state: &mut State, now: Moment) {
        for &byte in bytes {
            match byte {
                b'\n' => self.end_of_message(state, now),
                _ if self.input.len() < MESSAGE_MAX => self.input.push(byte),
                _ => self.overrun = true,
            }
        }
    }

    /// What is due by now: ends conversions, goes on with what waited, hands out the response.
    pub(crate) fn next(&mut self, state: &mut State, now: Moment) -> Vec<u8> {
        if let Some(conversion) = self.conversion.filter(|c| c.due <= now) {
            self.conversion = None;
            self.last = Some(state.finish(&conversion));
            if std::mem::take(&mut self.complete_when_done) {
                self.status.set_event(OPC);
            }
            self.go_on(state, now);
        }
        std::mem::take(&mut self.output)
    }

    /// When [`ScpiVoice::next`] has something to do.
    pub(crate) fn wake_at(&self) -> Option<Moment> {
        self.conversion.map(|c| c.due)
    }

    /// The controller reads although nothing is due: -420.
    pub(crate) fn read_in_vain(&mut self) {
        self.status.raise(ScpiError::Unterminated);
    }

    fn end_of_message(&mut self, state: &mut State, now: Moment) {
        let bytes = std::mem::take(&mut self.input);
        if std::mem::take(&mut self.overrun) {
            return self.status.raise(ScpiError::InputOverrun);
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if text.trim().is_empty() {
            return;
        }
        if !text.bytes().all(|b| (0x20..0x7f).contains(&b) || b == b'\t' || b == b'\r') {
            return self.status.raise(ScpiError::InvalidCharacter);
        }
        let answer_due = match &self.under_way {
            Some(message) => message.waits != Some(Command::Wait),
            None => !self.output.is_empty(),
        };
        if answer_due {
            self.output.clear();
            self.under_way = None;
            self.status.raise(ScpiError::Interrupted);
        }
        if self.backlog.len() < 32 {
            self.backlog.push_back(text);
        } else {
            self.status.raise(ScpiError::InputOverrun);
        }
        self.go_on(state, now);
    }

    /// Executes until something has to be waited for.
    fn go_on(&mut self, state: &mut State, now: Moment) {
        loop {
            let mut message = match self.under_way.take() {
                Some(message) => message,
                None => match self.backlog.pop_front() {
                    Some(text) => Message::of(&text),
                    None => return,
                },
            };
            if let Some(waits) = message.waits.take() {
                self.arrived(waits, &mut message);
            }
            while let Some(unit) = message.units.pop_front() {
                if let Err(error) = self.execute(&unit, &mut message, state, now) {
                    self.status.raise(error);
                    message.units.clear();
                }
                if message.waits.is_some() {
                    self.under_way = Some(message);
                    return;
                }
            }
            if !message.responses.is_empty() {
                self.output.extend_from_slice(message.responses.join(";").as_bytes());
                self.output.push(b'\n');
                return self.after_response(state, now);
            }
        }
    }

    /// A response stands in the output; messages that were waiting behind it interrupt it.
    fn after_response(&mut self, state: &mut State, now: Moment) {
        if !self.backlog.is_empty() {
            self.output.clear();
            self.status.raise(ScpiError::Interrupted);
            self.go_on(state, now);
        }
    }

    /// What was waited for is there.
    fn arrived(&self, waits: Command, message: &mut Message) {
        match waits {
            Command::AskComplete => message.responses.push("1".into()),
            Command::Wait => {}
            _ => message.responses.push(self.reading()),
        }
    }

    fn reading(&self) -> String {
        number(self.last.map_or(Value::NotANumber, |shown| shown.value))
    }

    fn execute(
        &mut self,
        unit: &str,
        message: &mut Message,
        state: &mut State,
        now: Moment,
    ) -> Result<(), ScpiError> {
        let (command, parameters) = message.parse(unit)?;
        if command.is_query() && message.indefinite {
            message.responses.clear();
            return Err(ScpiError::UnterminatedAfterIndefinite);
        }
        let parameters: Vec<&str> = parameters.iter().map(String::as_str).collect();
        match command {
            Command::Configure(function) | Command::Measure(function) => {
                self.configure(function, &parameters, state)?;
                if command.is_query() {
                    self.initiate(state, now)?;
                    message.waits = Some(command);
                }
            }
            Command::SetFunction => {
                self.set_function(function_of(parameters[0])?, state);
            }
            Command::Read => {
                self.conversion = None;
                self.initiate(state, now)?;
                message.waits = Some(command);
            }
            Command::Fetch if self.conversion.is_some() => message.waits = Some(command),
            Command::Fetch if self.last.is_none() => return Err(ScpiError::DataStale),
            Command::Fetch => message.responses.push(self.reading()),
            Command::Initiate | Command::Trigger => self.initiate(state, now)?,
            Command::AskComplete | Command::Wait if self.conversion.is_some() => {
                message.waits = Some(command);
            }
            _ => self.at_once(command, &parameters, message, state)?,
        }
        Ok(())
    }

    /// Commands that neither measure nor wait.
    fn at_once(
        &mut self,
        command: Command,
        parameters: &[&str],
        message: &mut Message,
        state: &mut State,
    ) -> Result<(), ScpiError> {
        let response = match command {
            Command::Identify => {
                message.indefinite = true;
                self.identity.clone()
            }
            Command::TakeEvent => self.status.take_event().to_string(),
            Command::AskEventEnable => self.status.event_enable.to_string(),
            Command::AskServiceEnable => self.status.service_enable.to_string(),
            Command::StatusByte => self.status.byte(!message.responses.is_empty()).to_string(),
            Command::AskComplete => "1".into(),
            Command::SelfTest => "0".into(),
            Command::NextError => self.status.take_error(),
            Command::ErrorCount => self.status.errors().to_string(),
            Command::Version => "1999.0".into(),
            Command::AskFunction => format!("\"{}\"", short_name(state.meter.function())),
            _ => return self.silently(command, parameters, state),
        };
        message.responses.push(response);
        Ok(())
    }

    /// Commands without an answer.
    fn silently(
        &mut self,
        command: Command,
        parameters: &[&str],
        state: &mut State,
    ) -> Result<(), ScpiError> {
        match command {
            Command::ClearStatus => {
                self.status.clear();
                self.complete_when_done = false;
            }
            Command::Reset => {
                self.set_function(Function::VoltageDc, state);
                self.complete_when_done = false;
            }
            Command::EventEnable => self.status.event_enable = mask(parameters[0])?,
            Command::ServiceEnable => self.status.service_enable = mask(parameters[0])? & !64,
            Command::Complete if self.conversion.is_some() => self.complete_when_done = true,
            Command::Complete => self.status.set_event(OPC),
            Command::Abort => self.conversion = None,
            _ => {}
        }
        Ok(())
    }

    fn configure(
        &mut self,
        function: Function,
        parameters: &[&str],
        state: &mut State,
    ) -> Result<(), ScpiError> {
        for parameter in parameters {
            if check_number(parameter)?.is_some_and(|n| !(0.0..=1e9).contains(&n)) {
                return Err(ScpiError::DataOutOfRange);
            }
        }
        self.set_function(function, state);
        Ok(())
    }

    fn set_function(&mut self, function: Function, state: &mut State) {
        state.meter.set_function(function);
        self.conversion = None;
        self.last = None;
    }

    fn initiate(&mut self, state: &mut State, now: Moment) -> Result<(), ScpiError> {
        if self.conversion.is_some() {
            return Err(ScpiError::InitIgnored);
        }
        self.last = None;
        self.conversion = Some(state.begin(now));
        Ok(())
    }
}

fn mask(parameter: &str) -> Result<u8, ScpiError> {
    match check_number(parameter)? {
        Some(n) if (0.0..=255.0).contains(&n) => Ok(n.round() as u8),
        Some(_) => Err(ScpiError::DataOutOfRange),
        None => Err(ScpiError::IllegalParameter),
    }
}

/// A reading in the form NR3 (IEEE 488.2 clause 8.7.4); overload and not-a-number by SCPI-99.
fn number(value: Value) -> String {
    let number = match value {
        Value::Number(x) => x,
        Value::Overload => 9.9e37,
        Value::NotANumber => 9.91e37,
    };
    let text = format!("{number:+.8E}");
    match text.split_once('E') {
        Some((mantissa, exponent)) => {
            let exponent: i32 = exponent.parse().unwrap_or(0);
            format!("{mantissa}E{exponent:+03}")
        }
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_are_nr3_with_a_signed_two_digit_exponent() {
        assert_eq!(number(Value::Number(1600.25)), "+1.60025000E+03");
        assert_eq!(number(Value::Number(-0.0123)), "-1.23000000E-02");
        assert_eq!(number(Value::Number(0.0)), "+0.00000000E+00");
        assert_eq!(number(Value::Overload), "+9.90000000E+37");
        assert_eq!(number(Value::NotANumber), "+9.91000000E+37");
    }
}
