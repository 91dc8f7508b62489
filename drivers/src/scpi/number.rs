//! One number of an answer: IEEE 488.2, 8.7.2 to 8.7.4 (NR1, NR2, NR3), and what meters send
//! beside them (`.5`, `5.`, `1e3`). Overload and not-a-number come as numbers (SCPI-99 vol. 1,
//! 7.2.1) and leave as [`Value`]s. An own grammar, because the language's parser takes `inf`,
//! `nan` and `1e400`. Anything else is a fault: no unit, no comma, no second value.

use crate::reading::Value;

/// Overload from here on: SCPI-99 vol. 1, 7.2.1.
const OVERLOAD: f64 = 9.9e37;
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
    let text = text.trim_matches([' ', '\t']);
    if text.is_empty() {
        return Err(NumberFault::Empty);
    }
    if !is_decimal(text.as_bytes()) {
        return Err(NumberFault::Form);
    }
    if text.len() > DIGITS_AT_MOST {
        return Err(NumberFault::Range);
    }
    let number: f64 = text.parse().map_err(|_| NumberFault::Form)?;
    if !number.is_finite() {
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

/// Sign, digits with at most one point, and an exponent with digits if there is an `E`.
fn is_decimal(text: &[u8]) -> bool {
    let rest = skip_sign(text);
    let (whole, rest) = skip_digits(rest);
    let (fraction, rest) = match rest.split_first() {
        Some((b'.', rest)) => skip_digits(rest),
        _ => (0, rest),
    };
    if whole + fraction == 0 {
        return false;
    }
    match rest.split_first() {
        None => true,
        Some((b'e' | b'E', exponent)) => {
            let (digits, rest) = skip_digits(skip_sign(exponent));
            (1..=5).contains(&digits) && rest.is_empty()
        }
        Some(_) => false,
    }
}

fn skip_sign(text: &[u8]) -> &[u8] {
    match text.split_first() {
        Some((b'+' | b'-', rest)) => rest,
        _ => text,
    }
}

fn skip_digits(text: &[u8]) -> (usize, &[u8]) {
    let count = text.iter().take_while(|byte| byte.is_ascii_digit()).count();
    (count, text.get(count..).unwrap_or_default())
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
        fn no_text_gives_a_number_that_is_not_finite(text in "[-+0-9.eE, infaVN]{0,12}") {
            if let Ok(Value::Number(x)) = parse_value(&text) {
                prop_assert!(x.is_finite() && x.abs() < OVERLOAD);
            }
        }
    }
}
