//! One number of an answer: IEEE 488.2, 8.7.2 to 8.7.4 (NR1, NR2, NR3), and what meters send
//! beside them (`.5`, `5.`, `1e3`). Overload and not-a-number come as numbers (SCPI-99 vol. 1,
//! 7.2.1) and leave as [`Value`]s. An own grammar, because the language's parser takes `inf`,
//! `nan` and `1e400`. Anything else is a fault: no unit, no comma, no second value.

use crate::digits::scaled;
use crate::reading::Value;

/// Overload from here on: SCPI-99 vol. 1, 7.2.1.
pub(super) const OVERLOAD: f64 = 9.9e37;
/// Exactly this is "not a number": SCPI-99 vol. 1, 7.2.1.
const NOT_A_NUMBER: f64 = 9.91e37;
/// IEEE 488.2, 7.7.2.4.1: at most so many digits.
const DIGITS_AT_MOST: usize = 255;

/// Why a text is no number of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumberFault {
    /// Nothing there.
    #[error("empty")]
    Empty,
    /// Not of the forms NR1, NR2, NR3.
    #[error("not a number of IEEE 488.2, 8.7")]
    Form,
    /// Beyond what a double can hold, or too many digits.
    #[error("number out of range")]
    Range,
}

/// Reads one number; blanks round it are allowed, blanks in it are not.
///
/// # Errors
/// A [`NumberFault`].
pub fn parse_value(text: &str) -> Result<Value, NumberFault> {
    let text = trimmed(text);
    if text.is_empty() {
        return Err(NumberFault::Empty);
    }
    let decimal = Decimal::parse(text.as_bytes()).ok_or(NumberFault::Form)?;
    if text.len() > DIGITS_AT_MOST {
        return Err(NumberFault::Range);
    }
    let number = match decimal.exactly() {
        Some(number) => number,
        None => text.parse().map_err(|_| NumberFault::Form)?,
    };
    if !f64::is_finite(number) {
        return Err(NumberFault::Range);
    }
    Ok(if number.total_cmp(&NOT_A_NUMBER).is_eq() {
        Value::NotANumber
    } else if number.abs() >= OVERLOAD {
        Value::Overload
    } else {
        Value::Number(number)
    })
}

/// Without the blanks round it. Most have none.
fn trimmed(text: &str) -> &str {
    let blank = |byte: Option<&u8>| matches!(byte, Some(b' ' | b'\t'));
    match blank(text.as_bytes().first()) || blank(text.as_bytes().last()) {
        true => text.trim_matches([' ', '\t']),
        false => text,
    }
}

/// Sign, digits with at most one point, and an exponent with digits if there is an `E`.
struct Decimal {
    negative: bool,
    /// All digits of the mantissa, if they are no more than fit.
    digits: u64,
    count: usize,
    /// How many of them stand behind the point.
    decimals: usize,
    /// The exponent of ten.
    power: i64,
}

impl Decimal {
    fn parse(text: &[u8]) -> Option<Self> {
        let (negative, rest) = sign(text);
        let (digits, whole, rest) = take_digits(0, rest);
        let (digits, decimals, rest) = match rest.split_first() {
            Some((b'.', rest)) => take_digits(digits, rest),
            _ => (digits, 0, rest),
        };
        let count = whole + decimals;
        if count == 0 {
            return None;
        }
        let power = match rest.split_first() {
            None => 0,
            Some((b'e' | b'E', exponent)) => {
                let (down, rest) = sign(exponent);
                let (power, count, rest) = take_digits(0, rest);
                let power = i64::try_from(power).ok()?;
                if !(1..=5).contains(&count) || !rest.is_empty() {
                    return None;
                }
                if down { -power } else { power }
            }
            Some(_) => return None,
        };
        Some(Self { negative, digits, count, decimals, power })
    }

    /// The number, where one rounding gives the nearest double.
    fn exactly(&self) -> Option<f64> {
        if self.count > 19 || self.digits > 1 << f64::MANTISSA_DIGITS {
            return None;
        }
        let number = scaled(self.digits as f64, self.power, self.decimals)?;
        Some(if self.negative { -number } else { number })
    }
}

