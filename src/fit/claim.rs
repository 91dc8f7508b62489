//! What is checked: a value, its limit, which side of it is right, and the formula with and without
//! numbers. A claim is judged over the ranges of everything that is not exactly known: pass where
//! even the worst corner keeps the limit, fail where even the best one does not.

use super::case::{Drawn, Fit, Quantity};
use super::circuit::volts_after;
use super::spread::bounds;
use crate::event::{FitCheck, FitCode, Verdict};

type Figure<'a> = Box<dyn Fn(Drawn<'_>) -> f64 + 'a>;

/// One thing that is checked.
pub(super) struct Claim<'a> {
    fit: &'a Fit,
    code: FitCode,
    text: &'static str,
    unit: &'static str,
    value: Figure<'a>,
    limit: Figure<'a>,
    /// Whether the value must not fall below its limit; else it must not rise above.
    at_least: bool,
    formula: &'static str,
    numbers: String,
}

impl Claim<'_> {
    /// What is checked.
    pub(super) const fn code(&self) -> FitCode {
        self.code
    }

    /// Distance to the limit; negative where it is not kept.
    pub(super) fn margin(&self, values: &[f64]) -> f64 {
        let drawn = self.fit.drawn(values);
        let above = (self.value)(drawn) - (self.limit)(drawn);
        if self.at_least { above } else { -above }
    }

    /// The judgement, with the share of random draws that kept the limit.
    pub(super) fn judge(&self, probability: f64) -> FitCheck {
        let nominal = self.fit.nominal();
        let drawn = self.fit.drawn(&nominal);
        let (value, limit) = ((self.value)(drawn), (self.limit)(drawn));
        let margin = self.margin(&nominal);
        let (low, high) = bounds(&self.fit.spreads, |values| self.margin(values));
        FitCheck {
            code: self.code,
            verdict: Verdict::of_margin(low, high),
            text: self.text.into(),
            value,
            limit,
            unit: self.unit.into(),
            margin,
            margin_low: low,
            margin_high: high,
            margin_percent: if limit > 0.0 { 100.0 * margin / limit } else { 0.0 },
            probability,
            formula: self.formula.into(),
            numbers: self.numbers.clone(),
        }
    }
}

/// The claims that this fit makes, in order of the work.
pub(super) fn claims(fit: &Fit) -> Vec<Claim<'_>> {
    let mut claims = vec![pick_up_hot(fit), maximum_cold(fit)];
    claims.extend(fit.rest_known.then(|| release(fit)));
    claims.extend(fit.output_amps_max.map(|most| output_amps(fit, most)));
    claims.extend(fit.pulse_s.map(|(gap_s, on_s)| hold_through_gap(fit, gap_s, on_s)));
    claims.extend(fit.loop_milliamps.map(|current| wetting(fit, current)));
    claims
}

fn pick_up_hot(fit: &Fit) -> Claim<'_> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let circuit = d.low();
    let numbers = format!(
        "U = ({} - {} (1 + {} x {})) x {} / ({} + {} + {} + {} x {} x {}) = {} V at {} mA; \
         pick-up {} x {} = {} V at {} C",
        short(circuit.emf_volts),
        short(circuit.diode_volts),
        short(circuit.source_ohms),
        short(circuit.siren_siemens),
        short(circuit.coil_ohms),
        short(circuit.coil_ohms),
        short(circuit.cable_ohms),
        short(circuit.source_ohms),
        short(circuit.source_ohms),
        short(circuit.siren_siemens),
        short(circuit.coil_ohms + circuit.cable_ohms),
        short(circuit.coil_volts()),
        short(1000.0 * circuit.coil_amps()),
        short(d.pick_up_20()),
        short(fit.hot_factor()),
        short(d.pick_up_20() * fit.hot_factor()),
        short(fit.hot_celsius),
    );
    let factor = fit.hot_factor();
    Claim {
        fit,
        code: FitCode::PickUpHot,
        text: "it pulls in when hot, on the lowest supply, at the end of the cable",
        unit: "V",
        value: Box::new(|d| d.low().coil_volts()),
        limit: Box::new(move |d| d.pick_up_20() * factor),
        at_least: true,
        formula: "U = (E - Ud (1 + Rs G)) R / (R + Rw + Rs + Rs G (R + Rw)), R = R20 (1 + 0.00393 \
            (T - 20)); pick-up grows with R",
        numbers,
    }
}

fn maximum_cold(fit: &Fit) -> Claim<'_> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let circuit = d.high();
    let numbers = format!(
        "U = ({} - {}) x {} / ({} + {} + {}) = {} V at {} mA, {} W in the coil at {} C; maximum {} V",
        short(circuit.emf_volts),
        short(circuit.diode_volts),
        short(circuit.coil_ohms),
        short(circuit.coil_ohms),
        short(circuit.cable_ohms),
        short(circuit.source_ohms),
        short(circuit.coil_volts()),
        short(1000.0 * circuit.coil_amps()),
        short(circuit.coil_volts() * circuit.coil_amps()),
        short(fit.cold_celsius),
        short(d.coil_max()),
    );
    Claim {
        fit,
        code: FitCode::MaximumCold,
        text: "the coil stands the highest supply when cold",
        unit: "V",
        value: Box::new(|d| d.high().coil_volts()),
        limit: Box::new(|d| d.coil_max()),
        at_least: false,
        formula: "U = (E - Ud) R / (R + Rw + Rs), siren off",
        numbers,
    }
}

