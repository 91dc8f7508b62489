//! The fields of a record of any shape to a reading: blanks around numbers, decimal commas,
//! RFC 3339 stamps, units in any usual spelling, overload by flag or by word. Says of a broken
//! record what is wrong with it. Slow and forgiving; [`super::fast`] is the other way.

use super::header::{Field, Layout, Unit};
use super::record::Record;
use super::stamp;

/// A usable row: seconds, and volts unless it is overload.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    pub(super) t: f64,
    pub(super) value: Option<f64>,
}

/// A time as it stands in a log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Time {
    Seconds(f64),
    /// Nanoseconds since 1970.
    Stamp(i64),
}

/// What the log's times count from. The first usable row says whether they are numbers or stamps;
/// stamps, and numbers that must be since 1970, count from it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Clock(Option<Time>);

/// Seconds beyond this are counted from 1970, not from the start of a log: three years.
const SINCE_1970: f64 = 1e8;

impl Clock {
    /// The seconds that times count from, if they are numbers and the first has come.
    pub(super) const fn origin_s(&self) -> Option<f64> {
        match self.0 {
            Some(Time::Seconds(from)) => Some(from),
            _ => None,
        }
    }

    pub(super) fn seconds(&mut self, time: Time) -> Option<f64> {
        let origin = *self.0.get_or_insert(match time {
            Time::Seconds(t) if t.abs() < SINCE_1970 => Time::Seconds(0.0),
            other => other,
        });
        #[expect(clippy::cast_precision_loss, reason = "a log is shorter than 100 days")]
        match (time, origin) {
            (Time::Seconds(t), Time::Seconds(from)) => Some(t - from),
            (Time::Stamp(t), Time::Stamp(from)) => Some(t.saturating_sub(from) as f64 / 1e9),
            _ => None,
        }
    }
}

/// Readings from here up are overload: SCPI-99 vol. 1, 7.2.1 has 9.9E37 for infinity.
pub(super) const OVERLOAD_FROM: f64 = 9e36;
/// The same section's mark for "not a number".
const NOT_A_NUMBER: f64 = 9.91e37;

const UNFLAGGED: [&str; 5] = ["", "0", "false", "no", "n"];
const FLAGGED: [&str; 5] = ["1", "true", "yes", "y", "ol"];
const OVERLOADS: [&str; 9] = ["OL", "-OL", "+OL", "O.L", "OVLD", "OVERLOAD", "OVER", "INF", "-INF"];

fn any_case(text: &[u8], words: &[&str]) -> bool {
    words.iter().any(|word| text.eq_ignore_ascii_case(word.as_bytes()))
}

/// Reads one record: nothing on it, a row, or what is wrong with it.
pub(super) fn read(
    record: &Record,
    layout: &Layout,
    clock: &mut Clock,
) -> Result<Option<Row>, String> {
    if record.fields().all(|field| field.trim_ascii().is_empty()) {
        return Ok(None);
    }
    let field = |wanted: Field| {
        let place = layout.fields.iter().position(|f| *f == wanted)?;
        record.field(place).map(<[u8]>::trim_ascii)
    };
    let time = field(Field::Time).ok_or("no time column")?;
    let time = parse_time(time, layout.per_second)
        .ok_or_else(|| format!("`{}` is no time", shown(time)))?;
    let flag = field(Field::Overload).unwrap_or(b"");
    let flagged = match (any_case(flag, &UNFLAGGED), any_case(flag, &FLAGGED)) {
        (true, _) => false,
        (_, true) => true,
        _ => return Err(format!("`{}` is no overload flag", shown(flag))),
    };
    let text = field(Field::Value).ok_or("no value column")?;
    let unit = match field(Field::Unit).unwrap_or(b"") {
        b"" => layout.unit,
        unit => {
            Unit::parse(unit).ok_or_else(|| format!("`{}` is no unit of volts", shown(unit)))?
        }
    };
    let value = if flagged { None } else { parse_value(text, unit)? };
    let t = clock.seconds(time).ok_or("a stamp among seconds, or seconds among stamps")?;
    Ok(Some(Row { t, value }))
}

fn parse_time(text: &[u8], per_second: f64) -> Option<Time> {
    match number(text) {
        Some(t) if t.is_finite() => Some(Time::Seconds(t / per_second)),
        Some(_) => None,
        None => stamp::parse(text).map(Time::Stamp),
    }
}

/// Volts, or `None` for overload.
fn parse_value(text: &[u8], unit: Unit) -> Result<Option<f64>, String> {
    if any_case(text, &OVERLOADS) {
        return Ok(None);
    }
    // A unit may stand behind the number itself.
    let digits = text.iter().rposition(u8::is_ascii_digit).map_or(0, |i| i + 1);
    let (digits, behind) = text.split_at(digits);
    let behind = behind.trim_ascii();
    let unit = if behind.is_empty() || behind == b"." { Some(unit) } else { Unit::parse(behind) };
    match (number(digits), unit) {
        (Some(x), Some(_)) if x.abs() == NOT_A_NUMBER => Err("the meter had no number".into()),
        (Some(x), Some(_)) if x.abs() >= OVERLOAD_FROM => Ok(None),
        (Some(x), Some(unit)) if unit.volts(x).is_finite() => Ok(Some(unit.volts(x))),
        _ => Err(format!("`{}` is no value in volts", shown(text))),
    }
}

/// A number with a decimal point or a decimal comma.
fn number(text: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(text).ok()?;
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b"+-.,eE".contains(&b));
    if !plain || text.is_empty() {
        return None;
    }
    let one_comma = text.bytes().filter(|b| *b == b',').count() == 1 && !text.contains('.');
    if one_comma { text.replace(',', ".").parse().ok() } else { text.parse().ok() }
}

fn shown(text: &[u8]) -> String {
    text.get(..text.len().min(40)).unwrap_or(text).escape_ascii().to_string()
}
