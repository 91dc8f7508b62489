//! Time as it stands in the journal. A [`Stamp`] is handed in by whoever owns a clock; a
//! [`LocalTime`] is wall time with the operator's own offset from UTC, to the millisecond, as
//! RFC 3339 writes it (`2026-11-25T09:00:00.123+13:00`). Nothing here reads a clock or a zone
//! table: an offset that was written down stays as it was written.

use drivers::Moment;
use jiff::fmt::temporal::{DateTimePrinter, Pieces};
use jiff::tz::Offset;
use jiff::{Timestamp, ZonedDateTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// When something happened, by both clocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stamp {
    /// Wall time with the operator's offset.
    pub at: LocalTime,
    /// Monotonic time since this run began.
    pub elapsed: Moment,
}

impl Stamp {
    /// A stamp from the zone's wall time and the run's own monotonic clock.
    #[must_use]
    pub fn new(at: &ZonedDateTime, elapsed: Moment) -> Self {
        Self { at: LocalTime::from(at), elapsed }
    }
}

/// Wall time with an offset from UTC, to the millisecond.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct LocalTime {
    instant: Timestamp,
    offset: Offset,
}

impl LocalTime {
    /// `instant` as clocks at `offset` show it; parts of a millisecond are dropped.
    #[must_use]
    pub fn new(instant: Timestamp, offset: Offset) -> Self {
        let whole = Timestamp::from_millisecond(instant.as_millisecond()).unwrap_or(instant);
        Self { instant: whole, offset }
    }

    /// The instant, without its offset.
    #[must_use]
    pub const fn instant(self) -> Timestamp {
        self.instant
    }

    /// Day and time of day for people: `2026-11-25 09:00:00`.
    #[must_use]
    pub fn date_and_time(self) -> String {
        let local = self.offset.to_datetime(self.instant);
        format!("{} {}", local.date(), local.time().strftime("%H:%M:%S"))
    }

    /// Time of day for people, to a tenth of a second: `09:00:00.1`.
    #[must_use]
    pub fn time_of_day(self) -> String {
        let local = self.offset.to_datetime(self.instant);
        let tenth = local.time().subsec_nanosecond() / 100_000_000;
        format!("{}.{tenth}", local.time().strftime("%H:%M:%S"))
    }

    /// The offset for people: `UTC+13:00`.
    #[must_use]
    pub fn offset_name(self) -> String {
        let seconds = self.offset.seconds();
        let minutes = seconds.unsigned_abs() / 60;
        let sign = if seconds < 0 { '-' } else { '+' };
        format!("UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

impl From<&ZonedDateTime> for LocalTime {
    fn from(zoned: &ZonedDateTime) -> Self {
        Self::new(zoned.timestamp(), zoned.offset())
    }
}

impl fmt::Display for LocalTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const PRINTER: DateTimePrinter = DateTimePrinter::new().precision(Some(3));
        f.write_str(&PRINTER.timestamp_with_offset_to_string(&self.instant, self.offset))
    }
}

impl From<LocalTime> for String {
    fn from(time: LocalTime) -> Self {
        time.to_string()
    }
}

impl TryFrom<String> for LocalTime {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let wrong = || format!("`{}` is no time with an offset", text.escape_debug());
        let pieces = Pieces::parse(&text).map_err(|_| wrong())?;
        let (Some(time), Some(offset)) = (pieces.time(), pieces.to_numeric_offset()) else {
            return Err(wrong());
        };
        let instant = offset.to_timestamp(pieces.date().to_datetime(time)).map_err(|_| wrong())?;
        Ok(Self::new(instant, offset))
    }
}

impl JsonSchema for LocalTime {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "LocalTime".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "string",
            "format": "date-time",
            "description": "Wall time with the operator's offset (RFC 3339), to the millisecond."
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Result<LocalTime, String> {
        LocalTime::try_from(text.to_owned())
    }

    #[test]
    fn a_time_keeps_the_offset_it_was_written_with() {
        // The two spellings of one instant are RFC 3339 section 5.8's own example.
        let west = parsed("1996-12-19T16:39:57-08:00").unwrap();
        let utc = parsed("1996-12-20T00:39:57+00:00").unwrap();
        assert_eq!(west.instant(), utc.instant());
        assert_eq!(west.to_string(), "1996-12-19T16:39:57.000-08:00");
        assert_eq!(west.date_and_time(), "1996-12-19 16:39:57");
        assert_eq!(west.offset_name(), "UTC-08:00");
    }

    #[test]
    fn half_hour_offsets_and_milliseconds_survive() {
        let text = "1937-01-01T12:00:27.870+05:30";
        assert_eq!(parsed(text).unwrap().to_string(), text);
        assert_eq!(parsed(text).unwrap().time_of_day(), "12:00:27.8");
    }

    #[test]
    fn a_time_without_offset_is_refused() {
        for text in ["1996-12-19T16:39:57", "1996-12-19", "noon", "", "1996-13-01T00:00:00+00:00"] {
            assert!(parsed(text).is_err(), "{text}");
        }
    }
}
