//! A panel's input as a source: the volts of its open terminals behind one resistance. Either
//! stated, or learnt from two measurements: the open terminals, and the volts across a known
//! resistor. Volts and ohms; uncertainties are standard ones.

use crate::fit::spread::Spread;

/// Volts of the open terminals behind a resistance.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Volts of the open terminals.
    pub volts: Spread,
    /// The resistance, in ohms.
    pub ohms: Spread,
}

/// A measured value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// A source learnt from two measurements.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learnt {
    /// Volts of the open terminals.
    pub volts: Measured,
    /// The resistance, in ohms.
    pub ohms: Measured,
}

/// Why two measurements tell nothing.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum BadMeasurement {
    /// The resistor does not load the terminals.
    #[error("{known} V across the resistor, {open} V on open terminals: it must be less, above 0")]
    NoLoad {
        /// Volts of the open terminals.
        open: f64,
        /// Volts across the resistor.
        known: f64,
    },
    /// A value that is none.
    #[error("{name} {value}: expected a value above 0, with an uncertainty of 0 or more")]
    Value {
        /// Which.
        name: &'static str,
        /// Its value.
        value: f64,
    },
}

impl Learnt {
    /// From the open terminals, a known resistor and the volts across it, with a meter of
    /// `meter_ohms` across the terminals both times. The uncertainty is that of JCGM 100:2008,
    /// 5.1.2, with the three taken for independent: errors that both readings share would cancel
    /// in the ratio, so the stated one is on the safe side.
    ///
    /// # Errors
    /// `BadMeasurement` where the values cannot be of such a source.
    pub fn from_two(
        open: Measured,
        resistor: Measured,
        across: Measured,
        meter_ohms: f64,
    ) -> Result<Self, BadMeasurement> {
        let named = [("open volts", open), ("known ohms", resistor), ("known volts", across)];
        for (name, Measured { value, u }) in named {
            let sound = value.is_finite() && value > 0.0 && u.is_finite() && u >= 0.0;
            if !sound {
                return Err(BadMeasurement::Value { name, value });
            }
        }
        if meter_ohms.is_nan() || meter_ohms <= 0.0 {
            return Err(BadMeasurement::Value { name: "meter ohms", value: meter_ohms });
        }
        if across.value >= open.value {
            return Err(BadMeasurement::NoLoad { open: open.value, known: across.value });
        }
        let resolve = |open: f64, resistor: f64, across: f64| {
            // Norton: open = I P, across = I P', where P and P' hold the source and the meter.
            let ohms = resistor * (open / across - 1.0);
            let meter = 1.0 / meter_ohms;
            let bare = 1.0 / (1.0 / ohms - meter);
            (open * (1.0 + bare * meter), bare)
        };
        let (volts, ohms) = resolve(open.value, resistor.value, across.value);
        if !(ohms.is_finite() && ohms > 0.0) {
            return Err(BadMeasurement::NoLoad { open: open.value, known: across.value });
        }
        let mut u_volts = 0.0_f64;
        let mut u_ohms = 0.0_f64;
        for which in 0..3 {
            let moved = |i: usize, m: Measured| m.value + if i == which { m.u * 1e-3 } else { 0.0 };
            let (v, r) = resolve(moved(0, open), moved(1, resistor), moved(2, across));
            u_volts = u_volts.hypot((v - volts) * 1e3);
            u_ohms = u_ohms.hypot((r - ohms) * 1e3);
        }
        Ok(Self {
            volts: Measured { value: volts, u: u_volts },
            ohms: Measured { value: ohms, u: u_ohms },
        })
    }
}

/// Volts at the terminals of a source with `ohms` across them.
#[must_use]
pub fn volts_across(source_volts: f64, source_ohms: f64, ohms: f64) -> f64 {
    if ohms.is_infinite() { source_volts } else { source_volts * ohms / (ohms + source_ohms) }
}

