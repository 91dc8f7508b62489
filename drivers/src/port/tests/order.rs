//! What comes first: bytes that had arrived before an order, or before a query, belong to what
//! was before it, even if nobody had read them yet. Scripts, because the order of single bytes
//! is what matters.

use crate::clock::HandClock;
use crate::error::DriverError;
use crate::link::{ScriptedLink, Step};
use crate::meter::{MeterEvent, Order};
use crate::port::Command;
use crate::port::worker::Worker;
use crate::profile::Profile;
use crate::reading::Function;
use std::sync::{Arc, Mutex, mpsc};
use std::time::Duration;

const OHMS: Order = Order::Measure { function: Function::Resistance, epoch: 1 };

fn send(text: &str) -> Step {
    Step::Send(text.as_bytes().to_vec())
}

fn expect(text: &str) -> Step {
    Step::Expect(text.as_bytes().to_vec())
}

/// Runs a script; the order is given when the meter has answered. Gives what was told.
fn follow(profile: &Profile, script: Vec<Step>) -> Vec<String> {
    let clock = Arc::new(HandClock::new());
    let (commands, receiver) = mpsc::channel();
    let told = Arc::new(Mutex::new(Vec::new()));
    let events = told.clone();
    let sink = move |event| {
        if matches!(event, MeterEvent::Answered { .. }) {
            commands.send(Command::Order(OHMS)).unwrap();
        }
        let event = match event {
            MeterEvent::ReadingTaken { reading, .. } => reading.text,
            other => format!("{other:?}"),
        };
        events.lock().unwrap().push(event);
        true
    };
    let gone = || Err(DriverError::Missing { port: "script".into(), source: None });
    let session = profile.session("script");
    let link = Box::new(ScriptedLink::new(script, clock.clone()));
    let none = Duration::ZERO;
    Worker::new(Box::new(gone), session, clock, none, receiver, sink).run(Some(link));
    Arc::into_inner(told).unwrap().into_inner().unwrap()
}

#[test]
fn lines_that_wait_in_the_link_are_older_than_an_order() {
    let lines = (2..8).map(|n| format!("+{n} OHM\r\n")).collect::<String>();
    let script = vec![
        send("x\r\n+1 OHM\r\n"),
        send(&lines),
        Step::Chunk(vec![11, 8]),
        Step::Delay(Duration::from_secs(1)),
        send("+8 OHM\r\n"),
        Step::Delay(Duration::from_secs(1)),
        send("+9 OHM\r\n"),
        Step::Eof,
    ];
    let told = follow(&Profile::load("ascii-lines").unwrap(), script);
    let readings: Vec<&String> = told.iter().filter(|text| text.starts_with('+')).collect();
    assert_eq!(readings, ["+9 OHM"], "{told:?}");
}

// F10: a second answer that waits in the link when the next query goes out.
#[test]
fn an_answer_that_waits_in_the_link_is_older_than_the_next_query() {
    let text = "name = \"plain\"\nkind = \"scpi\"\npace_ms = 0\n\
                [functions.resistance]\nmeasure = \"MEAS:RES?\"\n";
    let script = vec![
        expect("\n"),
        expect("*CLS\n"),
        expect("*IDN?\n"),
        send("METER\n"),
        expect("*ESR?\n"),
        send("128\n"),
        expect("MEAS:RES?\n"),
        Step::Chunk(vec![5]),
        send("+1.0\n+2.0\n"),
        expect("\n"), // out of step, not the next query
        Step::Eof,
    ];
    let told = follow(&Profile::parse("plain", text).unwrap(), script);
    assert!(told.contains(&"+1.0".to_owned()) && !told.contains(&"+2.0".to_owned()), "{told:?}");
    assert!(told.last().unwrap().contains("LinkLost"), "the script was followed: {told:?}");
}
