//! Opening a meter's port that somebody else holds: a port that was just plugged in is often probed
//! by a service of the system for some ten seconds, and another program may be about to let go. So
//! a busy port is waited for, the holder is named once, and an interrupt ends the wait. Every other
//! failure is one at once. Lines that the operator types meanwhile are kept.

use super::arrivals::{Arrival, Inbox};
use super::failure::{Exit, Failure};
use drivers::{Clock, DriverError};
use std::time::Duration;

/// How long a busy port is waited for at most.
pub(super) const BUSY_FOR: Duration = Duration::from_secs(15);
/// From one attempt to the next.
const TRY_EVERY: Duration = Duration::from_millis(250);

/// Opens with `open`, and while that finds the port busy, again until `patience` is over; `tell` is
/// told why, once.
///
/// # Errors
/// What opening reports in the end, or that the wait was interrupted.
pub(super) async fn open_when_free<T>(
    mut open: impl FnMut(&Inbox) -> Result<T, DriverError>,
    inbox: &mut Inbox,
    clock: &dyn Clock,
    patience: Duration,
    mut tell: impl FnMut(&str),
) -> Result<T, Failure> {
    let until = clock.now() + patience;
    let mut kept = Vec::new();
    let mut told = false;
    let outcome = loop {
        match open(inbox) {
            Err(busy @ DriverError::Busy { .. }) if clock.now() < until => {
                if !std::mem::replace(&mut told, true) {
                    let seconds = patience.as_secs_f64();
                    tell(&format!("{busy}; waiting up to {seconds:.0} s for it to be let go"));
                }
                let again = (clock.now() + TRY_EVERY).min(until);
                match inbox.next(clock, Some(again)).await {
                    Arrival::DeadlineReached => {}
                    Arrival::Interrupted => break Err(interrupted()),
                    other => kept.push(other),
                }
            }
            outcome => break outcome.map_err(Failure::from),
        }
    };
    inbox.put_back(kept);
    outcome
}

fn interrupted() -> Failure {
    Failure::new(
        Exit::Aborted,
        "interrupted while waiting for the port",
        "nothing was begun; close the other program and begin again",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::HandClock;

    fn busy() -> DriverError {
        DriverError::Busy { port: "/dev/meter".into(), holder: Some("probe (pid 7)".into()) }
    }

    /// How opening ends if the port is let go after `held`, and what was told.
    fn opened_after(held: Duration, patience: Duration) -> (Result<u32, Failure>, Vec<String>) {
        let clock = HandClock::new();
        let mut inbox = Inbox::new();
        let (mut attempts, mut told) = (0, Vec::new());
        let open = |_: &Inbox| {
            attempts += 1;
            clock.advance(TRY_EVERY);
            if clock.moment().since_start() < held { Err(busy()) } else { Ok(attempts) }
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .start_paused(true)
            .build()
            .unwrap();
        let opening = open_when_free(open, &mut inbox, &clock, patience, |text| {
            told.push(text.to_owned());
        });
        (runtime.block_on(opening), told)
    }

    // F29, F33: ten seconds are what a service that probes fresh ports takes.
    #[test]
    fn a_port_held_for_ten_seconds_is_waited_for_and_the_holder_is_named_once() {
        let (opened, told) = opened_after(Duration::from_secs(10), BUSY_FOR);
        assert_eq!(opened.unwrap(), 40, "four attempts a second");
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].contains("in use by probe (pid 7)"), "{told:?}");
    }

    #[test]
    fn a_port_that_is_never_let_go_is_busy_in_the_end() {
        let (opened, _) = opened_after(Duration::from_secs(3600), BUSY_FOR);
        let failure = opened.unwrap_err();
        assert_eq!(failure.exit, Exit::Instrument);
        assert!(failure.to_string().contains("in use"), "{failure}");
        let (opened, told) = opened_after(Duration::from_secs(1), Duration::ZERO);
        assert!(opened.is_err() && told.is_empty(), "without patience it is busy at once");
    }

    #[test]
    fn any_other_failure_is_one_at_once() {
        let (clock, mut inbox) = (HandClock::new(), Inbox::new());
        let missing = |_: &Inbox| -> Result<(), _> {
            Err(DriverError::Missing { port: "/dev/meter".into(), source: None })
        };
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let opening = open_when_free(missing, &mut inbox, &clock, BUSY_FOR, |_| panic!("told"));
        assert!(runtime.block_on(opening).is_err());
    }
}
