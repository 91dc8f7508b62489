//! Tests of relay boards through the whole program: it asks on its output, hands on a simulated
//! bench do what is asked, its meter is on a pseudo-terminal. Leads that are put on the wrong
//! terminals are recognised while they still rest there, a board that failed has only that
//! repeated by a later run on the same folder, and the leads' own ohms are a step with a limit of
//! their own. Values are those of the invented boards in fixtures/boards/sim.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::bench::{Bench, Part, Served};
use coilmark::event::{Answer, Ask, Pin};
use program::{Ended, Job, Program, bench};
use serde_json::Value;

/// A board on the bench, and the program that tests it.
struct Station {
    bench: Bench,
    program: Program,
    _meter: Served,
}

/// All that a run said, and its end.
struct Led {
    said: Vec<Value>,
    ended: Ended,
}

impl Station {
    fn begin(board: &str, plan: &str, job: &Job) -> Self {
        let file = format!("{}/fixtures/boards/sim/{board}.toml", env!("CARGO_MANIFEST_DIR"));
        let part = Part::parse(&std::fs::read_to_string(file).unwrap(), board).unwrap();
        let bench = bench(part);
        let meter = bench.serve_pty(None).unwrap();
        let link = meter.link();
        let words = ["board", "--plan", plan, "--serial", "A1", "--meter", &link, "--job"];
        let more = [&job.word(), "--operator", "json", "--ambient-celsius", "20"];
        let program = Program::start(&[&words[..], &more].concat());
        Self { bench, program, _meter: meter }
    }

    /// Leads to the end; `elsewhere` says where the leads go in place of what is asked.
    fn lead(mut self, mut elsewhere: impl FnMut(&str, &str) -> Option<[&'static str; 2]>) -> Led {
        let mut said = Vec::new();
        while let Some(line) = self.program.next_line() {
            let line: Value = serde_json::from_str(&line).unwrap();
            said.push(line.clone());
            if line.get("ask").is_none() {
                continue;
            }
            let ask: Ask = serde_json::from_value(line.clone()).unwrap();
            let other = match &ask {
                Ask::Place { red, black, .. } => elsewhere(red.label(), black.label()),
                _ => None,
            };
            let answer = match other {
                Some([red, black]) => {
                    assert!(self.bench.place(&Pin::new(red), &Pin::new(black)));
                    Answer::Ready
                }
                None => self.bench.perform(&ask),
            };
            let answer = serde_json::to_value(answer).unwrap();
            self.program.send(&format!("{{\"seq\":{},\"answer\":{answer}}}", line["seq"]));
        }
        assert_eq!(self.bench.hazards(), []);
        Led { said, ended: self.program.finish() }
    }
}

impl Led {
    fn result(&self) -> &Value {
        let of = |line: &&Value| line["note"] == "result";
        self.said.iter().rfind(of).unwrap_or_else(|| panic!("no result: {:#?}", self.ended))
    }

    fn places(&self) -> Vec<[&str; 3]> {
        let placed = self.said.iter().filter(|line| line["ask"] == "place");
        placed.map(|line| ["red", "black", "why"].map(|key| line_text(line, key))).collect()
    }

    fn whys(&self) -> String {
        self.places().iter().map(|[.., why]| format!("{why}\n")).collect()
    }

    fn notes_of_checks(&self) -> Vec<&str> {
        let checks = self.result()["checks"].as_array().unwrap();
        checks.iter().map(|check| line_text(check, "note")).collect()
    }
}

fn line_text<'a>(line: &'a Value, key: &str) -> &'a str {
    line[key].as_str().unwrap_or_default()
}

fn is_pair(red: &str, black: &str, pair: [&str; 2]) -> bool {
    [red, black] == pair || [black, red] == pair
}

#[test]
fn leads_on_the_wrong_terminals_are_recognised_and_said_and_the_board_still_passes() {
    let mistakes = [
        (["COM", "NO"], "COM-NC reads open, not closed: do both tips touch COM and NC?"),
        (["IN+", "IN-"], "reads the input's ohms, not closed, as IN+-IN- would: are the leads on"),
    ];
    for (instead, wanted) in mistakes {
        let job = Job::new();
        let mut misplaced = false;
        let led = Station::begin("good", "changeover-12v", &job).lead(|red, black| {
            let now = !misplaced && is_pair(red, black, ["COM", "NC"]);
            misplaced |= now;
            now.then_some(instead)
        });
        let whys = led.whys().replace("NC-COM", "COM-NC").replace("NC and COM", "COM and NC");
        assert!(misplaced && whys.contains(wanted), "{whys}");
        assert_eq!((&led.result()["result"], led.ended.code), (&"pass".into(), Some(0)));
    }
}

