//! The record's promises, held from outside: what was appended comes back; a line torn at any
//! byte costs that line and no other; every edit, cut and move is found and located; links,
//! second writers and unknown formats are refused. Regenerate the fixture of the format with
//! `UPDATE_FIXTURES=1 cargo test --test journal_record` (and never for a format in use).

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use coilmark::event::{DriveState, Event, Pin, Placement};
use coilmark::journal::{
    self, DamageKind, FILE_NAME, Journal, JournalError, LocalTime, Stamp, TORN_NAME, Verified,
    verify,
};
use drivers::Moment;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/journals/format-1.jsonl");

fn stamp(n: u64) -> Stamp {
    let at = LocalTime::try_from(format!("2026-11-25T09:00:{n:02}.250+13:00")).unwrap();
    Stamp { at, elapsed: Moment::from_start(Duration::from_millis(1000 * n + 250)) }
}

fn events() -> Vec<Event> {
    let placed = |touch, red: &str, black: &str| {
        Event::LeadsPlaced(Placement {
            touch,
            red: Pin::new(red),
            black: Pin::new(black),
            lead_moves: 2,
        })
    };
    let energised = DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("8"), volts: 4.5 };
    vec![
        placed(1, "1", "8"),
        Event::DriveChanged(energised),
        Event::MeterComplained { text: "late answer \"+0.1\" dropped".into() },
        Event::DriveChanged(DriveState::Rest),
        placed(2, "3", "4"),
        Event::RunFinished { exit: 4, reason: Some("aborted".into()), job: "job".into() },
    ]
}

fn written(dir: &Path) -> Vec<journal::Entry> {
    let mut journal = Journal::create(dir).unwrap();
    let numbered = events().into_iter().zip(1..);
    numbered.map(|(event, n)| journal.append(&event, stamp(n)).unwrap()).collect()
}

/// A job folder that holds these bytes as its journal.
fn folder(bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(FILE_NAME);
    fs::write(&path, bytes).unwrap();
    (dir, path)
}

fn sound_bytes() -> Vec<u8> {
    let dir = tempfile::tempdir().unwrap();
    written(dir.path());
    fs::read(dir.path().join(FILE_NAME)).unwrap()
}

fn lines(bytes: &[u8]) -> Vec<Vec<u8>> {
    bytes.split_inclusive(|b| *b == b'\n').map(<[u8]>::to_vec).collect()
}

fn verified(bytes: &[u8]) -> Verified {
    let (dir, _) = folder(bytes);
    verify(dir.path()).unwrap()
}

#[test]
fn what_was_appended_comes_back_and_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let job = dir.path().join("new/job");
    let appended = written(&job);
    let (mut journal, past) = Journal::open(&job).unwrap();
    assert_eq!(past.entries, appended);
    assert_eq!(past.repaired, None);
    let events_back: Vec<_> = past.entries.iter().map(|e| e.event.clone()).collect();
    assert_eq!(events_back, events());
    assert_eq!(past.entries[0].elapsed_s, 1.25);
    let next = journal.append(&events()[0], stamp(9)).unwrap();
    assert_eq!(next.seq, 7);
    drop(journal);
    assert_eq!(journal::read(&job).unwrap().entries.len(), 7);
    assert_eq!(verify(&job).unwrap(), Verified::Whole { lines: 7, finished: false });
}

#[test]
fn the_committed_format_is_still_read_and_still_written() {
    if std::env::var_os("UPDATE_FIXTURES").is_some() {
        fs::create_dir_all(Path::new(FIXTURE).parent().unwrap()).unwrap();
        fs::write(FIXTURE, sound_bytes()).unwrap();
    }
    let committed = fs::read(FIXTURE).unwrap();
    let (dir, _) = folder(&committed);
    let events_back: Vec<_> =
        journal::read(dir.path()).unwrap().entries.into_iter().map(|e| e.event).collect();
    assert_eq!(events_back, events());
    assert_eq!(committed, sound_bytes());
}

#[test]
fn a_line_torn_at_any_byte_costs_that_line_only() {
    let bytes = sound_bytes();
    let whole = lines(&bytes);
    let kept: usize = whole[..5].iter().map(Vec::len).sum();
    for cut in kept + 1..bytes.len() {
        let (dir, path) = folder(&bytes[..cut]);
        let (mut journal, past) = Journal::open(dir.path()).unwrap();
        assert_eq!(past.entries.len(), 5, "cut at {cut}");
        let repair = past.repaired.unwrap();
        assert_eq!((repair.lines_kept, repair.bytes_torn), (5, (cut - kept) as u64));
        let torn = fs::read(dir.path().join(TORN_NAME)).unwrap();
        assert_eq!(torn, [&bytes[kept..cut], b"\n"].concat());
        journal.append(&events()[5], stamp(6)).unwrap();
        assert_eq!(fs::read(path).unwrap(), bytes, "the chain goes on where it was");
    }
}

