//! One entry of an instrument's error queue: `-113,"Undefined header;READ?"`, in the forms that
//! instruments send it (a plus sign, no quotes, no text). SCPI-99 vol. 2, 21.8. How often the queue
//! is asked, and when it counts as endless, is the session's matter.

/// One entry of the error queue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorEntry {
    /// Its number; 0 says that the queue is empty, negative ones are the standard's.
    pub number: i32,
    /// Its text, as sent, or the standard's where none was sent; may hold `;` and more.
    pub text: String,
}

impl ErrorEntry {
    /// Reads the answer to an error query; `None` if it is not one.
    #[must_use]
    pub fn parse(answer: &str) -> Option<Self> {
        let answer = answer.trim();
        let (number, text) = match answer.split_once(',') {
            Some((number, text)) => (number.trim(), text.trim()),
            None => (answer, ""),
        };
        let digits = number.strip_prefix(['+', '-']).unwrap_or(number);
        if digits.is_empty() || digits.len() > 6 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let number: i32 = number.parse().ok()?;
        let text = unquote(text);
        let text = if text.is_empty() { standard_text(number).unwrap_or("").into() } else { text };
        Some(Self { number, text })
    }

    /// Whether the queue is empty.
    #[must_use]
    pub const fn is_none(&self) -> bool {
        self.number == 0
    }

    /// Whether the meter refuses because its own keys have control (SCPI-99 vol. 2, 21.8.10).
    #[must_use]
    pub const fn is_local(&self) -> bool {
        matches!(self.number, -201 | -203)
    }
}

/// Strips quotes; a doubled quote inside stands for one (IEEE 488.2, 8.7.8).
fn unquote(text: &str) -> String {
    for quote in ['"', '\''] {
        if let Some(inner) = text.strip_prefix(quote) {
            let inner = inner.strip_suffix(quote).unwrap_or(inner);
            return inner.replace(&format!("{quote}{quote}"), &quote.to_string());
        }
    }
    text.to_owned()
}

/// The standard's text of the errors that a meter's client meets (SCPI-99 vol. 2, 21.8).
#[must_use]
pub fn standard_text(number: i32) -> Option<&'static str> {
    Some(match number {
        0 => "No error",
        -100 => "Command error",
        -101 => "Invalid character",
        -102 => "Syntax error",
        -103 => "Invalid separator",
        -104 => "Data type error",
        -108 => "Parameter not allowed",
        -109 => "Missing parameter",
        -113 => "Undefined header",
        -114 => "Header suffix out of range",
        -120 => "Numeric data error",
        -121 => "Invalid character in number",
        -131 => "Invalid suffix",
        -138 => "Suffix not allowed",
        -151 => "Invalid string data",
        -200 => "Execution error",
        -201 => "Invalid while in local",
        -203 => "Command protected",
        -211 => "Trigger ignored",
        -213 => "Init ignored",
        -221 => "Settings conflict",
        -222 => "Data out of range",
        -224 => "Illegal parameter value",
        -230 => "Data corrupt or stale",
        -231 => "Data questionable",
        -240 => "Hardware error",
        -241 => "Hardware missing",
        -300 => "Device-specific error",
        -310 => "System error",
        -330 => "Self-test failed",
        -340 => "Calibration failed",
        -350 => "Queue overflow",
        -360 => "Communication error",
        -361 => "Parity error in program message",
        -362 => "Framing error in program message",
        -363 => "Input buffer overrun",
        -365 => "Time out error",
        -400 => "Query error",
        -410 => "Query INTERRUPTED",
        -420 => "Query UNTERMINATED",
        -430 => "Query DEADLOCKED",
        -440 => "Query UNTERMINATED after indefinite response",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::reference_rows;

    fn entry(answer: &str) -> Option<(i32, String)> {
        ErrorEntry::parse(answer).map(|entry| (entry.number, entry.text))
    }

    // F46: accept 0, +0, quoted or not.
    #[test]
    fn every_way_to_send_an_entry_is_read() {
        let none = Some((0, "No error".to_owned()));
        for answer in ["0,\"No error\"", "+0,\"No error\"", "0", "+0", "0,No error", " 0 , ''"] {
            assert_eq!(entry(answer), none, "{answer}");
        }
        let refused = Some((-113, "Undefined header;READ?".to_owned()));
        assert_eq!(entry("-113,\"Undefined header;READ?\""), refused);
        assert_eq!(entry("-113"), Some((-113, "Undefined header".to_owned())));
        assert_eq!(entry("42,\"\""), Some((42, String::new())));
        assert_eq!(entry("5,\"say \"\"no\"\"\""), Some((5, "say \"no\"".to_owned())));
        for answer in ["", "No error", "+1.5E0", "-", "9999999,\"x\"", "1 2,\"x\"", "\"VOLT\""] {
            assert_eq!(entry(answer), None, "{answer}");
        }
    }

    // SCPI-99 vol. 2, 21.8: fixtures/reference/scpi-errors.csv.
    #[test]
    fn texts_are_the_standards_own() {
        let rows = reference_rows("scpi-errors.csv");
        let mut known = 0;
        for row in &rows {
            let number: i32 = row[0].parse().unwrap();
            if let Some(text) = standard_text(number) {
                assert_eq!(text, row[1], "{number}");
                known += 1;
            }
            let answer = format!("{number},\"{}\"", row[1]);
            assert_eq!(entry(&answer), Some((number, row[1].clone())));
        }
        assert!(rows.len() > 100 && known > 35, "{} rows, {known} known", rows.len());
    }
}
