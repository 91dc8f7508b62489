//! The link goes away and comes back, or does not; another meter comes back; nobody was there in
//! the first place. And a conversation of which only the trace is left.
//! How a link itself breaks is the link's own tests' matter; here it is the port's.

use super::{meter, ohms};
use crate::clock::HandClock;
use crate::error::DriverError;
use crate::link::{CapturingLink, Link, ReplayingLink};
use crate::meter::{MeterEvent, Order};
use crate::port::Command;
use crate::port::worker::Worker;
use crate::profile::Profile;
use crate::reading::Function;
use crate::testing::{Fault, MeterSim, Rig};
use std::sync::{Arc, Mutex, mpsc};
use std::time::Duration;

// F01, F04, F65
#[test]
fn a_link_that_comes_back_goes_on_with_a_gap_and_set_anew() {
    let got = ohms(Rig::new(meter()))
        .act(2000, MeterSim::unplug)
        .act(7000, |sim| {
            sim.power_cycle();
            sim.plugged = true;
        })
        .run(12_000);
    assert!(got.end().is_none());
    assert!(got.events.iter().any(|(_, event)| matches!(event, MeterEvent::WentAway(_))));
    let answered = got.answered();
    let gap = answered[1].unwrap();
    assert!(gap > Duration::from_secs(5) && gap < Duration::from_secs(8), "{gap:?}");
    let (last, _) = got.events.iter().rev().nth(1).unwrap();
    assert!(last.since_start() > Duration::from_secs(11), "readings went on");
    assert_eq!(got.meter.heard.iter().filter(|line| *line == "CONF:RES").count(), 2);
}

#[test]
fn a_link_that_stays_away_ends_the_port_at_its_limit() {
    let got = ohms(Rig::new(meter())).act(2000, MeterSim::unplug).run(100_000);
    assert!(matches!(got.end(), Some(DriverError::Missing { .. })), "{:?}", got.end());
    let seconds = got.ended_at().as_secs_f64();
    assert!((32.0..34.1).contains(&seconds), "{seconds}");
}

#[test]
fn closing_works_while_the_link_is_away() {
    let got = ohms(Rig::new(meter())).act(2000, MeterSim::unplug).run(6000);
    assert!(got.end().is_none(), "{:?}", got.end());
    assert!(got.ended_at() < Duration::from_secs(9), "{:?}", got.ended_at());
}

// F05
#[test]
fn another_meter_after_a_replug_ends_the_port() {
    let swap = |sim: &mut MeterSim| {
        sim.unplug();
        sim.features.identity = "MAKER,MODEL,77,1.0".into();
        sim.plugged = true;
    };
    let got = ohms(Rig::new(meter())).act(2000, swap).run(20_000);
    let end = got.end().expect("an error").to_string();
    assert!(end.contains("MODEL,0,1.0") && end.contains("MODEL,77,1.0"), "{end}");
    let mut rig = ohms(Rig::new(meter())).act(2000, swap);
    rig.accept_other = true;
    let got = rig.run(20_000);
    assert!(got.end().is_none(), "{:?}", got.end());
    let identities: Vec<&str> = got
        .events
        .iter()
        .filter_map(|(_, event)| match event {
            MeterEvent::Answered { identity, .. } => Some(identity.text.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(identities, ["MAKER,MODEL,0,1.0", "MAKER,MODEL,77,1.0"]);
}

#[test]
fn nobody_there_ends_the_port_with_no_answer() {
    let mut sim = meter();
    sim.features.identity = String::new();
    let got = ohms(Rig::new(sim)).run(60_000);
    let end = got.end();
    assert!(
        matches!(end, Some(DriverError::NoAnswer { query, .. }) if query == "*IDN?"),
        "{end:?}"
    );
    assert!(got.ended_at() < Duration::from_secs(6), "{:?}", got.ended_at());
}

#[test]
fn a_meter_that_falls_silent_ends_the_port_after_the_limit() {
    let mute = |sim: &mut MeterSim| {
        sim.features.identity = String::new();
        (sim.features.read, sim.features.measure) = (false, false);
        (sim.features.errors, sim.features.status) = (false, false);
        sim.features.function_query = false;
    };
    let got = ohms(Rig::new(meter())).act(2000, mute).run(200_000);
    assert!(matches!(got.end(), Some(DriverError::NoAnswer { .. })), "{:?}", got.end());
    let away = got.events.iter().filter(|(_, e)| matches!(e, MeterEvent::WentAway(_))).count();
    assert_eq!(away, 1, "told once");
    let seconds = got.ended_at().as_secs_f64();
    assert!((30.0..60.0).contains(&seconds), "{seconds}");
}

/// What a link brought and when, without what differs between a meter and its trace.
fn run_over(link: Box<dyn Link>, clock: Arc<HandClock>) -> Vec<String> {
    let (commands, receiver) = mpsc::channel();
    let order = Order::Measure { function: Function::Resistance, epoch: 1 };
    commands.send(Command::Order(order)).unwrap();
    let events = Arc::new(Mutex::new(Vec::new()));
    let (told, at) = (events.clone(), clock.clone());
    let sink = move |event| {
        if !matches!(event, MeterEvent::Ended(_)) {
            told.lock().unwrap().push(format!("{:?} {event:?}", at.moment()));
        }
        true
    };
    let session = Profile::load("scpi").unwrap().session("meter");
    let gone = || Err(DriverError::Missing { port: "meter".into(), source: None });
    Worker::new(Box::new(gone), session, clock, Duration::ZERO, receiver, sink).run(Some(link));
    drop(commands);
    Arc::into_inner(events).unwrap().into_inner().unwrap()
}

#[test]
fn a_conversation_replayed_from_its_trace_gives_the_same_events_at_the_same_times() {
    let sim = meter()
        .with_fault(3, Fault::Instead(b"+1.2\xff4\n".to_vec()))
        .with_fault(6, Fault::Late(Duration::from_secs(5)));
    let file = tempfile::NamedTempFile::new().unwrap();
    let clock = Arc::new(HandClock::new());
    let writer = Box::new(file.reopen().unwrap());
    let inner = Rig::new(sim).act(15_000, MeterSim::unplug).link(clock.clone());
    let link = Box::new(CapturingLink::new(inner, writer, clock.clone()));
    let live = run_over(link, clock);
    let trace = std::fs::read_to_string(file.path()).unwrap();
    let clock = Arc::new(HandClock::new());
    let link = Box::new(ReplayingLink::parse(&trace, clock.clone()).unwrap());
    let replayed = run_over(link, clock);
    assert!(live.len() > 300, "{}", live.len());
    for (live, replayed) in live.iter().zip(&replayed) {
        assert_eq!(live, replayed);
    }
    assert_eq!(live.len(), replayed.len());
}
