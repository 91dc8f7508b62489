//! `coilmark meters --watch`, whole, over real pseudo-terminals and sockets: what it shows while a
//! meter answers, stutters and goes away; as lines, as JSON, and on a terminal as one line that is
//! rewritten; how it ends; and that what passed on the link can be played back. Watching takes the
//! seconds that it is told to.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;
#[path = "meters_terminal/mod.rs"]
mod terminal;

use coilmark::bench::{Bench, BenchOptions, MeterModel, SlipRates};
use coilmark::event::{Ask, Pin};
use drivers::Function;
use program::*;
use serde_json::Value;
use terminal::Terminal;

const RELAY: &str = "make_1_pole";

fn object(line: &str) -> Value {
    serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"))
}

/// The next object for which this holds.
fn until(program: &mut Program, wanted: impl Fn(&Value) -> bool) -> Value {
    loop {
        let found = object(&program.next_line().expect("it goes on"));
        assert_eq!(found["v"], 1);
        if wanted(&found) {
            return found;
        }
    }
}

#[test]
fn without_a_terminal_there_is_a_line_a_second_and_a_summary() {
    let bench = bench(relay(RELAY));
    let served = on_pty(&bench);
    let words = ["meters", "--watch", &served.link(), "--function", "resistance"];
    let watched = Program::run(&[&words[..], &["--for", "2500ms"]].concat()).exits(0);
    assert_eq!(watched.stderr, "");
    assert_eq!(watched.lines[0], format!("{}: {}", served.link(), instrument::IDENTITY));
    let lines: Vec<&String> = watched.lines.iter().filter(|line| line.contains("/s  ")).collect();
    assert_eq!(lines.len(), 2, "{watched:#?}");
    for line in lines {
        for said in ["overload (ohms)", "trip ", " ms, worst ", "faults 0", "lost 0"] {
            assert!(line.contains(said), "{said}: {line}");
        }
        assert!(line.chars().count() <= 79, "{line}");
    }
    let summary = watched.lines.join("\n");
    for said in [" readings in 2.", "round trip: ", " median, ", "faults: 0 without an answer"] {
        assert!(summary.contains(said), "{said}: {summary}");
    }
    // Its own keys were never taken from it, so there is nothing to give back.
    let taken = served.commands().into_iter().find(|line| line.starts_with("SYST:REM"));
    assert_eq!(taken, None);
}

#[test]
fn each_second_is_an_object_and_an_interrupt_ends_with_the_summary() {
    let bench = Bench::new(relay(RELAY), BenchOptions::default());
    let served = bench.serve_tcp("127.0.0.1:0".parse().unwrap()).unwrap();
    let words = ["meters", "--watch", &served.link(), "--json"];
    let mut program = Program::start(&words);
    let answered = until(&mut program, |note| note["note"] == "answered");
    assert_eq!(answered["commanded"], true, "{answered}");
    let first = until(&mut program, |note| note["note"] == "watch");
    assert_eq!((&first["state"], &first["unit"]), (&"answering".into(), &"volt".into()), "{first}");
    assert!(first["value"].is_number() && first["u"].is_number(), "{first}");
    let trips = &first["round_trips"];
    let ms = |key: &str| trips[key].as_f64().unwrap();
    assert!(ms("median_ms") > 0.0 && ms("median_ms") <= ms("worst_ms"), "{first}");
    assert!((10.0..60.0).contains(&first["per_second"].as_f64().unwrap()), "{first}");
    served.replace_answer(b"what?\n");
    let faulty = until(&mut program, |note| note["faults"]["garbled"] != 0);
    assert_eq!(faulty["losses"], 0, "{faulty}");
    program.interrupt();
    let ended = program.finish().exits(0);
    assert_eq!(ended.stderr, "");
    let summary = object(ended.lines.last().unwrap());
    assert_eq!((&summary["note"], &summary["ended"]), (&"summary".into(), &"interrupted".into()));
    assert!(summary["readings"].as_u64() > first["readings"].as_u64(), "{summary}");
}

