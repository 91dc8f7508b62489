//! A port against a simulated meter, on a clock set by hand: opening, configuring, measuring, and
//! what different meters understand. Faults of the wire and losses of the link have files of
//! their own. The rig checks after each run that no reading was credited to an order that it
//! does not belong to.

mod losing;
mod order;
mod silence;
mod wire;

use crate::meter::{MeterEvent, Order};
use crate::profile::Profile;
use crate::reading::Function;
use crate::testing::{Fault, Features, MeterSim, Rig};
use std::time::Duration;

fn meter() -> MeterSim {
    MeterSim::new(Features::default())
}

fn with(change: impl FnOnce(&mut Features)) -> MeterSim {
    let mut features = Features::default();
    change(&mut features);
    MeterSim::new(features)
}

fn ohms(rig: Rig) -> Rig {
    rig.measure(500, Function::Resistance, 1)
}

#[test]
fn a_plain_meter_is_identified_configured_and_read() {
    let got = ohms(Rig::new(meter())).run(2000);
    assert_eq!(got.answered(), [None]);
    assert_eq!(got.complaints(), [""; 0]);
    assert!(got.readings().len() > 50, "{:?}", got.readings().len());
    assert_eq!(got.meter.interrupted, 0);
    assert!(got.end().is_none());
    let heard = got.meter.heard.join(" ");
    assert!(
        heard.starts_with("*CLS *IDN? *ESR? SYST:ERR? CONF:RES SYST:ERR? FUNC? READ? FUNC? READ?"),
        "{heard}"
    );
}

#[test]
fn each_order_has_its_own_readings_and_function() {
    let got = Rig::new(meter())
        .measure(0, Function::VoltageDc, 1)
        .measure(1000, Function::Resistance, 2)
        .measure(1500, Function::Resistance, 3)
        .order(2000, Order::Rest)
        .measure(2500, Function::Diode, 4)
        .run(3000);
    for epoch in 1..=4 {
        assert!(got.readings().iter().any(|(e, _)| *e == epoch), "epoch {epoch}");
    }
    let resting = |ms: u64| Duration::from_millis(ms);
    assert!(!got.events.iter().any(|(at, event)| matches!(event, MeterEvent::ReadingTaken { .. })
        && at.since_start() > resting(2050)
        && at.since_start() < resting(2500)));
    // The same function again needs no configuring.
    assert_eq!(got.meter.heard.iter().filter(|line| *line == "CONF:RES").count(), 1);
}

// F06: The rig fails if a value in the meter's default function is credited.
#[test]
fn a_power_cycle_in_place_is_noticed_before_the_next_value_counts() {
    for function_query in [true, false] {
        let sim = with(|f| f.function_query = function_query).with_fault(4, Fault::PowerCycled);
        let got = ohms(Rig::new(sim)).run(6000);
        let numbers: Vec<u32> = got.readings().iter().map(|(_, n)| *n).collect();
        assert!(numbers.starts_with(&[1, 2, 3, 5]), "{numbers:?}");
        let told = got.complaints().iter().any(|text| text.contains("lost its setting"));
        assert!(told, "{:?}", got.complaints());
    }
}

// F49: the knob of a commanded meter.
#[test]
fn a_turned_knob_is_noticed_and_set_back() {
    let sim = meter().with_fault(4, Fault::Turned(Function::VoltageAc));
    let got = ohms(Rig::new(sim)).run(6000);
    let numbers: Vec<u32> = got.readings().iter().map(|(_, n)| *n).collect();
    assert!(numbers.starts_with(&[1, 2, 3, 5]), "{numbers:?}");
    assert_eq!(got.meter.heard.iter().filter(|line| *line == "CONF:RES").count(), 2);
}

// Instruments that know only a part of the standard.
#[test]
fn a_minimal_meter_is_read_in_the_way_it_knows() {
    type Lack = fn(&mut Features);
    let lacks: [(&str, Lack); 9] = [
        ("function query", |f| f.function_query = false),
        ("status", |f| f.status = false),
        ("error queue", |f| f.errors = false),
        ("READ?", |f| f.read = false),
        ("CONFigure", |f| f.configure = false),
        ("CONFigure and READ?", |f| (f.configure, f.read) = (false, false)),
        ("MEASure", |f| f.measure = false),
        ("any sign that CONFigure is not known", |f| {
            (f.configure, f.errors, f.status, f.function_query) = (false, false, false, false);
        }),
        ("all but identity and MEASure", |f| {
            (f.configure, f.read, f.errors, f.status, f.function_query) =
                (false, false, false, false, false);
        }),
    ];
    for (name, lack) in lacks {
        for inline_errors in [false, true] {
            let sim = with(|f| {
                lack(f);
                f.inline_errors = inline_errors;
            });
            let got = ohms(Rig::new(sim)).run(20_000);
            assert!(got.end().is_none(), "{name} {inline_errors}: {:?}", got.end());
            assert!(got.readings().len() > 50, "{name} {inline_errors}: {:?}", got.complaints());
            let late = got.readings().len();
            assert!(late > 100, "{name} {inline_errors}: {late}");
        }
    }
}

