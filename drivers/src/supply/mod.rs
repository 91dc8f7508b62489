//! A programmable supply that speaks SCPI (`SOURce:VOLTage`, `SOURce:CURRent`, `OUTPut`,
//! `MEASure`), on the same links as a meter. Its limits are enforced here, before a command goes
//! out; what was set is read back before the output goes on; and the output is switched off when a
//! [`Supply`] is dropped, on whatever way out of the program that runs drops. A killed process
//! leaves it as it stands: volts, amperes, never more than the limits.

mod exchange;

use crate::clock::Clock;
use crate::error::{DriverError, escape};
use crate::link::{Link, LinkSpec};
use exchange::Exchange;
use std::sync::Arc;
use std::time::Duration;

/// What the output and the current need to come to rest before they are measured.
const SETTLE: Duration = Duration::from_millis(60);
/// What was set may be read back rounded by the supply: so far off, as a share and in volts or
/// amperes.
const ROUNDING: (f64, f64) = (0.01, 0.002);
/// Volts measured below this share of what was set mean that the current limit holds the supply.
const REACHED: f64 = 0.9;

/// What is never exceeded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyLimits {
    /// Most volts.
    pub volts_max: f64,
    /// Most power that may flow, in watts: volts times the current limit.
    pub watts_max: f64,
}

/// What the supply measures at its output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delivered {
    /// Volts.
    pub volts: f64,
    /// Amperes.
    pub amps: f64,
}

/// A supply in use. Its output is off whenever it was not switched on by [`Supply::apply`].
pub struct Supply {
    exchange: Exchange,
    limits: SupplyLimits,
    identity: String,
    /// Whether the output may be on.
    on: bool,
    /// What it was set to last, in volts.
    held_volts: f64,
}

impl Supply {
    /// Opens the link, makes sure that the output is off, and asks who answers.
    ///
    /// # Errors
    /// What [`LinkSpec::open`] reports; [`DriverError::NoAnswer`], [`DriverError::Garbled`] or
    /// [`DriverError::Refused`] for a supply that does not understand.
    pub fn open(
        spec: &LinkSpec,
        limits: SupplyLimits,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, DriverError> {
        Self::over(spec.open()?, limits, clock)
    }

    /// The same over a link that is open.
    ///
    /// # Errors
    /// As [`Supply::open`].
    pub fn over(
        link: Box<dyn Link>,
        limits: SupplyLimits,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, DriverError> {
        let exchange = Exchange::new(link, clock);
        let mut supply =
            Self { exchange, limits, identity: String::new(), on: true, held_volts: 0.0 };
        supply.exchange.begin()?;
        supply.identity = escape(supply.exchange.introduce()?.as_bytes(), 200);
        supply.off()?;
        supply.exchange.no_errors("OUTP OFF")?;
        Ok(supply)
    }

    /// Who answered, escaped.
    #[must_use]
    pub fn identity(&self) -> &str {
        &self.identity
    }

    /// Whether the output may be on.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        self.on
    }

    /// Sets volts and a current limit, reads both back, switches the output on and measures it.
    ///
    /// # Errors
    /// [`DriverError::OverLimit`] before anything is sent; [`DriverError::SettingLost`] where the
    /// supply reads back something else, with the output off; [`DriverError::CurrentLimited`] where
    /// the volts are not reached, with the output off again; else what the link reports.
    pub fn apply(&mut self, volts: f64, amps: f64) -> Result<Delivered, DriverError> {
        self.allow(volts, amps)?;
        let outcome = self.apply_allowed(volts, amps);
        if outcome.is_err() {
            // The first failure is the one to tell; the output is off, or the link is gone.
            let _ = self.off();
        }
        outcome
    }

    fn apply_allowed(&mut self, volts: f64, amps: f64) -> Result<Delivered, DriverError> {
        // Upwards the current limit goes first, downwards the volts: what is on is never held below
        // its volts on the way, nor given more than the limits.
        if volts >= self.held_volts {
            self.set("CURR", amps, 4)?;
            self.set("VOLT", volts, 3)?;
        } else {
            self.set("VOLT", volts, 3)?;
            self.set("CURR", amps, 4)?;
        }
        self.held_volts = volts;
        self.on = true;
        self.exchange.tell("OUTP ON")?;
        if self.exchange.ask("OUTP?")?.trim().trim_start_matches('+') != "1" {
            return Err(self.exchange.setting_lost("output on", "off"));
        }
        self.exchange.no_errors("OUTP ON")?;
        self.exchange.pause(SETTLE);
        let delivered = self.measure()?;
        if delivered.volts < REACHED * volts {
            return Err(DriverError::CurrentLimited {
                port: self.exchange.name().to_owned(),
                volts,
                reached_volts: delivered.volts,
                amps,
            });
        }
        Ok(delivered)
    }

    /// What the supply measures at its output.
    ///
    /// # Errors
    /// What the link reports, or [`DriverError::Garbled`].
    pub fn measure(&mut self) -> Result<Delivered, DriverError> {
        let volts = self.exchange.ask_number("MEAS:VOLT?")?;
        let amps = self.exchange.ask_number("MEAS:CURR?")?;
        Ok(Delivered { volts, amps })
    }

    /// Switches the output off, and makes sure of it.
    ///
    /// # Errors
    /// What the link reports: then the output may still be on, and a person has to see to it.
    pub fn off(&mut self) -> Result<(), DriverError> {
        if !self.on {
            return Ok(());
        }
        self.exchange.tell("OUTP OFF")?;
        let state = self.exchange.ask("OUTP?")?;
        if state.trim().trim_start_matches('+') != "0" {
            return Err(self.exchange.setting_lost("output off", &state));
        }
        self.on = false;
        Ok(())
    }

    fn allow(&self, volts: f64, amps: f64) -> Result<(), DriverError> {
        let SupplyLimits { volts_max, watts_max } = self.limits;
        let over = |asked: String, limit: String| DriverError::OverLimit {
            port: self.exchange.name().to_owned(),
            asked,
            limit,
        };
        if !(volts >= 0.0 && volts <= volts_max) {
            return Err(over(format!("{volts} V"), format!("{volts_max} V")));
        }
        if !(amps > 0.0 && volts * amps <= watts_max) {
            return Err(over(format!("{volts} V at {amps} A"), format!("{watts_max} W")));
        }
        Ok(())
    }

    /// Sets one of the two and reads it back. A supply that rounds is as good; one that holds more
    /// than was asked for is not.
    fn set(&mut self, what: &str, value: f64, places: usize) -> Result<(), DriverError> {
        self.exchange.tell(&format!("SOUR:{what} {value:.places$}"))?;
        let held = self.exchange.ask_number(&format!("SOUR:{what}?"))?;
        if (held - value).abs() > value * ROUNDING.0 + ROUNDING.1 {
            return Err(self.exchange.setting_lost(&format!("{what} {value}"), &held.to_string()));
        }
        Ok(())
    }
}

impl Drop for Supply {
    /// Off on every way out. Where the answer does not come, the command has gone out all the same.
    fn drop(&mut self) {
        if let Err(error) = self.off() {
            tracing::error!(%error, "the supply may still be on: switch it off by hand");
        }
    }
}

#[cfg(test)]
mod tests;