fn release(fit: &Fit) -> Claim<'_> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let factor = fit.cold_factor();
    let numbers = format!(
        "{} V at rest, at most; drop-out {} x {} = {} V at {} C",
        short(d.of(Quantity::Rest)),
        short(d.drop_out_20()),
        short(factor),
        short(d.drop_out_20() * factor),
        short(fit.cold_celsius),
    );
    Claim {
        fit,
        code: FitCode::Release,
        text: "it lets go when the output is off, cold",
        unit: "V",
        value: Box::new(|d| d.of(Quantity::Rest)),
        limit: Box::new(move |d| d.drop_out_20() * factor),
        at_least: false,
        formula: "U at rest < drop-out (1 + 0.00393 (T - 20))",
        numbers,
    }
}

fn output_amps(fit: &Fit, most: f64) -> Claim<'_> {
    let amps = |d: Drawn<'_>| {
        let circuit = d.high();
        circuit.coil_amps() + circuit.emf_volts * fit.siren_siemens
    };
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let numbers = format!(
        "I = {} + {} x {} = {} A; the output gives {} A",
        short(d.high().coil_amps()),
        short(d.high().emf_volts),
        short(fit.siren_siemens),
        short(amps(d)),
        short(most),
    );
    Claim {
        fit,
        code: FitCode::OutputAmps,
        text: "the output can feed coil and siren",
        unit: "A",
        value: Box::new(amps),
        limit: Box::new(move |_| most),
        at_least: false,
        formula: "I = I coil + E G, cold, highest supply",
        numbers,
    }
}

/// Volts at the coil as the gap of a pulsed output begins and ends, in the steady state of its
/// pulses; nothing holds it without a capacitor.
pub(super) fn through_gap(d: Drawn<'_>, hot: bool, gap_s: f64, on_s: f64) -> (f64, f64) {
    let circuit = if hot { d.low() } else { d.low_cold() };
    let full = circuit.coil_volts();
    let farads = d.of(Quantity::Farads);
    if farads <= 0.0 {
        return (full, 0.0);
    }
    let feed = circuit.cable_ohms
        + circuit.source_ohms / (1.0 + circuit.source_ohms * circuit.siren_siemens);
    let filling = farads * feed * circuit.coil_ohms / (feed + circuit.coil_ohms);
    let missed = if filling > 0.0 { (-on_s / filling).exp() } else { 0.0 };
    let left = volts_after(1.0, gap_s, farads, circuit.coil_ohms);
    let begin = full * (1.0 - missed) / (1.0 - missed * left);
    (begin, begin * left)
}

fn hold_through_gap(fit: &Fit, gap_s: f64, on_s: f64) -> Claim<'_> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let factor = |hot: bool| if hot { fit.hot_factor() } else { fit.cold_factor() };
    let margin = |hot: bool| through_gap(d, hot, gap_s, on_s).1 - d.drop_out_20() * factor(hot);
    let hot = margin(true) <= margin(false);
    let (begin, end) = through_gap(d, hot, gap_s, on_s);
    let coil = d.of(Quantity::CoilOhms) * factor(hot);
    let celsius = if hot { fit.hot_celsius } else { fit.cold_celsius };
    let numbers = if fit.hold_up_fitted {
        format!(
            "U = {} exp(-{} / ({} x {} F)) = {} V at the end of the gap; drop-out {} V at {} C",
            short(begin),
            short(gap_s),
            short(coil),
            short(d.of(Quantity::Farads)),
            short(end),
            short(d.drop_out_20() * factor(hot)),
            short(celsius),
        )
    } else {
        format!(
            "no capacitor is fitted: 0 V within milliseconds of a gap of {} s; drop-out {} V",
            short(gap_s),
            short(d.drop_out_20() * factor(hot)),
        )
    };
    Claim {
        fit,
        code: FitCode::HoldThroughGap,
        text: "the contact stays through the gaps of the pulsed output, without chatter",
        unit: "V",
        value: Box::new(move |d| through_gap(d, hot, gap_s, on_s).1),
        limit: Box::new(move |d| d.drop_out_20() * factor(hot)),
        at_least: true,
        formula: "U = U0 exp(-t / (R C)) > drop-out",
        numbers,
    }
}

fn wetting(fit: &Fit, current: f64) -> Claim<'_> {
    let nominal = fit.nominal();
    let least = fit.drawn(&nominal).of(Quantity::WettingMilliamps);
    let spread = fit.spread(Quantity::WettingMilliamps);
    let range = if spread.low < spread.high {
        format!(" ({} mA if it is gold)", short(spread.low))
    } else {
        String::new()
    };
    Claim {
        fit,
        code: FitCode::WettingCurrent,
        text: "the loop's current keeps the contact clean",
        unit: "mA",
        value: Box::new(move |_| current),
        limit: Box::new(|d| d.of(Quantity::WettingMilliamps)),
        at_least: true,
        formula: "I loop > least current of the contact's material",
        numbers: format!(
            "{} mA through the contact; {} wants {} mA{range}",
            short(current),
            fit.contact,
            short(least),
        ),
    }
}

/// Four digits that say something.
pub(super) fn short(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let places = 3.0 - x.abs().log10().floor();
    if !(0.0..=9.0).contains(&places) {
        return if places < 0.0 { format!("{x:.0}") } else { format!("{x:.3e}") };
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 9")]
    let text = format!("{x:.*}", places as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_four_digits() {
        assert_eq!(short(11.023_174), "11.02");
        assert_eq!(short(400.0), "400");
        assert_eq!(short(0.041_666_7), "0.04167");
        assert_eq!(short(-0.5), "-0.5");
        assert_eq!(short(0.0), "0");
        assert_eq!(short(123_456.0), "123456");
        assert_eq!(short(1e-12), "1.000e-12");
    }
}
