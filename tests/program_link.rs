//! Links that break, never were, or belong to somebody else, and interrupts: the program says
//! what is wrong with hands and flags in mind, ends with its exit code, and leaves a record that
//! is whole and can be gone on with. Ports here are real pseudo-terminals and sockets, so a test
//! takes the time that reconnecting and giving up take.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::{Bench, Served};
use coilmark::event::{Ask, DriveState};
use program::*;
use std::net::TcpListener;

/// The shortest identification that drives a coil.
const RELAY: &str = "make_1_pole";

fn words(link: &str, job: &Job, more: &[&str]) -> Vec<String> {
    let dir = job.word();
    let usual = ["identify", "--operator", "json", "--meter", link, "--job", &dir];
    let part = ["--pins", "4", "--footprint", "2+2"];
    [&usual[..], &part, more].concat().into_iter().map(String::from).collect()
}

fn on_named_pty(bench: &Bench, job: &Job) -> Served {
    bench.serve_pty(Some(&job.home().join("meter"))).unwrap()
}

fn on_tcp(bench: &Bench, _: &Job) -> Served {
    bench.serve_tcp("127.0.0.1:0".parse().unwrap()).unwrap()
}

fn is_place(ask: &Ask) -> bool {
    matches!(ask, Ask::Place { .. })
}

fn is_energise(ask: &Ask) -> bool {
    matches!(ask, Ask::Drive(DriveState::Energised { .. }))
}

/// The record is whole and says how the run ended.
#[track_caller]
fn is_whole(job: &Job, exit: u8) {
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("whole"), "{verified:?}");
    let record = job.record();
    let last = record.last().expect("a record");
    assert_eq!((&last["event"], &last["exit"]), (&"finished".into(), &exit.into()), "{last}");
}

/// Goes on with the job to the right result.
#[track_caller]
fn goes_on(person: &mut Person, job: &Job, link: &str) {
    person.ledger.resume();
    let words = ["resume", &job.word(), "--operator", "json", "--meter", link];
    person.finish(Program::start(&words), 0);
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
    assert_eq!(person.bench.hazards(), []);
    is_whole(job, 0);
}

/// Pulls the plug after `wanted` was done and before anything was captured, and plugs in again.
fn comes_back(plug: fn(&Bench, &Job) -> Served, wanted: fn(&Ask) -> bool, noted: &str) {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let mut served = plug(&bench, &job);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    let mut person = Person::at(&bench);
    let first = person.lead_to(&mut program, wanted);
    person.perform(&mut program, &first);
    person.until_noted(&mut program, noted);
    served.unplug();
    let lost = person.until_noted(&mut program, "link");
    assert_eq!(lost.fields["state"], "lost");
    served.plug().unwrap();
    let back = person.until_noted(&mut program, "link");
    assert_eq!(back.fields["state"], "restored");
    assert!(back.fields["gap_s"].as_f64().is_some_and(|s| s > 0.0 && s < 30.0), "{back:?}");
    // What was interrupted is asked again, and nothing was captured of it.
    if let Some(asked) = person.ledger.open().cloned().filter(|asked| !is_place(&asked.ask)) {
        assert_eq!(asked.ask, Ask::Drive(DriveState::Rest));
        person.perform(&mut program, &asked);
    }
    let open = person.ledger.open().cloned();
    let again = open.unwrap_or_else(|| person.lead_to(&mut program, is_place));
    let interrupted = person.ledger.asks.iter().rev().skip(1).find(|a| is_place(&a.ask)).unwrap();
    let (Ask::Place { red, black, .. }, Ask::Place { red: r, black: b, .. }) =
        (&interrupted.ask, &again.ask)
    else {
        panic!("not a place")
    };
    assert_eq!([red, black], [r, b]);
    person.perform(&mut program, &again);
    let ended = person.finish(program, 0);
    assert_eq!(ended.stderr, "");
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
    assert_eq!(bench.hazards(), []);
    assert_eq!(job.recorded("link").len(), 2);
    is_whole(&job, 0);
}

#[test]
fn a_link_that_comes_back_is_used_again() {
    // At once: each run mostly waits. A drive that was on is taken off before leads move.
    std::thread::scope(|scope| {
        scope.spawn(|| comes_back(on_named_pty, is_place, "placement"));
        scope.spawn(|| comes_back(on_tcp, is_place, "placement"));
        scope.spawn(|| comes_back(on_named_pty, is_energise, "drive"));
    });
}

fn stays_away(plug: fn(&Bench, &Job) -> Served) {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let mut served = plug(&bench, &job);
    let link = served.link();
    let mut program = Program::start(&words(&link, &job, &["--reconnect-for", "1s"]));
    let mut person = Person::at(&bench);
    let first = person.lead_to(&mut program, is_place);
    person.perform(&mut program, &first);
    person.lead_to(&mut program, is_place);
    served.unplug();
    let ended = person.ends(program, 3);
    let name = link.split_once(':').unwrap().1;
    let ended = ended.complains(&[name]);
    let said = person.ledger.finished().unwrap()["reason"].as_str().unwrap().to_owned();
    assert!(ended.stderr.contains(&said), "{said}: {}", ended.stderr);
    is_whole(&job, 3);
    assert!(job.file("report.html").exists());
    served.plug().unwrap();
    goes_on(&mut person, &job, &served.link());
}

