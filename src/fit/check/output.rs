//! The output's side of a fit: level, source resistance, siren, battery and cadence, checked. Its
//! lowest level cannot be done without; the rest is taken for granted where nobody says it, to the
//! worse side. Volts are without sign, since polarity is the wiring's matter.

use super::{BadFit, Work};
use crate::event::Origin;
use crate::fit::case::Quantity;
use crate::fit::raw::RawOutput;
use crate::fit::spread::Spread;
use crate::output::nominal;

/// An electronic output's source resistance where none is stated, in ohms: from a transistor's to
/// that of a long feed (common practice, no source).
const SOURCE_OHMS: (f64, f64, f64) = (0.0, 0.5, 2.0);

/// Volts that an output lies below its battery where nobody measured it: from a field-effect
/// transistor to a pair of bipolar ones (common practice, no source).
const SWITCH_DROP: (f64, f64, f64) = (0.0, 0.5, 1.2);

/// A charger's highest volts over the nominal ones: 14.4 V for 12 V (common practice, no source).
const CHARGER: f64 = 1.2;

/// What the rest of the work needs to know of the output.
pub(super) struct Output {
    pub(super) siren_siemens: f64,
    pub(super) pulse_s: Option<(f64, f64)>,
}

impl Work {
    pub(super) fn output(&mut self, raw: &RawOutput) -> Result<Output, BadFit> {
        let Some(low) = Self::within("--output-volts-min", raw.volts_min, 0.5, 100.0)? else {
            return Err(BadFit::new(
                "the output's lowest volts in alarm are not known",
                "give --output-volts-min, a recorded log with --log, or the --job it was logged in",
            ));
        };
        let usual = Self::within("--output-volts", raw.volts, low, 100.0)?.unwrap_or(low);
        let percent = Self::within("--output-percent", raw.percent, 0.0, 50.0)?.unwrap_or(1.0);
        let level = Spread::percent(low, percent);
        self.input(Quantity::Level, "output, lowest in alarm", "V", level, raw.origin);
        self.top(raw, usual, percent)?;
        if let Some(rest) = Self::within("--rest-volts", raw.rest_volts, 0.0, 100.0)? {
            let rest = Spread::percent(rest, percent.max(1.0));
            self.input(Quantity::Rest, "output at rest", "V", rest, raw.origin);
        }
        self.source(raw)?;
        self.battery(raw, usual)?;
        if raw.held {
            self.assume(
                "The log ended before the alarm did: how far the level sags after that is not in \
                 it. --battery-floor-volts bounds it.",
            );
        }
        let siren_siemens = self.siren(raw, usual)?;
        let pulse_s = Self::pulse(raw)?;
        if let Some((gap_s, on_s)) = pulse_s {
            self.show("pulse, on", "s", &Spread::exact(on_s), raw.origin);
            self.show("pulse, off", "s", &Spread::exact(gap_s), raw.origin);
        }
        Ok(Output { siren_siemens, pulse_s })
    }

    /// The highest supply.
    fn top(&mut self, raw: &RawOutput, usual: f64, percent: f64) -> Result<(), BadFit> {
        let stated = Self::within("--output-volts-max", raw.volts_max, usual, 120.0)?;
        let charger = nominal(usual).map_or(usual, |class| class * CHARGER);
        let seen = raw.seen_volts_max.filter(|v| v.is_finite()).unwrap_or(usual);
        let from = stated.map_or(Origin::Assumed, |_| Origin::Stated);
        let top = stated.unwrap_or(charger.max(usual).max(seen));
        if stated.is_none() {
            self.assume(format!(
                "The supply gets no higher than {top:.1} V, a charger's highest for its class \
                 (common practice, no source); --output-volts-max says it better."
            ));
        }
        let top = Spread::percent(top, percent);
        self.input(Quantity::Top, "output, highest in alarm", "V", top, from);
        Ok(())
    }

