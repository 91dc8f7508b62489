//! A fit that can be judged: every quantity with its range, the conditions that will come (hot
//! coil, cold coil, low battery, siren on), and where each number comes from. Conditions are fixed,
//! since they will come; ranges are what is not exactly known. Volts, ohms, degrees Celsius.

use super::circuit::Circuit;
use super::spread::Spread;
use crate::cable::copper::copper_factor;
use crate::event::FitInput;

/// The quantities that are not exactly known. A fit's ranges stand in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Lowest volts of the output while in alarm, as measured.
    Level,
    /// Highest volts of the output while in alarm.
    Top,
    /// Volts of the output at rest.
    Rest,
    /// Resistance of the supply and its switch.
    SourceOhms,
    /// Volts that the output lies below its battery.
    SwitchDrop,
    /// The cable at 20 degrees Celsius.
    CableOhms,
    /// The coil at 20 degrees Celsius.
    CoilOhms,
    /// Its rated volts.
    Rated,
    /// Pick-up at 20 degrees Celsius, in volts or as a share of the rated volts.
    PickUp,
    /// Drop-out at 20 degrees Celsius, in volts or as a share of the rated volts.
    DropOut,
    /// The most that it stands, in volts or as a share of the rated volts.
    CoilMax,
    /// Drop of the hold-up diode.
    Diode,
    /// The hold-up capacitor, in farads.
    Farads,
    /// The least current that keeps the contact clean, in milliamperes.
    WettingMilliamps,
}

/// How many quantities.
pub const QUANTITIES: usize = Quantity::WettingMilliamps as usize + 1;

/// A fit that can be judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    pub(super) spreads: Vec<Spread>,
    /// Pick-up lies between these, in volts.
    pub(super) pick_up_bracket: (f64, f64),
    /// Whether pick-up, drop-out and maximum are shares of the rated volts.
    pub(super) pick_up_is_share: bool,
    pub(super) drop_out_is_share: bool,
    pub(super) coil_max_is_share: bool,
    /// Volts that the battery may fall to.
    pub(super) floor_volts: Option<f64>,
    /// What the output delivered while it was measured, in amperes.
    pub(super) log_amps: f64,
    pub(super) siren_siemens: f64,
    pub(super) hot_celsius: f64,
    pub(super) cold_celsius: f64,
    pub(super) cable_celsius: f64,
    pub(super) rest_known: bool,
    /// Off and on time of a pulsed output, in seconds.
    pub(super) pulse_s: Option<(f64, f64)>,
    pub(super) hold_up_fitted: bool,
    pub(super) output_amps_max: Option<f64>,
    pub(super) loop_milliamps: Option<f64>,
    pub(super) contact: &'static str,
    /// Inductance over resistance of the coil, in seconds.
    pub(super) coil_tau_s: f64,
    pub(super) polarised: Option<bool>,
    pub(super) inputs: Vec<FitInput>,
    pub(super) assumptions: Vec<String>,
    pub(super) draws: u32,
    pub(super) seed: u64,
    pub(super) simulated: bool,
}

/// One value of every quantity.
#[derive(Clone, Copy)]
pub(super) struct Drawn<'a> {
    fit: &'a Fit,
    values: &'a [f64],
}

impl Fit {
    pub(super) fn spread(&self, quantity: Quantity) -> &Spread {
        &self.spreads[quantity as usize]
    }

    pub(super) fn drawn<'a>(&'a self, values: &'a [f64]) -> Drawn<'a> {
        Drawn { fit: self, values }
    }

    pub(super) fn nominal(&self) -> Vec<f64> {
        self.spreads.iter().map(|spread| spread.nominal).collect()
    }

    /// How much warmer copper resists more, hot and cold.
    pub(super) fn hot_factor(&self) -> f64 {
        copper_factor(self.hot_celsius)
    }

    pub(super) fn cold_factor(&self) -> f64 {
        copper_factor(self.cold_celsius)
    }
}

impl Drawn<'_> {
    pub(super) fn of(&self, quantity: Quantity) -> f64 {
        self.values[quantity as usize]
    }

    fn or_share(&self, quantity: Quantity, is_share: bool) -> f64 {
        self.of(quantity) * if is_share { self.of(Quantity::Rated) } else { 1.0 }
    }

    pub(super) fn pick_up_20(&self) -> f64 {
        let (still, moved) = self.fit.pick_up_bracket;
        self.or_share(Quantity::PickUp, self.fit.pick_up_is_share).max(still).min(moved)
    }

    /// Never above pick-up.
    pub(super) fn drop_out_20(&self) -> f64 {
        let stated = self.or_share(Quantity::DropOut, self.fit.drop_out_is_share);
        stated.min(self.pick_up_20())
    }

    pub(super) fn coil_max(&self) -> f64 {
        self.or_share(Quantity::CoilMax, self.fit.coil_max_is_share)
    }

    /// Volts of the supply without load, as low as they get: the level that was measured, or that
    /// of a battery at its floor.
    pub(super) fn emf_low(&self) -> f64 {
        let measured = self.of(Quantity::Level);
        let floor = self.fit.floor_volts.map(|v| v - self.of(Quantity::SwitchDrop));
        let terminal = floor.map_or(measured, |floor| floor.min(measured));
        terminal + self.of(Quantity::SourceOhms) * self.fit.log_amps
    }

    /// The same, as high as they get.
    pub(super) fn emf_high(&self) -> f64 {
        self.of(Quantity::Top) + self.of(Quantity::SourceOhms) * self.fit.log_amps
    }

    fn circuit(&self, emf_volts: f64, siren_siemens: f64, cable: f64, coil: f64) -> Circuit {
        Circuit {
            emf_volts,
            source_ohms: self.of(Quantity::SourceOhms),
            siren_siemens,
            diode_volts: self.of(Quantity::Diode),
            cable_ohms: self.of(Quantity::CableOhms) * cable,
            coil_ohms: self.of(Quantity::CoilOhms) * coil,
        }
    }

    /// Hot coil and cable, lowest supply, siren on.
    pub(super) fn low(&self) -> Circuit {
        let cable = copper_factor(self.fit.cable_celsius);
        self.circuit(self.emf_low(), self.fit.siren_siemens, cable, self.fit.hot_factor())
    }

    /// Cold coil and cable, lowest supply, siren on.
    pub(super) fn low_cold(&self) -> Circuit {
        let cold = self.fit.cold_factor();
        self.circuit(self.emf_low(), self.fit.siren_siemens, cold, cold)
    }

    /// Cold coil and cable, highest supply, siren off or gone.
    pub(super) fn high(&self) -> Circuit {
        let cold = self.fit.cold_factor();
        self.circuit(self.emf_high(), 0.0, cold, cold)
    }
}
