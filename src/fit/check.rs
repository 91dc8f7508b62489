//! From what was said to a fit that can be judged: numbers are checked, what was left out is taken
//! for granted where that is safe and said in the assumptions, and what cannot be done without is
//! asked for with the flag that gives it. Ranges taken for granted name their source, or say that
//! they are common practice.

mod coil;
mod output;

use super::case::{Fit, QUANTITIES, Quantity};
use super::contact::{MATERIALS, Material};
use super::holdup::{DIODE_VOLTS, TOLERANCE};
use super::raw::{RawAir, RawCable, RawFit};
use super::spread::Spread;
use crate::cable::{BadCable, Build, Cable, Celsius, Conductor, Metres, Ohms};
use crate::event::{FitInput, Origin};
use std::fmt;

/// Draws, where nobody says how many.
pub const DRAWS: u32 = 20_000;
/// At most so many.
const DRAWS_MAX: u32 = 10_000_000;

/// What is wrong with what was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BadFit {
    message: String,
    hint: String,
}

impl BadFit {
    fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { message: message.into(), hint: hint.into() }
    }

    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &str {
        &self.hint
    }
}

impl fmt::Display for BadFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for BadFit {}

impl RawFit {
    /// Checks what was said.
    ///
    /// # Errors
    /// [`BadFit`] names the flag whose number cannot be, or that is missing.
    pub fn check(&self) -> Result<Fit, BadFit> {
        let mut work = Work::default();
        let air = work.air(&self.air)?;
        let output = work.output(&self.output)?;
        let cable_celsius = work.cable(&self.cable, air.around_celsius)?;
        let coil = work.coil(&self.coil)?;
        let hold_up_fitted = work.hold_up(self.hold_up_microfarads)?;
        let contact = work.contact(self)?;
        let draws = self.draws.unwrap_or(DRAWS);
        if !(100..=DRAWS_MAX).contains(&draws) {
            return Err(out_of_range("--draws", f64::from(draws), "100 to 10000000"));
        }
        Ok(Fit {
            spreads: work.spreads,
            pick_up_bracket: coil.pick_up_bracket,
            pick_up_is_share: coil.pick_up_is_share,
            drop_out_is_share: coil.drop_out_is_share,
            coil_max_is_share: coil.coil_max_is_share,
            floor_volts: self.output.battery_floor_volts,
            log_amps: self.output.log_amps.unwrap_or(0.0),
            siren_siemens: output.siren_siemens,
            hot_celsius: air.hot_celsius,
            cold_celsius: air.cold_celsius,
            cable_celsius,
            rest_known: self.output.rest_volts.is_some(),
            pulse_s: output.pulse_s,
            hold_up_fitted,
            output_amps_max: self.output.amps_max,
            loop_milliamps: self.contact.loop_milliamps,
            contact,
            coil_tau_s: coil.tau_s,
            polarised: self.coil.polarised,
            inputs: work.inputs,
            assumptions: work.assumptions,
            draws,
            seed: self.seed,
            simulated: self.simulated,
        })
    }
}

fn out_of_range(flag: &str, value: f64, expected: &str) -> BadFit {
    BadFit::new(
        format!("{flag} {value}: expected {expected}"),
        format!("`{flag}` takes {expected}"),
    )
}

/// What has been understood so far.
struct Work {
    spreads: Vec<Spread>,
    inputs: Vec<FitInput>,
    assumptions: Vec<String>,
}

impl Default for Work {
    fn default() -> Self {
        let spreads = vec![Spread::exact(0.0); QUANTITIES];
        Self { spreads, inputs: Vec::new(), assumptions: Vec::new() }
    }
}

struct Air {
    hot_celsius: f64,
    cold_celsius: f64,
    around_celsius: f64,
}

impl Work {
    fn set(&mut self, quantity: Quantity, spread: Spread) {
        self.spreads[quantity as usize] = spread;
    }

    /// Sets a quantity and shows it among the inputs.
    fn input(&mut self, quantity: Quantity, name: &str, unit: &str, spread: Spread, from: Origin) {
        self.show(name, unit, &spread, from);
        self.set(quantity, spread);
    }

    fn show(&mut self, name: &str, unit: &str, spread: &Spread, origin: Origin) {
        self.inputs.push(FitInput {
            name: name.into(),
            low: spread.low,
            nominal: spread.nominal,
            high: spread.high,
            unit: unit.into(),
            origin,
        });
    }

    fn assume(&mut self, sentence: impl Into<String>) {
        self.assumptions.push(sentence.into());
    }

    /// A stated number within its bounds, or none.
    fn within(flag: &str, value: Option<f64>, low: f64, high: f64) -> Result<Option<f64>, BadFit> {
        match value {
            Some(v) if !(v >= low && v <= high) => {
                Err(out_of_range(flag, v, &format!("a number from {low} to {high}")))
            }
            value => Ok(value),
        }
    }