/// Whether there is a minus, and what follows a sign.
fn sign(text: &[u8]) -> (bool, &[u8]) {
    match text.split_first() {
        Some((sign @ (b'+' | b'-'), rest)) => (*sign == b'-', rest),
        _ => (false, text),
    }
}

/// Further digits behind `digits`, how many they are, and the rest. More than 19 in all overflow.
fn take_digits(mut digits: u64, text: &[u8]) -> (u64, usize, &[u8]) {
    let mut count = 0;
    for byte in text {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        digits = digits.wrapping_mul(10).wrapping_add(u64::from(digit));
        count += 1;
    }
    (digits, count, text.get(count..).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::reference_rows;
    use proptest::prelude::*;

    // IEEE 488.2, 7.7.2 and 8.7; SCPI-99 vol. 1, 7.2.1: fixtures/reference/numeric-forms.csv.
    #[test]
    fn published_forms_are_read_and_all_others_refused() {
        let rows = reference_rows("numeric-forms.csv");
        assert!(rows.len() >= 35, "{} rows", rows.len());
        for row in rows {
            let (text, form, value) = (row[0].as_str(), row[1].as_str(), row[2].as_str());
            let got = parse_value(text);
            match form {
                "infinity" => assert_eq!(got, Ok(Value::Overload), "{text}"),
                "not-a-number" => assert_eq!(got, Ok(Value::NotANumber), "{text}"),
                "NR1" | "NR2" | "NR3" | "NRf" => {
                    // The standard's largest example is beyond what counts as overload.
                    let wanted = match value.parse::<f64>().unwrap() {
                        x if x.abs() >= 9.9e37 => Value::Overload,
                        x => Value::Number(x),
                    };
                    assert_eq!(got, Ok(wanted), "{text}");
                }
                // Legal in commands, or no number at all: never a reading.
                _ => assert!(got.is_err(), "{text}: {got:?}"),
            }
        }
    }

    // F47, F48
    #[test]
    fn what_the_languages_own_parser_takes_is_refused() {
        for text in [
            "inf", "-inf", "NaN", "nan", "infinity", "1e400", "1,234", "12,5", "1.0 V", "", " ",
            "+", ".", "-.", "e5", "1e", "1e+", "1 2", "0x10", "1_000", "1.2.3", "--1", "+-1",
            "1e5.0", "\u{661}", "1e999999",
        ] {
            assert!(parse_value(text).is_err(), "{text:?}");
        }
        assert_eq!(parse_value("1e400"), Err(NumberFault::Range));
        assert_eq!(parse_value(&"1".repeat(300)), Err(NumberFault::Range));
        assert_eq!(parse_value(" -9.9E37\t"), Ok(Value::Overload));
        assert_eq!(parse_value("9.8999E37"), Ok(Value::Number(9.8999e37)));
    }

    proptest! {
        #[test]
        fn every_finite_number_reads_back(x in -1e37_f64..1e37) {
            prop_assert_eq!(parse_value(&format!("{x:+e}")), Ok(Value::Number(x)));
            prop_assert_eq!(parse_value(&format!("{x}")), Ok(Value::Number(x)));
        }

        #[test]
        fn the_short_way_gives_the_languages_own_number(
            text in "[-+]?[0-9]{0,12}\\.?[0-9]{1,12}(E[-+]?[0-9]{1,2})?",
        ) {
            let wanted: f64 = text.parse().unwrap();
            match parse_value(&text) {
                Ok(Value::Number(x)) => prop_assert_eq!(x.to_bits(), wanted.to_bits()),
                other => prop_assert!(wanted.abs() >= OVERLOAD, "{:?}", other),
            }
        }

        #[test]
        fn no_text_gives_a_number_that_is_not_finite(text in "[-+0-9.eE, infaVN]{0,12}") {
            if let Ok(Value::Number(x)) = parse_value(&text) {
                prop_assert!(x.is_finite() && x.abs() < OVERLOAD);
            }
        }
    }
}
