//! Plans: the shipped ones hold, a plan made from an identified relay holds and is what its finding
//! says, the schema lets both through, and what makes no sense is refused with the key that says
//! it. The words of the command line are held here too, through the real program.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod boarded;
mod guided;

use boarded::plan;
use coilmark::bench::BenchOptions;
use coilmark::board::{Plan, Wanted, from_identified};
use coilmark::event::{BoardPlan, Pin};

#[test]
fn the_shipped_plans_hold_and_stand_in_their_schema() {
    let schema = serde_json::to_value(schemars::schema_for!(BoardPlan)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (name, text) in coilmark::board::BUILT_IN {
        let written: BoardPlan = toml::from_str(text).unwrap();
        let plan = Plan::new(written.clone()).unwrap_or_else(|bad| panic!("{name}: {bad}"));
        assert!(plan.checks.len() > 8, "{name}");
        assert!(validator.is_valid(&serde_json::to_value(&written).unwrap()), "{name}");
        let again: BoardPlan = toml::from_str(&toml::to_string(&written).unwrap()).unwrap();
        assert_eq!(again, written, "{name}");
    }
}

#[test]
fn a_plan_that_makes_no_sense_is_refused_by_its_key() {
    type Spoil = fn(&mut BoardPlan);
    let spoilt: [(Spoil, &str); 12] = [
        (|p| p.supply.plus = Pin::new("X"), "supply.plus"),
        (|p| p.supply.minus = p.supply.plus.clone(), "supply.minus"),
        (|p| p.supply.volts = 230.0, "supply.volts"),
        (|p| p.supply.volts = f64::NAN, "supply.volts"),
        (|p| p.supply.must_operate_volts = Some(13.0), "supply.must_operate_volts"),
        (|p| p.supply.drop_out_volts = Some(9.7), "supply.drop_out_volts"),
        (|p| p.supply.drop_out_volts = None, "step 5"),
        (|p| p.decision.coverage = 1.0, "decision.coverage"),
        (|p| p.decision.false_accept = Some(0.05), "decision.false_accept"),
        (|p| p.contact[0].no = Some(Pin::new("IN+")), "contact 1"),
        (|p| p.contact.clear(), "step 2"),
        (|p| drop(p.step.remove(0)), "step"),
    ];
    for (i, (spoil, key)) in spoilt.into_iter().enumerate() {
        let mut written = plan("changeover-12v");
        spoil(&mut written);
        let bad = Plan::new(written).expect_err(&format!("case {i}"));
        assert_eq!(bad.key, key, "case {i}: {bad}");
    }
}

// Found by fuzzing.
#[test]
fn a_pin_with_a_control_character_is_named_so_that_it_can_do_nothing() {
    let text = include_str!("../fixtures/fuzz/plan_file/control_in_a_pin.toml");
    let bad = Plan::new(toml::from_str(text).unwrap()).unwrap_err().to_string();
    assert!(bad.contains("`\\tN-` and `B` are not two terminals"), "{bad:?}");
}

#[test]
fn an_identified_relay_gives_a_plan_that_it_passes() {
    let (bench, led) = guided::identify("changeover_2_pole_diode", BenchOptions::default());
    let pins = bench.part().pins;
    let mut written = from_identified(led.finding(), &pins).unwrap();
    assert_eq!(written.contact.len(), 2);
    assert_eq!(written.supply.plus, Pin::new("5"));
    let holds = Plan::new(written.clone()).unwrap();
    let limits = holds.checks.iter().find_map(|check| match &check.wanted {
        Wanted::Ohms { tolerance, copper: true, .. } => Some(*tolerance),
        _ => None,
    });
    // 1600 ohm, 15 % either way.
    assert!((limits.unwrap().lower.unwrap() / 1360.0 - 1.0).abs() < 0.01, "{limits:?}");
    written.supply.volts = 24.0;
    let part = guided::part("changeover_2_pole_diode");
    let fresh = coilmark::bench::Bench::new(
        part,
        BenchOptions { slips: coilmark::bench::SlipRates::NONE, ..BenchOptions::default() },
    );
    let led = boarded::lead(&fresh, &boarded::start(written, Some("R1")), &[], |_, _| None);
    assert_eq!(
        led.findings()[0].result,
        coilmark::event::Verdict::Pass,
        "{:#?}",
        led.findings()[0]
    );
    assert_eq!(fresh.hazards(), []);
}

#[test]
fn what_is_undecided_or_holds_its_state_gives_no_plan() {
    let (bench, led) = guided::identify("latching_1_coil", BenchOptions::default());
    let why = from_identified(led.finding(), &bench.part().pins).unwrap_err();
    assert!(why.contains("latching"), "{why}");
    let (bench, led) = guided::identify("fault_open_coil", BenchOptions::default());
    assert!(from_identified(led.finding(), &bench.part().pins).is_err());
}
