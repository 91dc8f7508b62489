//! The simulated bench against its own relay files: each shipped part behaves as its file says,
//! measured the way a program would, and bad files are refused with the culprit named.
//! Time is simulated throughout; values from outside name their source beside them.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use coilmark::bench::{Bench, BenchOptions, HazardKind, MeterModel, Part, SlipRates};
use coilmark::event::{Answer, Ask, AskedDrive, DriveState, FaultCode, Pin};
use drivers::{Function, Unit, Value};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::path::{Path, PathBuf};

fn relays() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/relays")
}

fn part(name: &str) -> Part {
    Part::load(&relays().join(format!("{name}.toml"))).unwrap()
}

/// A bench with perfect hands and a perfect meter, but for the leads' resistance.
fn exact(name: &str) -> Bench {
    let options = BenchOptions { noise: 0.0, slips: SlipRates::NONE, ..Default::default() };
    Bench::new(part(name), options)
}

fn place(bench: &Bench, red: &str, black: &str, drive: AskedDrive) {
    let ask = Ask::Place {
        red: Pin::new(red),
        black: Pin::new(black),
        function: Function::Resistance,
        drive,
        why: None,
    };
    assert_eq!(bench.perform(&ask), Answer::Ready);
}

fn drive(bench: &Bench, plus: &str, minus: &str, volts: f64) {
    let drive = DriveState::Energised { plus: Pin::new(plus), minus: Pin::new(minus), volts };
    assert_eq!(bench.perform(&Ask::Drive(drive)), Answer::Ready);
}

fn rest(bench: &Bench) {
    assert_eq!(bench.perform(&Ask::Drive(DriveState::Rest)), Answer::Ready);
}

fn ohms(bench: &Bench, red: &str, black: &str) -> Option<f64> {
    place(bench, red, black, AskedDrive::Rest);
    let (value, unit) = bench.read(Function::Resistance);
    assert_eq!(unit, Unit::Ohm);
    value.number()
}

/// Ohms while driven.
fn driven_ohms(bench: &Bench, red: &str, black: &str) -> Option<f64> {
    place(bench, red, black, AskedDrive::Energised);
    bench.read(Function::Resistance).0.number()
}

fn near(found: Option<f64>, expected: f64, absolute: f64) {
    let found = found.unwrap_or(f64::INFINITY);
    assert!((found - expected).abs() < absolute, "found {found}, expected {expected}");
}

#[test]
fn every_shipped_relay_file_loads_and_its_truth_agrees() {
    let mut count = 0;
    for entry in std::fs::read_dir(relays()).unwrap() {
        let path = entry.unwrap().path();
        let part = Part::load(&path).unwrap();
        assert!(!part.name.is_empty(), "{path:?}");
        count += 1;
    }
    assert!(count >= 30, "{count} relay files");
}

#[test]
fn contacts_change_over_at_pick_up_and_return_at_drop_out() {
    let bench = exact("changeover_2_pole");
    let state = |bench: &Bench| {
        let closed = |pins: (&str, &str)| {
            place(bench, pins.0, pins.1, AskedDrive::Energised);
            bench.read(Function::Continuity).0.number().is_some_and(|r| r < 1.0)
        };
        [closed(("2", "3")), closed(("2", "4")), closed(("6", "7")), closed(("6", "8"))]
    };
    let (off, on) = ([true, false, true, false], [false, true, false, true]);
    // Pick-up 7.8 V, drop-out 3 V: hysteresis between them.
    for (volts, expected) in
        [(7.7, off), (7.9, on), (7.7, on), (3.1, on), (2.9, off), (5.0, off), (-12.0, on)]
    {
        drive(&bench, "1", "5", volts);
        assert_eq!(state(&bench), expected, "at {volts} V");
    }
    rest(&bench);
    place(&bench, "2", "3", AskedDrive::Rest);
    near(bench.read(Function::Resistance).0.number(), 0.25, 0.15);
}

