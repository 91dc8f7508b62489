//! Signs of life of a port's thread. Before each call that may wait in the system, the thread says
//! by when it will be back; whoever owns the port looks at that from outside, since a thread that
//! hangs in the system cannot say so itself. While it waits for nothing, or for its own owner, it
//! owes no sign.

use crate::clock::Moment;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// How much later than it said the thread may be back: a busy machine is no stuck link.
const GRACE: Duration = Duration::from_secs(2);

/// When the thread is due to be back, and from what.
#[derive(Debug, Default)]
pub(crate) struct Pulse {
    due: Mutex<Option<(Moment, &'static str)>>,
}

impl Pulse {
    /// The thread begins something that is over by then.
    pub(super) fn back_by(&self, moment: Moment, step: &'static str) {
        self.set(Some((moment, step)));
    }

    /// It is back.
    pub(super) fn is_back(&self) {
        self.set(None);
    }

    /// By how much the thread is late, and what it hangs in; `None` while it keeps its word.
    pub(super) fn late(&self, now: Moment) -> Option<(Duration, &'static str)> {
        let due = *self.due.lock().unwrap_or_else(PoisonError::into_inner);
        let (moment, step) = due?;
        let late = now.since(moment);
        (late > GRACE).then_some((late, step))
    }

    fn set(&self, due: Option<(Moment, &'static str)>) {
        *self.due.lock().unwrap_or_else(PoisonError::into_inner) = due;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_thread_that_is_not_back_after_the_grace_is_late() {
        let at = |ms| Moment::from_start(Duration::from_millis(ms));
        let pulse = Pulse::default();
        assert_eq!(pulse.late(at(99_999)), None, "it waits for nothing");
        pulse.back_by(at(1000), "reading");
        assert_eq!(pulse.late(at(3000)), None);
        assert_eq!(pulse.late(at(3001)), Some((Duration::from_millis(2001), "reading")));
        pulse.is_back();
        assert_eq!(pulse.late(at(99_999)), None);
    }
}
