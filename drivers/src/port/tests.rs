//! A port against a simulated meter, on a clock set by hand: opening, measuring, every fault of
//! the wire, loss and return of the link. The rig checks after each run that no reading was
//! credited to an order that it does not belong to.

use crate::error::DriverError;
use crate::link::Faults;
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

// F19, F20, F21: T12.
#[test]
fn every_line_end_and_echo_is_understood() {
    for line_end in ["\n", "\r", "\r\n", "\n\r"] {
        for echo in [false, true] {
            for chunk in [1, 7, 4096] {
                let sim = with(|f| {
                    f.line_end = line_end;
                    f.echo = echo;
                });
                let got = ohms(Rig::new(sim)).chunked(chunk).run(2000);
                let count = got.readings().len();
                assert!(count > 30, "{line_end:?} echo {echo} chunk {chunk}: {count}");
                assert_eq!(got.complaints(), [""; 0], "{line_end:?} echo {echo} chunk {chunk}");
            }
        }
    }
}

// F25, F27, F46: T5.
#[test]
fn leftovers_of_another_run_do_no_harm() {
    let sim = meter().with_leftovers(b"+9.99E+00\n+8.88", b"MEAS:VO", 40);
    let got = ohms(Rig::new(sim)).run(2000);
    assert!(got.readings().len() > 30);
    assert_eq!(got.readings()[0], (1, 1));
    assert!(got.end().is_none());
}

// F10: T2. The rig fails if any value is credited to the wrong query.
#[test]
fn a_late_answer_is_never_the_next_querys() {
    for percent in [100, 101, 120, 200, 500] {
        let late = Duration::from_millis(35 * percent);
        let sim = meter().with_fault(3, Fault::Late(late));
        let got = ohms(Rig::new(sim)).run(40_000);
        let numbers: Vec<u32> = got.readings().iter().map(|(_, n)| *n).collect();
        assert!(numbers.starts_with(&[1, 2, 4]), "{percent} %: {:?}", &numbers[..4]);
        assert!(got.end().is_none());
        let lost = got.complaints().iter().filter(|c| c.contains("no answer to `READ?`")).count();
        assert_eq!(lost, 1, "{percent} %");
    }
}

// F11: T11. However slowly bytes trickle, the deadline stands.
#[test]
fn a_trickling_answer_fails_at_the_absolute_deadline() {
    let trickle = Fault::Trickled(Duration::from_millis(500));
    let got = ohms(Rig::new(meter().with_fault(2, trickle))).run(30_000);
    let lost = got.events.iter().find(|(_, event)| matches!(event, MeterEvent::Complained(_)));
    let (at, MeterEvent::Complained(error)) = lost.expect("a complaint") else { return };
    assert!(matches!(error, DriverError::NoAnswer { query, .. } if query == "READ?"), "{error}");
    // 3.5 s for the reading, 1 s for the error query behind it, whose answer is stuck as well.
    let waited = at.since(got.meter.begun[1].at).as_secs_f64();
    assert!((3.5..4.7).contains(&waited), "{waited} s");
    assert!(!got.readings().contains(&(1, 2)));
    assert!(got.readings().len() > 50, "it goes on afterwards");
}

// F16: T3. A line split by the deadline is an error, never a number.
#[test]
fn an_answer_torn_by_the_deadline_is_never_a_number() {
    let answer = b"+9.87654000E+05\n";
    for cut in 0..answer.len() {
        let (head, tail) = answer.split_at(cut);
        let sim = meter()
            .with_fault(2, Fault::Instead(head.to_vec()))
            .with_fault(3, Fault::Before(tail.to_vec()));
        let got = ohms(Rig::new(sim)).run(20_000);
        let numbers: Vec<u32> = got.readings().iter().map(|(_, n)| *n).collect();
        assert!(numbers.starts_with(&[1]) && numbers.len() > 10, "cut at {cut}: {numbers:?}");
        assert!(!numbers.contains(&2) && !numbers.contains(&987_654), "cut at {cut}");
    }
}

// F17, F18, F23, F24, F41, F48: one bad answer each, and the next reading is good.
#[test]
fn a_bad_answer_costs_one_reading_and_is_told() {
    for (name, fault) in [
        ("noise inside", Fault::Instead(b"+1.2\xff34E+00\n".to_vec())),
        ("noise before", Fault::Before(b"\xff\xfe\x80".to_vec())),
        ("text", Fault::Instead(b"hello\n".to_vec())),
        ("unit", Fault::Instead(b"+1.0 OHM\n".to_vec())),
        ("two values", Fault::Instead(b"+1.0,+2.0\n".to_vec())),
        ("comma", Fault::Instead(b"12,5\n".to_vec())),
        ("not finite", Fault::Instead(b"inf\n".to_vec())),
        ("empty", Fault::Instead(b"\n\n".to_vec())),
        ("dropped", Fault::Dropped),
        ("doubled", Fault::Doubled),
        ("line before", Fault::Before(b"key pressed\n".to_vec())),
        ("line after", Fault::After(b"+7.77E+00\n".to_vec())),
        ("half a line after", Fault::After(b"+7.7".to_vec())),
        ("endless", Fault::Instead(vec![b'x'; 10_000])),
    ] {
        let got = ohms(Rig::new(meter().with_fault(3, fault))).run(15_000);
        let numbers: Vec<u32> = got.readings().iter().map(|(_, n)| *n).collect();
        assert!(numbers.starts_with(&[1, 2, 4]) || numbers.starts_with(&[1, 2, 3]), "{name}");
        assert!(numbers.len() > 50, "{name}: {}", numbers.len());
        assert!(!got.complaints().is_empty(), "{name} was not told");
        assert!(got.end().is_none(), "{name}");
    }
}

