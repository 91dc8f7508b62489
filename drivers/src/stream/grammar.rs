//! One line of a meter: `+0329.8 OHM`, `OL  OHM`, `+13.71 VDC`. The built-in grammar wants a
//! number or an overload word, then a unit word; a profile may give a pattern of its own. A line
//! without a known unit is a fault: a bare number could be anything. See fixtures/lines/.

use crate::error::escape;
use crate::profile::{Checksum, Dialect, LinesDialect, Profile};
use crate::reading::{Function, Unit, Value};
use crate::scpi::parse_value;
use std::sync::LazyLock;

/// What one line says.
#[derive(Clone, Debug, PartialEq)]
pub struct LineReading {
    /// The value, in `unit`.
    pub value: Value,
    /// The unit.
    pub unit: Unit,
    /// The functions in which this unit word is sent, at least one.
    pub functions: Vec<Function>,
}

/// Why a line is no reading.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineFault {
    /// Not of the grammar.
    #[error("not a reading")]
    Form,
    /// A unit word that the profile does not have, as it was looked for, escaped.
    #[error("unknown unit word `{0}`")]
    Unit(String),
    /// The number is not one.
    #[error("not a number")]
    Number,
    /// The two digits at the end do not match.
    #[error("wrong checksum")]
    Checksum,
}

impl LineFault {
    /// What should have come instead: a person who writes a profile must see which key is wrong.
    pub(super) fn expected(&self, dialect: &LinesDialect) -> String {
        match self {
            Self::Form if dialect.pattern.is_some() => "a line of the profile's `pattern`".into(),
            Self::Form => "a reading with its unit".into(),
            Self::Unit(word) => format!("a reading in one of the profile's units, not `{word}`"),
            Self::Number => "a number or an overload word".into(),
            Self::Checksum => "a reading with its checksum".into(),
        }
    }
}

/// Reads one line.
///
/// # Errors
/// A [`LineFault`].
pub fn parse_line(line: &str, dialect: &LinesDialect) -> Result<LineReading, LineFault> {
    let line = strip_checksum(line, dialect.checksum)?;
    let parts = match &dialect.pattern {
        Some(pattern) => {
            let found = pattern.captures(line).ok_or(LineFault::Form)?;
            let group = |name| found.name(name).map_or("", |part| part.as_str());
            Parts {
                sign: group("sign"),
                value: group("value"),
                unit: group("unit"),
                function: group("function"),
            }
        }
        None => split(line, dialect)?,
    };
    parts.read(dialect)
}

/// Whether a line is a reading of the shipped free-running meter: then it answers no query.
pub(crate) fn is_shipped_reading(line: &str) -> bool {
    static DIALECT: LazyLock<Option<LinesDialect>> =
        LazyLock::new(|| match Profile::load("ascii-lines").ok()?.dialect {
            Dialect::Lines(dialect) => Some(dialect),
            Dialect::Scpi(_) => None,
        });
    DIALECT.as_ref().is_some_and(|dialect| parse_line(line, dialect).is_ok())
}

/// The pieces of a line.
struct Parts<'a> {
    sign: &'a str,
    value: &'a str,
    unit: &'a str,
    function: &'a str,
}

impl Parts<'_> {
    fn read(&self, dialect: &LinesDialect) -> Result<LineReading, LineFault> {
        let words = format!("{}{}", self.unit.trim(), self.function.trim()).to_ascii_uppercase();
        let unknown = || LineFault::Unit(escape(words.as_bytes(), 24));
        let word = dialect.units.get(&words).ok_or_else(unknown)?;
        let value = self.value(dialect)?;
        let value = match value {
            Value::Number(x) => Value::Number(x * word.factor),
            other => other,
        };
        if value.number().is_some_and(|x| !x.is_finite()) {
            return Err(LineFault::Number);
        }
        Ok(LineReading { value, unit: word.unit, functions: word.functions.clone() })
    }

    fn value(&self, dialect: &LinesDialect) -> Result<Value, LineFault> {
        let value = self.value.trim();
        if dialect.overload.iter().any(|word| word.eq_ignore_ascii_case(value)) {
            return Ok(Value::Overload);
        }
        let number = match dialect.decimal_comma {
            true if value.contains('.') => return Err(LineFault::Number),
            true => value.replacen(',', ".", 1),
            false => value.to_owned(),
        };
        let sign = self.sign.trim();
        if !sign.is_empty() && number.starts_with(['+', '-']) {
            return Err(LineFault::Number);
        }
        parse_value(&format!("{sign}{number}")).map_err(|_| LineFault::Number)
    }
}