#[test]
fn every_pole_of_every_sound_part_is_as_its_truth_says() {
    for entry in std::fs::read_dir(relays()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap();
        let truth = part(name).truth;
        let sound = truth.faults.is_empty() || truth.faults == [FaultCode::HighContactOhms];
        if !sound || name.contains("48_volt") || name.contains("begins_set") {
            continue;
        }
        let bench = exact(name);
        for set in [false, true] {
            for pole in &truth.poles {
                for (throw, when) in [(&pole.nc, false), (&pole.no, true)] {
                    for (a, b) in pole.common.iter().flat_map(|a| throw.iter().map(move |b| (a, b)))
                    {
                        place(&bench, a.label(), b.label(), AskedDrive::Rest);
                        let (value, _) = bench.read(Function::Resistance);
                        assert_eq!(value.number().is_some(), set == when, "{name}: {a}-{b}");
                    }
                }
            }
            let coil = &truth.coils[0];
            if !set {
                bench.lift();
                drive(&bench, coil.plus.label(), coil.minus.label(), coil.rated_volts);
            }
        }
    }
}

#[test]
fn an_ohmmeter_across_a_coil_with_a_diode_sees_it_one_way_round() {
    // ngspice 39 and closed form: 1600 ohm with a diode, 1 mA forward 641.86 ohm, else 1600.
    let bench = exact("changeover_2_pole_diode");
    near(ohms(&bench, "1", "5"), 641.856 + 0.2, 0.11);
    near(ohms(&bench, "5", "1"), 1600.0 + 0.2, 0.11);
    let volts = bench.read(Function::Diode).0;
    near(volts.number(), 1.6, 0.001);
    // 1 mA through 360 ohm is 0.36 V: a silicon diode stays dark (0.6 V, from memory).
    let hidden = exact("changeover_2_pole_diode_hidden");
    near(ohms(&hidden, "5", "1"), 360.0 + 0.2, 0.11);
}

#[test]
fn a_lamp_shows_only_where_its_coil_lets_the_voltage_rise() {
    let visible = exact("changeover_2_pole_lamp_visible");
    let forward = ohms(&visible, "5", "1").unwrap();
    let backward = ohms(&visible, "1", "5").unwrap();
    assert!(backward - forward > 30.0, "{forward} {backward}");
    let dark = exact("changeover_2_pole_lamp");
    near(ohms(&dark, "1", "5"), 360.0 + 0.2, 0.11);
}

#[test]
fn a_mesh_of_resistors_reads_as_a_mesh() {
    // networkx 3.6.1 resistance_distance, plus the leads' 0.1 to 0.3 ohm.
    let bench = exact("not_a_relay_resistors");
    near(ohms(&bench, "1", "4"), 3776.974747 + 0.2, 0.2);
    near(ohms(&bench, "1", "3"), 1788.725449 + 0.2, 0.2);
    near(ohms(&bench, "2", "4"), 3282.884108 + 0.2, 0.2);
    near(ohms(&bench, "1", "2"), 868.208486 + 0.2, 0.2);
}

#[test]
fn copper_reads_more_when_warm() {
    // IEC 60028: 0.00393 per kelvin, so 360 ohm at 20 degrees is 388.296 ohm at 40.
    let options =
        BenchOptions { noise: 0.0, slips: SlipRates::NONE, celsius: 40.0, ..Default::default() };
    let bench = Bench::new(part("changeover_2_pole"), options);
    near(ohms(&bench, "1", "5"), 388.296 + 0.2, 0.11);
}

#[test]
fn latching_parts_stay_where_the_last_pulse_put_them() {
    let bench = exact("latching_1_coil");
    for (plus, minus, set) in [("1", "5", true), ("1", "5", true), ("5", "1", false)] {
        drive(&bench, plus, minus, 12.0);
        rest(&bench);
        assert_eq!(bench.armature_set(), set);
        assert_eq!(ohms(&bench, "2", "4").is_some(), set);
    }
    let bench = exact("latching_2_coils");
    for (plus, minus, set) in [("6", "1", true), ("5", "10", false), ("1", "6", true)] {
        drive(&bench, plus, minus, 12.0);
        rest(&bench);
        assert_eq!(ohms(&bench, "3", "4").is_some(), set);
    }
    assert!(exact("latching_1_coil_begins_set").armature_set());
}

