//! The capacitor that holds a relay through the gaps of a pulsed output: how large it must be over
//! the whole range of the inputs, what it draws as it fills, and what it costs: the relay stays in
//! for a while after the alarm. It stands across the coil, fed through a diode, so that it does not
//! empty back into the output.

use super::case::{Fit, Quantity};
use super::circuit::{farads_for, hold_seconds};
use super::spread::{Spread, bounds};
use crate::event::HoldUp;

/// Usual values of electrolytic capacitors within a decade (E6 of IEC 60063).
const DECADE: [f64; 6] = [1.0, 1.5, 2.2, 3.3, 4.7, 6.8];

/// Their usual rated volts (common practice, no source).
const RATED_VOLTS: [f64; 8] = [6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0];

/// Tolerance of such a capacitor: a fifth (common practice, no source).
pub(super) const TOLERANCE: f64 = 0.2;

/// Drop of the silicon diode that feeds it, in volts: lowest, usual, highest (common practice, no
/// source).
pub(super) const DIODE_VOLTS: Spread = Spread::between(0.5, 0.7, 0.9);

/// What an output is spared as the capacitor fills, in amperes.
const INRUSH_AMPS: f64 = 1.0;

/// Resistance inside a capacitor, in ohms (common practice, no source).
const INNER_OHMS: f64 = 0.1;

/// The capacitor for this fit; none where the output does not pulse, or where no capacitor of a
/// usual size holds the relay.
pub(super) fn hold_up(fit: &Fit) -> Option<HoldUp> {
    let (gap_s, _) = fit.pulse_s?;
    let fed = with_diode(fit);
    let factors = |hot: bool| if hot { fit.hot_factor() } else { fit.cold_factor() };
    let needed = [true, false].map(|hot| {
        let farads = |values: &[f64]| {
            let d = fed.drawn(values);
            let circuit = if hot { d.low() } else { d.low_cold() };
            farads_for(
                gap_s,
                circuit.coil_volts(),
                d.drop_out_20() * factors(hot),
                circuit.coil_ohms,
            )
        };
        bounds(&fed.spreads, farads).1
    });
    let microfarads_min = needed[0].max(needed[1]) * 1e6;
    let fitted = fit.spread(Quantity::Farads).nominal * 1e6;
    let microfarads = match fit.hold_up_fitted {
        true => fitted,
        false => usual_above(microfarads_min / (1.0 - TOLERANCE))?,
    };
    if !microfarads_min.is_finite() {
        return None;
    }
    let top = fed.spread(Quantity::Top).high;
    let feed_ohms = fed.spread(Quantity::SourceOhms).low
        + fed.spread(Quantity::CableOhms).low * fit.cold_factor();
    let filling_volts = top - fed.spread(Quantity::Diode).low;
    let most = microfarads * 1e-6 * (1.0 + TOLERANCE);
    let release = |values: &[f64]| {
        let d = fed.drawn(values);
        let circuit = d.high();
        let down_to = d.drop_out_20() * fit.cold_factor();
        hold_seconds(circuit.coil_volts(), down_to, most, circuit.coil_ohms)
    };
    let series_ohms = (filling_volts / INRUSH_AMPS - feed_ohms - INNER_OHMS).max(0.0).ceil();
    Some(HoldUp {
        gap_s,
        microfarads_min,
        microfarads,
        fitted: fit.hold_up_fitted,
        capacitor_volts: RATED_VOLTS.into_iter().find(|v| *v >= top).unwrap_or(top.ceil()),
        inrush_amps: filling_volts / (feed_ohms + INNER_OHMS),
        series_ohms,
        release_s_max: bounds(&fed.spreads, release).1,
        pick_up_delay_s: pick_up_delay(&fed, most),
    })
}

/// The same fit with the diode in line that a capacitor wants.
fn with_diode(fit: &Fit) -> Fit {
    let mut fed = fit.clone();
    if !fit.hold_up_fitted {
        fed.spreads[Quantity::Diode as usize] = DIODE_VOLTS;
    }
    fed
}

/// Time until the empty capacitor has filled to pick-up, hot and at the nominal values; none where
/// it never does.
fn pick_up_delay(fit: &Fit, farads: f64) -> Option<f64> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let circuit = d.low();
    let full = circuit.coil_volts();
    let wanted = d.pick_up_20() * fit.hot_factor();
    let feed = circuit.source_ohms + circuit.cable_ohms;
    let filling = farads * feed * circuit.coil_ohms / (feed + circuit.coil_ohms);
    (full > wanted).then(|| filling * (full / (full - wanted)).ln())
}

/// The next usual value at or above, in microfarads; none beyond a tenth of a farad.
fn usual_above(microfarads: f64) -> Option<f64> {
    let decades = [1.0, 10.0, 100.0, 1_000.0, 10_000.0];
    let values = decades.iter().flat_map(|ten| DECADE.map(|value| value * ten));
    values.chain([100_000.0]).find(|value| *value >= microfarads * (1.0 - 1e-9))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_go_up_to_the_next_usual_one() {
        assert_eq!(usual_above(0.3), Some(1.0));
        assert_eq!(usual_above(10.0), Some(10.0));
        assert_eq!(usual_above(1010.0), Some(1500.0));
        assert_eq!(usual_above(71_000.0), Some(100_000.0));
        assert_eq!(usual_above(2e5), None);
        assert_eq!(usual_above(f64::INFINITY), None);
    }
}
