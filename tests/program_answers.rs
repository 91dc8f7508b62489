//! What the program makes of answers that are wrong, unwelcome or missing: each gets what the
//! contract says, and nothing else. The same person, bench and ledger as in a whole
//! identification; the ledger already fails on an ask that is not repeated word for word.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::{Bench, Served};
use coilmark::event::{Answer, Ask, DriveState, Outcome, Pin};
use program::*;
use serde_json::Value;

/// One make contact: the shortest identification that drives a coil.
const RELAY: &str = "make_1_pole";

/// An identification of [`RELAY`] that has begun.
struct Begun {
    person: Person,
    program: Program,
    job: Job,
    bench: Bench,
    _served: Served,
}

fn begin(words: &[&str]) -> Begun {
    let part = relay(RELAY);
    let bench = bench(part);
    let served = bench.serve_pty(None).unwrap();
    let job = Job::new();
    let dir = job.word();
    let link = served.link();
    let usual = ["identify", "--operator", "json", "--meter", &link, "--job", &dir];
    let part = ["--pins", "4", "--footprint", "2+2"];
    let program = Program::start(&[&usual[..], &part, words].concat());
    Begun { person: Person::at(&bench), program, job, bench, _served: served }
}

impl Begun {
    fn lead_to(&mut self, wanted: impl Fn(&Ask) -> bool) -> Asked {
        self.person.lead_to(&mut self.program, wanted)
    }

    /// Sends a line that is no answer to the open ask: an error note, and the same ask again.
    fn objects_to(&mut self, line: &str, why: &str) {
        self.program.send(line);
        let note = self.person.until_noted(&mut self.program, "error");
        let text = note.fields["text"].as_str().unwrap_or_default().to_owned();
        assert!(text.contains(why), "{line}: {text}");
        assert!(!text.contains(char::is_control), "{text:?}");
        self.person.until_asked(&mut self.program);
    }

    /// The place that is open is done and taken for done, with so many errors before it.
    fn is_placed(&mut self, place: &Asked, errors: usize) {
        self.person.perform(&mut self.program, place);
        self.person.until_noted(&mut self.program, "capture");
        assert_eq!(self.person.ledger.noted("error").count(), errors);
        assert_eq!(self.job.recorded("placement").len(), 1);
    }

    /// Does the rest, and gives the end.
    fn finish(mut self, code: i32) -> (Ended, Person, Job, Bench) {
        let ended = self.person.finish(self.program, code);
        (ended, self.person, self.job, self.bench)
    }
}

fn is_place(ask: &Ask) -> bool {
    matches!(ask, Ask::Place { .. })
}

fn is_energise(ask: &Ask) -> bool {
    matches!(ask, Ask::Drive(DriveState::Energised { .. }))
}

fn line(seq: u64, answer: &str) -> String {
    format!("{{\"seq\":{seq},\"answer\":\"{answer}\"}}")
}

fn pins_of(ask: &Ask) -> [Pin; 2] {
    let Ask::Place { red, black, .. } = ask else { panic!("not a place: {ask:?}") };
    let mut pins = [red.clone(), black.clone()];
    pins.sort();
    pins
}

#[test]
fn what_is_no_answer_gets_an_error_and_the_same_ask_again() {
    let mut begun = begin(&[]);
    let caution = begun.lead_to(|ask| matches!(ask, Ask::Acknowledge { .. }));
    begun.objects_to(&line(caution.seq, "skip"), "skip");
    begun.objects_to(&line(caution.seq, "ready"), "ready");
    begun.objects_to(&line(caution.seq, "again"), "again");
    begun.person.perform(&mut begun.program, &caution);
    let place = begun.lead_to(is_place);
    let seq = place.seq;
    begun.objects_to(&line(seq, "acknowledged"), "acknowledged");
    begun.objects_to("certainly", "expected");
    begun.objects_to("{\"seq\":1", "expected");
    begun.objects_to("\u{1b}[2J\u{0}\u{202e}", "expected");
    begun.objects_to(&line(seq, "perhaps"), "perhaps");
    begun.objects_to(&line(seq - 1, "ready"), &(seq - 1).to_string());
    begun.objects_to(&line(seq + 1, "ready"), &(seq + 1).to_string());
    begun.objects_to("{\"answer\":\"ready\"}", "seq");
    begun.objects_to(&line(seq, "again"), "no capture");
    begun.objects_to(&"x".repeat(4000), "expected");
    // Nothing was taken for an answer, and the rest goes as ever.
    assert!(begun.job.recorded("placement").is_empty());
    begun.person.perform(&mut begun.program, &place);
    let (_, person, _, bench) = begun.finish(0);
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
    assert_eq!(bench.hazards(), []);
}

