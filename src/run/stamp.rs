//! The one place where wall-clock time is read: a stamp for the journal, in the operator's own
//! zone, beside the run's monotonic time. Intervals never come from here: a clock that is set
//! during a run must not stretch or shrink it.

use crate::journal::Stamp;
use drivers::Clock;
use jiff::ZonedDateTime;

/// Now, by both clocks.
#[must_use]
pub fn stamp(clock: &dyn Clock) -> Stamp {
    Stamp::new(&ZonedDateTime::now(), clock.now())
}

/// Now as it stands in a folder's name: `20261125-090000`.
#[must_use]
pub fn folder_time() -> String {
    ZonedDateTime::now().strftime("%Y%m%d-%H%M%S").to_string()
}
