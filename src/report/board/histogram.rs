//! How the values of one check lie to its limits, over all boards of a batch, as one small SVG
//! histogram: bars of equal width over the values and the limits, limits as dashed lines with
//! their numbers. Told apart by shape and place, never by colour. Text is numbers only.

use super::super::svg::named;

/// The fewest values that are drawn.
const VALUES_MIN: usize = 5;
const BARS: usize = 24;
const LEFT: f64 = 10.0;
const WIDE: f64 = 540.0;
const HIGH: f64 = 90.0;

/// The drawing; empty where there are too few values, or no range to draw them over.
pub(super) fn render(values: &[f64], limits: [Option<f64>; 2], unit: &str) -> String {
    let values: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    if values.len() < VALUES_MIN {
        return String::new();
    }
    let ends = values.iter().copied().chain(limits.into_iter().flatten());
    let (low, high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    let span = high - low;
    if !(span > 0.0 && span.is_finite()) {
        return String::new();
    }
    let place = |x: f64| LEFT + (x - low) / span * WIDE;
    let mut counts = [0_usize; BARS];
    for x in &values {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to BARS")]
        let bar = ((x - low) / span * BARS as f64).clamp(0.0, BARS as f64 - 1.0) as usize;
        counts[bar] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1);
    let width = WIDE / BARS as f64;
    let mut drawn = String::new();
    for (i, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
        let tall = HIGH * *count as f64 / most as f64;
        let (x, y) = (LEFT + i as f64 * width, 12.0 + HIGH - tall);
        drawn += &format!(
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{:.1}\" height=\"{tall:.1}\" \
             fill=\"currentColor\" fill-opacity=\"0.35\" stroke=\"currentColor\"/>",
            width - 1.0
        );
    }
    let foot = 12.0 + HIGH;
    for limit in limits.into_iter().flatten() {
        let x = place(limit);
        let anchor = if x > LEFT + WIDE / 2.0 { "end" } else { "start" };
        drawn += &format!(
            "<path d=\"M{x:.1} 4V{foot:.1}\" stroke=\"currentColor\" stroke-width=\"1.5\" \
             stroke-dasharray=\"5 3\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" \
             font-size=\"12\" fill=\"currentColor\">limit {limit} {unit}</text>",
            foot + 16.0
        );
    }
    let label =
        format!("Histogram of {} values in {unit}, from {low:.4} to {high:.4}", values.len());
    format!(
        "<svg viewBox=\"0 0 560 124\" width=\"560\" height=\"124\" role=\"img\" \
         aria-label=\"{label}\">{}<path d=\"M{LEFT} {foot}h{WIDE}\" \
         stroke=\"currentColor\"/>{drawn}</svg>",
        named("Histogram", &label)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_stands_in_a_bar_and_every_limit_is_drawn() {
        let values: Vec<f64> = (0..48).map(f64::from).collect();
        let svg = render(&values, [Some(-10.0), Some(60.0)], "ohm");
        assert_eq!(svg.matches("<text").count(), 2);
        assert!((16..=24).contains(&svg.matches("<rect").count()), "{svg}");
        assert_eq!(render(&[1.0; 4], [None, Some(2.0)], "ohm"), "");
        assert_eq!(render(&[1.0; 9], [None, None], "ohm"), "");
        assert!(!render(&[1.0, f64::NAN, 2.0, 3.0, 4.0, 5.0], [None; 2], "ohm").contains("NaN"));
    }
}
