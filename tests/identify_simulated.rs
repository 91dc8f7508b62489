//! Every relay fixture through the whole guide on the simulated bench: the fixture's truth drives
//! both the simulator and the assertion. The named pinout is right, or the part stays undecided
//! and says why; never wrong. `COILMARK_SHOW=1` prints each run's captures.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that cannot go on has failed"
)]

mod guided;

use coilmark::bench::{BenchOptions, Hazard, HazardKind, Part, SlipRates, TruePole};
use coilmark::event::{
    CoilFound, Event, Evidence, FaultCode, Form, IdentifyFinding, Latching, Outcome, Pin,
    PoleFound, RatedVolts,
};
use guided::Led;
use std::collections::BTreeSet;

type Pole = (Form, BTreeSet<BTreeSet<Pin>>, BTreeSet<Pin>);

/// A pole as what can be known of it: for make and break the two sides without order.
fn pole(form: Form, common: &[Pin], nc: &[Pin], no: &[Pin], swapped: bool) -> Pole {
    let set = |pins: &[Pin]| pins.iter().cloned().collect::<BTreeSet<Pin>>();
    let (nc, no) = if swapped { (no, nc) } else { (nc, no) };
    let form = match (form, swapped) {
        (Form::A, true) => Form::B,
        (Form::B, true) => Form::A,
        (form, _) => form,
    };
    match form {
        Form::A => (form, [set(common), set(no)].into(), BTreeSet::new()),
        Form::B => (form, [set(common), set(nc)].into(), BTreeSet::new()),
        Form::C => (form, [set(common), set(nc)].into(), set(no)),
    }
}

fn found(p: &PoleFound) -> Pole {
    pole(p.form, &p.common, &p.nc, &p.no, false)
}

fn truth(p: &TruePole, swapped: bool) -> Pole {
    pole(p.form, &p.common, &p.nc, &p.no, swapped)
}

fn ends(coil: &CoilFound) -> BTreeSet<&Pin> {
    [&coil.plus, &coil.minus].into()
}

/// Holds a finding that says identified against the truth of its part.
fn assert_right(part: &Part, f: &IdentifyFinding) {
    let name = &part.name;
    assert_eq!(f.result, Outcome::Identified, "{name}: {:?}", f.reason);
    let coils: BTreeSet<_> = f.coils.iter().map(ends).collect();
    let true_coils: BTreeSet<_> =
        part.truth.coils.iter().map(|c| BTreeSet::from([&c.plus, &c.minus])).collect();
    assert_eq!(coils, true_coils, "{name}");
    for (coil, truth) in f.coils.iter().flat_map(|c| part.truth.coils.iter().map(move |t| (c, t))) {
        if coil.polarised == Some(true) && ends(coil).contains(&truth.plus) {
            assert!(truth.polarised, "{name}: polarised");
            assert_eq!((&coil.plus, &coil.minus), (&truth.plus, &truth.minus), "{name}");
        }
        assert!(!(coil.polarised == Some(false) && truth.polarised), "{name}: not polarised");
        // What the coil is rated for is among what is plausible; only a share says how sure.
        let rated = |r: &RatedVolts| (r.volts - truth.rated_volts).abs() < 0.1;
        let share = coil.rated_volts.iter().find(|r| rated(r)).map_or(0.0, |r| r.p);
        if ends(coil).contains(&truth.plus) {
            assert!(share > 0.1, "{name}: {} V, found {:?}", truth.rated_volts, coil.rated_volts);
        }
    }
    assert_eq!(f.latching, part.truth.latching, "{name}");
    let poles: BTreeSet<Pole> = f.poles.iter().map(found).collect();
    let wanted =
        |swapped| part.truth.poles.iter().map(|p| truth(p, swapped)).collect::<BTreeSet<_>>();
    let either_way = f.latching != Latching::No && poles == wanted(true);
    assert!(poles == wanted(false) || either_way, "{name}: {poles:?}");
    assert_eq!(f.spares, part.truth.spares, "{name}");
    assert_eq!(f.joined, part.truth.joined, "{name}");
    assert!(f.poles.iter().all(|p| p.evidence == Evidence::Measured), "{name}");
}

fn codes(f: &IdentifyFinding) -> BTreeSet<FaultCode> {
    f.faults.iter().map(|fault| fault.code).collect()
}

fn steady() -> BenchOptions {
    BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() }
}

fn run(name: &str, options: BenchOptions) -> (Part, Led) {
    let (bench, led) = guided::identify(name, options);
    if std::env::var_os("COILMARK_SHOW").is_some() {
        show(&led);
    }
    // A supply at its current limit is what a permitted drive does to a coil of a few ohms.
    let harmful = |h: &Hazard| !h.slipped && h.kind != HazardKind::CurrentLimit;
    let hazards: Vec<_> = bench.hazards().into_iter().filter(harmful).collect();
    assert!(hazards.is_empty(), "{name}: {hazards:?}");
    (guided::part(name), led)
}