#[test]
fn zeros_left_by_power_loss_are_torn_and_not_damage() {
    let bytes = sound_bytes();
    for tail in [&b"\0\0\0\0"[..], b"{\"v\":1,\"seq\":7\0\0\0\n"] {
        let torn = [&bytes, tail].concat();
        let bytes_torn = tail.len() as u64;
        assert_eq!(verified(&torn), Verified::Repaired { lines: 6, bytes_torn });
    }
}

#[test]
fn verify_repairs_once_and_then_finds_it_whole() {
    let bytes = sound_bytes();
    let (dir, path) = folder(&bytes[..bytes.len() - 5]);
    assert!(matches!(verify(dir.path()).unwrap(), Verified::Repaired { lines: 5, .. }));
    assert_eq!(verify(dir.path()).unwrap(), Verified::Whole { lines: 5, finished: false });
    assert_eq!(fs::read(path).unwrap(), lines(&bytes)[..5].concat());
}

#[test]
fn a_change_of_any_byte_of_a_line_is_found_at_that_line() {
    let bytes = sound_bytes();
    let whole = lines(&bytes);
    let from = whole[0].len() + whole[1].len();
    for at in from..from + whole[2].len() - 1 {
        let mut edited = bytes.clone();
        edited[at] ^= 0x01;
        let (dir, _) = folder(&edited);
        // Editing the format's number reads as another format, which is refused as well.
        match verify(dir.path()) {
            Ok(Verified::Changed(damage) | Verified::Reordered(damage)) => {
                assert_eq!(damage.line, 3, "byte {at}");
            }
            Ok(Verified::Cut(damage)) => assert_eq!(damage.line, 3, "byte {at}"),
            Err(JournalError::OtherVersion { line: 3, .. }) => {}
            other => panic!("byte {at}: {other:?}"),
        }
        assert!(Journal::open(dir.path()).is_err());
    }
}

#[test]
fn an_edited_value_is_changed_even_when_its_own_chain_is_made_to_fit() {
    let bytes = sound_bytes();
    let text = String::from_utf8(bytes).unwrap();
    let edited = text.replacen("4.5", "9.5", 1);
    assert_ne!(edited, text);
    assert!(matches!(verified(edited.as_bytes()), Verified::Changed(d) if d.line == 2));
    // Write the forged event properly into a journal of its own, and splice that line in.
    let dir = tempfile::tempdir().unwrap();
    let mut forged = events();
    forged[1] = Event::DriveChanged(DriveState::Energised {
        plus: Pin::new("1"),
        minus: Pin::new("8"),
        volts: 9.5,
    });
    let mut journal = Journal::create(dir.path()).unwrap();
    for (event, n) in forged.iter().zip(1..) {
        journal.append(event, stamp(n)).unwrap();
    }
    let forged = lines(&fs::read(dir.path().join(FILE_NAME)).unwrap());
    let mut spliced = lines(text.as_bytes());
    spliced[1] = forged[1].clone();
    assert!(matches!(verified(&spliced.concat()), Verified::Changed(d) if d.line == 3));
}

#[test]
fn cuts_and_moves_are_told_apart_and_located() {
    let whole = lines(&sound_bytes());
    let without = [&whole[..2], &whole[4..]].concat().concat();
    match verified(&without) {
        Verified::Cut(d) => {
            assert_eq!(d.line, 3);
            assert_eq!(d.kind, DamageKind::Cut { from_seq: 3, to_seq: 4 });
            assert_eq!(d.to_string(), "line 3: cut: entries 3 to 4 are missing before it");
        }
        other => panic!("{other:?}"),
    }
    let headless = whole[1..].concat();
    assert!(matches!(verified(&headless), Verified::Cut(d) if d.line == 1));
    let mut swapped = whole.clone();
    swapped.swap(2, 3);
    assert!(matches!(verified(&swapped.concat()), Verified::Reordered(d) if d.line == 3));
    let mut doubled = whole.clone();
    doubled.insert(3, whole[2].clone());
    assert!(matches!(verified(&doubled.concat()), Verified::Reordered(d) if d.line == 4));
    let mut blank = whole.clone();
    blank.insert(1, b"\n".to_vec());
    assert!(matches!(verified(&blank.concat()), Verified::Changed(d) if d.line == 2));
}