#[test]
fn each_fault_shows_as_it_would() {
    let welded = exact("fault_welded_no");
    near(ohms(&welded, "6", "8"), 0.25, 0.15);
    assert_eq!(ohms(&welded, "6", "7"), None, "the blade is held");
    near(ohms(&exact("fault_high_contact_ohms"), "2", "3"), 0.25, 0.15);
    let high = exact("fault_high_contact_ohms");
    drive(&high, "1", "5", 12.0);
    near(driven_ohms(&high, "2", "4"), 7.2, 0.15);
    assert_eq!(ohms(&exact("fault_open_coil"), "1", "5"), None);
    near(ohms(&exact("fault_shorted_turns"), "1", "5"), 9.2, 0.15);
    let dead = exact("fault_stuck_open_no");
    drive(&dead, "1", "5", 12.0);
    assert_eq!(driven_ohms(&dead, "2", "4"), None);
    near(driven_ohms(&dead, "6", "8"), 0.25, 0.15);
    let stuck = exact("fault_no_response");
    drive(&stuck, "1", "5", 12.0);
    near(driven_ohms(&stuck, "2", "3"), 0.25, 0.15);
}

#[test]
fn open_pins_read_overload_and_no_volts() {
    let bench = exact("not_a_relay_open");
    place(&bench, "1", "2", AskedDrive::Rest);
    for function in [Function::Resistance, Function::Continuity, Function::Diode] {
        assert_eq!(bench.read(function).0, Value::Overload, "{function}");
    }
    assert_eq!(bench.read(Function::VoltageDc), (Value::Number(0.0), Unit::Volt));
}

#[test]
fn volts_across_a_driven_coil_are_the_drive() {
    let bench = exact("changeover_2_pole");
    drive(&bench, "1", "5", 12.0);
    place(&bench, "5", "1", AskedDrive::Energised);
    near(bench.read(Function::VoltageDc).0.number(), -11.998, 0.002);
    assert!(bench.hazards().is_empty());
}

#[test]
fn ohms_on_a_driven_coil_is_nonsense_and_a_hazard_once_per_touch() {
    let bench = exact("changeover_2_pole");
    drive(&bench, "1", "5", 5.0);
    let nonsense = |bench: &Bench| {
        place(bench, "1", "5", AskedDrive::Energised);
        for _ in 0..3 {
            bench.read(Function::Resistance);
        }
        bench.read(Function::Resistance).0
    };
    let at_5 = nonsense(&bench);
    assert_eq!(bench.hazards().len(), 1);
    assert_eq!(bench.hazards()[0].kind, HazardKind::OhmsOnLive);
    assert!((bench.hazards()[0].amount - 5.0).abs() < 0.01);
    drive(&bench, "1", "5", 9.0);
    assert_eq!(bench.hazards()[1].kind, HazardKind::DriveIntoOhms);
    let at_9 = nonsense(&bench);
    assert_eq!(bench.hazards().len(), 3);
    assert_ne!(at_5, at_9);
    assert!(at_5.number().is_none_or(|r| (r - 360.0).abs() > 100.0), "{at_5:?}");
}

#[test]
fn drives_above_the_limits_are_hazards() {
    let bench = exact("changeover_2_pole_48_volt");
    drive(&bench, "1", "5", 24.0);
    assert!(bench.hazards().is_empty());
    drive(&bench, "1", "5", 48.0);
    let kinds = |bench: &Bench| bench.hazards().iter().map(|h| h.kind).collect::<Vec<_>>();
    assert_eq!(kinds(&bench), [HazardKind::AboveVolts]);
    let bench = exact("make_1_pole");
    drive(&bench, "1", "4", 19.0);
    assert!(bench.hazards().is_empty(), "2.888 W is allowed");
    drive(&bench, "1", "4", 20.0);
    assert_eq!(kinds(&bench), [HazardKind::AboveWatts]);
    let bench = exact("changeover_2_pole_diode");
    drive(&bench, "1", "5", 5.0);
    assert_eq!(kinds(&bench), [HazardKind::CurrentLimit], "the diode conducts");
    assert!(!bench.armature_set());
}