#[test]
fn a_link_that_goes_away_is_shown_and_counted() {
    let (bench, job) = (Bench::new(relay(RELAY), BenchOptions::default()), Job::new());
    let mut served = bench.serve_pty(Some(&job.home().join("meter"))).unwrap();
    let trace = job.home().join("meter.trace").display().to_string();
    let link = served.link();
    let mut program =
        Program::start(&["meters", "--watch", &link, "--json", "--trace-link", &trace]);
    until(&mut program, |note| note["readings"].as_u64() > Some(3));
    served.unplug();
    until(&mut program, |note| note["state"] == "lost");
    served.plug().unwrap();
    let back = until(&mut program, |note| note["state"] == "answering" && note["losses"] == 1);
    let readings = back["readings"].as_u64();
    assert!(back["away_s"].as_f64().unwrap() > 0.1, "{back}");
    until(&mut program, |note| note["readings"].as_u64() > readings);
    program.interrupt();
    program.finish().exits(0);
    // The same again from the trace alone, the loss included; then the trace is over.
    let replay = format!("replay:{trace}");
    let played = Program::run(&["meters", "--watch", &replay, "--json"]).exits(3);
    let summary = object(played.lines.last().unwrap());
    assert_eq!((&summary["ended"], &summary["losses"]), (&"failed".into(), &1.into()), "{summary}");
    assert!(summary["readings"].as_u64() > readings, "{summary}");
    played.complains(&[&trace, "the trace is over"]);
    // It says nothing of the pins: no run that credits readings to them takes it for a meter.
    let identify = ["identify", "--pins", "8", "--meter", &replay];
    Program::run(&identify).refuses(2, &[&trace, "no meter", "meters --watch"]);
}

fn dial_meter() -> Bench {
    let meter = MeterModel { conversion_ms: 100, ..MeterModel::free_running() };
    let options = BenchOptions { meter, slips: SlipRates::NONE, ..BenchOptions::default() };
    Bench::new(relay(RELAY), options)
}

#[test]
fn a_dial_is_followed_unless_a_function_is_named() {
    let bench = dial_meter();
    let served = bench.serve_pty(None).unwrap();
    let link = served.link();
    let words = ["meters", "--watch", &link, "--profile", "ascii-lines", "--json"];
    let mut program = Program::start(&words);
    until(&mut program, |note| note["function"] == "voltage_dc");
    bench.perform(&Ask::Dial { function: Function::Resistance });
    let turned = until(&mut program, |note| note["function"] == "resistance");
    assert_eq!((&turned["unit"], &turned["overload"]), (&"ohm".into(), &true.into()), "{turned}");
    assert_eq!(turned["round_trips"]["count"], 0, "nobody asks");
    program.interrupt();
    program.finish().exits(0);
    let named = ["--function", "voltage_dc", "--for", "1200ms"];
    let watched = Program::run(&[&words[..], &named].concat()).exits(0);
    let summary = object(watched.lines.last().unwrap());
    assert_eq!(summary["readings"], 0, "ohms are no volts: {summary}");
    assert!(summary["other_function"].as_u64() > Some(2), "{summary}");
}

