//! What a cable takes away: from its length, its conductors and their temperature to ohms there
//! and back, or from a loop that was measured to the same loop warmer or colder. Ohms are of both
//! conductors together, lengths those of the cable, once. [`copper`] is the one place where
//! resistance follows temperature, for coils too; [`conductor`] has the tables of sizes.

pub mod conductor;
pub mod copper;

pub use conductor::{Build, Conductor, sizes_mm2};

/// Length of a cable in metres: the way there, not the way back too.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Metres(f64);

/// A temperature in degrees Celsius that copper and its insulation bear.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Celsius(f64);

/// A resistance in ohms, 0 or more.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Ohms(f64);

/// What is wrong with a cable as it was stated.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum BadCable {
    /// No table has this size.
    #[error("no table has a conductor of {mm2} mm2; {}", known())]
    UnknownSize {
        /// The size, in square millimetres.
        mm2: f64,
    },
    /// No such gauge.
    #[error("no wire gauge {awg}; they go from 0 to 40")]
    UnknownGauge {
        /// The gauge.
        awg: u8,
    },
    /// Not a length, or longer than any cable that this is for.
    #[error("a cable of {metres} m; expected 0 to 10000 m, one way")]
    Length {
        /// The length, in metres.
        metres: f64,
    },
    /// Not a temperature that a cable or a coil bears.
    #[error("{celsius} degrees Celsius; expected -60 to 180")]
    Temperature {
        /// The temperature, in degrees Celsius.
        celsius: f64,
    },
    /// Not a resistance.
    #[error("{ohms} ohm; expected 0 or more")]
    Resistance {
        /// The resistance, in ohms.
        ohms: f64,
    },
}

fn known() -> String {
    let sizes: Vec<String> = sizes_mm2().map(|mm2| mm2.to_string()).collect();
    format!("known are {}", sizes.join(", "))
}

impl Metres {
    /// A length one way.
    ///
    /// # Errors
    /// [`BadCable::Length`] outside 0 to 10 km.
    pub fn new(metres: f64) -> Result<Self, BadCable> {
        let fits = (0.0..=10_000.0).contains(&metres);
        if fits { Ok(Self(metres)) } else { Err(BadCable::Length { metres }) }
    }

    /// The number.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

impl Celsius {
    /// The reference temperature of tables and coils.
    pub const REFERENCE: Self = Self(20.0);

    /// A temperature.
    ///
    /// # Errors
    /// [`BadCable::Temperature`] outside -60 to 180 degrees.
    pub fn new(celsius: f64) -> Result<Self, BadCable> {
        let fits = (-60.0..=180.0).contains(&celsius);
        if fits { Ok(Self(celsius)) } else { Err(BadCable::Temperature { celsius }) }
    }

    /// The number.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

impl Ohms {
    /// A resistance.
    ///
    /// # Errors
    /// [`BadCable::Resistance`] below 0 or beyond numbers.
    pub fn new(ohms: f64) -> Result<Self, BadCable> {
        let fits = ohms.is_finite() && ohms >= 0.0;
        if fits { Ok(Self(ohms)) } else { Err(BadCable::Resistance { ohms }) }
    }

    /// The number.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

/// A cable of two conductors between an output and a coil, or a panel and a loop's far end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cable {
    makeup: Makeup,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Makeup {
    Tabulated { conductor: Conductor, length: Metres },
    Measured { ohms: Ohms, at: Celsius },
}

impl Cable {
    /// A cable by its table.
    #[must_use]
    pub const fn new(conductor: Conductor, length: Metres) -> Self {
        Self { makeup: Makeup::Tabulated { conductor, length } }
    }

    /// A cable whose two conductors, joined at the far end, measured `ohms` at a temperature.
    #[must_use]
    pub const fn measured(ohms: Ohms, at: Celsius) -> Self {
        Self { makeup: Makeup::Measured { ohms, at } }
    }

    /// No cable: the parts stand side by side.
    #[must_use]
    pub const fn none() -> Self {
        Self::measured(Ohms(0.0), Celsius::REFERENCE)
    }

