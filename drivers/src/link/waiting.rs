//! Waiting for a descriptor of the system's that does not block by itself: until it can be read or
//! written, has hung up, or the time is over. Which of these it was is found out by the call that
//! follows; a signal ends a wait early.

use super::{is_nothing_yet, lost, not_taken};
use crate::clock::Allowance;
use crate::error::DriverError;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io;
use std::os::fd::AsFd;
use std::time::Duration;

/// Waits for one of `flags`.
pub(super) fn wait_for(descriptor: impl AsFd, flags: PollFlags, wait: Duration) -> io::Result<()> {
    let timeout = Timespec::try_from(wait).unwrap_or(Timespec { tv_sec: 3600, tv_nsec: 0 });
    match poll(&mut [PollFd::new(&descriptor, flags)], Some(&timeout)) {
        Ok(_) | Err(rustix::io::Errno::INTR) => Ok(()),
        Err(error) => Err(error.into()),
    }
}

/// Sends all of `bytes` within the span, as many at once as `write` takes without waiting.
pub(super) fn send_all<D: AsFd>(
    name: &str,
    descriptor: D,
    bytes: &[u8],
    within: Duration,
    write: impl Fn(&D, &[u8]) -> Result<usize, rustix::io::Errno>,
) -> Result<(), DriverError> {
    let gone = |error| lost(name, "sending", error);
    let allowed = Allowance::of(within);
    let mut rest = bytes;
    while !rest.is_empty() {
        match write(&descriptor, rest).map_err(io::Error::from) {
            Ok(0) => return Err(gone(None)),
            Ok(count) => rest = rest.get(count..).unwrap_or_default(),
            Err(error) if is_nothing_yet(&error) => {
                let left = allowed.left();
                if left.is_zero() {
                    return Err(not_taken(name, bytes, within));
                }
                let ready = wait_for(&descriptor, PollFlags::OUT, left);
                ready.map_err(|error| gone(Some(error)))?;
            }
            Err(error) => return Err(gone(Some(error))),
        }
    }
    Ok(())
}
