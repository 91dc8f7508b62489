//! A disk in memory that counts: what was written, how many writes and syncs that took, and how
//! much of it was synced. It fails from a chosen write or sync on, half way through a write, as a
//! full disk does.

#![allow(dead_code, reason = "not every test looks at everything")]

use coilmark::logbook::Durable;
use std::io::{self, Write};

#[derive(Debug, Default)]
pub struct Disk {
    pub bytes: Vec<u8>,
    pub synced: usize,
    pub writes: u64,
    pub syncs: u64,
    /// Writes that go well before one fails; for ever if `None`.
    pub good_writes: Option<u64>,
    /// The same for syncs.
    pub good_syncs: Option<u64>,
}

impl Write for Disk {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.good_writes.is_some_and(|good| self.writes >= good) {
            self.bytes.extend_from_slice(&bytes[..bytes.len() / 2]);
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.writes += 1;
        self.bytes.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Durable for Disk {
    fn sync(&mut self) -> io::Result<()> {
        if self.good_syncs.is_some_and(|good| self.syncs >= good) {
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.syncs += 1;
        self.synced = self.bytes.len();
        Ok(())
    }
}
