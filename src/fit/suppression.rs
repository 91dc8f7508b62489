//! What to fit across a coil so that its kick does not reach the output's switch: which way round,
//! what the switch then sees, and the price in release time. A clamp that lets the voltage rise
//! higher lets the current fall faster. Worked out at the nominal values, coil cold, supply high:
//! the most current.

use super::case::Fit;
use super::circuit::fall_seconds;
use super::claim::short;
use crate::event::SuppressionChoice;

/// Drop of a silicon diode that carries a coil's current, in volts (common practice, no source).
const DIODE_VOLTS: f64 = 0.7;

/// The ways, simplest first.
pub(super) fn choices(fit: &Fit) -> Vec<SuppressionChoice> {
    let nominal = fit.nominal();
    let d = fit.drawn(&nominal);
    let circuit = d.high();
    let (amps, ohms) = (circuit.coil_amps(), circuit.coil_ohms);
    let let_go = d.drop_out_20() / d.of(super::case::Quantity::CoilOhms);
    let coil =
        Coil { supply: circuit.emf_volts, amps, let_go, ohms, henries: fit.coil_tau_s * ohms };
    if fit.polarised == Some(true) {
        let mut fitted = coil.clamped("nothing: the relay has its own. Plus at A1", 0.0, 0.0);
        fitted.fit += ", or it shorts the output";
        return vec![fitted];
    }
    vec![
        SuppressionChoice {
            fit: "nothing".into(),
            clamp_volts: None,
            release_ms: None,
            numbers: format!(
                "U = L dI/dt with {} mA in {} H: hundreds of volts at the switch",
                short(1000.0 * amps),
                short(coil.henries)
            ),
        },
        coil.clamped("a diode across the coil, its band (cathode) at A1 (+)", 0.0, 0.0),
        coil.clamped(
            &format!("the same diode in line with {} ohm", short(ohms.round())),
            ohms.round(),
            0.0,
        ),
        coil.clamped(
            &format!("a two-way clamp of {} V across the coil", short((2.0 * coil.supply).ceil())),
            0.0,
            (2.0 * coil.supply).ceil() - DIODE_VOLTS,
        ),
    ]
}

struct Coil {
    supply: f64,
    amps: f64,
    let_go: f64,
    ohms: f64,
    henries: f64,
}

impl Coil {
    /// A clamp that adds resistance or volts to a diode's drop.
    fn clamped(&self, fit: &str, series_ohms: f64, more_volts: f64) -> SuppressionChoice {
        let against = DIODE_VOLTS + more_volts;
        let clamp = self.supply + against + self.amps * series_ohms;
        let ohms = self.ohms + series_ohms;
        let seconds = fall_seconds(self.amps, self.let_go, against, ohms, self.henries);
        SuppressionChoice {
            fit: fit.into(),
            clamp_volts: Some(clamp),
            release_ms: Some(1000.0 * seconds),
            numbers: format!(
                "U = {} + {} + {} x {} = {} V; t = {}/{} ln(({} + {})/({} + {})) = {} ms, in mA",
                short(self.supply),
                short(against),
                short(self.amps),
                short(series_ohms),
                short(clamp),
                short(self.henries),
                short(ohms),
                short(1000.0 * self.amps),
                short(1000.0 * against / ohms),
                short(1000.0 * self.let_go),
                short(1000.0 * against / ohms),
                short(1000.0 * seconds),
            ),
        }
    }
}