/// The built-in grammar: blanks, sign, number or overload word, blanks, unit word, blanks.
fn split<'a>(line: &'a str, dialect: &LinesDialect) -> Result<Parts<'a>, LineFault> {
    let line = line.trim();
    let signed = line.starts_with(['+', '-']);
    let (sign, rest) = line.split_at(usize::from(signed));
    let rest = rest.trim_start();
    let overload = dialect.overload.iter().find(|word| {
        rest.get(..word.len()).is_some_and(|head| head.eq_ignore_ascii_case(word))
            && rest.get(word.len()..).is_some_and(|tail| tail.starts_with([' ', '\t', '.']))
    });
    let cut = match overload {
        Some(word) => word.len(),
        None => number_len(rest),
    };
    let (value, unit) = rest.split_at_checked(cut).ok_or(LineFault::Form)?;
    let unit = unit.trim();
    if value.is_empty() || unit.is_empty() || unit.contains([' ', '\t']) {
        return Err(LineFault::Form);
    }
    Ok(Parts { sign, value, unit, function: "" })
}

/// Length of the digits, marks and exponent at the head of `text`.
fn number_len(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        let rest = bytes.get(from..).unwrap_or_default();
        rest.iter().take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b',')).count()
    };
    let mantissa = digits(0);
    let exponent = match bytes.get(mantissa..) {
        Some([b'E' | b'e', b'+' | b'-', rest @ ..]) => {
            2 + rest.iter().take_while(|b| b.is_ascii_digit()).count()
        }
        _ => 0,
    };
    if mantissa == 0 || exponent == 2 { mantissa } else { mantissa + exponent }
}