#[test]
fn a_placement_under_another_drive_than_asked_is_a_hazard() {
    let bench = exact("changeover_2_pole");
    place(&bench, "2", "3", AskedDrive::Energised);
    assert_eq!(bench.hazards()[0].kind, HazardKind::DriveMismatch);
}

#[test]
fn what_hands_cannot_do_they_skip() {
    let options = BenchOptions {
        unreachable: vec![[Pin::new("2"), Pin::new("3")]],
        cannot_drive: true,
        ..Default::default()
    };
    let bench = Bench::new(part("changeover_2_pole"), options);
    let ask = |red: &str, black: &str| Ask::Place {
        red: Pin::new(red),
        black: Pin::new(black),
        function: Function::Resistance,
        drive: AskedDrive::Rest,
        why: None,
    };
    assert_eq!(bench.perform(&ask("3", "2")), Answer::Skip);
    assert_eq!(bench.perform(&ask("3", "99")), Answer::Skip);
    assert_eq!(bench.perform(&ask("3", "4")), Answer::Ready);
    let drive = DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("5"), volts: 5.0 };
    assert_eq!(bench.perform(&Ask::Drive(drive)), Answer::Skip);
}

#[test]
fn a_slip_lasts_as_long_as_the_touch() {
    let slips = SlipRates { no_contact: 0.5, bridge: 0.0, ..SlipRates::NONE };
    let options = BenchOptions { slips, ..Default::default() };
    let bench = Bench::new(part("changeover_2_pole"), options);
    let mut seen = [0; 2];
    for _ in 0..40 {
        place(&bench, "2", "3", AskedDrive::Rest);
        let open = bench.read(Function::Resistance).0.is_overload();
        seen[usize::from(open)] += 1;
        for _ in 0..5 {
            assert_eq!(bench.read(Function::Resistance).0.is_overload(), open);
        }
    }
    assert!(seen[0] > 5 && seen[1] > 5, "{seen:?}");
}

