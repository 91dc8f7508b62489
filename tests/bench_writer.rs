//! What the log writer costs beside a bare append and fdatasync of the same bytes, in turn, on the
//! disk that the temporary folder is on. By hand, in release:
//!
//! `COILMARK_BENCH_GROUPS=400 cargo test --release --test bench_writer -- --nocapture`
//!
//! It prints the ratio of medians. By default it is a short run, which holds that both files are
//! the same to the byte, with one sync a group.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use coilmark::logbook::{Durable, LogWriter};
use drivers::{Clock, Moment, SystemClock};
use std::fs::File;
use std::io::{self, Write};
use std::time::Duration;

/// Readings of a group: half a second of a meter that sends a thousand a second.
const ROWS: u32 = 500;

/// A file that keeps what it was told, group by group.
struct Watched {
    file: File,
    groups: Vec<Vec<u8>>,
    syncs: usize,
}

impl Write for Watched {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.groups.push(bytes.to_vec());
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Durable for Watched {
    fn sync(&mut self) -> io::Result<()> {
        self.syncs += 1;
        self.file.sync_data()
    }
}

fn fill(log: &mut LogWriter<impl Durable>, group: u32) {
    for i in 0..ROWS {
        let t = f64::from(group * ROWS + i) / 1000.0;
        // As a meter's digits read: a sum would have more of them than any meter sends.
        log.append(t, Some(f64::from(137_000 + i % 97) / 1e4), Moment::START).unwrap();
    }
}

fn median(mut of: Vec<Duration>) -> f64 {
    of.sort_unstable();
    of[of.len() / 2].as_secs_f64()
}

#[test]
fn a_group_costs_no_more_than_its_append_and_sync() {
    let groups = std::env::var("COILMARK_BENCH_GROUPS").ok().and_then(|n| n.parse().ok());
    let groups = groups.unwrap_or(8);
    let clock = SystemClock::begin();
    let folder = tempfile::tempdir().unwrap();
    let name = |name: &str| folder.path().join(name);
    let watched =
        Watched { file: File::create(name("watched")).unwrap(), groups: Vec::new(), syncs: 0 };
    let mut log = LogWriter::begin(watched, &name("watched")).unwrap();
    for group in 0..groups {
        fill(&mut log, group);
        log.commit().unwrap();
    }
    let watched = log.close().unwrap();
    assert_eq!(watched.syncs, groups as usize + 1);
    assert_eq!(watched.groups.len(), groups as usize + 1);
    let mut log = LogWriter::create(&name("ours")).unwrap();
    let mut bare = File::create(name("bare")).unwrap();
    bare.write_all(&watched.groups[0]).unwrap();
    bare.sync_data().unwrap();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for turn in 0..2 * groups {
        let group = turn / 2;
        let begun = clock.now();
        // Each goes first every other time: a sync is quicker or slower behind another.
        if (turn + group) % 2 == 0 {
            fill(&mut log, group);
            log.commit().unwrap();
            ours.push(clock.now().since(begun));
        } else {
            bare.write_all(&watched.groups[group as usize + 1]).unwrap();
            bare.sync_data().unwrap();
            theirs.push(clock.now().since(begun));
        }
    }
    assert!(std::fs::read(name("ours")).unwrap() == std::fs::read(name("bare")).unwrap());
    let (ours, theirs) = (median(ours), median(theirs));
    println!(
        "{groups} groups of {ROWS} rows: {ours:.6} s, bare {theirs:.6} s, ratio {:.3}",
        ours / theirs
    );
}
