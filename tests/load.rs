//! More than a bench will ever see: a record of 10,000 placements, a part of 200 pins. Report,
//! verification and going on stay quick and within a stated memory; what is too much is refused
//! politely. A log of 10^8 readings is bench_analyse's, a session of hours load_session's.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::event::{Capture, DriveState, Event, IdentifyStart, Placement, RunStart, RunTerms};
use coilmark::journal::{Journal, LocalTime, Stamp};
use drivers::{Clock, Function, Moment, SystemClock, Unit};
use jiff::Timestamp;
use jiff::tz::Offset;
use program::{Line, Person, Program, relay};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Placements in the long record.
const PLACEMENTS: u32 = 10_000;
/// The most memory that looking at it may take, in kibibytes of address space.
const KIB_MAX: u32 = 400_000;
/// The most time that looking at it may take; a dev build on a busy machine.
const WITHIN: Duration = Duration::from_secs(20);

/// A record of so many placements on a part with five pins: the same pairs again and again, each
/// with one capture. It is what a forgotten rig might leave.
fn long_record(dir: &Path) {
    let part = relay("changeover_1_pole");
    let pins = part.pins.clone();
    let mut journal = Journal::create(dir).unwrap();
    let stamp = |at: u32| Stamp {
        at: LocalTime::new(
            Timestamp::from_second(1_764_000_000 + i64::from(at)).unwrap(),
            Offset::UTC,
        ),
        elapsed: Moment::from_start(Duration::from_secs(u64::from(at))),
    };
    let terms = RunTerms::Identify(IdentifyStart::usual(pins.clone()));
    let begun = RunStart { profile: "scpi".into(), ..RunStart::without_meter(terms, true, 0) };
    journal.append(&Event::RunStarted(begun), stamp(0)).unwrap();
    for touch in 1..=PLACEMENTS {
        let (red, black) = (touch as usize % 5, (touch as usize + 1 + touch as usize / 5 % 4) % 5);
        let (red, black) = (pins.at(red).clone(), pins.at(black).clone());
        let coil = [("2", "5"), ("5", "2")].contains(&(red.label(), black.label()));
        let closed = [("1", "4"), ("4", "1")].contains(&(red.label(), black.label()));
        let value = if coil { Some(360.1) } else { closed.then_some(0.2) };
        let placed = Placement { touch, red: red.clone(), black: black.clone(), lead_moves: 2 };
        journal.append(&Event::LeadsPlaced(placed), stamp(touch)).unwrap();
        let capture = Capture {
            capture: touch,
            touch,
            red,
            black,
            function: Function::Resistance,
            drive: DriveState::Rest,
            value,
            unit: Unit::Ohm,
            overload: value.is_none(),
            u: value.map(|_| 0.2),
            spread: value.map(|_| 0.0),
            samples: 3,
            raw: vec!["+3.60100000E+02".into(); 3],
        };
        journal.append(&Event::ReadingCaptured(capture), stamp(touch)).unwrap();
    }
}

/// A folder on which syncing costs nothing, where there is one.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let made = memory.is_dir().then(|| tempfile::tempdir_in(memory).ok()).flatten();
    made.unwrap_or_else(|| tempfile::tempdir().unwrap())
}

#[test]
fn a_record_of_ten_thousand_placements_is_looked_at_quickly_and_within_bounds() {
    let folder = folder();
    let job = folder.path().join("job");
    long_record(&job);
    for command in ["verify", "report"] {
        let line = format!(
            "ulimit -v {KIB_MAX}; exec {} {command} '{}'",
            env!("CARGO_BIN_EXE_coilmark"),
            job.display()
        );
        let clock = SystemClock::begin();
        let done = Command::new("sh").args(["-c", &line]).stdin(Stdio::null()).output().unwrap();
        let took = clock.now().since_start();
        assert!(done.status.success(), "{command}: {}", String::from_utf8_lossy(&done.stderr));
        println!("{command}: {took:?} for {PLACEMENTS} placements, in {KIB_MAX} KiB");
        assert!(took < WITHIN, "{command} took {took:?}");
    }
    let report = std::fs::metadata(job.join("report.html")).unwrap().len();
    println!("report.html: {report} bytes");
    assert!(report < 30 << 20, "{report} bytes");
}

#[test]
fn a_record_of_ten_thousand_placements_is_gone_on_with() {
    let folder = folder();
    let job = folder.path().join("job");
    long_record(&job);
    let bench = program::bench(relay("changeover_1_pole"));
    let served = bench.serve_pty(None).unwrap();
    let link = served.link();
    let dir = job.display().to_string();
    let clock = SystemClock::begin();
    let mut program = Program::start(&["resume", &dir, "--operator", "json", "--meter", &link]);
    let mut person = Person::at(&bench);
    let mut asked = 0;
    // The cautions, the first placement, and what follows from it: each decision sees it all.
    while asked < 4 {
        match person.hear(&mut program).expect("it goes on") {
            Line::Ask(ask) => {
                asked += 1;
                person.perform(&mut program, &ask);
            }
            Line::Note(note) => assert_ne!(note.name, "finished", "{note:?}"),
        }
    }
    let took = clock.now().since_start();
    println!("gone on with in {took:?}");
    assert!(took < WITHIN, "{took:?}");
}

#[test]
fn two_hundred_pins_are_refused_politely() {
    let names: Vec<String> = (1..=200).map(|n| format!("p{n}")).collect();
    let long = format!("1,2,{}", "x".repeat(200));
    for pins in ["200", &names.join(","), "17", &long, &"9".repeat(200)] {
        let words = ["identify", "--pins", pins, "--meter", "tcp:127.0.0.1:1"];
        let ended = Program::run(&words).refuses(2, &["--pins"]);
        assert!(ended.stderr.len() < 1200, "{}", ended.stderr);
    }
}