#[test]
fn the_same_seed_reads_the_same_and_another_does_not() {
    let run = |seed| {
        let options = BenchOptions { seed, ..Default::default() };
        let bench = Bench::new(part("changeover_2_pole"), options);
        (0..50)
            .map(|_| {
                place(&bench, "1", "5", AskedDrive::Rest);
                format!("{:?}", bench.read(Function::Resistance))
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(run(5), run(5));
    assert_ne!(run(5), run(6));
}

#[test]
fn noise_spreads_readings_as_the_model_says() {
    let bench = Bench::new(
        part("changeover_2_pole"),
        BenchOptions { slips: SlipRates::NONE, ..Default::default() },
    );
    place(&bench, "1", "5", AskedDrive::Rest);
    let readings: Vec<f64> =
        (0..2000).filter_map(|_| bench.read(Function::Resistance).0.number()).collect();
    let mean = readings.iter().sum::<f64>() / 2000.0;
    let variance = readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / 1999.0;
    // Two counts of 2 kohm / 200 000, and the rounding to counts: sqrt(2^2 + 1/12) counts.
    near(Some(variance.sqrt()), 0.0202, 0.0015);
}

#[test]
fn a_supply_that_cannot_go_so_high_is_skipped_and_the_ask_still_counts() {
    let bench = exact("changeover_2_pole");
    for volts in [61.0, 1e308, f64::INFINITY, f64::NAN] {
        let drive = DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("5"), volts };
        assert_eq!(bench.perform(&Ask::Drive(drive)), Answer::Skip, "{volts}");
    }
    assert_eq!(bench.hazards().len(), 3);
    assert!(!bench.armature_set());
}

#[test]
fn the_published_schema_fits_every_shipped_file_and_no_misspelt_one() {
    let schema = serde_json::to_value(Part::schema()).unwrap();
    let schema = jsonschema::validator_for(&schema).unwrap();
    let mut seen = 0;
    for entry in std::fs::read_dir(relays()).unwrap() {
        let path = entry.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        let mut file: serde_json::Value = toml::from_str(&text).unwrap();
        assert!(schema.is_valid(&file), "{path:?}");
        file["pinz"] = 3.into();
        assert!(!schema.is_valid(&file), "{path:?}");
        seen += 1;
    }
    assert!(seen >= 30);
}

#[test]
fn no_text_makes_the_reader_panic() {
    // Every shipped file, cut and with one byte changed, in seeded places.
    let mut chance = Pcg64::seed_from_u64(1);
    let mut refused = 0;
    for entry in std::fs::read_dir(relays()).unwrap() {
        let text = std::fs::read(entry.unwrap().path()).unwrap();
        for _ in 0..60 {
            let mut bytes = text.clone();
            let at = chance.random_range(0..bytes.len());
            bytes[at] = chance.random();
            if chance.random_bool(0.2) {
                bytes.truncate(at);
            }
            if let Err(bad) = Part::parse(&String::from_utf8_lossy(&bytes), "r.toml") {
                assert!(!bad.to_string().contains(['\u{1b}', '\n', '\0']), "{bad}");
                refused += 1;
            }
        }
    }
    assert!(refused > 500, "{refused}");
}

#[test]
fn a_reading_stays_within_the_accuracy_of_its_meter() {
    for seed in 0..40 {
        let options = BenchOptions {
            seed,
            slips: SlipRates::NONE,
            meter: MeterModel::free_running(),
            ..Default::default()
        };
        let bench = Bench::new(part("changeover_2_pole"), options);
        // 0.8 % and 3 counts of 0.1 ohm, five deviations of noise, leads up to 0.3 ohm.
        near(ohms(&bench, "1", "5"), 360.2, 2.88 + 0.3 + 0.15 + 0.15);
    }
}

#[test]
fn bad_relay_files_name_file_line_key_and_remedy() {
    let good = std::fs::read_to_string(relays().join("changeover_1_pole.toml")).unwrap();
    let cases = [
        ("rated_volts", "rated_volt", "rated_volts", "rated_volt", "did you mean `rated_volts`?"),
        ("nc = [\"4\"]", "nc = [\"9\"]", "nc =", "`contact.nc`: no pin `9`", "1, 2, 3, 4, 5"),
        ("nc = [\"4\"]", "", "pins = 5", "pin 4 has no place", "spares"),
        ("ohms = 360.0", "ohms = -1.0", "ohms =", "`coil.ohms`: -1 is out of range", "above 0"),
        ("\"1C\"", "\"2C\"", "family", "`truth.family`: the model has `1C`", "correct"),
        ("no = [\"3\"]", "no = [\"3\", \"4\"]", "pins = 5", "pin 4 is in two contacts", ""),
        ("no = ", "noo = ", "no =", "unknown field", "did you mean `no`?"),
        ("pins = 5", "pins = 99", "pins = 5", "`pins`: 99 pins", "pins = 8"),
        ("pins = 5", "pins = ", "pins = 5", "", ""),
        ("360.0", "\"many\"", "ohms =", "invalid type", ""),
    ];
    for (from, to, on_the_line_of, problem, hint) in cases {
        let text = good.replacen(from, to, 1);
        assert_ne!(text, good, "{from}");
        let line = good.lines().position(|l| l.starts_with(on_the_line_of)).unwrap() + 1;
        let bad = Part::parse(&text, "r.toml").unwrap_err();
        assert!(bad.to_string().starts_with("r.toml:"), "{bad}");
        assert!(bad.to_string().contains(problem), "{bad}: {problem}");
        assert!(bad.hint.contains(hint), "{}: {hint}", bad.hint);
        assert_eq!(bad.line, Some(line), "{bad}");
    }
}