    fn air(&mut self, raw: &RawAir) -> Result<Air, BadFit> {
        let ambient = Self::within("--ambient-celsius", raw.ambient_celsius, -40.0, 125.0)?;
        let coldest = Self::within("--ambient-celsius-min", raw.ambient_celsius_min, -60.0, 60.0)?;
        let hottest = Self::within("--coil-celsius-max", raw.coil_celsius_max, 0.0, 180.0)?;
        let from = |stated: Option<f64>| stated.map_or(Origin::Assumed, |_| Origin::Stated);
        let around = ambient.unwrap_or(40.0);
        let cold = coldest.unwrap_or(-10.0);
        let hot = hottest.unwrap_or(around + 30.0);
        if ambient.is_none() {
            self.assume("The air around the relay gets no warmer than 40 degrees Celsius.");
        }
        if coldest.is_none() {
            self.assume("The air around the relay gets no colder than -10 degrees Celsius.");
        }
        if hottest.is_none() {
            self.assume(
                "The winding gets 30 kelvin warmer than the air (common practice, no source); \
                 --coil-celsius-max says it better.",
            );
        }
        if cold > around || cold > hot {
            let message = format!("--ambient-celsius-min {cold} is above the warmest, {around}");
            return Err(BadFit::new(
                message,
                "give the coldest and the warmest the right way round",
            ));
        }
        self.show("coil, hottest", "C", &Spread::exact(hot), from(hottest));
        self.show("coil, coldest", "C", &Spread::exact(cold), from(coldest));
        Ok(Air { hot_celsius: hot, cold_celsius: cold, around_celsius: around })
    }

    /// How warm the cable gets, in degrees Celsius: as warm as the air around it, unless stated.
    fn cable(&mut self, raw: &RawCable, around: f64) -> Result<f64, BadFit> {
        let celsius = raw.celsius.unwrap_or(around);
        let bad = |bad: BadCable| {
            BadFit::new(
                format!("--cable: {bad}"),
                "or measure it: join the conductors at the far end and give --cable-ohms",
            )
        };
        Celsius::new(celsius).map_err(bad)?;
        let (cable, spread) = match (raw.ohms, conductor(raw).map_err(bad)?, raw.length_m) {
            (Some(ohms), None, None) => {
                let cable = Cable::measured(Ohms::new(ohms).map_err(bad)?, Celsius::REFERENCE);
                (cable, (0.98, 1.02))
            }
            (None, Some(conductor), Some(length)) => {
                // A table of square millimetres gives the most that is allowed; the least is that
                // of a full cross-section. Stranding and drawing make a gauge uncertain by a
                // twentieth (common practice, no source).
                let spread = if conductor.is_upper_limit() { (0.82, 1.0) } else { (0.95, 1.05) };
                (Cable::new(conductor, Metres::new(length).map_err(bad)?), spread)
            }
            (None, None, None) => {
                self.assume("No cable was stated: the relay stands beside the output.");
                (Cable::none(), (1.0, 1.0))
            }
            _ => {
                return Err(BadFit::new(
                    "the cable is half stated, or twice",
                    "give --cable-length-m with --cable-mm2 or --cable-awg, or --cable-ohms alone",
                ));
            }
        };
        let ohms = cable.ohms(Celsius::REFERENCE).value();
        let spread = Spread::between(ohms * spread.0, ohms, ohms * spread.1);
        let from = if ohms > 0.0 { Origin::Stated } else { Origin::Assumed };
        self.input(Quantity::CableOhms, "cable, both ways, at 20 C", "ohm", spread, from);
        if raw.celsius.is_some() {
            self.show("cable, hottest", "C", &Spread::exact(celsius), Origin::Stated);
        }
        Ok(celsius)
    }

    fn hold_up(&mut self, microfarads: Option<f64>) -> Result<bool, BadFit> {
        let stated = Self::within("--hold-up-microfarads", microfarads, 0.1, 1e6)?;
        let Some(microfarads) = stated else { return Ok(false) };
        let farads = Spread::percent(microfarads * 1e-6, 100.0 * TOLERANCE);
        self.show("hold-up capacitor", "uF", &farads.times(1e6), Origin::Stated);
        self.set(Quantity::Farads, farads);
        self.input(Quantity::Diode, "hold-up diode", "V", DIODE_VOLTS, Origin::Assumed);
        self.assume(
            "The capacitor keeps within a fifth of its value, and a silicon diode of 0.5 to 0.9 V \
             feeds it (common practice, no source).",
        );
        Ok(true)
    }

    /// The contact's name.
    fn contact(&mut self, raw: &RawFit) -> Result<&'static str, BadFit> {
        let current = raw.contact.loop_milliamps;
        let Some(current) = Self::within("--loop-milliamps", current, 0.0, 10_000.0)? else {
            return Ok("");
        };
        self.show("loop through the contact", "mA", &Spread::exact(current), Origin::Stated);
        let (spread, from) = match raw.contact.material {
            Some(material) => (Spread::exact(material.wetting_milliamps()), Origin::Stated),
            None => {
                self.assume(
                    "The contact's material is not known: silver alloy, the usual one, is worked \
                     with, and gold is not ruled out.",
                );
                let all = MATERIALS.map(Material::wetting_milliamps);
                (Spread::between(all[2], all[0], all[0]), Origin::Assumed)
            }
        };
        self.input(Quantity::WettingMilliamps, "least current of the contact", "mA", spread, from);
        Ok(raw.contact.material.map_or("material not known", Material::name))
    }
}

fn conductor(raw: &RawCable) -> Result<Option<Conductor>, BadCable> {
    let build = Build { flexible: raw.flexible, coated: raw.tinned };
    match (raw.mm2, raw.awg) {
        (Some(mm2), None) => Conductor::square(mm2, build).map(Some),
        (None, Some(awg)) => Conductor::gauge(awg).map(Some),
        // Both, or neither: what is half stated or twice is told by the caller.
        _ => Ok(None),
    }
}
