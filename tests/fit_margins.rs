//! Claims about fitting a relay to an output: worst case, linear propagation and seeded chance
//! agree within stated bounds, a worse condition never helps, and what is not known makes a verdict
//! undecided, never wrong. Circuits and coils are invented, unless a source is named.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

use coilmark::event::{FitCheck, FitCode, FitFinding, Origin, Verdict};
use coilmark::fit::{Fit, Material, RawAir, RawCable, RawCoil, RawContact, RawFit, RawOutput};

/// A gate opener's 12 V beacon output, 50 m of 0.5 mm2 away from a 400 ohm coil that was measured.
fn known() -> RawFit {
    RawFit {
        output: RawOutput {
            volts_min: Some(12.6),
            volts: Some(12.9),
            volts_max: Some(13.8),
            rest_volts: Some(0.02),
            source_ohms: Some(1.5),
            siren_amps: Some(0.5),
            battery_floor_volts: Some(11.0),
            battery_volts: Some(13.2),
            amps_max: Some(1.0),
            origin: Origin::Stated,
            ..RawOutput::default()
        },
        coil: RawCoil {
            ohms: Some(400.0),
            ohms_u: Some(2.0),
            rated_volts: Some(12.0),
            pick_up_volts: Some(7.2),
            drop_out_volts: Some(2.1),
            volts_max: Some(15.6),
            henries: Some(0.6),
            ..RawCoil::default()
        },
        cable: RawCable { length_m: Some(50.0), mm2: Some(0.5), ..RawCable::default() },
        air: RawAir {
            ambient_celsius: Some(40.0),
            ambient_celsius_min: Some(-10.0),
            coil_celsius_max: Some(70.0),
        },
        ..RawFit::default()
    }
}

fn fit(raw: &RawFit) -> Fit {
    raw.check().unwrap_or_else(|bad| panic!("{bad}; hint: {}", bad.hint()))
}

fn judge(raw: &RawFit) -> FitFinding {
    fit(raw).judge()
}

fn of(finding: &FitFinding, code: FitCode) -> &FitCheck {
    finding.checks.iter().find(|check| check.code == code).expect("this check is made")
}

/// With everything exactly known, the circuit of the ngspice netlist `coil_cable_sag.cir`.
fn as_in_ngspice() -> RawFit {
    let mut raw = known();
    raw.output = RawOutput {
        volts_min: Some(12.0),
        volts: Some(12.0),
        volts_max: Some(12.0),
        percent: Some(0.0),
        source_ohms: Some(1.5),
        siren_amps: Some(0.5),
        battery_floor_volts: Some(10.5),
        battery_volts: Some(12.0),
        origin: Origin::Stated,
        ..RawOutput::default()
    };
    raw.coil.ohms_u = Some(0.0);
    raw.cable = RawCable { ohms: Some(8.42), celsius: Some(20.0), ..RawCable::default() };
    raw.air.ambient_celsius = Some(20.0);
    raw.air.ambient_celsius_min = Some(20.0);
    raw
}

#[test]
fn the_worst_case_is_the_circuit_that_ngspice_solves() {
    // ngspice 39: 10.5 V behind 1.5 ohm, 24 ohm siren, 8.42 ohm cable, coil of 478.6 ohm (400 ohm
    // at 70 C by IEC 60028): 9.6834 V and 20.23 mA.
    let finding = judge(&as_in_ngspice());
    let hot = 400.0 * (1.0 + 0.00393 * 50.0);
    assert!((hot - 478.6_f64).abs() < 1e-9);
    assert!((finding.coil_volts_min / 9.683_428_596_2 - 1.0).abs() < 1e-9, "{finding:#?}");
    assert!((finding.coil_amps_min / 0.020_232_821_973 - 1.0).abs() < 1e-9);
    // 12 V, no siren, 400 ohm: 11.7096 V.
    assert!((finding.coil_volts_max / 11.709_601_874 - 1.0).abs() < 1e-9);
    // Pick-up of 7.2 V at 20 C is 7.2 x 1.1965 = 8.6148 V at 70 C.
    let check = of(&finding, FitCode::PickUpHot);
    assert!((check.limit - 8.6148).abs() < 1e-9, "{check:?}");
    assert!(check.numbers.contains("9.683 V") && check.numbers.contains("8.615 V"), "{check:?}");
}