#[test]
fn exchanged_wires_are_said_in_the_result_and_in_the_report() {
    let job = Job::new();
    let led = Station::begin("swapped_contacts", "changeover-12v", &job).lead(|_, _| None);
    assert_eq!((&led.result()["result"], led.ended.code), (&"fail".into(), Some(1)));
    let said = "everything fits once NC and NO are exchanged";
    assert!(led.result()["remarks"].to_string().contains(said), "{:#}", led.result());
    let report = std::fs::read_to_string(job.file("report.html")).unwrap();
    assert!(report.contains(said), "the report does not say it");
}

#[test]
fn a_board_that_failed_has_only_that_repeated_by_a_later_run_on_its_folder() {
    let job = Job::new();
    let first = Station::begin("late_pick_up", "changeover-12v", &job).lead(|_, _| None);
    assert_eq!(
        (&first.result()["result"], &first.result()["repeats"]),
        (&"fail".into(), &0.into())
    );
    // The board comes back repaired: a relay that picks up in time.
    let second = Station::begin("good", "changeover-12v", &job).lead(|_, _| None);
    let result = second.result();
    assert_eq!((&result["result"], &result["repeats"]), (&"pass".into(), &1.into()), "{result:#}");
    let carried = |note: &&&str| **note == "passed in the earlier test of this board";
    let notes = second.notes_of_checks();
    let kept = notes.iter().filter(carried).count();
    assert!(kept > 6 && kept < notes.len(), "{notes:?}");
    let (before, after) = (first.places().len(), second.places().len());
    assert!(after < before, "{after} placements after {before}");
    // The pair that must be open passed before, so nobody is sent there again.
    assert!(!second.places().iter().any(|[r, b, _]| is_pair(r, b, ["IN+", "COM"])));
    // A third run finds a board that passed, and tests all of it.
    let third = Station::begin("good", "changeover-12v", &job).lead(|_, _| None);
    assert_eq!(third.result()["repeats"], 2);
    assert!(third.notes_of_checks().iter().all(|note| !carried(&note)));
}

/// The built-in plan with another limit of the leads' own ohms.
fn strict(job: &Job, ohms_max: &str) -> String {
    let made = Program::run(&["board", "plan", "--like", "changeover-12v"]).exits(0);
    let plan = made.lines.join("\n").replace("ohms_max = 1.0", &format!("ohms_max = {ohms_max}"));
    assert!(plan.contains(&format!("ohms_max = {ohms_max}\n")), "{plan}");
    let file = job.home().join("strict.toml");
    std::fs::write(&file, plan).unwrap();
    file.display().to_string()
}

#[test]
fn the_leads_own_ohms_come_first_and_are_taken_off() {
    let job = Job::new();
    let led = Station::begin("good", "changeover-12v", &job).lead(|_, _| None);
    let places = led.places();
    let [red, black, why] = places[0];
    assert!(red == black && why.contains("what the leads themselves read"), "{:?}", places[0]);
    assert_eq!(places.iter().filter(|[red, black, _]| red == black).count(), 1);
    let checks = led.result()["checks"].as_array().unwrap();
    for contact in checks.iter().filter(|c| line_text(c, "check").starts_with("contact ohms")) {
        let number = |key: &str| contact[key].as_f64().unwrap();
        assert!((number("value") - 0.05).abs() < number("expanded"), "{contact:#}");
        assert!(contact["budget"].to_string().contains("leads, as measured"), "{contact:#}");
    }
}

#[test]
fn leads_above_their_limit_are_tried_three_times_and_leave_ohms_undecided() {
    let job = Job::new();
    let plan = strict(&job, "0.01");
    let led = Station::begin("good", &plan, &job).lead(|_, _| None);
    let nulls: Vec<_> = led.places().into_iter().filter(|[red, black, _]| red == black).collect();
    assert_eq!(nulls.len(), 3);
    assert!(nulls[1][2].contains("the leads read too much"), "{nulls:?}");
    assert_eq!((&led.result()["result"], led.ended.code), (&"undecided".into(), Some(1)));
    let checks = led.result()["checks"].as_array().unwrap();
    let undecided = checks.iter().filter(|check| check["verdict"] == "undecided");
    let names: Vec<&str> = undecided.map(|check| line_text(check, "check")).collect();
    assert!(!names.is_empty() && names.iter().all(|name| name.contains("ohms")), "{names:?}");
}
