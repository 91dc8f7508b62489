//! A number behind a flag, checked against what it may be: one out of range is bad input, named
//! with its flag, with the range, and with what to do about it. What a flag's value means, and
//! whether two flags fit together, is for its command.

use super::failure::Failure;
use std::time::Duration;

/// `value`, if it lies from `low` to `high`; all in the unit that the flag's name carries.
pub(super) fn within(flag: &str, value: f64, low: f64, high: f64) -> Result<f64, Failure> {
    checked(flag, value, "", low, high)
}

/// A span in seconds, if it lies from `low` to `high` seconds.
pub(super) fn seconds_within(
    flag: &str,
    span: Duration,
    low: f64,
    high: f64,
) -> Result<f64, Failure> {
    checked(flag, span.as_secs_f64(), "s", low, high)
}

fn checked(flag: &str, value: f64, unit: &str, low: f64, high: f64) -> Result<f64, Failure> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err(Failure::bad_input(
        format!("{flag} {value}{unit}: expected {low}{unit} to {high}{unit}"),
        "leave the flag out for its usual value",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_out_of_range_is_named_with_its_flag_and_range() {
        assert_eq!(within("--nominal", 12.0, 1.0, 60.0), Ok(12.0));
        for (value, shown) in [(0.5, "0.5"), (f64::NAN, "NaN"), (f64::INFINITY, "inf")] {
            let told = within("--nominal", value, 1.0, 60.0).unwrap_err().to_string();
            assert_eq!(told, format!("--nominal {shown}: expected 1 to 60"));
        }
        let told = seconds_within("--guard", Duration::ZERO, 0.5, 3600.0).unwrap_err();
        assert_eq!(told.to_string(), "--guard 0s: expected 0.5s to 3600s");
    }
}