#[test]
fn a_link_that_stays_away_ends_the_run_resumable() {
    std::thread::scope(|scope| {
        scope.spawn(|| stays_away(on_named_pty));
        scope.spawn(|| stays_away(on_tcp));
    });
}

#[test]
fn a_meter_that_never_answers_is_an_instrument_failure() {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = on_tcp(&bench, &job);
    served.silence(true);
    let mut person = Person::at(&bench);
    let program = Program::start(&words(&served.link(), &job, &[]));
    let ended = person.finish(program, 3);
    ended.complains(&["no answer", "*IDN?", served.link().strip_prefix("tcp:").unwrap()]);
    is_whole(&job, 3);
    served.silence(false);
    goes_on(&mut person, &job, &served.link());
}

/// A port that cannot be opened: nothing began, and nothing is left behind that is in the way.
#[track_caller]
fn not_opened(link: &str, culprits: &[&str]) {
    let job = Job::new();
    Program::run(&words(link, &job, &[])).refuses(3, culprits);
    assert!(!job.dir().exists(), "something is left behind");
    let asked = ["meters", "--try", link, "--profile", "scpi"];
    Program::run(&asked).refuses(3, culprits);
}

#[test]
fn a_port_that_is_not_there_is_named() {
    not_opened("serial:/dev/no-such-port", &["/dev/no-such-port", "coilmark meters"]);
    not_opened("usbtmc:/dev/no-such-port", &["/dev/no-such-port", "coilmark meters"]);
    let closed = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string();
    not_opened(&format!("tcp:{closed}"), &[&closed]);
}

#[test]
fn what_is_no_port_is_named_for_what_it_is() {
    let job = Job::new();
    let file = job.home().join("file");
    std::fs::write(&file, "kept").unwrap();
    let file = file.display().to_string();
    not_opened(&format!("serial:{file}"), &[&file, "a plain file"]);
    not_opened(&format!("usbtmc:{file}"), &[&file, "a plain file"]);
    let folder = job.home().display().to_string();
    not_opened(&format!("serial:{folder}"), &[&folder, "a folder"]);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "kept");
}

#[test]
fn a_port_that_somebody_else_uses_is_busy() {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = bench.serve_pty(None).unwrap();
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    let open = person.lead_to(&mut program, is_place);
    let path = served.path().unwrap().display().to_string();
    let (link, late) = (served.link(), Job::new());
    let impatient = ["--reconnect-for", "0s"];
    Program::run(&words(&link, &late, &impatient)).refuses(3, &[&path, "in use"]);
    assert!(!late.dir().exists(), "something is left behind");
    let asked = ["meters", "--try", &link, "--profile", "scpi"];
    Program::run(&asked).refuses(3, &[&path, "in use"]);
    // And the one that has it goes on undisturbed.
    person.perform(&mut program, &open);
    person.finish(program, 0);
}

#[test]
fn a_port_that_may_not_be_opened_names_the_group() {
    use std::os::unix::fs::PermissionsExt;
    let served = bench(relay(RELAY)).serve_pty(None).unwrap();
    let path = served.path().unwrap();
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(path).is_ok() {
        eprintln!("skipped: this user may open what nobody may (root)");
        return;
    }
    let link = served.link();
    not_opened(&link, &[&path.display().to_string(), "permission denied", "group"]);
}

fn noise(profile: &str) {
    let (babble, job) = (Babble::begin(), Job::new());
    let mut person = Person::at(&bench(relay(RELAY)));
    let program = Program::start(&words(&babble.link, &job, &["--profile", profile]));
    let ended = person.finish(program, 3);
    ended.complains(&["baud", babble.link.strip_prefix("serial:").unwrap()]);
    is_whole(&job, 3);
}

#[test]
fn noise_from_a_wrong_baud_rate_names_the_baud_rate() {
    std::thread::scope(|scope| {
        scope.spawn(|| noise("scpi"));
        scope.spawn(|| noise("ascii-lines"));
    });
}

#[test]
fn an_interrupt_is_an_abort_that_can_be_gone_on_from() {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = on_tcp(&bench, &job);
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    let first = person.lead_to(&mut program, is_place);
    person.perform(&mut program, &first);
    person.until_noted(&mut program, "capture");
    program.interrupt();
    person.ends(program, 4);
    let last = person.ledger.finished().unwrap();
    assert_eq!(last["reason"], "interrupted");
    is_whole(&job, 4);
    goes_on(&mut person, &job, &served.link());
}

#[test]
fn an_interrupt_before_the_meter_answers_ends_the_run_at_once() {
    let (bench, job) = (bench(relay(RELAY)), Job::new());
    let served = on_tcp(&bench, &job);
    served.silence(true);
    let mut person = Person::at(&bench);
    let mut program = Program::start(&words(&served.link(), &job, &[]));
    person.until_noted(&mut program, "started");
    program.interrupt();
    person.ends(program, 4);
    is_whole(&job, 4);
}