#[test]
fn on_a_terminal_one_line_is_rewritten() {
    let bench = bench(relay(RELAY));
    bench.place(&Pin::new("1"), &Pin::new("2"));
    let served = on_pty(&bench);
    let terminal = Terminal::of_columns(80);
    let words = ["meters", "--watch", &served.link(), "--function", "resistance", "--for", "2s"];
    let (code, shown) = terminal.run(&words);
    assert_eq!(code, Some(0), "{shown:?}");
    // The first line says who answers; then each update begins at the margin and erases the rest.
    let (_, rest) = shown.split_once("\r\n").unwrap();
    let (rewritten, summary) = rest.rsplit_once("\x1b[K").unwrap();
    let updates: Vec<&str> = rewritten.split('\r').filter(|part| part.contains("/s  ")).collect();
    assert!(updates.len() >= 5, "{shown:?}");
    for update in &updates {
        let line = update.strip_suffix("\x1b[K").unwrap_or(update);
        assert!(!line.contains(['\x1b', '\n']), "nothing but the line: {update:?}");
        assert!(line.chars().count() <= 79, "it fits: {line:?}");
        assert!(line.contains("faults 0  lost 0"), "all of it: {line:?}");
    }
    assert!(summary.contains(" readings in 2."), "{summary:?}");
}

#[test]
fn a_narrow_terminal_gets_a_shorter_line() {
    let bench = bench(relay(RELAY));
    let served = on_pty(&bench);
    let (code, shown) =
        Terminal::of_columns(40).run(&["meters", "--watch", &served.link(), "--for", "1s"]);
    assert_eq!(code, Some(0));
    let mut updates = shown.split('\r').filter(|part| part.contains("/s"));
    let first = updates.next().unwrap_or_else(|| panic!("{shown:?}"));
    assert_eq!(first.trim_end_matches("\x1b[K").chars().count(), 39, "{first:?}");
}

#[test]
fn what_cannot_be_watched_is_refused() {
    let link = "tcp:127.0.0.1:1";
    let watch = |words: &[&str]| Program::run(&[&["meters", "--watch", link], words].concat());
    watch(&["--function", "ohms"]).refuses(2, &["--function", "ohms", "resistance"]);
    watch(&["--profile", "scpy"]).refuses(2, &["scpy", "scpi"]);
    watch(&["--for", "10"]).refuses(2, &["--for", "10"]);
    watch(&["--try", link]).refuses(2, &["--try", "--watch"]);
    watch(&[]).refuses(3, &["127.0.0.1:1"]);
    Program::run(&["meters", "--for", "1s"]).refuses(2, &["--watch"]);
    Program::run(&["meters", "--watch", "replay:no.trace"]).refuses(3, &["no.trace"]);
}

/// A port that another process holds is waited for; a hung link ends with a message.
#[test]
fn a_held_port_is_waited_for_and_opened_when_it_is_let_go() {
    let bench = bench(relay(RELAY));
    let served = on_pty(&bench);
    let link = served.link();
    let holder = ["meters", "--watch", &link, "--for", "3s", "--json"];
    let mut holder = Program::start(&holder);
    until(&mut holder, |note| note["note"] == "answered");
    let waited = Program::run(&["meters", "--watch", &link, "--for", "1s", "--json"]).exits(0);
    assert!(waited.stderr.starts_with("note: "), "{}", waited.stderr);
    for said in [served.path().unwrap().to_str().unwrap(), "in use by ", "(pid ", "waiting up to"] {
        assert!(waited.stderr.contains(said), "{said}: {}", waited.stderr);
    }
    assert_eq!(waited.stderr.lines().count(), 1, "it is said once: {}", waited.stderr);
    assert!(object(waited.lines.last().unwrap())["readings"].as_u64() > Some(0));
    holder.finish().exits(0);
}

#[test]
fn an_interrupt_ends_the_wait_for_a_held_port() {
    let bench = bench(relay(RELAY));
    let served = on_pty(&bench);
    let link = served.link();
    let mut holder = Program::start(&["meters", "--watch", &link, "--json"]);
    until(&mut holder, |note| note["note"] == "answered");
    let waiting = Program::start(&["meters", "--watch", &link]);
    until(&mut holder, |note| note["readings"].as_u64() > Some(50));
    waiting.interrupt();
    let ended = waiting.finish().exits(4);
    assert!(ended.stderr.contains("interrupted while waiting"), "{}", ended.stderr);
    holder.interrupt();
    holder.finish().exits(0);
}
