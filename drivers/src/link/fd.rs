//! Waiting for a descriptor to become readable or writable, with a deadline that holds across
//! signals and short writes. What a readiness means (bytes, or a hangup) is found out by the
//! read or write that follows.

use crate::clock::Allowance;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io::{self, Write};
use std::os::fd::AsFd;
use std::time::Duration;

/// Waits until `fd` can be read without blocking; false if it cannot after `wait`. A signal ends
/// the wait early with false.
pub(super) fn wait_readable(fd: impl AsFd, wait: Duration) -> io::Result<bool> {
    ready(fd, PollFlags::IN, wait)
}

/// Writes all bytes to a non-blocking descriptor; false if the other end did not take them.
pub(super) fn write_all<W: Write + AsFd>(
    writer: &mut W,
    mut bytes: &[u8],
    within: Duration,
) -> io::Result<bool> {
    let allowed = Allowance::of(within);
    while !bytes.is_empty() {
        match writer.write(bytes) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(count) => bytes = bytes.get(count..).unwrap_or_default(),
            Err(error) if super::is_nothing_yet(&error) => {
                let left = allowed.left();
                if left.is_zero() {
                    return Ok(false);
                }
                ready(writer.as_fd(), PollFlags::OUT, left)?;
            }
            Err(error) => return Err(error),
        }
    }
    Ok(true)
}

fn ready(fd: impl AsFd, flags: PollFlags, wait: Duration) -> io::Result<bool> {
    let fd = fd.as_fd();
    let mut polled = [PollFd::new(&fd, flags)];
    let timeout = Timespec::try_from(wait).unwrap_or(Timespec { tv_sec: 3600, tv_nsec: 0 });
    match poll(&mut polled, Some(&timeout)) {
        Ok(count) => Ok(count > 0),
        Err(rustix::io::Errno::INTR) => Ok(false),
        Err(error) => Err(error.into()),
    }
}
