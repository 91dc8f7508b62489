//! One capture, the leads' own and the room's temperature -> one judged check. The budget has the
//! meter's accuracy, the scatter and the last digit of the readings, what is left of the leads
//! after they were taken off, and the winding's temperature. Where leads and contact are read in
//! one range, the meter's errors in both are correlated, as far as the plan says. Numbers are in
//! the check's unit.

use super::plan::{Check, Plan, Wanted};
use crate::cable::copper::{COPPER_PER_KELVIN, to_20_celsius};
use crate::event::{BudgetLine, Capture, CheckFound, Verdict};
use crate::metrology::{
    Budget, Component, DecisionRule, Judgement, Shape, Tolerance, mean_u_by_range,
};
use drivers::Unit;

/// How well a stated temperature is known, either way, in kelvins. Common practice, no source.
const STATED_KELVIN: f64 = 2.0;
/// How far a room that nobody stated may be from 20 degrees. Common practice, no source.
const UNSTATED_KELVIN: f64 = 10.0;

/// Up to here the leads and a contact are read in one range of the meter, and its error is nearly
/// the same in both, in ohms. Common practice, no source.
const ONE_RANGE_OHMS: f64 = 10.0;
/// Where the meter's accuracy stands in a budget.
const ACCURACY: usize = 0;

/// What is known of the bench.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bench {
    /// The leads' own capture, both tips on one terminal.
    pub leads: Option<Capture>,
    /// The board's temperature, if stated, in degrees Celsius.
    pub celsius: Option<f64>,
}

/// Judges one capture by the plan's rule.
#[must_use]
pub fn judge(plan: &Plan, check: &Check, capture: &Capture, bench: &Bench) -> CheckFound {
    let mut found = untested(plan, check, None);
    found.capture = Some(capture.capture);
    found.open = capture.overload;
    let Some(measured) = capture.value else {
        return open(found, check);
    };
    let (value, budget) = match corrected(check, capture, measured, bench, plan) {
        Ok(corrected) => corrected,
        Err(note) => {
            found.note = Some(note);
            return found;
        }
    };
    let expanded = budget.expanded(plan.written.decision.coverage);
    let tolerance = tolerance(check);
    let Judgement { mut verdict, margin, probability } =
        plan.rule.judge(value, &expanded, &tolerance);
    if accuracy(capture) <= 0.0 && plan.rule != DecisionRule::Simple {
        verdict = Verdict::Undecided;
        found.note = Some("the meter's profile states no accuracy here".into());
    }
    let finite = |x: f64| x.is_finite().then_some(x);
    CheckFound {
        verdict,
        value: Some(value),
        u: finite(expanded.u),
        freedom: finite(expanded.freedom),
        coverage_factor: finite(expanded.coverage_factor),
        expanded: finite(expanded.expanded),
        margin,
        probability: finite(probability),
        budget: lines(&budget),
        ..found
    }
}

/// A check that was not looked at, and why.
#[must_use]
pub fn untested(plan: &Plan, check: &Check, why: Option<&str>) -> CheckFound {
    let tolerance = tolerance(check);
    let unit = if matches!(check.wanted, Wanted::Current { .. }) { "mA" } else { "ohm" };
    CheckFound {
        check: check.name.clone(),
        verdict: Verdict::Undecided,
        red: check.way.red.clone(),
        black: check.way.black.clone(),
        function: check.function,
        drive: plan.drive(check.level),
        value: None,
        unit: unit.into(),
        open: false,
        lower: tolerance.lower,
        upper: tolerance.upper,
        u: None,
        freedom: None,
        coverage_factor: None,
        expanded: None,
        margin: None,
        probability: None,
        note: why.map(str::to_owned),
        capture: None,
        budget: Vec::new(),
    }
}