#[test]
fn lines_taken_off_the_end_leave_an_unfinished_run() {
    // A chain cannot show this cut; that the run did not finish is what remains to say.
    let whole = lines(&sound_bytes());
    assert_eq!(verified(&whole.concat()), Verified::Whole { lines: 6, finished: true });
    assert_eq!(verified(&whole[..5].concat()), Verified::Whole { lines: 5, finished: false });
    assert_eq!(verified(b""), Verified::Whole { lines: 0, finished: false });
}

#[test]
fn an_unknown_format_is_refused_by_its_number() {
    let text = String::from_utf8(sound_bytes()).unwrap().replacen("\"v\":1", "\"v\":2", 1);
    let (dir, _) = folder(text.as_bytes());
    let error = Journal::open(dir.path()).unwrap_err();
    assert!(matches!(error, JournalError::OtherVersion { line: 1, found: 2, .. }), "{error}");
    assert!(error.to_string().contains("format 2, expected 1"));
}

#[test]
fn one_writer_at_a_time() {
    let dir = tempfile::tempdir().unwrap();
    let first = Journal::create(dir.path()).unwrap();
    assert!(matches!(Journal::open(dir.path()), Err(JournalError::InUse { .. })));
    assert!(matches!(Journal::create(dir.path()), Err(JournalError::Exists { .. })));
    assert!(journal::read(dir.path()).is_ok(), "reading needs no lock");
    drop(first);
    assert!(Journal::open(dir.path()).is_ok());
}

#[test]
fn links_folders_and_missing_journals_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    assert!(matches!(Journal::open(dir.path()), Err(JournalError::NoJournal { .. })));
    assert_eq!(verify(dir.path()).unwrap(), Verified::NoJournal);
    assert_eq!(verify(&dir.path().join("nowhere")).unwrap(), Verified::NoJournal);
    let target = dir.path().join("precious");
    fs::write(&target, "precious").unwrap();
    std::os::unix::fs::symlink(&target, dir.path().join(FILE_NAME)).unwrap();
    for refused in [Journal::create(dir.path()).err(), Journal::open(dir.path()).err()] {
        assert!(matches!(refused, Some(JournalError::NotAPlainFile { found: "a link", .. })));
    }
    assert_eq!(fs::read(&target).unwrap(), b"precious");
    fs::remove_file(dir.path().join(FILE_NAME)).unwrap();
    fs::create_dir(dir.path().join(FILE_NAME)).unwrap();
    assert!(matches!(Journal::open(dir.path()), Err(JournalError::NotAPlainFile { .. })));
}

#[test]
fn a_torn_tail_is_not_set_aside_over_a_link() {
    let bytes = sound_bytes();
    let (dir, path) = folder(&bytes[..bytes.len() - 5]);
    let target = dir.path().join("precious");
    fs::write(&target, "precious").unwrap();
    std::os::unix::fs::symlink(&target, dir.path().join(TORN_NAME)).unwrap();
    assert!(matches!(Journal::open(dir.path()), Err(JournalError::NotWritten { .. })));
    assert_eq!(fs::read(&target).unwrap(), b"precious");
    assert_eq!(fs::read(path).unwrap().len(), bytes.len() - 5, "nothing was cut off");
}

#[test]
fn a_folder_that_cannot_be_made_is_a_record_that_cannot_be_written() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    fs::write(&file, "").unwrap();
    let error = Journal::create(&file.join("job")).unwrap_err();
    assert!(matches!(error, JournalError::NotWritten { .. }), "{error}");
    assert!(!error.hint().is_empty());
}

#[test]
fn an_event_that_would_not_read_back_is_refused_before_it_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let mut journal = Journal::create(dir.path()).unwrap();
    let nowhere =
        DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("2"), volts: f64::NAN };
    let refused = journal.append(&Event::DriveChanged(nowhere), stamp(1));
    assert!(matches!(refused, Err(JournalError::NotWritten { .. })));
    assert_eq!(fs::read(journal.path()).unwrap(), b"");
    assert_eq!(journal.append(&events()[0], stamp(2)).unwrap().seq, 1);
}

#[test]
fn control_characters_in_a_path_do_not_reach_the_message() {
    let error = Journal::open(Path::new("/nowhere/\u{1b}[31mred")).unwrap_err();
    assert!(!error.to_string().contains('\u{1b}'), "{error}");
}

#[test]
fn every_line_fits_the_published_schema() {
    let schema = serde_json::to_value(journal::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for line in lines(&sound_bytes()) {
        let value: serde_json::Value = serde_json::from_slice(&line).unwrap();
        let errors: Vec<_> = validator.iter_errors(&value).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
        for field in ["v", "seq", "at", "elapsed_s", "event", "chain"] {
            let mut without = value.clone();
            without.as_object_mut().unwrap().remove(field);
            assert!(!validator.is_valid(&without), "a line without `{field}` must not fit");
        }
    }
}
