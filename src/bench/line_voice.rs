//! A dial meter's voice: it sends a line after every conversion, in the function of its dial,
//! and hears nothing; or it sends one for each `D` that it hears. A line is a sign, a number, a space and a unit word (`+0329.8 OHM`,
//! `+1.600 KOHM`, `OL  OHM`, `+13.71 VDC`, `+0.552 DIO`), ended by CR LF. Sans-I/O like the
//! commanded voice; what is measured, the shared [`State`] knows.

use super::meter::{Conversion, Shown};
use super::state::State;
use drivers::{Function, Moment, Value};

/// The voice.
#[derive(Clone, Debug, Default)]
pub(crate) struct LineVoice {
    conversion: Option<Conversion>,
    /// Whether it waits to be asked.
    polled: bool,
    heard: Vec<u8>,
    /// Lines asked for and not sent yet.
    owed: u32,
}

/// The longest line that it listens to, in bytes.
const HEARD_MAX: usize = 64;

impl LineVoice {
    /// A voice that speaks when it is asked.
    pub(crate) fn polled() -> Self {
        Self { polled: true, ..Self::default() }
    }

    /// Bytes arrived from the program; any end of a line ends a poll.
    pub(crate) fn push(&mut self, bytes: &[u8]) {
        for byte in bytes.iter().filter(|_| self.polled) {
            if !matches!(byte, b'\r' | b'\n') {
                self.heard.push(*byte);
                self.heard.truncate(HEARD_MAX);
            } else if std::mem::take(&mut self.heard) == b"D" {
                self.owed = self.owed.saturating_add(1);
            }
        }
    }

    /// The lines that are due by now. After a long silence only the newest is sent: a meter does
    /// not catch up.
    pub(crate) fn next(&mut self, state: &mut State, now: Moment) -> Vec<u8> {
        if self.polled && self.owed == 0 {
            return Vec::new();
        }
        let Some(conversion) = self.conversion else {
            self.conversion = Some(state.begin(now));
            return Vec::new();
        };
        if now < conversion.due {
            return Vec::new();
        }
        let shown = state.finish(&conversion);
        let late = now.since(conversion.due) > state.meter.conversion();
        let from = if late { now } else { conversion.due };
        self.owed = self.owed.saturating_sub(1);
        self.conversion = (!self.polled || self.owed > 0).then(|| state.begin(from));
        let mut line = line(conversion.function, shown).into_bytes();
        line.extend_from_slice(b"\r\n");
        line
    }

    /// When the conversion under way ends; at once if none is. `None`: when it is asked.
    pub(crate) fn wake_at(&self) -> Option<Moment> {
        let asked = !self.polled || self.owed > 0;
        asked.then(|| self.conversion.map_or(Moment::START, |c| c.due))
    }

    /// The dial was turned: the conversion under way is thrown away.
    pub(crate) fn start_over(&mut self) {
        self.conversion = None;
    }
}

/// One line, without its end.
fn line(function: Function, shown: Shown) -> String {
    let (unit, factor) = match (function, shown.value) {
        (Function::VoltageDc, Value::Number(_)) if shown.count < 2e-4 => ("MVDC", 1e3),
        (Function::VoltageDc, _) => ("VDC", 1.0),
        (Function::VoltageAc, _) => ("VAC", 1.0),
        (Function::Diode, _) => ("DIO", 1.0),
        (_, Value::Number(_)) if shown.count > 0.2 && shown.count < 200.0 => ("KOHM", 1e-3),
        (_, Value::Number(_)) if shown.count >= 200.0 => ("MOHM", 1e-6),
        _ => ("OHM", 1.0),
    };
    match shown.value {
        Value::Number(value) => {
            let places = decimals(shown.count * factor);
            let width = if unit == "OHM" { 7 } else { 0 };
            format!("{:+0width$.places$} {unit}", value * factor)
        }
        Value::Overload | Value::NotANumber => format!("OL  {unit}"),
    }
}

/// How many decimals show one count.
fn decimals(count: f64) -> usize {
    let places = -count.max(1e-9).log10().round();
    if places > 0.0 { places as usize } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(value: f64, count: f64) -> Shown {
        Shown { value: Value::Number(value), count }
    }

    #[test]
    fn lines_carry_sign_number_and_unit_word() {
        assert_eq!(line(Function::Resistance, shown(329.8, 0.1)), "+0329.8 OHM");
        assert_eq!(line(Function::Resistance, shown(1600.0, 1.0)), "+1.600 KOHM");
        assert_eq!(line(Function::Resistance, shown(47_100.0, 10.0)), "+47.10 KOHM");
        assert_eq!(line(Function::Resistance, shown(2.2e6, 1000.0)), "+2.200 MOHM");
        assert_eq!(line(Function::VoltageDc, shown(13.71, 0.01)), "+13.71 VDC");
        assert_eq!(line(Function::VoltageDc, shown(-0.0123, 1e-4)), "-12.3 MVDC");
        assert_eq!(line(Function::Diode, shown(0.552, 0.001)), "+0.552 DIO");
        let open = Shown { value: Value::Overload, count: 1e4 };
        assert_eq!(line(Function::Resistance, open), "OL  OHM");
    }
}