#[test]
fn a_line_longer_than_any_answer_is_one_error_whatever_it_holds() {
    let mut begun = begin(&[]);
    let place = begun.lead_to(is_place);
    let good = line(place.seq, "ready");
    // A good answer in it, wherever it may be cut, is no answer.
    for long in [4096, 50_000].map(|count| "x".repeat(count) + &good) {
        begun.objects_to(&long, "longer");
    }
    begun.objects_to(&(good.clone() + &" ".repeat(9000) + "x"), "longer");
    begun.objects_to(&(" ".repeat(4096) + &good), "longer");
    assert!(begun.job.recorded("placement").is_empty());
    begun.is_placed(&place, 4);
}

#[test]
fn blank_lines_are_not_answers() {
    let mut begun = begin(&[]);
    let place = begun.lead_to(is_place);
    for blank in ["", "   ", "\t", "\r"] {
        begun.program.send(blank);
    }
    begun.is_placed(&place, 0);
}

#[test]
fn an_answer_after_the_answer_is_an_error_and_nothing_more() {
    let mut begun = begin(&[]);
    let place = begun.lead_to(is_place);
    begun.person.perform(&mut begun.program, &place);
    begun.program.send(&line(place.seq, "ready"));
    begun.person.until_noted(&mut begun.program, "error");
    begun.person.until_noted(&mut begun.program, "capture");
    assert_eq!(begun.job.recorded("placement").len(), 1);
}

#[test]
fn again_takes_the_last_capture_back_and_asks_for_it_anew() {
    let mut begun = begin(&[]);
    let first = begun.lead_to(is_place);
    begun.person.perform(&mut begun.program, &first);
    let second = begun.lead_to(is_place);
    let newest = begun.job.recorded("capture").last().unwrap()["capture"].clone();
    begun.person.say(&mut begun.program, second.seq, Answer::Again);
    let note = begun.person.until_noted(&mut begun.program, "taken_back");
    assert_eq!(note.fields["capture"], newest);
    let anew = begun.person.until_asked(&mut begun.program);
    assert_eq!(pins_of(&anew.ask), pins_of(&first.ask));
    assert!(anew.seq > second.seq);
    begun.person.perform(&mut begun.program, &anew);
    let (_, person, job, _) = begun.finish(0);
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
    // An event, not an erasure: the capture is still in the record, and the record is whole.
    assert!(job.recorded("capture").iter().any(|c| c["capture"] == newest));
    Program::run(&["verify", &job.word()]).exits(0);
}

#[test]
fn a_place_that_is_skipped_is_not_asked_again() {
    let mut begun = begin(&[]);
    let coil = begun.lead_to(is_place);
    begun.person.perform(&mut begun.program, &coil);
    let skipped = begun.lead_to(|ask| is_place(ask) && pins_of(ask) != pins_of(&coil.ask));
    begun.person.say(&mut begun.program, skipped.seq, Answer::Skip);
    // The ledger fails if that pair is asked again.
    begun.person.lead(&mut begun.program, |_| Reply::Perform);
    let found = finding(&begun.person.ledger);
    let code = i32::from(found.result == Outcome::Undecided);
    begun.person.ends(begun.program, code);
    assert_eq!(begun.job.recorded("skip").len(), 1);
    assert_eq!(begun.bench.hazards(), []);
}

