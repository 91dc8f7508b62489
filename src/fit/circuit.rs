//! The circuit between a supply and a coil: source resistance, a siren on the same output, a diode
//! and the cable, solved in closed form; and what inductance and capacitance do in time. Volts,
//! ohms, amperes, seconds; nothing is uncertain here. Checked against ngspice in
//! `tests/fit_circuits.rs`.

/// A supply with its source resistance, a siren at the output, and a coil at the end of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    /// Volts of the supply without load.
    pub emf_volts: f64,
    /// Resistance of the supply and its switch.
    pub source_ohms: f64,
    /// What else hangs at the output, as a conductance; 0: nothing.
    pub siren_siemens: f64,
    /// Drop of a diode in line with the coil; 0: none.
    pub diode_volts: f64,
    /// The cable, there and back.
    pub cable_ohms: f64,
    /// The coil.
    pub coil_ohms: f64,
}

impl Circuit {
    /// Volts at the output's terminals.
    #[must_use]
    pub fn output_volts(&self) -> f64 {
        let line = self.cable_ohms + self.coil_ohms;
        let (source, diode) = (self.source_ohms, self.diode_volts);
        (self.emf_volts + source * diode / line)
            / (1.0 + source * (self.siren_siemens + 1.0 / line))
    }

    /// Current through the coil, in amperes; 0 where the diode does not conduct.
    #[must_use]
    pub fn coil_amps(&self) -> f64 {
        let volts = (self.output_volts() - self.diode_volts).max(0.0);
        volts / (self.cable_ohms + self.coil_ohms)
    }

    /// Volts at the coil.
    #[must_use]
    pub fn coil_volts(&self) -> f64 {
        self.coil_amps() * self.coil_ohms
    }

    /// Current out of the supply, in amperes.
    #[must_use]
    pub fn output_amps(&self) -> f64 {
        self.coil_amps() + self.output_volts() * self.siren_siemens
    }
}

/// Volts left on a capacitor of `farads` across a coil, `seconds` after it was left alone at
/// `volts`.
#[must_use]
pub fn volts_after(volts: f64, seconds: f64, farads: f64, coil_ohms: f64) -> f64 {
    volts * (-seconds / (coil_ohms * farads)).exp()
}

/// Time in seconds that a capacitor of `farads` holds a coil from `volts` down to `down_to`.
#[must_use]
pub fn hold_seconds(volts: f64, down_to: f64, farads: f64, coil_ohms: f64) -> f64 {
    coil_ohms * farads * (volts / down_to).ln().max(0.0)
}

/// Capacitance in farads that holds a coil for `seconds` from `volts` down to `down_to`.
/// Infinite where `volts` is not above `down_to`.
#[must_use]
pub fn farads_for(seconds: f64, volts: f64, down_to: f64, coil_ohms: f64) -> f64 {
    let fall = (volts / down_to).ln();
    if fall > 0.0 { seconds / (coil_ohms * fall) } else { f64::INFINITY }
}

/// A coil's current on its way: begun at `amps`, in a circuit of `ohms` and `henries` with a
/// counter-voltage of `against_volts` (a clamp), after `seconds`. Never below 0: a clamp does not
/// push back.
#[must_use]
pub fn falling_amps(amps: f64, against_volts: f64, ohms: f64, henries: f64, seconds: f64) -> f64 {
    let floor = against_volts / ohms;
    ((amps + floor) * (-seconds * ohms / henries).exp() - floor).max(0.0)
}

/// Time in seconds for such a current to fall from `amps` to `to_amps`.
#[must_use]
pub fn fall_seconds(amps: f64, to_amps: f64, against_volts: f64, ohms: f64, henries: f64) -> f64 {
    let floor = against_volts / ohms;
    henries / ohms * ((amps + floor) / (to_amps + floor)).ln().max(0.0)
}

/// A coil's current `seconds` after `volts` were applied to it, through `ohms` in all.
#[must_use]
pub fn rising_amps(volts: f64, ohms: f64, henries: f64, seconds: f64) -> f64 {
    volts / ohms * (1.0 - (-seconds * ohms / henries).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kirchhoff_holds_at_the_output() {
        let circuit = Circuit {
            emf_volts: 12.0,
            source_ohms: 1.5,
            siren_siemens: 1.0 / 24.0,
            diode_volts: 0.7,
            cable_ohms: 8.42,
            coil_ohms: 400.0,
        };
        let into = (12.0 - circuit.output_volts()) / 1.5;
        assert!((into - circuit.output_amps()).abs() < 1e-12);
        let round = circuit.output_volts() - 0.7 - circuit.coil_amps() * 408.42;
        assert!(round.abs() < 1e-12);
    }

    #[test]
    fn a_supply_without_resistance_holds_its_volts() {
        let circuit = Circuit {
            emf_volts: 12.0,
            source_ohms: 0.0,
            siren_siemens: 10.0,
            diode_volts: 0.0,
            cable_ohms: 0.0,
            coil_ohms: 400.0,
        };
        assert_eq!(circuit.output_volts(), 12.0);
        assert_eq!(circuit.coil_volts(), 12.0);
        let blocked = Circuit { emf_volts: 0.3, diode_volts: 0.7, ..circuit };
        assert_eq!(blocked.coil_volts(), 0.0);
    }

    #[test]
    fn what_holds_for_a_time_is_what_that_time_needs() {
        let farads = farads_for(0.5, 11.3, 2.4, 400.0);
        assert!((hold_seconds(11.3, 2.4, farads, 400.0) - 0.5).abs() < 1e-12);
        assert!((volts_after(11.3, 0.5, farads, 400.0) - 2.4).abs() < 1e-12);
        assert_eq!(farads_for(0.5, 2.0, 2.4, 400.0), f64::INFINITY);
    }

    #[test]
    fn falling_and_the_time_to_fall_agree() {
        let seconds = fall_seconds(0.03, 0.003, 0.7, 400.0, 0.6);
        assert!((falling_amps(0.03, 0.7, 400.0, 0.6, seconds) - 0.003).abs() < 1e-12);
        assert_eq!(falling_amps(0.03, 0.7, 400.0, 0.6, 10.0), 0.0);
    }
}
