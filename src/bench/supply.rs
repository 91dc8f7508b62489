//! The simulated supply: a direct voltage behind a small resistance, with a current limit and an
//! output switch. It puts itself into the circuit's [`Network`] as a source; above its limit it
//! holds the current instead of the voltage. Who may switch it on, and how high, the hands and
//! the hazards say.

use super::network::{Network, Solution};

/// Resistance of the supply and its clips, in ohms.
const SOURCE_OHMS: f64 = 0.05;

/// The supply.
#[derive(Clone, Debug)]
pub(crate) struct Supply {
    /// Most volts that it can be set to.
    pub(crate) volts_max: f64,
    /// Most current, in amps.
    pub(crate) amps_max: f64,
    /// What is applied, while the output is on.
    pub(crate) applied: Option<Applied>,
}

/// A voltage on two pins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Applied {
    pub(crate) plus: usize,
    pub(crate) minus: usize,
    pub(crate) volts: f64,
}

/// What a supply that is commanded over a link is set to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Setting {
    pub(crate) volts: f64,
    pub(crate) amps: f64,
    pub(crate) on: bool,
}

impl Default for Setting {
    /// As it is switched on: nothing, behind a tenth of an ampere.
    fn default() -> Self {
        Self { volts: 0.0, amps: 0.1, on: false }
    }
}

/// What the supply does in a solved network.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Delivered {
    /// Volts at its clips.
    pub(crate) volts: f64,
    /// Amps out of its plus.
    pub(crate) amps: f64,
    /// Whether the limit holds it.
    pub(crate) limited: bool,
}

impl Supply {
    pub(crate) fn new(volts_max: f64, amps_max: f64) -> Self {
        Self { volts_max, amps_max, applied: None }
    }

    /// Solves `network` with the supply in it.
    pub(crate) fn solve(&self, network: &Network) -> (Solution, Delivered) {
        let Some(Applied { plus, minus, volts }) = self.applied else {
            return (network.solve(), Delivered::default());
        };
        let mut with = network.clone();
        with.resistor(plus, minus, SOURCE_OHMS);
        with.source(plus, minus, volts / SOURCE_OHMS);
        let solution = with.solve();
        let clips = solution.between(plus, minus).unwrap_or(volts);
        let amps = (volts - clips) / SOURCE_OHMS;
        if amps.abs() <= self.amps_max {
            return (solution, Delivered { volts: clips, amps, limited: false });
        }
        let mut held = network.clone();
        let amps = self.amps_max.copysign(amps);
        held.source(plus, minus, amps);
        let solution = held.solve();
        let volts = solution.between(plus, minus).unwrap_or(volts);
        (solution, Delivered { volts, amps, limited: true })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn into(ohms: f64, volts: f64) -> Delivered {
        let mut network = Network::new(2);
        network.resistor(0, 1, ohms);
        let mut supply = Supply::new(60.0, 0.5);
        supply.applied = Some(Applied { plus: 0, minus: 1, volts });
        supply.solve(&network).1
    }

    #[test]
    fn a_coil_gets_the_voltage() {
        let delivered = into(400.0, 12.0);
        assert!((delivered.volts - 12.0 * 400.0 / 400.05).abs() < 1e-9 && !delivered.limited);
    }

    #[test]
    fn a_short_gets_the_current_limit() {
        for volts in [12.0_f64, -12.0] {
            let delivered = into(0.1, volts);
            assert!(delivered.limited);
            assert!((delivered.volts - 0.05_f64.copysign(volts)).abs() < 1e-9, "{delivered:?}");
        }
    }
}