/// Checks and takes off the two hexadecimal digits at the end.
fn strip_checksum(line: &str, checksum: Checksum) -> Result<&str, LineFault> {
    let sum = |head: &str| match checksum {
        Checksum::Xor => head.bytes().fold(0, |sum, byte| sum ^ byte),
        Checksum::Sum | Checksum::None => head.bytes().fold(0_u8, u8::wrapping_add),
    };
    if checksum == Checksum::None {
        return Ok(line);
    }
    let cut = line.len().checked_sub(2).ok_or(LineFault::Checksum)?;
    let (head, digits) = line.split_at_checked(cut).ok_or(LineFault::Checksum)?;
    let plain = digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    match u8::from_str_radix(digits, 16) {
        Ok(stated) if plain && stated == sum(head) => Ok(head),
        _ => Err(LineFault::Checksum),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn dialect(extra: &str) -> LinesDialect {
        let text = include_str!("../../profiles/ascii-lines.toml");
        let text = text.replace("skip_lines = 1", &format!("skip_lines = 1\n{extra}"));
        match Profile::parse("test", &text).unwrap().dialect {
            Dialect::Lines(lines) => lines,
            Dialect::Scpi(_) => panic!("not lines"),
        }
    }

    static DIALECTS: LazyLock<[LinesDialect; 3]> =
        LazyLock::new(|| ["", "checksum = \"xor\"", "decimal_comma = true"].map(dialect));

    fn value(line: &str) -> Result<(Value, Function), LineFault> {
        parse_line(line, &DIALECTS[0]).map(|got| (got.value, got.functions[0]))
    }

    #[test]
    fn the_shipped_grammar_reads_every_unit_in_any_case() {
        use Function::{Diode, Resistance, VoltageAc, VoltageDc};
        for (line, number, function) in [
            ("+0329.8 OHM", 329.8, Resistance),
            ("+0329.8 ohm", 329.8, Resistance),
            ("-0329.8  Ohm", -329.8, Resistance),
            ("+1.234 KOHM", 1234.0, Resistance),
            ("+1.234 kOhm", 1234.0, Resistance),
            ("+2.5 MOHM", 2.5e6, Resistance),
            ("+13.71 VDC", 13.71, VoltageDc),
            ("+13.71 V", 13.71, VoltageDc),
            ("+13.71V", 13.71, VoltageDc),
            ("-230.5 mVDC", -0.2305, VoltageDc),
            ("+230.1 VAC", 230.1, VoltageAc),
            ("+0.552 DIO", 0.552, Diode),
            ("0.552 dio", 0.552, Diode),
            ("+1.5E+3 OHM", 1500.0, Resistance),
            ("\t+ 5 OHM ", 5.0, Resistance),
        ] {
            assert_eq!(value(line), Ok((Value::Number(number), function)), "{line}");
        }
        for line in ["OL  OHM", "ol ohm", "+OL OHM", "-OL. OHM", " OL\tOHM"] {
            let got = value(line);
            if line.contains('.') {
                assert!(got.is_err(), "{line}");
            } else {
                assert_eq!(got, Ok((Value::Overload, Resistance)), "{line}");
            }
        }
    }

    // F48: a number alone, a comma, a second value or a strange unit is no reading.
    #[test]
    fn anything_else_is_no_reading() {
        for line in [
            "+0329.8",
            "OHM",
            "",
            " ",
            "OL",
            "OLOHM",
            "+1,234 OHM",
            "+1.2.3 OHM",
            "+1 2 OHM",
            "+1 FARAD",
            "1 OHM 2 OHM",
            "++1 OHM",
            "+ OHM",
            "nan OHM",
            "inf OHM",
            "1e999 OHM",
            "+1 OHM!",
            "0x1 OHM",
            "=1 OHM",
        ] {
            assert!(value(line).is_err(), "{line:?}: {:?}", value(line));
        }
    }

    #[test]
    fn a_decimal_comma_is_read_where_the_profile_says_so() {
        let comma = dialect("decimal_comma = true");
        assert_eq!(parse_line("+12,5 OHM", &comma).unwrap().value, Value::Number(12.5));
        for line in ["+12.5 OHM", "+1.234,5 OHM", "1,2,3 OHM"] {
            assert!(parse_line(line, &comma).is_err(), "{line}");
        }
    }

    #[test]
    fn a_line_with_the_wrong_checksum_is_no_reading() {
        for (name, digits) in [("xor", "6E"), ("sum", "BE")] {
            let body = "+1.0 OHM";
            let own = match name {
                "xor" => body.bytes().fold(0, |a, b| a ^ b),
                _ => body.bytes().fold(0_u8, u8::wrapping_add),
            };
            let summed = dialect(&format!("checksum = \"{name}\""));
            let good = format!("{body}{own:02X}");
            assert_eq!(parse_line(&good, &summed).unwrap().value, Value::Number(1.0));
            let bad = good.replace("1.0", "1.1");
            assert_eq!(parse_line(&bad, &summed), Err(LineFault::Checksum));
            assert_eq!(parse_line("1", &summed), Err(LineFault::Checksum));
            assert_eq!(parse_line("\u{3a9}\u{3a9}", &summed), Err(LineFault::Checksum));
            assert_eq!(own, u8::from_str_radix(digits, 16).unwrap(), "{own:02X}");
        }
    }

    #[test]
    fn a_profile_may_bring_its_own_pattern() {
        let own = dialect(
            "pattern = '^(?<function>[A-Z]{2}) (?<sign>[-+ ]) *(?<value>[0-9.]+|OL) *(?<unit>[A-Z]*)$'\n",
        );
        let mut own = own;
        let ohm = own.units["OHM"].clone();
        own.units.insert("OHMRE".into(), ohm);
        assert_eq!(parse_line("RE + 12.5 OHM", &own).unwrap().value, Value::Number(12.5));
        assert_eq!(parse_line("RE   OL  OHM", &own).unwrap().value, Value::Overload);
        assert_eq!(parse_line("DC + 12.5 OHM", &own), Err(LineFault::Unit("OHMDC".into())));
        assert_eq!(parse_line("12.5 OHM", &own), Err(LineFault::Form));
    }

    proptest! {
        #[test]
        fn no_line_whatever_panics_or_gives_an_infinite_number(line in "\\PC{0,30}") {
            for dialect in DIALECTS.iter() {
                if let Ok(reading) = parse_line(&line, dialect) {
                    prop_assert!(reading.value.number().is_none_or(f64::is_finite));
                }
            }
        }
    }
}
