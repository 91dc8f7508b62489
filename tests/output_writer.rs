//! The log writer: each group of rows is one write and one sync, no row waits a second, a failure
//! ends the log, and a log that was cut at any byte goes on with every row that was whole. What is
//! set aside is not lost. Time is handed in; the disk counts.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod output_disk;

use coilmark::logbook::{GoneOn, LogWriter};
use drivers::Moment;
use output_disk::Disk;
use std::error::Error;
use std::path::Path;
use std::time::Duration;

fn at(seconds: f64) -> Moment {
    Moment::from_start(Duration::from_secs_f64(seconds))
}

fn begun(disk: Disk) -> LogWriter<Disk> {
    LogWriter::begin(disk, Path::new("output-1.csv")).unwrap()
}

#[test]
fn a_group_is_one_write_and_one_sync() {
    for rate in [2.0, 10.0, 1000.0] {
        let mut log = begun(Disk::default());
        let mut commits = 1;
        let readings = (20.0 * rate) as u32;
        for i in 0..readings {
            let t = f64::from(i) / rate;
            let waited = log.wake_at().is_some_and(|due| at(t) >= due);
            log.append(t, Some(13.7), at(t)).unwrap();
            commits += u64::from(waited);
        }
        let waits = u64::from(log.wake_at().is_some());
        let disk = log.close().unwrap();
        assert_eq!((disk.writes, disk.syncs), (commits + waits, commits + waits), "{rate}");
        assert_eq!(disk.synced, disk.bytes.len());
        let groups_at_most = if rate < 4.0 { 21 } else { 42 };
        assert!((20..=groups_at_most).contains(&disk.syncs), "{rate}: {} syncs", disk.syncs);
    }
}

#[test]
fn no_row_waits_a_second() {
    let mut log = begun(Disk::default());
    log.append(0.1, Some(0.002), at(7.0)).unwrap();
    let due = log.wake_at().unwrap();
    assert!(due > at(7.0) && due < at(8.0));
    // A row that comes before it is due does not put it off.
    log.append(0.2, Some(0.002), at(7.3)).unwrap();
    assert_eq!(log.wake_at(), Some(due));
    log.append(0.9, None, due).unwrap();
    assert_eq!(log.wake_at(), None);
    // The caller that woke without a reading commits by itself; twice is once.
    log.append(1.4, Some(0.002), at(9.0)).unwrap();
    log.commit().unwrap();
    log.commit().unwrap();
    assert_eq!(log.rows(), 4);
    let disk = log.close().unwrap();
    assert_eq!(disk.syncs, 3);
    let wanted = "t_s,value,unit,overload\n0.100000,0.002,V,0\n0.200000,0.002,V,0\n\
                  0.900000,,V,1\n1.400000,0.002,V,0\n";
    assert_eq!(String::from_utf8(disk.bytes).unwrap(), wanted);
}

#[test]
fn a_flood_of_rows_does_not_pile_up_in_memory() {
    let mut log = begun(Disk::default());
    for i in 0..100_000 {
        log.append(f64::from(i) / 1e6, Some(13.712_5), at(0.0)).unwrap();
    }
    let disk = log.close().unwrap();
    assert!(disk.syncs >= 8, "{}", disk.syncs);
    assert_eq!(disk.synced, disk.bytes.len());
}

#[test]
fn a_failed_write_or_sync_ends_the_log() {
    let full = [
        (Disk { good_writes: Some(1), ..Disk::default() }, "writing rows"),
        (Disk { good_syncs: Some(1), ..Disk::default() }, "making rows durable"),
    ];
    for (disk, step) in full {
        let mut log = begun(disk);
        log.append(0.0, Some(1.0), at(0.0)).unwrap();
        let error = log.append(1.0, Some(1.0), at(1.0)).unwrap_err();
        assert!(error.to_string().contains(step), "{error}");
        assert!(error.hint().contains("make room"), "{}", error.hint());
        let again = log.append(2.0, Some(1.0), at(5.0)).unwrap_err();
        assert!(again.source().unwrap().to_string().contains("earlier"), "{again:?}");
    }
}

#[test]
fn a_log_cut_at_any_byte_goes_on_with_every_whole_row() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("output-1.csv");
    let torn = folder.path().join("output-1.csv.torn");
    let whole = "t_s,value,unit,overload\n0.000000,0.002,V,0\n0.100000,,V,1\n0.200000,-13.7,V,0\n";
    let header = whole.find('\n').unwrap() + 1;
    for cut in 0..=whole.len() {
        std::fs::write(&path, &whole[..cut]).unwrap();
        let _ = std::fs::remove_file(&torn);
        let (mut log, gone_on) = LogWriter::open_to_go_on(&path).unwrap();
        let kept = whole[..cut].rfind('\n').map_or(0, |i| i + 1);
        let rows = whole[..kept].lines().count().saturating_sub(1);
        let last_s = rows.checked_sub(1).map(|last| last as f64 / 10.0);
        let torn_bytes = (cut - kept) as u64;
        assert_eq!(gone_on, GoneOn { rows: rows as u64, last_s, torn_bytes }, "cut at {cut}");
        log.append(9.0, Some(1.5), at(0.0)).unwrap();
        assert_eq!(log.rows(), rows as u64 + 1);
        log.close().unwrap();
        let now = std::fs::read_to_string(&path).unwrap();
        let before = &whole[..kept.max(if kept == 0 { header } else { 0 })];
        assert_eq!(now, format!("{before}9.000000,1.5,V,0\n"), "cut at {cut}");
        let aside = std::fs::read_to_string(&torn).unwrap_or_default();
        assert_eq!(aside.trim_end_matches('\n'), &whole[kept..cut], "cut at {cut}");
    }
}

#[test]
fn pages_that_a_power_cut_left_empty_are_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("output-1.csv");
    let rows = b"t_s,value,unit,overload\n0.000000,0.002,V,0\n";
    std::fs::write(&path, [rows.as_slice(), &[0; 9000], b"\n\n,,V,0\n"].concat()).unwrap();
    let (log, gone_on) = LogWriter::open_to_go_on(&path).unwrap();
    assert_eq!(gone_on, GoneOn { rows: 1, last_s: Some(0.0), torn_bytes: 9008 });
    log.close().unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), rows);
}

#[test]
fn nothing_is_overwritten_and_nothing_foreign_is_gone_on_with() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("output-1.csv");
    let missing = LogWriter::open_to_go_on(&path).unwrap_err();
    assert!(missing.hint().contains("not there"), "{}", missing.hint());
    LogWriter::create(&path).unwrap().close().unwrap();
    let twice = LogWriter::create(&path).unwrap_err();
    assert!(twice.hint().contains("already"), "{}", twice.hint());
    std::fs::write(&path, "time,volts\n1,2\n").unwrap();
    let foreign = LogWriter::open_to_go_on(&path).unwrap_err();
    let why = foreign.source().unwrap().to_string();
    assert!(why.contains("expected the header t_s,value,unit,overload, found time,volts"), "{why}");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "time,volts\n1,2\n");
}