    /// Ohms of the way there and the way back, with the copper at this temperature.
    #[must_use]
    pub fn ohms(&self, at: Celsius) -> Ohms {
        let ohms_20 = match self.makeup {
            Makeup::Tabulated { conductor, length } => {
                2.0 * length.value() / 1000.0 * conductor.ohms_per_km()
            }
            Makeup::Measured { ohms, at } => copper::to_20_celsius(ohms.value(), at.value()),
        };
        Ohms(copper::from_20_celsius(ohms_20, at.value()))
    }

    /// The conductor, if the cable is known by its table.
    #[must_use]
    pub const fn conductor(&self) -> Option<Conductor> {
        match self.makeup {
            Makeup::Tabulated { conductor, .. } => Some(conductor),
            Makeup::Measured { .. } => None,
        }
    }

    /// The length, if the cable is known by its table.
    #[must_use]
    pub const fn length(&self) -> Option<Metres> {
        match self.makeup {
            Makeup::Tabulated { length, .. } => Some(length),
            Makeup::Measured { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn metres(metres: f64) -> Metres {
        Metres::new(metres).unwrap()
    }

    fn celsius(celsius: f64) -> Celsius {
        Celsius::new(celsius).unwrap()
    }

    fn ohms(cable: Cable, at: f64) -> f64 {
        cable.ohms(celsius(at)).value()
    }

    fn close(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "{found}, expected {expected} within {within}");
    }

    #[test]
    fn worked_examples_of_cables_come_out() {
        // IEC 60228 class 5, 0.5 mm2, 39.0 ohm per kilometre: 100 m out and back are 7.8 ohm.
        let flexible = Build { flexible: true, coated: false };
        let lead = Cable::new(Conductor::square(0.5, flexible).unwrap(), metres(100.0));
        close(ohms(lead, 20.0), 7.8, 1e-9);
        // Which is 3.9 V at 0.5 A and 0.234 V at 30 mA.
        close(ohms(lead, 20.0) * 0.5, 3.9, 1e-9);
        close(ohms(lead, 20.0) * 0.030, 0.234, 1e-9);
        // ASTM B258 and IEC 60028: 50 m of AWG 24 out and back, at 20 and at 40 C.
        let gauge = Cable::new(Conductor::gauge(24).unwrap(), metres(50.0));
        close(ohms(gauge, 20.0), 8.4215, 1e-4);
        close(ohms(gauge, 40.0), 9.0834, 1e-4);
        // The extract of DIN VDE 0295, 96 ohm per kilometre: 100 m of 0.22 mm2 out and back.
        let alarm = Cable::new(Conductor::square(0.22, Build::default()).unwrap(), metres(100.0));
        close(ohms(alarm, 20.0), 19.2, 1e-9);
    }

    #[test]
    fn a_measured_loop_is_carried_from_its_own_temperature() {
        let loop_now = Cable::measured(Ohms::new(9.0834).unwrap(), celsius(40.0));
        close(ohms(loop_now, 40.0), 9.0834, 1e-12);
        close(ohms(loop_now, 20.0), 8.4215, 1e-4);
        assert_eq!(ohms(Cable::none(), 70.0), 0.0);
    }

    #[test]
    fn what_no_cable_can_be_is_refused() {
        for bad in [-1.0, 1e5, f64::NAN, f64::INFINITY] {
            assert!(Metres::new(bad).is_err(), "{bad} m");
        }
        for bad in [-300.0, 500.0, f64::NAN] {
            assert!(Celsius::new(bad).is_err(), "{bad} degrees");
        }
        for bad in [-0.1, f64::NAN, f64::INFINITY] {
            assert!(Ohms::new(bad).is_err(), "{bad} ohm");
        }
    }

    #[test]
    fn a_size_that_is_not_known_is_told_with_those_that_are() {
        let error = Conductor::square(0.6, Build::default()).unwrap_err();
        let text = error.to_string();
        assert!(text.contains("0.6 mm2") && text.contains("0.5, 0.75, 1,"), "{text}");
    }
}