#[test]
fn noise_names_baud_and_parity() {
    let fault = Fault::Instead(b"\xb1\xae\x32\xff\n".to_vec());
    let got = ohms(Rig::new(meter().with_fault(2, fault))).run(5000);
    assert!(got.complaints()[0].contains("baud rate or parity"), "{:?}", got.complaints());
}

// F06: T9. The rig fails if a value in the meter's default function is credited.
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
    let text = include_str!("../../profiles/scpi.toml");
    let slow = text.replace("quiet_ms = 60", "quiet_ms = 60\ngap_ms = 25");
    let profile = Profile::parse("slow", &slow).unwrap();
    let sim = with(|f| f.min_gap = Duration::from_millis(20));
    let got = ohms(Rig::new(sim)).run_with(&profile, 5000);
    assert!(got.readings().len() > 30, "{:?}", got.complaints());
    assert_eq!(got.complaints(), [""; 0]);
}

// F09: T10.
#[test]
fn the_deadline_follows_the_integration_time() {
    let text = include_str!("../../profiles/scpi.toml");
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

// F01, F04, F65: T7.
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

// F05: T8.
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

// T20: an hour on a clock set by hand.
#[test]
fn an_hour_of_readings_loses_none() {
    let sim = with(|f| f.reading = Duration::from_secs(1));
    let got = ohms(Rig::new(sim)).run(3_600_000);
    let count = got.readings().len();
    assert!((3500..=3600).contains(&count), "{count} readings");
    assert_eq!(got.complaints(), [""; 0]);
}

// Noise, reads of single bytes and hangups in any mixture. A flipped or lost digit is not among
// the faults: SCPI has nothing to find that by. `FAULT_RUNS=1000` runs the long campaign.
#[test]
fn no_mixture_of_noise_and_hangups_makes_a_wrong_reading() {
    let runs = std::env::var("FAULT_RUNS").ok().and_then(|runs| runs.parse().ok()).unwrap_or(25);
    for seed in 0..runs {
        let faults = Faults {
            noise_permille: [0, 1, 5, 20][seed as usize % 4],
            trickle_permille: [0, 300, 900][seed as usize % 3],
            hangup_permille: u16::from(seed % 5 == 0),
            ..Faults::default()
        };
        let got = Rig::new(meter())
            .measure(300, Function::Resistance, 1)
            .measure(4000, Function::VoltageDc, 2)
            .measure(8000, Function::Resistance, 3)
            .spoilt(faults, seed * 1000)
            .run(20_000);
        let clean = faults.noise_permille == 0;
        assert!(!clean || got.readings().len() > 100, "seed {seed}: {:?}", got.complaints());
        assert_eq!(got.meter.interrupted, 0, "seed {seed}");
    }
}

// F57, F58, F59: reads happen only when an answer is due, and a lost answer costs one reading.
#[test]
fn a_link_of_messages_is_read_only_when_an_answer_is_due() {
    let sim = meter().with_fault(5, Fault::Dropped);
    let got = ohms(Rig::new(sim)).by_messages().order(20_000, Order::Rest).run(30_000);
    assert!(got.readings().len() > 50, "{:?}", got.complaints());
    assert_eq!(got.meter.unterminated, 0);
    assert!(got.end().is_none());
}

// F12: an adapter that hands bytes over every 16 ms sets the pace, and nothing else changes.
#[test]
fn an_adapter_with_a_latency_only_slows_the_readings() {
    let got = ohms(Rig::new(meter())).behind_adapter(Duration::from_millis(16)).run(2000);
    let count = got.readings().len();
    assert!((15..60).contains(&count), "{count}");
    assert_eq!(got.complaints(), [""; 0]);
}

// F26: an adapter's own buffer is emptied after the system's.
#[test]
fn bytes_that_arrive_after_opening_are_drained() {
    for ms in [10, 50, 100, 115] {
        let stale = |sim: &mut MeterSim| sim.blurt(b"+8.88E+00\n+7.7");
        let got = ohms(Rig::new(meter())).act(ms, stale).run(2000);
        assert_eq!(got.readings()[0], (1, 1), "at {ms} ms");
        assert!(got.end().is_none());
    }
}

// F36: opening the port restarts the meter.
#[test]
fn a_meter_that_restarts_when_opened_is_waited_for() {
    let text = include_str!("../../profiles/scpi.toml");
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