/// Nothing that a meter shows is above its range: open where that is wanted passes, else fails.
fn open(mut found: CheckFound, check: &Check) -> CheckFound {
    found.verdict = match check.wanted {
        Wanted::Open { .. } => Verdict::Pass,
        Wanted::Closed { .. } | Wanted::Ohms { .. } => Verdict::Fail,
        Wanted::Current { .. } => Verdict::Undecided,
    };
    found.note = Some("open beyond the meter's range".into());
    found
}

fn tolerance(check: &Check) -> Tolerance {
    match check.wanted {
        Wanted::Closed { ohms_max } => Tolerance::at_most(ohms_max),
        Wanted::Open { ohms_min } => Tolerance::at_least(ohms_min),
        Wanted::Ohms { tolerance, .. } | Wanted::Current { tolerance, .. } => tolerance,
    }
}

/// The value that is judged, and the budget of it.
fn corrected(
    check: &Check,
    capture: &Capture,
    measured: f64,
    bench: &Bench,
    plan: &Plan,
) -> Result<(f64, Budget), String> {
    let reading = reading(capture);
    let at = |sensitivity: f64| {
        reading.iter().fold(Budget::new(), |budget, c| budget.with(c.clone().times(sensitivity)))
    };
    match check.wanted {
        Wanted::Closed { .. } | Wanted::Open { .. } => Ok((measured, at(1.0))),
        Wanted::Current { resistor_ohms, resistor_percent, .. } => {
            let milliamps = 1000.0 * measured / resistor_ohms;
            let off = resistor_ohms * resistor_percent / 100.0;
            let resistor = Component::rectangular("resistor's tolerance", off);
            let budget =
                at(1000.0 / resistor_ohms).with(resistor.times(-milliamps / resistor_ohms));
            Ok((milliamps, budget))
        }
        Wanted::Ohms { compensated, copper, .. } => {
            let per_ohm = if copper { at_20(bench) } else { 1.0 };
            let mut budget = at(per_ohm);
            let mut ohms = measured;
            if compensated {
                let Some((leads, u)) = leads(bench) else {
                    return Err("the leads were not measured, so they cannot be taken off".into());
                };
                ohms -= leads;
                let repeat = plan.written.leads.repeat_ohms;
                let leads = Component::standard("leads, as measured", u, f64::INFINITY);
                let place = budget.add(leads.times(-per_ohm));
                let tips = Component::rectangular("tips, from touch to touch", repeat);
                let _ = budget.add(tips.times(per_ohm));
                if measured.abs() <= ONE_RANGE_OHMS {
                    budget.correlate(ACCURACY, place, plan.written.leads.correlation);
                }
            }
            if copper {
                budget = budget.with(temperature(bench, ohms * per_ohm));
            }
            Ok((ohms * per_ohm, budget))
        }
    }
}

fn leads(bench: &Bench) -> Option<(f64, f64)> {
    let capture = bench.leads.as_ref()?;
    Some((capture.value?, capture.u.unwrap_or(0.0)))
}

/// Ohms at 20 degrees per ohm as it is.
fn at_20(bench: &Bench) -> f64 {
    to_20_celsius(1.0, bench.celsius.unwrap_or(20.0))
}

fn temperature(bench: &Bench, ohms: f64) -> Component {
    let (name, kelvin) = match bench.celsius {
        Some(_) => ("winding's temperature, as stated", STATED_KELVIN),
        None => ("winding's temperature, not stated: 20 \u{b0}C taken", UNSTATED_KELVIN),
    };
    Component::rectangular(name, kelvin).times(-ohms * COPPER_PER_KELVIN)
}

/// What the readings by themselves leave open: accuracy, scatter, last digit.
fn reading(capture: &Capture) -> Vec<Component> {
    let scatter = Component {
        name: "scatter of the readings".into(),
        u: noise(capture),
        sensitivity: 1.0,
        freedom: f64::from(capture.samples.max(2)) - 1.0,
        shape: Shape::Repeated,
    };
    let accuracy = accuracy(capture) * 3f64.sqrt();
    let digit = last_digit(&capture.raw, capture.unit) / 2.0;
    vec![
        Component::rectangular("meter's accuracy", accuracy),
        scatter,
        Component::rectangular("last digit", digit),
    ]
}