    fn source(&mut self, raw: &RawOutput) -> Result<(), BadFit> {
        Self::within("--log-amps", raw.log_amps, 0.0, 20.0)?;
        Self::within("--output-amps-max", raw.amps_max, 0.001, 100.0)?;
        let stated = Self::within("--source-ohms", raw.source_ohms, 0.0, 1000.0)?;
        let (low, mid, high) = SOURCE_OHMS;
        let (spread, from) = match stated {
            Some(ohms) => (Spread::percent(ohms, 5.0), Origin::Stated),
            None => (Spread::between(low, mid, high), Origin::Assumed),
        };
        if stated.is_none() {
            self.assume(format!(
                "The output's source resistance lies between {low} and {high} ohm (common \
                 practice, no source); --source-ohms says it better."
            ));
        }
        self.input(Quantity::SourceOhms, "source resistance", "ohm", spread, from);
        Ok(())
    }

    fn battery(&mut self, raw: &RawOutput, usual: f64) -> Result<(), BadFit> {
        let floor = Self::within("--battery-floor-volts", raw.battery_floor_volts, 0.5, 100.0)?;
        let then = Self::within("--battery-volts", raw.battery_volts, 0.5, 100.0)?;
        let Some(floor) = floor else {
            self.assume(
                "The battery stays as it was: no floor was stated with --battery-floor-volts.",
            );
            return Ok(());
        };
        self.show("battery, lowest", "V", &Spread::exact(floor), Origin::Stated);
        let (low, mid, high) = SWITCH_DROP;
        let (drop, from) = match then {
            Some(then) if then + 0.05 * then < usual => {
                let message = format!("--battery-volts {then} is below the output's {usual} V");
                return Err(BadFit::new(message, "give the battery's volts of the same moment"));
            }
            Some(then) => {
                let drop = (then - usual).max(0.0);
                (Spread::between((drop - 0.1).max(0.0), drop, drop + 0.1), Origin::Stated)
            }
            None => (Spread::between(low, mid, high), Origin::Assumed),
        };
        if then.is_none() {
            self.assume(format!(
                "The output lies {low} to {high} V below its battery (common practice, no \
                 source); --battery-volts, measured while the output was on, says it better."
            ));
        }
        self.input(Quantity::SwitchDrop, "output below its battery", "V", drop, from);
        Ok(())
    }

    fn siren(&mut self, raw: &RawOutput, usual: f64) -> Result<f64, BadFit> {
        let amps = Self::within("--siren-amps", raw.siren_amps, 0.0, 50.0)?;
        let Some(amps) = amps else {
            self.assume("Nothing else hangs at the output: no --siren-amps was stated.");
            return Ok(0.0);
        };
        self.show("siren at the usual volts", "A", &Spread::exact(amps), Origin::Stated);
        self.assume(format!("The siren draws as a resistor that takes {amps} A at {usual} V."));
        Ok(amps / usual)
    }

    /// Off and on time.
    fn pulse(raw: &RawOutput) -> Result<Option<(f64, f64)>, BadFit> {
        let period = Self::within("--period-s", raw.period_s, 0.001, 3600.0)?;
        let duty = Self::within("--duty", raw.duty, 0.0, 1.0)?;
        if raw.unresolved && (period.is_none() || duty.is_none()) {
            return Err(BadFit::new(
                "the output pulses faster than its log could tell",
                "log it with a faster meter, or give --period-s and --duty",
            ));
        }
        match (period, duty) {
            (Some(period), Some(duty)) if duty > 0.0 && duty < 1.0 => {
                Ok(Some((period * (1.0 - duty), period * duty)))
            }
            (None, None) | (Some(_), Some(1.0)) => Ok(None),
            (Some(_), Some(_)) => Err(super::out_of_range("--duty", 0.0, "more than 0, up to 1")),
            _ => Err(BadFit::new(
                "a pulsed output wants both its period and its duty",
                "give --period-s and --duty together: 1 s, half of it on, is --period-s 1 --duty 0.5",
            )),
        }
    }
}
