//! Numbers for people: values with their expanded uncertainty (k = 2), probabilities and spans of
//! time. An uncertainty has two significant digits and its value ends at the same place (JCGM
//! 100:2008, 7.2.6). A probability below 1 is never rounded up to 1. Units follow the number
//! after a no-break space; the decimal mark is a point.

use drivers::Unit;

const NBSP: char = '\u{a0}';

/// A value for people, and its expanded uncertainty in the same unit and to the same place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Shown {
    pub(super) value: String,
    /// The expanded uncertainty, without its sign; `None` where none is known.
    pub(super) expanded: Option<String>,
    pub(super) unit: String,
}

impl Shown {
    /// `329.8 Ω`.
    pub(super) fn plain(&self) -> String {
        format!("{}{NBSP}{}", self.value, self.unit)
    }

    /// `329.8 ± 3.8 Ω`, or as [`Self::plain`] where no uncertainty is known.
    pub(super) fn with_uncertainty(&self) -> String {
        match &self.expanded {
            Some(u) => format!("{}{NBSP}±{NBSP}{u}{NBSP}{}", self.value, self.unit),
            None => self.plain(),
        }
    }
}

/// `value` and its standard uncertainty `u`, both in `unit`.
pub(super) fn quantity(value: f64, u: Option<f64>, unit: Unit) -> Shown {
    let (scale, prefix) = match value.abs() {
        size if size >= 1e7 => (1e6, "M"),
        size if size >= 1e4 => (1e3, "k"),
        _ => (1.0, ""),
    };
    let unit = format!("{prefix}{}", unit.symbol());
    let scaled = value / scale;
    match u.filter(|u| u.is_finite() && *u > 0.0).map(|u| 2.0 * u / scale) {
        Some(expanded) => {
            let places = places_of(expanded);
            let value = signed(scaled, places);
            Shown { value, expanded: Some(format!("{expanded:.places$}")), unit }
        }
        None => Shown { value: six_digits(scaled), expanded: None, unit },
    }
}

/// Volts as set: `12 V`, `4.5 V`.
pub(super) fn volts(volts: f64) -> String {
    format!("{}{NBSP}V", six_digits(volts))
}

/// A probability: two digits that say something, rounded down where rounding up would say 1.
pub(super) fn probability(p: f64) -> String {
    if !(0.0..=1.0).contains(&p) {
        return "not known".into();
    }
    if p < 0.001 {
        return "less than 0.001".into();
    }
    let rest = 1.0 - p;
    if rest < 1e-9 {
        return "more than 0.999999999".into();
    }
    let wanted = if p < 0.01 { 2.0 } else { -rest.log10().floor() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 9")]
    let places = (wanted.clamp(1.0, 9.0) as usize) + 1;
    let unit = 10_f64.powi(i32::try_from(places).unwrap_or(9));
    let down = (p * unit + 1e-3).floor() / unit;
    let text = format!("{down:.places$}");
    if p < 0.99 { text } else { trimmed(&text) }
}

/// A span: `4.2 s`, `3 min 05 s`, `2 h 07 min`.
pub(super) fn span(seconds: f64) -> String {
    let seconds = if seconds.is_finite() { seconds.max(0.0) } else { 0.0 };
    if seconds < 59.95 {
        return format!("{seconds:.1}{NBSP}s");
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 or more")]
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, minutes, seconds) => format!("{minutes}{NBSP}min {seconds:02}{NBSP}s"),
        (hours, minutes, _) => format!("{hours}{NBSP}h {minutes:02}{NBSP}min"),
    }
}

/// How many decimals show two significant digits of `x`, at most six.
fn places_of(x: f64) -> usize {
    let first = x.log10().floor();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 6")]
    let places = (1.0 - first).clamp(0.0, 6.0) as usize;
    places
}

fn six_digits(x: f64) -> String {
    let size = x.abs();
    let places = if size >= 1.0 { places_of(size).saturating_add(4).min(5) } else { 6 };
    let places = if size >= 1e5 { 0 } else { places };
    trimmed(&signed(x, places))
}

/// Never `-0.0`; a true minus sign.
fn signed(x: f64, places: usize) -> String {
    let text = format!("{:.places$}", x.abs());
    let zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if x < 0.0 && !zero { format!("\u{2212}{text}") } else { text }
}

fn trimmed(text: &str) -> String {
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(value: f64, u: f64) -> String {
        quantity(value, Some(u), Unit::Ohm).with_uncertainty().replace(NBSP, " ")
    }

    #[test]
    fn a_value_ends_where_its_uncertainty_ends() {
        // JCGM 100:2008 7.2.6, from memory: 10.057 62 ohm with 27 mohm becomes 10.058 ohm.
        assert_eq!(ohms(10.057_62, 0.0135), "10.058 ± 0.027 Ω");
        // EA-4/02 example S3: 10 000.178 ohm, standard uncertainty 8.328 mohm, U = 17 mohm.
        assert_eq!(ohms(10_000.178, 0.008_328), "10.000178 ± 0.000017 kΩ");
        assert_eq!(ohms(329.83, 1.9), "329.8 ± 3.8 Ω");
        assert_eq!(ohms(0.1234, 0.05), "0.12 ± 0.10 Ω");
        assert_eq!(ohms(-0.0001, 0.05), "0.00 ± 0.10 Ω");
        assert_eq!(ohms(1440.0, 60.0), "1440 ± 120 Ω");
    }

    #[test]
    fn a_value_without_uncertainty_keeps_its_digits() {
        let shown = |v: f64| quantity(v, None, Unit::Volt).plain().replace(NBSP, " ");
        assert_eq!(shown(0.552), "0.552 V");
        assert_eq!(shown(-13.71), "\u{2212}13.71 V");
        assert_eq!(shown(12.0), "12 V");
        assert_eq!(shown(1234.5), "1234.5 V");
    }

    #[test]
    fn a_probability_below_one_is_never_shown_as_one() {
        assert_eq!(probability(0.99998), "0.99998");
        assert_eq!(probability(0.999_999_4), "0.9999994");
        assert_eq!(probability(1.0), "more than 0.999999999");
        assert_eq!(probability(0.86), "0.86");
        assert_eq!(probability(0.2), "0.20");
        assert_eq!(probability(0.0149), "0.01");
        assert_eq!(probability(0.0049), "0.004");
        assert_eq!(probability(1e-7), "less than 0.001");
        assert_eq!(probability(f64::NAN), "not known");
        for nines in 1..=8 {
            let p = 1.0 - 0.4 * 10_f64.powi(-nines);
            assert!(probability(p).starts_with("0.9"), "{p}");
        }
    }

    #[test]
    fn spans_read_as_people_say_them() {
        let shown = |s: f64| span(s).replace(NBSP, " ");
        assert_eq!(shown(4.21), "4.2 s");
        assert_eq!(shown(185.0), "3 min 05 s");
        assert_eq!(shown(7621.0), "2 h 07 min");
        assert_eq!(shown(f64::NAN), "0.0 s");
    }
}
