//! A meter that stands still, that says nothing, that says nothing between its line ends, and that
//! speaks unasked: what is missing is told as missing, what came unasked is told as such, and
//! neither becomes a reading.

use super::{meter, ohms};
use crate::error::DriverError;
use crate::meter::{MeterEvent, Order};
use crate::reading::Function;
use crate::testing::{Fault, Rig};
use std::time::Duration;

// F15: what a machine that slept, or a meter that did, leaves in the readings.
#[test]
fn a_meter_that_stood_still_leaves_a_hole_in_time_and_no_shift() {
    let stood = Duration::from_secs(5);
    let got = ohms(Rig::new(meter().with_fault(10, Fault::Late(stood)))).run(20_000);
    let taken: Vec<(f64, u64)> = got
        .events
        .iter()
        .filter_map(|(_, event)| match event {
            MeterEvent::ReadingTaken { reading, .. } => {
                Some((reading.at.as_secs_f64(), reading.value.number().unwrap() as u64))
            }
            _ => None,
        })
        .collect();
    let (before, after) = (taken[8], taken[9]);
    assert_eq!((before.1, after.1), (9, 11), "the reading under way is given up");
    let begun = got.meter.begun.iter().find(|begun| begun.number == 11).unwrap().at.as_secs_f64();
    assert!(begun > before.0 + 3.0 && after.0 > begun, "{before:?}, {begun}, {after:?}");
    assert!(taken[9..].windows(2).all(|pair| pair[1].1 == pair[0].1 + 1), "none is shifted");
    assert_eq!(got.complaints().len(), 1, "{:?}", got.complaints());
}

// F23: a print key, an automatic report; at rest, between two queries, and in the middle of one.
#[test]
fn a_line_that_nobody_asked_for_is_told_and_is_no_reading() {
    let got = Rig::new(meter())
        .order(300, Order::Rest)
        .act(700, |sim| sim.blurt(b"+9.999E+03\n"))
        .measure(2000, Function::Resistance, 1)
        .act(2500, |sim| sim.blurt(b"+9.999E+03\n"))
        .run(5000);
    assert!(got.readings().iter().all(|(_, number)| *number != 9999), "{:?}", got.readings());
    assert!(got.readings().len() > 30, "it goes on");
    let unasked = |text: &&String| text.contains("nothing was asked") || text.contains("+9.999");
    let complaints = got.complaints();
    assert_eq!(complaints.iter().filter(unasked).count(), 2, "{complaints:?}");
    assert!(got.end().is_none());
}

// F24: an answer with nothing in it is neither zero nor the value before it.
#[test]
fn empty_answers_are_no_answers() {
    let mut sim = meter();
    for number in 3..100 {
        sim = sim.with_fault(number, Fault::Instead(b"\r\n".to_vec()));
    }
    let got = ohms(Rig::new(sim)).run(60_000);
    assert_eq!(got.readings(), [(1, 1), (1, 2)]);
    let missing = got.complaints().iter().filter(|c| c.contains("no answer to `READ?`")).count();
    assert!(missing >= 4, "{:?}", got.complaints());
    let away =
        |event: &MeterEvent| matches!(event, MeterEvent::WentAway(error) if is_silence(error));
    assert!(got.events.iter().any(|(_, event)| away(event)), "five in a row are a lost link");
}

fn is_silence(error: &DriverError) -> bool {
    matches!(error, DriverError::NoAnswer { .. })
}

// F64: no end of file, no error, no byte: only the deadlines tell.
#[test]
fn a_peer_that_dies_without_a_word_is_given_up_by_its_deadlines() {
    let dies = |sim: &mut crate::testing::MeterSim| sim.features.deaf_for = Duration::MAX;
    let got = ohms(Rig::new(meter())).act(2000, dies).run(120_000);
    let last = got.events.iter().rev().find_map(|(_, event)| match event {
        MeterEvent::ReadingTaken { reading, .. } => Some(reading.at.as_secs_f64()),
        _ => None,
    });
    assert!((1.9..2.1).contains(&last.unwrap()), "{last:?}");
    let away = got.events.iter().find(|(_, event)| matches!(event, MeterEvent::WentAway(_)));
    let (at, _) = away.expect("the loss is told");
    assert!(at.as_secs_f64() < 30.0, "after {} s", at.as_secs_f64());
    assert!(got.end().is_some_and(is_silence), "{:?}", got.end());
}