#[test]
fn a_relay_with_room_passes_and_says_by_how_much() {
    let finding = judge(&known());
    assert_eq!(finding.result, Verdict::Pass, "{finding:#?}");
    assert_eq!(finding.probability, 1.0);
    for check in &finding.checks {
        assert!(check.margin_low <= check.margin && check.margin <= check.margin_high, "{check:?}");
        assert!(!check.formula.is_empty() && !check.numbers.is_empty());
    }
    let smallest = finding.checks.iter().map(|c| c.margin_percent).fold(f64::INFINITY, f64::min);
    assert_eq!(finding.margin_percent, smallest);
    assert!(finding.reason.contains("smallest margin"), "{}", finding.reason);
}

#[test]
fn a_low_battery_and_a_hot_coil_make_the_same_relay_fail() {
    let mut raw = known();
    raw.output.battery_floor_volts = Some(9.0);
    let finding = judge(&raw);
    assert_eq!(finding.result, Verdict::Fail, "{finding:#?}");
    let check = of(&finding, FitCode::PickUpHot);
    assert_eq!(check.verdict, Verdict::Fail);
    assert!(check.margin_high < 0.0 && check.probability == 0.0, "{check:?}");
    assert!(finding.reason.starts_with("not kept: it pulls in when hot"), "{}", finding.reason);
}

#[test]
fn between_the_two_it_is_undecided() {
    let mut raw = known();
    raw.output.battery_floor_volts = Some(9.6);
    let finding = judge(&raw);
    let check = of(&finding, FitCode::PickUpHot);
    assert_eq!(check.verdict, Verdict::Undecided, "{check:?}");
    assert!(check.margin_low < 0.0 && check.margin_high > 0.0);
    assert!(check.probability > 0.0 && check.probability < 1.0, "{check:?}");
    assert_eq!(finding.result, Verdict::Undecided);
}

