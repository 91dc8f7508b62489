//! Numbers to text for the rows of a log: seconds to a microsecond, and volts by the fewest digits
//! that read back as the same number. The text is what the standard library writes, to the last
//! byte, and a property test holds that; but a row must not cost what a share of a sync costs, so
//! that numbers of at most six decimals, which are nearly all, go through whole microunits.

use std::io::Write;

const MICRO: f64 = 1e6;
/// Whole numbers below this, and products that round to them, are exact enough.
const MICROS_MAX: f64 = 1e15;

/// Appends seconds, with six decimals.
pub(super) fn put_seconds(out: &mut Vec<u8>, t_s: f64) {
    let micros = t_s * MICRO;
    let rounded = micros.round();
    // A product near the middle between two microseconds may lie on its wrong side.
    let sure = (micros - rounded).abs() < 0.499;
    if sure && (0.0..MICROS_MAX / 1e3).contains(&rounded) && t_s.is_sign_positive() {
        put_micros(out, rounded, 6);
    } else {
        // Into memory; it cannot fail.
        let _ = write!(out, "{t_s:.6}");
    }
}

/// Appends volts.
pub(super) fn put_volts(out: &mut Vec<u8>, volts: f64) {
    let rounded = (volts * MICRO).round();
    // Fifteen digits tell any two numbers apart, so that no other text as short is this number.
    if rounded.abs() < MICROS_MAX && rounded != 0.0 && rounded / MICRO == volts {
        if volts < 0.0 {
            out.push(b'-');
        }
        put_micros(out, rounded.abs(), 0);
    } else {
        let _ = write!(out, "{volts}");
    }
}

/// Appends millionths as a number with `decimals` decimals at least, and as many as it needs.
fn put_micros(out: &mut Vec<u8>, micros: f64, decimals: usize) {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 10^15")]
    let mut left = micros as u64;
    // Sixteen digits, and a point ahead of the last six.
    let mut text = [b'0'; 17];
    let mut first = text.len();
    let mut needed = decimals;
    for (place, digit) in text.iter_mut().rev().enumerate() {
        if place == 6 {
            *digit = b'.';
            continue;
        }
        if left == 0 && place > 7 {
            break;
        }
        let last = (left % 10) as u8;
        left /= 10;
        if place < 6 && last != 0 {
            needed = needed.max(6 - place);
        }
        *digit = b'0' + last;
        first = 16 - place;
    }
    let end = if needed == 0 { 10 } else { 11 + needed };
    out.extend_from_slice(text.get(first..end).unwrap_or(&[]));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn text(put: fn(&mut Vec<u8>, f64), number: f64) -> String {
        let mut out = Vec::new();
        put(&mut out, number);
        String::from_utf8(out).unwrap()
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]

        #[test]
        fn the_text_is_the_standard_librarys(
            steps in -2_000_000_000_000_i64..2_000_000_000_000,
            decimals in 0_i32..10,
            any in any::<f64>(),
            half in 0_u32..400_000_000,
        ) {
            #[expect(clippy::cast_precision_loss, reason = "below 2^53")]
            let number = steps as f64 / 10_f64.powi(decimals);
            let middle = (f64::from(half) + 0.5) / 1e6;
            for number in [number, number.abs(), any, middle, -middle, 0.0, -0.0, 1e-7, 3e9] {
                prop_assert_eq!(text(put_volts, number), format!("{number}"));
                prop_assert_eq!(text(put_seconds, number), format!("{number:.6}"));
            }
        }
    }
}
