//! Copper's resistance by temperature, in one place for cables and coils: a resistance at one
//! temperature becomes that at another, a pick-up voltage follows its coil, and a rise of
//! resistance tells how warm the copper is. Temperatures are in degrees Celsius, the reference is
//! 20; the line is straight, which copper keeps to within 0.1 % from -50 to 150.

/// Temperature coefficient of copper's resistance at 20 degrees Celsius, per kelvin (IEC 60028).
pub const COPPER_PER_KELVIN: f64 = 0.003_93;

/// Resistance at 20 degrees Celsius of a copper conductor that measures `ohms` at `celsius`.
#[must_use]
pub fn to_20_celsius(ohms: f64, celsius: f64) -> f64 {
    ohms / copper_factor(celsius)
}

/// Resistance at `celsius` of a copper conductor that has `ohms_20` at 20 degrees Celsius.
#[must_use]
pub fn from_20_celsius(ohms_20: f64, celsius: f64) -> f64 {
    ohms_20 * copper_factor(celsius)
}

/// Pick-up voltage at `celsius` of a coil that picks up at `volts_20` at 20 degrees Celsius:
/// the pick-up current stays, so the voltage grows with the resistance. Drop-out does the same.
#[must_use]
pub fn pick_up_from_20_celsius(volts_20: f64, celsius: f64) -> f64 {
    volts_20 * copper_factor(celsius)
}

/// Temperature of copper that has `ohms` now and had `ohms_before` at `celsius_before`: how warm a
/// coil has become, from its own resistance.
#[must_use]
pub fn celsius_by_ohms(ohms: f64, ohms_before: f64, celsius_before: f64) -> f64 {
    (copper_factor(celsius_before) * ohms / ohms_before - 1.0) / COPPER_PER_KELVIN + 20.0
}

/// Resistance at `celsius` as a share of that at 20 degrees Celsius.
#[must_use]
pub fn copper_factor(celsius: f64) -> f64 {
    1.0 + COPPER_PER_KELVIN * (celsius - 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "{found}, expected {expected} within {within}");
    }

    #[test]
    fn a_coil_tells_its_own_temperature() {
        // Application note 102, "Relays and temperature variations": 320 ohm at 25 C that became
        // 443.3 ohm has risen by 99.99 K.
        close(celsius_by_ohms(443.3, 320.0, 25.0) - 25.0, 99.99, 0.05);
        // IEC 60028, arithmetic: 400 ohm at 20 C that became 478.6 ohm is at 70 C.
        close(celsius_by_ohms(478.6, 400.0, 20.0), 70.0, 1e-6);
    }

    #[test]
    fn there_and_back_is_where_it_began() {
        for celsius in [-40.0, 0.0, 20.0, 55.0, 125.0] {
            close(to_20_celsius(from_20_celsius(330.0, celsius), celsius), 330.0, 1e-9);
            let now = from_20_celsius(330.0, celsius);
            close(celsius_by_ohms(now, 330.0, 20.0), celsius, 1e-9);
        }
    }

    #[test]
    fn the_two_usual_ways_to_correct_agree_in_two_digits() {
        // IEC 60228 corrects to 20 C with 1 / (1 + 0.004 (t - 20)): 5 C 1.064, 30 C 0.962,
        // 50 C 0.893, 100 C 0.758. Copper's own coefficient differs in the third digit.
        for (celsius, k) in [(5.0, 1.064), (30.0, 0.962), (50.0, 0.893), (100.0, 0.758)] {
            close(to_20_celsius(1.0, celsius), k, 0.006);
        }
    }
}