#[test]
fn a_meter_that_says_ok_to_commands_is_read() {
    let got = ohms(Rig::new(with(|f| f.says_ok = true))).run(5000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
}

// F46: a queue that never ends.
#[test]
fn an_endless_error_queue_is_left_alone() {
    let got = ohms(Rig::new(with(|f| f.endless_errors = true))).run(10_000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
    let asked = got.meter.heard.iter().filter(|line| *line == "SYST:ERR?").count();
    assert_eq!(asked, 32);
}

// F42: under its own keys' control until told, and given back at the end.
#[test]
fn a_meter_under_local_control_is_taken_over_and_given_back() {
    let got = ohms(Rig::new(with(|f| f.needs_remote = true))).run(5000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
    assert_eq!(got.meter.heard.last().map(String::as_str), Some("SYST:LOC"));
    let got = ohms(Rig::new(meter())).run(5000);
    assert!(!got.meter.heard.iter().any(|line| line.starts_with("SYST:REM")));
    assert!(!got.meter.heard.iter().any(|line| line.starts_with("SYST:LOC")));
}

// F43: lines that come too soon are lost.
#[test]
fn a_meter_that_needs_a_pause_between_lines_gets_it() {
    let text = include_str!("../../../profiles/scpi.toml");
    let slow = text.replace("quiet_ms = 60", "quiet_ms = 60\ngap_ms = 25");
    let profile = Profile::parse("slow", &slow).unwrap();
    let sim = with(|f| f.min_gap = Duration::from_millis(20));
    let got = ohms(Rig::new(sim)).run_with(&profile, 5000);
    assert!(got.readings().len() > 30, "{:?}", got.complaints());
    assert_eq!(got.complaints(), [""; 0]);
}

// F09
#[test]
fn the_deadline_follows_the_integration_time() {
    let text = include_str!("../../../profiles/scpi.toml");
    let precise = text.replace("integration_ms = 2500", "integration_ms = 9000");
    let profile = Profile::parse("precise", &precise).unwrap();
    let slow = || with(|f| f.reading = Duration::from_millis(8500));
    let got = ohms(Rig::new(slow())).run_with(&profile, 60_000);
    assert!(got.readings().len() >= 6, "{:?}", got.complaints());
    assert_eq!(got.complaints(), [""; 0]);
    // The same with a meter that has died fails at the deadline.
    let got = ohms(Rig::new(slow().with_fault(2, Fault::Dropped))).run_with(&profile, 60_000);
    let lost = got.events.iter().find(|(_, event)| matches!(event, MeterEvent::Complained(_)));
    let second_began = got.meter.begun[1].at;
    let waited = lost.unwrap().0.since(second_began).as_secs_f64();
    assert!((waited / 10.0 - 1.0).abs() < 0.15, "{waited} s");
}

#[test]
fn a_function_the_meter_lacks_is_declined_and_another_order_goes_on() {
    let sim = with(|f| f.functions.retain(|function| *function != Function::Diode));
    let got = Rig::new(sim)
        .measure(500, Function::Resistance, 1)
        .measure(1000, Function::Diode, 2)
        .measure(2000, Function::Resistance, 3)
        .run(3000);
    let declined = got.events.iter().find_map(|(_, event)| match event {
        MeterEvent::Declined { epoch, error } => Some((*epoch, error.to_string())),
        _ => None,
    });
    let (epoch, text) = declined.expect("declined");
    assert!(epoch == 2 && text.contains("-113") && text.contains("CONF:DIOD"), "{text}");
    let epochs: Vec<u64> = got.readings().iter().map(|(epoch, _)| *epoch).collect();
    assert!(epochs.contains(&1) && !epochs.contains(&2) && epochs.contains(&3));
    // Also when it is the first thing asked.
    let sim = with(|f| f.functions.retain(|function| *function != Function::Diode));
    let got = Rig::new(sim)
        .measure(500, Function::Diode, 2)
        .measure(10_000, Function::Resistance, 3)
        .run(20_000);
    assert!(got.events.iter().any(|(_, e)| matches!(e, MeterEvent::Declined { epoch: 2, .. })));
    assert!(got.readings().len() > 20, "{:?}", got.complaints());
}

// F23, F45: orders at any moment of a conversation; the meter never sees an interrupted query.
#[test]
fn an_order_at_any_moment_never_interrupts_a_query() {
    for ms in 0..120 {
        let got = Rig::new(meter())
            .measure(0, Function::Resistance, 1)
            .measure(200 + ms * 3, Function::VoltageDc, 2)
            .measure(205 + ms * 3, Function::Resistance, 3)
            .run(1500);
        assert_eq!(got.meter.interrupted, 0, "order at {ms}");
        assert!(got.readings().iter().any(|(epoch, _)| *epoch == 3), "order at {ms}");
        assert_eq!(got.complaints(), [""; 0], "order at {ms}");
    }
}

// An hour on a clock set by hand.
#[test]
fn an_hour_of_readings_loses_none() {
    let sim = with(|f| f.reading = Duration::from_secs(1));
    let got = ohms(Rig::new(sim)).run(3_600_000);
    let count = got.readings().len();
    assert!((3500..=3600).contains(&count), "{count} readings");
    assert_eq!(got.complaints(), [""; 0]);
}

// F36: opening the port restarts the meter.
#[test]
fn a_meter_that_restarts_when_opened_is_waited_for() {
    let text = include_str!("../../../profiles/scpi.toml");
    let patient = text.replace("quiet_ms = 60", "quiet_ms = 60\nopen_ms = 2500");
    let profile = Profile::parse("patient", &patient).unwrap();
    let sim = || with(|f| f.deaf_for = Duration::from_millis(2200));
    let got = ohms(Rig::new(sim())).run_with(&profile, 6000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
    assert_eq!(got.complaints(), [""; 0]);
    // Without the profile's word for it, three tries find it all the same.
    let got = ohms(Rig::new(sim())).run(8000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
}
