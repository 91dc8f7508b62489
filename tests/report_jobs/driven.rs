//! Jobs in which a coil was driven or fitted to an output, built by hand: ramps with a supply, and
//! a fit with every part that a page can have. Numbers are invented and agree among themselves, as
//! a run would have written them.

use super::{Job, pin, start};
use coilmark::event::{
    Caution, Event, Finding, FitCheck, FitCode, FitFinding, FitInput, FitStart, HoldUp, Ladder,
    LadderStep, Origin, PickUpFinding, PickUpStart, Ramp, RatedVolts, RunStart, RunTerms,
    SuppressionChoice, Threshold, Verdict,
};

fn began(terms: RunTerms) -> RunStart {
    RunStart { terms, ..start("5", None) }
}

/// A ladder for a coil of so many ohms: volts, watts and why of each step.
pub fn ladder(
    plus: &str,
    minus: &str,
    ohms: f64,
    rated: &[(f64, f64)],
    steps: &[(f64, f64, &str)],
) -> Ladder {
    let step =
        |&(volts, watts, why): &(f64, f64, &str)| LadderStep { volts, watts, why: why.into() };
    Ladder {
        coil: [pin(plus), pin(minus)],
        ohms,
        rated_volts: rated.iter().map(|&(volts, p)| RatedVolts { volts, p }).collect(),
        steps: steps.iter().map(step).collect(),
        order: "Lowest first: ohms alone do not tell the rated voltage.".into(),
        end: "It ends where the contact changes, at the latest at the last of these.".into(),
    }
}

/// Pick-up and drop-out by three ramps.
pub fn pickup() -> Job {
    let terms = PickUpStart {
        ambient_celsius: 21.0,
        rated_volts: Some(12.0),
        ..PickUpStart::usual([pin("2"), pin("5")], [pin("1"), pin("3")])
    };
    let mut job = Job::begin(began(RunTerms::PickUp(terms)));
    job.meter("EXAMPLE,BENCH-6,0042,1.07", true).caution(Caution::DeadCircuit);
    job.caution(Caution::NotACertificate).touch("2", "5").ohms(Some(397.2));
    let steps = [(13.2, 0.439, "110 % of 12 V, the rated voltage as stated")];
    job.event(Event::LadderPlanned(ladder("2", "5", 397.2, &[(12.0, 1.0)], &steps)));
    job.touch("1", "3").ohms(Some(0.2)).caution(Caution::CoilDrive);
    for volts in [7.2, 8.0] {
        job.drive("2", "5", volts).ohms(if volts < 8.0 { Some(0.2) } else { None });
    }
    job.drive("2", "5", 2.9).ohms(Some(0.2)).release().ohms(Some(0.2));
    job.event(Event::ResultReached(Finding::PickUp(Box::new(ramps()))));
    job.finish(0, None);
    job
}

fn ramps() -> PickUpFinding {
    let ramp = |at: f64| Ramp {
        still_volts: at,
        moved_volts: at + 0.125,
        held_volts: 3.0,
        released_volts: 2.875,
    };
    let pick_up = Threshold {
        volts: 7.8125,
        volts_u: 0.0578,
        step_u: 0.0361,
        drive_u: 0.0451,
        repeat_u: 0.0,
        volts_20: 7.782,
        volts_hot: 9.311,
        limit_volts: Some(9.6),
        verdict: Verdict::Pass,
    };
    let drop_out = Threshold {
        volts: 2.9375,
        volts_u: 0.0399,
        step_u: 0.0361,
        drive_u: 0.017,
        repeat_u: 0.0,
        volts_20: 2.926,
        volts_hot: 3.501,
        limit_volts: Some(0.6),
        verdict: Verdict::Pass,
    };
    PickUpFinding {
        result: Verdict::Pass,
        reason: "pick-up and drop-out keep their limits".into(),
        coil_ohms: Some(397.2),
        pick_up: Some(pick_up),
        drop_out: Some(drop_out),
        closed_at_rest: Some(true),
        ramps: vec![ramp(7.75); 3],
        rated_volts: Some(12.0),
        simulated: false,
    }
}

fn check(code: FitCode, verdict: Verdict, value: f64, limit: f64, margins: [f64; 3]) -> FitCheck {
    let [margin, margin_low, margin_high] = margins;
    FitCheck {
        code,
        verdict,
        text: "it keeps its limit".into(),
        value,
        limit,
        unit: "V".into(),
        margin,
        margin_low,
        margin_high,
        margin_percent: 100.0 * margin / limit,
        probability: 0.97,
        formula: "U = E R / (R + Rw)".into(),
        numbers: "U = 12 x 400 / (400 + 8.4) = 11.75 V".into(),
    }
}

/// A fit of a pulsed output, with one check of each verdict.
pub fn fit() -> Job {
    let mut job = Job::begin(began(RunTerms::Fit(FitStart { log: Some("log.csv".into()) })));
    job.event(Event::ResultReached(Finding::Fit(Box::new(fitted()))));
    job.finish(1, Some("not kept: it stays through the gaps"));
    job
}

fn fitted() -> FitFinding {
    let input = |name: &str, low: f64, nominal: f64, high: f64, unit: &str, origin| FitInput {
        name: name.into(),
        low,
        nominal,
        high,
        unit: unit.into(),
        origin,
    };
    FitFinding {
        result: Verdict::Fail,
        reason: "not kept: the contact stays through the gaps (margin -2.5 V)".into(),
        coil_volts_min: 9.75,
        coil_volts_max: 13.25,
        coil_amps_min: 0.0204,
        coil_amps_max: 0.0375,
        margin_percent: -100.0,
        probability: 0.0,
        draws: 20_000,
        seed: 1,
        checks: vec![
            check(FitCode::PickUpHot, Verdict::Pass, 9.75, 8.5, [1.25, 0.5, 2.0]),
            check(FitCode::MaximumCold, Verdict::Undecided, 13.25, 13.5, [0.25, -0.5, 1.0]),
            check(FitCode::HoldThroughGap, Verdict::Fail, 0.0, 2.5, [-2.5, -3.0, -2.0]),
        ],
        hold_up: Some(HoldUp {
            gap_s: 0.5,
            microfarads_min: 1180.0,
            microfarads: 2200.0,
            fitted: false,
            capacitor_volts: 25.0,
            inrush_amps: 6.5,
            series_ohms: 13.0,
            release_s_max: 2.25,
            pick_up_delay_s: Some(0.125),
        }),
        suppression: vec![SuppressionChoice {
            fit: "a diode across the coil, its cathode at plus".into(),
            clamp_volts: Some(14.0),
            release_ms: Some(4.5),
            numbers: "U = 13.25 + 0.7 V".into(),
        }],
        inputs: vec![
            input("output, lowest in alarm", 12.5, 12.625, 12.75, "V", Origin::Log),
            input("coil at 20 C", 390.0, 397.2, 404.0, "ohm", Origin::Job),
            input("cable at 20 C", 8.4, 8.4, 8.4, "ohm", Origin::Stated),
        ],
        assumptions: vec!["The air around the relay gets no warmer than 40 C.".into()],
        simulated: false,
    }
}
