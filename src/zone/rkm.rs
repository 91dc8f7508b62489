//! The letter code of IEC 60062: `4K7` <-> 4700 ohm, with a tolerance letter behind it if wanted
//! (`4K7J`, 5 %). The multiplier's letter stands in the point's place. Ohms; at least two figures
//! are written, so that `1K0` cannot be taken for a torn `1K8`.

/// Multiplier letters with their powers of ten.
const MULTIPLIERS: [(char, i32); 5] = [('L', -3), ('R', 0), ('K', 3), ('M', 6), ('G', 9)];
/// Tolerance letters with their per cent.
const TOLERANCES: [(char, f64); 9] = [
    ('B', 0.1),
    ('C', 0.25),
    ('D', 0.5),
    ('F', 1.0),
    ('G', 2.0),
    ('J', 5.0),
    ('K', 10.0),
    ('M', 20.0),
    ('N', 30.0),
];

/// Why a code says nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is no resistance; write 3300, 3K3, 470R, 4M7 or R47, with a letter of tolerance if any"
)]
pub struct BadCode(String);

/// Reads a code, with the tolerance in per cent if it has one. A plain number is ohms.
///
/// # Errors
/// [`BadCode`] where it is none.
pub fn parse(text: &str) -> Result<(f64, Option<f64>), BadCode> {
    let bad = || BadCode(text.escape_debug().take(24).collect());
    let code = text.trim().to_ascii_uppercase();
    if code.is_empty() || code.len() > 16 {
        return Err(bad());
    }
    if let Ok(ohms) = code.parse::<f64>() {
        return if ohms.is_finite() && ohms >= 0.0 { Ok((ohms, None)) } else { Err(bad()) };
    }
    let at = code.find(|c: char| !c.is_ascii_digit()).ok_or_else(bad)?;
    let (whole, rest) = code.split_at(at);
    let mut letters = rest.chars();
    let power = letters.next().and_then(|c| entry(&MULTIPLIERS, c)).ok_or_else(bad)?;
    let rest = letters.as_str();
    let (part, tolerance) = match rest.chars().last().and_then(|c| entry(&TOLERANCES, c)) {
        Some(percent) => (&rest[..rest.len() - 1], Some(percent)),
        None => (rest, None),
    };
    if whole.is_empty() && part.is_empty() {
        return Err(bad());
    }
    // One exact reading by the standard library instead of a product that may round twice; behind
    // the point it takes nothing but figures.
    let number = format!("0{whole}.{part}0e{power}");
    number.parse().map(|ohms| (ohms, tolerance)).map_err(|_| bad())
}

/// Writes a code for `ohms` (0 or more, finite), with the letter of a tolerance that has one.
#[must_use]
pub fn render(ohms: f64, percent: Option<f64>) -> String {
    let (letter, power) = match ohms {
        o if o >= 1e9 => ('G', 9),
        o if o >= 1e6 => ('M', 6),
        o if o >= 1e3 => ('K', 3),
        _ => ('R', 0),
    };
    let number = ohms / 10_f64.powi(power);
    let text = format!("{number:.6}");
    let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
    let mut part = part.trim_end_matches('0').to_owned();
    let whole = if whole == "0" { "" } else { whole };
    let figures = |part: &str| match whole {
        "" => part.trim_start_matches('0').len(),
        _ => whole.len() + part.len(),
    };
    while figures(&part) < 2 && part.len() < 6 {
        part.push('0');
    }
    let tolerance = percent.and_then(|p| TOLERANCES.iter().find(|(_, known)| *known == p));
    let tolerance = tolerance.map(|(letter, _)| letter.to_string()).unwrap_or_default();
    format!("{whole}{letter}{part}{tolerance}")
}

fn entry<T: Copy>(table: &[(char, T)], letter: char) -> Option<T> {
    table.iter().find(|(known, _)| *known == letter).map(|(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_letter_behind_the_figures_is_the_tolerance() {
        assert_eq!(parse("4K7J"), Ok((4700.0, Some(5.0))));
        assert_eq!(parse("470RK"), Ok((470.0, Some(10.0))));
        assert_eq!(parse("10KF"), Ok((10_000.0, Some(1.0))));
        assert_eq!(parse("3300"), Ok((3300.0, None)));
        assert_eq!(parse("5L0"), Ok((0.005, None)));
        assert_eq!(render(4700.0, Some(5.0)), "4K7J");
    }

    #[test]
    fn a_code_has_two_figures_that_say_something_and_six_places_at_most() {
        let of = |ohms| render(ohms, None);
        assert_eq!([of(0.05), of(0.5), of(5.0)], ["R050", "R50", "5R0"]);
        assert_eq!([of(50.0), of(50_000.0), of(55_500.0)], ["50R", "50K", "55K5"]);
        assert_eq!([of(1e-6), of(0.0)], ["R000001", "R000000"]);
        assert_eq!([of(1e6), of(1e9)], ["1M0", "1G0"]);
    }

    #[test]
    fn sixteen_characters_are_read_and_no_more() {
        assert_eq!(parse("0000000000003300"), Ok((3300.0, None)));
        assert_eq!(parse("0000000000003K3J"), Ok((3300.0, Some(5.0))));
        assert!(parse("00000000000003300").is_err());
        assert_eq!(parse(" 0 "), Ok((0.0, None)));
    }

    #[test]
    fn what_is_no_code_is_refused() {
        for bad in ["", "K", "4X7", "4K7K7", "-4K7", "R", "4K7Z", "inf", "nan", "4,7", "\u{1b}[2J"]
        {
            assert!(parse(bad).is_err(), "{bad:?}");
        }
        for bad in ["-5", "KJ", "4K7E3", "4K+7", "4K-7", "4K7.5", "4K 7", "4K_7", "4K٣"] {
            assert!(parse(bad).is_err(), "{bad:?}");
        }
    }
}