#[test]
fn without_any_drive_the_part_stays_undecided_with_candidates() {
    let mut begun = begin(&[]);
    let drive = begun.lead_to(is_energise);
    begun.person.say(&mut begun.program, drive.seq, Answer::Skip);
    let (_, person, job, _) = begun.finish(1);
    let found = finding(&person.ledger);
    assert_eq!(found.result, Outcome::Undecided);
    assert!(found.reason.as_ref().is_some_and(|why| !why.is_empty()), "{found:?}");
    assert!((1..=5).contains(&found.candidates.len()), "{found:?}");
    assert!(found.candidates.iter().all(|c| (0.0..=1.0).contains(&c.posterior)));
    let right = relay(RELAY).truth.coils[0].clone();
    let coil = [right.plus, right.minus];
    assert!(found.candidates.iter().any(|c| c.coils.contains(&coil)), "{found:?}");
    let energised = person.ledger.asks.iter().filter(|a| is_energise(&a.ask));
    assert_eq!((energised.count(), person.ledger.drive_changes), (1, 0));
    assert!(job.file("report.html").exists());
}

/// The last note's fields, once the program has ended with this code.
fn end_note(mut begun: Begun, code: i32) -> (Value, Job, Person) {
    begun.person.ends(begun.program, code);
    let last = begun.person.ledger.finished().expect("it finished").clone();
    (last, begun.job, begun.person)
}

#[test]
fn the_end_of_input_is_an_abort() {
    let mut begun = begin(&[]);
    begun.lead_to(is_place);
    begun.program.end_input();
    let (last, job, _) = end_note(begun, 4);
    assert!(last["reason"].as_str().is_some_and(|why| why.contains("input")), "{last}");
    Program::run(&["verify", &job.word()]).exits(0);
}

#[test]
fn an_abort_ends_the_run_and_leaves_it_resumable() {
    let mut begun = begin(&[]);
    let place = begun.lead_to(is_energise);
    begun.person.say(&mut begun.program, place.seq, Answer::Abort);
    let (last, job, mut person) = end_note(begun, 4);
    assert_eq!(last["job"], job.word());
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("whole"), "{verified:?}");
    let served = person.bench.serve_tcp("127.0.0.1:0".parse().unwrap()).unwrap();
    let words = ["resume", &job.word(), "--operator", "json", "--meter", &served.link()];
    person.ledger.resume();
    person.finish(Program::start(&words), 0);
    assert_true(&finding(&person.ledger), &relay(RELAY).truth);
}

#[test]
fn an_abort_while_the_coil_is_driven_says_to_take_the_drive_off() {
    let mut begun = begin(&[]);
    let drive = begun.lead_to(is_energise);
    begun.person.perform(&mut begun.program, &drive);
    let next = begun.lead_to(|ask| matches!(ask, Ask::Drive(_)));
    begun.person.say(&mut begun.program, next.seq, Answer::Abort);
    let (last, job, mut person) = end_note(begun, 4);
    assert!(last["reason"].as_str().is_some_and(|why| why.contains("take the drive off")));
    // And a resumed run begins by taking it off, before any lead moves.
    let served = person.bench.serve_pty(None).unwrap();
    let words = ["resume", &job.word(), "--operator", "json", "--meter", &served.link()];
    person.ledger.resume();
    let mut program = Program::start(&words);
    let first = person.until_asked(&mut program);
    assert_eq!(first.ask, Ask::Drive(DriveState::Rest));
    person.perform(&mut program, &first);
    person.finish(program, 0);
    assert_eq!(person.bench.hazards(), []);
}

#[test]
fn an_answer_that_comes_twice_is_not_taken_twice() {
    let mut begun = begin(&[]);
    let drive = begun.lead_to(is_energise);
    begun.person.perform(&mut begun.program, &drive);
    begun.program.send(&line(drive.seq, "ready"));
    let note = begun.person.until_noted(&mut begun.program, "error");
    let text = note.fields["text"].as_str().unwrap_or_default();
    assert!(text.contains("nothing is asked") || text.contains("not open"), "{text}");
    let (_, person, ..) = begun.finish(0);
    assert_eq!(finding(&person.ledger).result, Outcome::Identified);
}