/// Standard uncertainty of the settled mean by its scatter, from the range of the readings: as
/// the capture has it in its own `u`.
fn noise(capture: &Capture) -> f64 {
    mean_u_by_range(capture.spread.unwrap_or(0.0), f64::from(capture.samples.max(1)))
}

/// Standard uncertainty by the meter's accuracy alone: what is left of the capture's `u`.
fn accuracy(capture: &Capture) -> f64 {
    let u = capture.u.unwrap_or(0.0);
    let left = u * u - noise(capture).powi(2);
    if left > 1e-12 * u * u { left.sqrt() } else { 0.0 }
}

/// The step of the last digit as the meter wrote it, in `unit`; the coarsest of the readings.
fn last_digit(raw: &[String], unit: Unit) -> f64 {
    raw.iter().filter_map(|text| digit_of(text, unit)).fold(0.0, f64::max)
}

/// `+3.2980E+02` has steps of 0.01, `329.8 OHM` of 0.1. An M is a million ohms or a thousandth of a
/// volt, in any case, as in the unit words of meters that send lines.
fn digit_of(text: &str, unit: Unit) -> Option<f64> {
    let start = text.find(|c: char| c.is_ascii_digit())?;
    let number = &text[start..];
    let end = number.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(number.len());
    let decimals = number[..end].split_once('.').map_or(0, |(_, after)| after.len());
    let exponent = number[end..].strip_prefix(['e', 'E']).map_or(0, |text| {
        let digits = text.trim_start_matches('+');
        let stop = digits.find(|c: char| !(c.is_ascii_digit() || c == '-')).unwrap_or(digits.len());
        digits[..stop].parse::<i32>().unwrap_or(0)
    });
    let scale = match (text[start + end..].trim_start().chars().next(), unit) {
        (Some('k' | 'K'), _) => 1e3,
        (Some('m' | 'M'), Unit::Ohm) => 1e6,
        (Some('m' | 'M'), Unit::Volt) => 1e-3,
        _ => 1.0,
    };
    let power = exponent.clamp(-30, 30) - i32::try_from(decimals).unwrap_or(0).min(30);
    Some(scale * 10f64.powi(power))
}

fn lines(budget: &Budget) -> Vec<BudgetLine> {
    let line = |share: crate::metrology::Share<'_>| BudgetLine {
        component: share.component.name.clone(),
        shape: share.component.shape.name().into(),
        u: share.component.u,
        sensitivity: share.component.sensitivity,
        freedom: share.component.freedom.is_finite().then_some(share.component.freedom),
        contribution: share.contribution,
        part: share.part,
    };
    budget.shares().into_iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_digit_is_read_off_the_meters_own_text() {
        for (text, unit, step) in [
            ("+3.2980E+02", Unit::Ohm, 0.01),
            ("329.8 OHM", Unit::Ohm, 0.1),
            ("+0329.8 OHM", Unit::Ohm, 0.1),
            ("+1.234E-03", Unit::Volt, 1e-6),
            ("12", Unit::Ohm, 1.0),
            ("1.2 KOHM", Unit::Ohm, 100.0),
            ("1.205 MOHM", Unit::Ohm, 1e3),
            ("+470.0 MVDC", Unit::Volt, 1e-4),
            ("470.0 mV", Unit::Volt, 1e-4),
            ("+13.71 VDC", Unit::Volt, 0.01),
        ] {
            let found = digit_of(text, unit).unwrap();
            assert!((found / step - 1.0).abs() < 1e-9, "{text}: {found}");
        }
        assert_eq!(digit_of("OL", Unit::Ohm), None);
    }
}
