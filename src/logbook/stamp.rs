//! Stamps: RFC 3339, or the same with a blank for its `T`, or without an offset (then taken as
//! UTC: only differences count). Nanoseconds since 1970 come out.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;

pub(super) fn parse(text: &[u8]) -> Option<i64> {
    let text = std::str::from_utf8(text).ok()?;
    if !text.contains(':') {
        return None;
    }
    let stamp = text.parse::<Timestamp>().ok().or_else(|| {
        let plain = text.parse::<DateTime>().ok()?;
        Offset::UTC.to_timestamp(plain).ok()
    })?;
    i64::try_from(stamp.as_nanosecond()).ok()
}
