//! From a log's first line to its layout: delimiter, which column is time, value, unit, overload,
//! and what unit a column's name says. Names are compared without case, quotes, or a unit behind
//! them: `Voltage (mV)` is a value in millivolts, `time_ms` a time in milliseconds. Lines that are
//! blank or begin with `#` may stand ahead of it.

use super::error::LogError;
use super::record::Record;

const TIME: [&str; 14] = [
    "t",
    "time",
    "timestamp",
    "seconds",
    "second",
    "secs",
    "sec",
    "elapsed",
    "elapsed time",
    "relative time",
    "datetime",
    "date time",
    "stamp",
    "date",
];
const VALUE: [&str; 13] = [
    "value",
    "volts",
    "volt",
    "voltage",
    "reading",
    "measurement",
    "dc voltage",
    "voltage dc",
    "vdc",
    "v",
    "u",
    "millivolts",
    "kilovolts",
];
const UNIT: [&str; 2] = ["unit", "units"];
const OVERLOAD: [&str; 5] = ["overload", "ol", "over", "overrange", "over range"];

/// The columns that the operator named: by name, or by number from 1.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Columns {
    /// The time.
    pub time: Option<String>,
    /// The value.
    pub value: Option<String>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Field {
    Other,
    Time,
    Value,
    Unit,
    Overload,
}

/// How a row is laid out.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) delimiter: u8,
    /// What each column holds, up to the last that matters.
    pub(super) fields: Vec<Field>,
    /// Volts are the value by this; a unit column says otherwise.
    pub(super) unit: Unit,
    /// Seconds are the time divided by this.
    pub(super) per_second: f64,
}

impl Layout {
    /// Seconds from what the time column holds.
    pub(super) fn seconds(&self, time: f64) -> f64 {
        if self.per_second == 1.0 { time } else { time / self.per_second }
    }

    /// Time, value, and then no more than unit and overload.
    pub(super) fn usual(&self) -> bool {
        match self.fields.as_slice() {
            [Field::Time, Field::Value, others @ ..] => {
                others.iter().all(|f| matches!(f, Field::Unit | Field::Overload))
            }
            _ => false,
        }
    }
}

/// A unit of volts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Volt,
    Millivolt,
    Kilovolt,
}

impl Unit {
    pub(super) fn parse(text: &[u8]) -> Option<Self> {
        Some(match text {
            b"V" | b"v" | b"VDC" | b"Vdc" | b"volt" | b"volts" => Self::Volt,
            b"mV" | b"mv" | b"MV" | b"mVDC" | b"MVDC" | b"mVdc" => Self::Millivolt,
            b"kV" | b"kv" | b"KV" => Self::Kilovolt,
            _ => return None,
        })
    }

    pub(super) fn volts(self, value: f64) -> f64 {
        match self {
            Self::Volt => value,
            Self::Millivolt => value / 1e3,
            Self::Kilovolt => value * 1e3,
        }
    }
}

/// The layout and how many bytes the header takes; `None` where more bytes are needed.
pub(super) fn find(
    bytes: &[u8],
    ended: bool,
    columns: &Columns,
) -> Result<Option<(Layout, usize)>, LogError> {
    let mark: &[u8] = b"\xef\xbb\xbf";
    let mut at = if bytes.starts_with(mark) { mark.len() } else { 0 };
    loop {
        let rest = bytes.get(at..).unwrap_or(&[]);
        let end = rest.iter().position(|b| matches!(b, b'\n' | b'\r'));
        let line = match end {
            Some(end) => rest.get(..end).unwrap_or(rest),
            None if ended || rest.len() > 65_536 => {
                rest.get(..rest.len().min(4096)).unwrap_or(rest)
            }
            None => return Ok(None),
        };
        let skip = line.trim_ascii().is_empty() || line.starts_with(b"#");
        if !skip || end.is_none() {
            return Ok(Some((layout(line, columns)?, at + line.len())));
        }
        at += line.len() + 1;
    }
}

fn layout(line: &[u8], columns: &Columns) -> Result<Layout, LogError> {
    let delimiter = [b';', b'\t', b','].into_iter().find(|d| line.contains(d)).unwrap_or(b',');
    let mut record = Record::new(delimiter);
    record.read(line, true);
    let names: Vec<String> =
        record.fields().map(|f| String::from_utf8_lossy(f).trim().into()).collect();
    let time = place(&names, columns.time.as_deref(), &TIME, "time")?;
    let value = place(&names, columns.value.as_deref(), &VALUE, "value")?;
    let known = |of: &[&str]| names.iter().position(|n| of.contains(&bare(n).0.as_str()));
    let (unit, overload) = (known(&UNIT), known(&OVERLOAD));
    let last = [Some(time), Some(value), unit, overload].into_iter().flatten().max().unwrap_or(0);
    let mut fields = vec![Field::Other; last + 1];
    for (place, field) in [
        (overload, Field::Overload),
        (unit, Field::Unit),
        (Some(value), Field::Value),
        (Some(time), Field::Time),
    ] {
        if let Some(slot) = place.and_then(|place| fields.get_mut(place)) {
            *slot = field;
        }
    }
    let name = |place: usize| names.get(place).map(|n| bare(n)).unwrap_or_default();
    let per_second = match name(time).1.as_str() {
        "ms" | "msec" => 1e3,
        "us" | "\u{b5}s" => 1e6,
        _ => 1.0,
    };
    let unit = match name(value) {
        (base, _) if base == "millivolts" => Unit::Millivolt,
        (base, _) if base == "kilovolts" => Unit::Kilovolt,
        (_, unit) => Unit::parse(unit.as_bytes()).unwrap_or(Unit::Volt),
    };
    Ok(Layout { delimiter, fields, unit, per_second })
}

/// Which column: as asked for, or the best known name.
fn place(
    names: &[String],
    asked: Option<&str>,
    known: &[&str],
    wanted: &'static str,
) -> Result<usize, LogError> {
    let found = || {
        let shown: Vec<String> = names.iter().take(12).map(|n| format!("`{n:.40}`")).collect();
        if names.iter().all(String::is_empty) { "an empty line".into() } else { shown.join(", ") }
    };
    if let Some(asked) = asked {
        let by_name = names.iter().position(|n| n.eq_ignore_ascii_case(asked.trim()));
        let number = asked.trim().parse::<usize>().ok().and_then(|n| n.checked_sub(1));
        let by_number = number.filter(|n| *n < names.len());
        return by_name
            .or(by_number)
            .ok_or_else(|| LogError::NoColumn { wanted: format!("`{asked}`"), found: found() });
    }
    let best = known.iter().find_map(|k| names.iter().position(|n| bare(n).0 == *k));
    best.ok_or_else(|| LogError::NoHeader { wanted, found: found() })
}

/// A name without case and without the unit behind it, and that unit.
fn bare(name: &str) -> (String, String) {
    let whole = name.trim().trim_matches('"').trim();
    let (base, unit) = match whole.find(['(', '[']) {
        Some(i) => (&whole[..i], whole[i + 1..].trim_end_matches([')', ']']).trim()),
        None => {
            let units = ["s", "ms", "us", "msec", "V", "v", "mV", "mv", "kV", "kv"];
            match whole.rsplit_once(['_', ' ']).filter(|(_, unit)| units.contains(unit)) {
                Some((base, unit)) => (base, unit),
                None => (whole, ""),
            }
        }
    };
    (base.trim().to_lowercase().replace('_', " "), unit.into())
}
