//! Stamps to nanoseconds since 1970: RFC 3339, or the same with a blank for its `T`, or without
//! an offset, then taken as UTC, since only differences count. Whether a log holds stamps or
//! seconds is for [`super::row`] to say.

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
