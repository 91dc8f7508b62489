//! Faults of the wire, one after another and mixed: each costs a reading at most, is told, and
//! never becomes a number. The rig checks that no reading is credited to the wrong order.
//! What a fault does to a single line is tested beside the line assembler.

use super::{meter, ohms, with};
use crate::error::DriverError;
use crate::link::Faults;
use crate::meter::{MeterEvent, Order};
use crate::reading::Function;
use crate::testing::{Fault, MeterSim, Rig};
use std::time::Duration;

// F19, F20, F21
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

// F25, F27, F46
#[test]
fn leftovers_of_another_run_do_no_harm() {
    let sim = meter().with_leftovers(b"+9.99E+00\n+8.88", b"MEAS:VO", 40);
    let got = ohms(Rig::new(sim)).run(2000);
    assert!(got.readings().len() > 30);
    assert_eq!(got.readings()[0], (1, 1));
    assert!(got.end().is_none());
}

// F10: The rig fails if any value is credited to the wrong query.
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

// F11: However slowly bytes trickle, the deadline stands.
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

// F16: A line split by the deadline is an error, never a number.
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