/// The resistance that leaves `volts` at the terminals; infinite at the open volts and beyond.
#[must_use]
pub fn ohms_at(source_volts: f64, source_ohms: f64, volts: f64) -> f64 {
    if volts >= source_volts { f64::INFINITY } else { source_ohms * volts / (source_volts - volts) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(value: f64) -> Measured {
        Measured { value, u: 0.0 }
    }

    #[test]
    fn two_measurements_give_the_source_back() {
        // 12 V behind 4.7 kilohm, 3.3 kilohm across: 12 x 3.3 / 8 = 4.95 V, worked by hand.
        let learnt =
            Learnt::from_two(exact(12.0), exact(3300.0), exact(4.95), f64::INFINITY).unwrap();
        assert!((learnt.ohms.value - 4700.0).abs() < 1e-9, "{learnt:?}");
        assert_eq!(learnt.ohms.u, 0.0);
    }

    #[test]
    fn the_meter_across_the_terminals_is_taken_off() {
        let (meter, volts, ohms) = (10e6, 12.0, 47_000.0);
        let beside = |r: f64| 1.0 / (1.0 / r + 1.0 / meter);
        let open = volts_across(volts, ohms, meter);
        let across = volts_across(volts, ohms, beside(33_000.0));
        let learnt = Learnt::from_two(exact(open), exact(33_000.0), exact(across), meter).unwrap();
        assert!((learnt.volts.value - volts).abs() < 1e-9, "{learnt:?}");
        assert!((learnt.ohms.value - ohms).abs() < 1e-6, "{learnt:?}");
    }

    #[test]
    fn the_uncertainty_is_that_of_the_law_of_propagation() {
        // By hand: R (Vo/Vk - 1) with R 3300 u 19.05, Vo 12 u 0.01, Vk 4.95 u 0.005:
        // 1.42424 x 19.05 = 27.132; 666.67 x 0.01 = 6.667; 1616.16 x 0.005 = 8.081; root 29.084.
        let m = |value, u| Measured { value, u };
        let learnt =
            Learnt::from_two(m(12.0, 0.01), m(3300.0, 19.05), m(4.95, 0.005), f64::INFINITY);
        assert!((learnt.unwrap().ohms.u - 29.084).abs() < 0.01, "{learnt:?}");
        assert!((learnt.unwrap().volts.u - 0.01).abs() < 1e-9, "nothing loads the open terminals");
    }

    #[test]
    fn what_is_no_measurement_is_named() {
        let good = [exact(12.0), exact(3300.0), exact(4.95)];
        let names = ["open volts", "known ohms", "known volts"];
        let odd = [(0.0, 0.0), (-1.0, 0.0), (f64::INFINITY, 0.0)];
        let doubtful = [(1.0, -0.1), (1.0, f64::INFINITY), (1.0, f64::NAN)];
        for (value, u) in odd.into_iter().chain(doubtful) {
            for (i, name) in names.into_iter().enumerate() {
                let mut given = good;
                given[i] = Measured { value, u };
                let [open, known, across] = given;
                let refused = Learnt::from_two(open, known, across, 1e7);
                assert_eq!(refused, Err(BadMeasurement::Value { name, value }));
            }
        }
        for value in [0.0, -1e6] {
            let refused = Learnt::from_two(good[0], good[1], good[2], value);
            assert_eq!(refused, Err(BadMeasurement::Value { name: "meter ohms", value }));
        }
        let refused = Learnt::from_two(good[0], good[1], good[2], f64::NAN);
        assert!(matches!(refused, Err(BadMeasurement::Value { name: "meter ohms", .. })));
    }

    #[test]
    fn a_source_that_the_meter_or_the_rounding_takes_for_itself_is_none() {
        // 12 V fall to 4.95 V on 3300 ohm: source and meter together are 4700 ohm, and the meter
        // cannot have as much or less.
        let learnt = |meter| Learnt::from_two(exact(12.0), exact(3300.0), exact(4.95), meter);
        let together = learnt(f64::INFINITY).unwrap().ohms.value;
        for meter in [1000.0, together] {
            assert!(matches!(learnt(meter), Err(BadMeasurement::NoLoad { .. })), "{meter}");
        }
        assert!((learnt(9400.0).unwrap().ohms.value - 9400.0).abs() < 1e-6);
        // What is left is less than a double holds.
        let (open, across) = (exact(2.0), exact(2.0_f64.next_down()));
        let refused = Learnt::from_two(open, exact(f64::MIN_POSITIVE), across, 1e7);
        assert!(matches!(refused, Err(BadMeasurement::NoLoad { .. })), "{refused:?}");
    }

    #[test]
    fn measurements_that_no_source_gives_are_refused() {
        for (open, across) in [(12.0, 12.0), (12.0, 13.0), (12.0, 0.0), (f64::NAN, 1.0), (0.0, 0.0)]
        {
            let learnt = Learnt::from_two(exact(open), exact(3300.0), exact(across), 10e6);
            assert!(learnt.is_err(), "{open} {across}");
        }
    }
}