#[test]
fn worst_case_propagation_and_chance_agree() {
    for floor in [9.0, 9.6, 11.0] {
        let mut raw = known();
        raw.output.battery_floor_volts = Some(floor);
        raw.draws = Some(40_000);
        raw.seed = 11;
        let fit = fit(&raw);
        let finding = fit.judge();
        for code in [FitCode::PickUpHot, FitCode::MaximumCold, FitCode::Release] {
            let check = of(&finding, code);
            let (nominal, u) = fit.propagated(code).unwrap();
            let margins = fit.margins(code);
            let n = margins.len() as f64;
            let mean = margins.iter().sum::<f64>() / n;
            let sd = (margins.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / n).sqrt();
            let least = margins.iter().copied().fold(f64::INFINITY, f64::min);
            let most = margins.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            // No draw leaves the corners, and the draws fill at least half of what is between them.
            assert!(least >= check.margin_low && most <= check.margin_high, "{code:?}: {check:?}");
            let filled = (most - least) / (check.margin_high - check.margin_low);
            assert!(filled > 0.5, "{code:?}: {filled}");
            // Their spread is that of linear propagation, within a tenth and its own chance.
            assert!((sd / u - 1.0).abs() < 0.1, "{code:?}: sd {sd}, u {u}");
            // Ranges that are not centred (an allowed maximum) move the mean off the nominal by
            // less than the half range of all.
            let middle = f64::midpoint(check.margin_low, check.margin_high);
            assert!((mean - middle).abs() < u, "{code:?}: mean {mean}, middle {middle}");
            assert_eq!(nominal, check.margin);
            let share = margins.iter().filter(|m| **m >= 0.0).count() as f64 / n;
            assert_eq!(share, check.probability);
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_finding() {
    assert_eq!(judge(&known()), judge(&known()));
}

#[test]
fn a_worse_condition_never_helps() {
    type Change = fn(&mut RawFit);
    let worse: [(&str, Change, FitCode); 9] = [
        ("longer cable", |r| r.cable.length_m = Some(150.0), FitCode::PickUpHot),
        (
            "thinner cable",
            |r| (r.cable.mm2, r.cable.length_m) = (Some(0.22), Some(50.0)),
            FitCode::PickUpHot,
        ),
        ("warmer cable", |r| r.cable.celsius = Some(80.0), FitCode::PickUpHot),
        ("hotter coil", |r| r.air.coil_celsius_max = Some(95.0), FitCode::PickUpHot),
        ("larger siren", |r| r.output.siren_amps = Some(1.2), FitCode::PickUpHot),
        ("lower battery", |r| r.output.battery_floor_volts = Some(10.5), FitCode::PickUpHot),
        ("higher charger", |r| r.output.volts_max = Some(14.9), FitCode::MaximumCold),
        ("more leakage", |r| r.output.rest_volts = Some(0.9), FitCode::Release),
        ("colder coil", |r| r.air.ambient_celsius_min = Some(-30.0), FitCode::Release),
    ];
    let before = judge(&known());
    for (what, change, code) in worse {
        let mut raw = known();
        change(&mut raw);
        let after = judge(&raw);
        let (was, is) = (of(&before, code), of(&after, code));
        assert!(is.margin < was.margin, "{what}: {} then {}", was.margin, is.margin);
        assert!(is.margin_low < was.margin_low, "{what}");
    }
}

#[test]
fn an_unknown_rating_widens_every_limit_and_never_decides_alone() {
    let mut raw = known();
    raw.coil = RawCoil { ohms: Some(1440.0), ohms_u: Some(5.0), ..RawCoil::default() };
    let finding = judge(&raw);
    // 1440 ohm suits 12, 24 and 48 V parts: nothing says whether 11 V will do.
    assert_eq!(of(&finding, FitCode::PickUpHot).verdict, Verdict::Undecided, "{finding:#?}");
    assert!(finding.assumptions.iter().any(|a| a.contains("rated volts are not known")));
    // What it was seen to do at the bench narrows it.
    raw.coil.moved_at_volts = Some(6.0);
    raw.coil.still_at_volts = Some(5.0);
    let check = judge(&raw);
    assert_eq!(of(&check, FitCode::PickUpHot).verdict, Verdict::Pass, "{check:#?}");
}

#[test]
fn a_pulsed_output_wants_a_capacitor_and_that_capacitor_then_holds() {
    let mut raw = known();
    raw.output.period_s = Some(1.0);
    raw.output.duty = Some(0.5);
    let finding = judge(&raw);
    let check = of(&finding, FitCode::HoldThroughGap);
    assert_eq!(check.verdict, Verdict::Fail, "{check:?}");
    let hold_up = finding.hold_up.expect("a capacitor is named");
    assert!(!hold_up.fitted && hold_up.microfarads >= hold_up.microfarads_min / 0.8);
    assert!(hold_up.microfarads < 3_500.0, "{hold_up:?}");
    assert_eq!(hold_up.capacitor_volts, 16.0);
    assert!(hold_up.inrush_amps > 1.0 && hold_up.series_ohms > 0.0, "{hold_up:?}");
    assert!(hold_up.release_s_max > hold_up.gap_s, "{hold_up:?}");

    raw.hold_up_microfarads = Some(hold_up.microfarads);
    let held = judge(&raw);
    assert_eq!(of(&held, FitCode::HoldThroughGap).verdict, Verdict::Pass, "{held:#?}");
    // The diode that feeds it takes its drop from the coil.
    let drop = of(&finding, FitCode::PickUpHot).value - of(&held, FitCode::PickUpHot).value;
    assert!(drop > 0.6 && drop < 0.8, "{drop}");
    // The next smaller usual value does not hold over the whole range.
    raw.hold_up_microfarads = Some(hold_up.microfarads_min * 0.9);
    assert_ne!(of(&judge(&raw), FitCode::HoldThroughGap).verdict, Verdict::Pass);
}

#[test]
fn the_steady_state_of_a_pulsed_capacitor_is_what_ngspice_says() {
    // ngspice 39, holdup_cap.cir: 12 V behind 1 ohm and a diode that drops 0.665 V at 28 mA, 0.5 s
    // on, 0.5 s off, 1000 uF, 400 ohm: 3.2401 V 0.4999 s into the gap.
    let mut raw = as_in_ngspice();
    raw.output.source_ohms = Some(1.0);
    raw.output.siren_amps = None;
    raw.output.battery_floor_volts = None;
    raw.output.battery_volts = None;
    raw.output.period_s = Some(1.0);
    raw.output.duty = Some(0.5);
    raw.cable = RawCable::default();
    raw.air.coil_celsius_max = Some(20.0);
    raw.hold_up_microfarads = Some(1000.0);
    let check = judge(&raw);
    let check = of(&check, FitCode::HoldThroughGap);
    let expected = 3.240_065 * (-0.0001_f64 / 0.4).exp() * (12.0 - 0.7) / (12.0 - 0.665);
    assert!((check.value / expected - 1.0).abs() < 1e-3, "{} {expected}", check.value);
}

#[test]
fn a_loop_of_milliamperes_wants_gold() {
    // 12 V through 4k7 with 3k3 carries 1.5 mA; AgNi wants 10 mA at 5 V, with 5 um of gold 5 mA (a
    // relay's data sheet), 10 um of gold 1 mA (a table of materials).
    let with = |material: Option<Material>| {
        let mut raw = known();
        raw.contact = RawContact { loop_milliamps: Some(1.5), material };
        of(&judge(&raw), FitCode::WettingCurrent).verdict
    };
    assert_eq!(with(Some(Material::Silver)), Verdict::Fail);
    assert_eq!(with(Some(Material::GoldFlashed)), Verdict::Fail);
    assert_eq!(with(Some(Material::Gold)), Verdict::Pass);
    assert_eq!(with(None), Verdict::Undecided);
}

#[test]
fn a_faster_release_costs_volts_at_the_switch() {
    let finding = judge(&known());
    let ways: Vec<(f64, f64)> =
        finding.suppression.iter().filter_map(|way| way.clamp_volts.zip(way.release_ms)).collect();
    assert_eq!(ways.len(), 3, "{:#?}", finding.suppression);
    for pair in ways.windows(2) {
        assert!(pair[1].0 > pair[0].0 && pair[1].1 < pair[0].1, "{pair:?}");
    }
    assert!(finding.suppression[1].fit.contains("cathode) at A1 (+)"));
    let mut raw = known();
    raw.coil.polarised = Some(true);
    let fitted = judge(&raw).suppression;
    assert_eq!(fitted.len(), 1);
    assert!(fitted[0].fit.contains("has its own"), "{fitted:?}");
}

#[test]
fn what_cannot_be_is_named_with_its_flag() {
    type Change = fn(&mut RawFit);
    let wrong: [(Change, &str); 12] = [
        (|r| r.output.volts_min = None, "lowest volts in alarm"),
        (|r| r.output.volts_min = Some(f64::NAN), "--output-volts-min"),
        (|r| r.output.volts_max = Some(3.0), "--output-volts-max"),
        (|r| r.output.source_ohms = Some(-1.0), "--source-ohms"),
        (|r| r.output.period_s = Some(1.0), "period and its duty"),
        (|r| r.output.battery_volts = Some(9.0), "--battery-volts"),
        (|r| r.coil.ohms = None, "resistance is not known"),
        (|r| r.coil.drop_out_volts = Some(9.0), "--drop-out-volts"),
        (|r| r.cable.mm2 = Some(0.6), "0.6 mm2"),
        (|r| r.cable.awg = Some(24), "half stated, or twice"),
        (|r| r.air.ambient_celsius_min = Some(55.0), "--ambient-celsius-min"),
        (|r| r.draws = Some(1), "--draws"),
    ];
    for (change, expected) in wrong {
        let mut raw = known();
        change(&mut raw);
        let bad = raw.check().expect_err(expected);
        assert!(bad.to_string().contains(expected), "{bad}, expected {expected}");
        assert!(!bad.hint().is_empty());
    }
}

#[test]
fn everything_taken_for_granted_is_said() {
    let raw = RawFit {
        output: RawOutput { volts_min: Some(12.4), ..RawOutput::default() },
        coil: RawCoil { ohms: Some(330.0), ..RawCoil::default() },
        ..RawFit::default()
    };
    let finding = judge(&raw);
    let said = finding.assumptions.join("\n");
    for word in [
        "no warmer than 40",
        "charger",
        "source resistance",
        "No cable",
        "No floor",
        "siren",
        "rated volts",
        "Pick-up is not known",
        "Drop-out is not known",
        "110 %",
        "1.5 ms",
    ] {
        assert!(said.to_lowercase().contains(&word.to_lowercase()), "{word}:\n{said}");
    }
    assert_eq!(finding.result, Verdict::Undecided);
}