fn show(led: &Led) {
    for fact in &led.facts {
        match fact {
            Event::ReadingCaptured(c) => {
                println!(
                    "{} {}-{} {} {}: {:?}",
                    c.touch, c.red, c.black, c.function, c.drive, c.value
                );
            }
            Event::BeliefUpdated(b) => println!(
                "    {:.3} bits, {:?}",
                b.entropy_bits,
                b.candidates.first().map(|c| (c.posterior, &c.family, &c.coils))
            ),
            Event::ResultReached(f) => println!("{f:#?}"),
            other => println!("{other:?}"),
        }
    }
}

macro_rules! identified {
    ($($name:ident)*) => {
        mod is_identified_with_steady_hands {
            $(#[test] fn $name() {
                let (part, led) = super::run(stringify!($name), super::steady());
                super::assert_right(&part, led.finding());
                let faults = part.truth.faults.iter().copied().collect();
                assert_eq!(super::codes(led.finding()), faults);
                assert_eq!(led.exit, 0);
            })*
        }
        mod is_right_or_undecided_with_hands_that_slip {
            $(#[test] fn $name() {
                for seed in 1..=2 {
                    let options = super::BenchOptions { seed, ..super::BenchOptions::default() };
                    let (part, led) = super::run(stringify!($name), options);
                    match led.finding().result {
                        super::Outcome::Identified => super::assert_right(&part, led.finding()),
                        super::Outcome::Undecided => {
                            println!("seed {seed}: undecided, {:?}", led.finding().reason);
                            assert!(led.finding().reason.is_some());
                            assert_eq!(led.exit, 1);
                        }
                    }
                }
            })*
        }
    };
}

identified! {
    break_1_pole changeover_1_pole changeover_1_pole_doubled changeover_1_pole_joined
    changeover_1_pole_labelled changeover_2_pole changeover_2_pole_24_volt changeover_2_pole_diode
    changeover_2_pole_diode_hidden changeover_2_pole_lamp changeover_2_pole_lamp_visible
    changeover_2_pole_spare changeover_3_pole changeover_4_pole changeover_and_break
    fault_high_contact_ohms latching_1_coil latching_1_coil_begins_set latching_2_coils
    latching_2_coils_common_end
    make_1_pole make_2_pole make_3_pole_and_break make_and_break
}

/// A part with a fault: what is sound is named right, and the fault by its code.
fn assert_told_apart(name: &str, identified: bool) {
    let (part, led) = run(name, steady());
    let f = led.finding();
    assert_eq!(f.result == Outcome::Identified, identified, "{name}: {:?}", f.reason);
    let wanted: BTreeSet<FaultCode> = part.truth.faults.iter().copied().collect();
    assert!(codes(f).is_superset(&wanted), "{name}: {:?}", f.faults);
    let wanted: BTreeSet<Pole> = part.truth.poles.iter().map(|p| truth(p, false)).collect();
    let sound = f.poles.iter().filter(|p| wanted.contains(&found(p))).count();
    if identified {
        assert_eq!(sound, part.truth.poles.len() - 1, "{name}: {:?}", f.poles);
    }
}

#[test]
fn a_weld_on_the_break_side_is_told() {
    assert_told_apart("fault_welded_nc", true);
}

#[test]
fn a_weld_on_the_make_side_is_told() {
    assert_told_apart("fault_welded_no", true);
}

#[test]
fn a_make_side_that_never_closes_is_told() {
    assert_told_apart("fault_stuck_open_no", true);
}

#[test]
fn a_break_side_that_never_closes_is_told() {
    assert_told_apart("fault_stuck_open_nc", true);
}

#[test]
fn an_open_coil_is_told() {
    assert_told_apart("fault_open_coil", false);
}

#[test]
fn shorted_turns_are_told() {
    assert_told_apart("fault_shorted_turns", false);
}

#[test]
fn a_part_that_does_not_answer_is_told_before_hands_are_tired() {
    assert_told_apart("fault_no_response", false);
    let (_, led) = run("fault_no_response", steady());
    assert!(led.finding().placements < 28, "{}", led.finding().placements);
}

#[test]
fn a_part_for_more_volts_than_permitted_stays_undecided_with_its_rated_volts() {
    let (_, led) = run("changeover_2_pole_48_volt", steady());
    let f = led.finding();
    assert_eq!((f.result, led.exit), (Outcome::Undecided, 1));
    assert_eq!(codes(f), [FaultCode::NoResponse].into());
    let likeliest = f.coils[0].rated_volts.first().expect("a rated voltage");
    assert_eq!(likeliest.volts, 48.0);
}

#[test]
fn nothing_like_a_relay_is_said_to_be_none() {
    for name in ["not_a_relay_open", "not_a_relay_resistors"] {
        let (_, led) = run(name, steady());
        let f = led.finding();
        assert_eq!((f.result, led.exit), (Outcome::Undecided, 1), "{name}");
    }
    let (_, led) = run("not_a_relay_open", steady());
    assert_eq!(codes(led.finding()), [FaultCode::NotARelay].into());
}
