//! The contact's state over the coil's volts: one line up and one down for each ramp, slightly
//! apart, with the bands of both values and their limits. In `currentColor`; up and down are told
//! apart by arrows and dashes, never by colour. Volts to the right.

use super::super::svg::{Canvas, Point};
use crate::event::PickUpFinding;

const LEFT: f64 = 90.0;
const WIDE: f64 = 560.0;
const HIGH: f64 = 150.0;
const TOP: f64 = 30.0;
/// A way down.
const DOWN: &str = "stroke-width=\"1.4\" stroke-dasharray=\"4 3\"";
/// A limit.
const LIMIT: &str = "stroke-width=\"1\" stroke-dasharray=\"9 4\"";
/// More ramps than this lie on one another.
const RAMPS_MAX: usize = 12;

/// The drawing; empty where there is no ramp.
pub(super) fn render(f: &PickUpFinding) -> String {
    let top = f.ramps.iter().map(|ramp| ramp.moved_volts).fold(0.0, f64::max);
    if !(top > 0.0 && top.is_finite()) {
        return String::new();
    }
    let limits = [&f.pick_up, &f.drop_out].map(|value| value.and_then(|v| v.limit_volts));
    let most = limits.iter().flatten().fold(top, |a, b| a.max(*b)) * 1.1;
    let x = |volts: f64| LEFT + WIDE * (volts / most).clamp(0.0, 1.0);
    let (moved_y, rest_y) = (TOP + 20.0, TOP + HIGH - 20.0);
    let foot = TOP + HIGH;
    let label = format!("Contact state over volts. {}", super::headline(f));
    let (origin, size) = (Point::new(0.0, 0.0), (LEFT + WIDE + 30.0, foot + 62.0));
    let mut canvas = Canvas::open("pickup", origin, size, "Pick-up and drop-out", &label);
    let thin = "stroke-width=\"1\"";
    canvas.styled_line(Point::new(LEFT, foot), Point::new(LEFT + WIDE, foot), thin);
    for tick in 0..=10 {
        let at = x(most * f64::from(tick) / 10.0);
        canvas.styled_line(Point::new(at, foot), Point::new(at, foot + 4.0), thin);
        let text = format!("{:.1}", most * f64::from(tick) / 10.0);
        canvas.text(Point::new(at, foot + 18.0), "middle", "font-size=\"11\"", &text);
    }
    let middle = Point::new(LEFT + WIDE / 2.0, foot + 36.0);
    canvas.text(middle, "middle", "font-size=\"12\"", "volts at the coil");
    canvas.text(Point::new(LEFT - 8.0, moved_y + 4.0), "end", "", "energised");
    canvas.text(Point::new(LEFT - 8.0, rest_y + 4.0), "end", "", "at rest");
    for value in [&f.pick_up, &f.drop_out].into_iter().flatten() {
        let band = [value.volts - 2.0 * value.volts_u, value.volts + 2.0 * value.volts_u].map(x);
        let style = "fill=\"currentColor\" fill-opacity=\"0.14\" stroke=\"none\"";
        canvas.rect(Point::new(band[0], TOP), Point::new(band[1], foot), style);
    }
    for (limit, name) in limits.iter().zip(["pick-up at most", "drop-out at least"]) {
        let Some(volts) = limit else { continue };
        canvas.styled_line(Point::new(x(*volts), TOP), Point::new(x(*volts), foot), LIMIT);
        canvas.text(Point::new(x(*volts), TOP - 6.0), "middle", "font-size=\"11\"", name);
    }
    // However many they are, they stay above the axis.
    let shown = f.ramps.iter().take(RAMPS_MAX);
    let step = (16.0 / shown.clone().skip(1).fold(1.0, |n, _| n + 1.0_f64)).min(3.0);
    let mut apart = 0.0;
    for ramp in shown {
        let (y, rest) = (moved_y + apart, rest_y + apart);
        let at = |volts: f64, y: f64| Point::new(x(volts), y);
        let up = [at(0.0, rest), at(ramp.still_volts, rest), at(ramp.moved_volts, y), at(most, y)];
        canvas.path(&up, "stroke-width=\"1.4\"");
        let down = [
            at(ramp.moved_volts, y + 2.0),
            at(ramp.held_volts, y + 2.0),
            at(ramp.released_volts, rest + 2.0),
            at(0.0, rest + 2.0),
        ];
        canvas.path(&down, DOWN);
        apart += step;
    }
    draw_key(&mut canvas, foot + 54.0);
    canvas.close()
}

/// What the lines mean, below the axis and its title, where no line runs.
fn draw_key(canvas: &mut Canvas, y: f64) {
    let small = "font-size=\"11\"";
    let entries =
        [("", "up: full line"), (DOWN, "down: short dashes"), (LIMIT, "limit: long dashes")];
    let mut left = LEFT;
    for (style, text) in entries {
        let (from, to) = (Point::new(left, y - 4.0), Point::new(left + 34.0, y - 4.0));
        canvas.styled_line(from, to, style);
        canvas.text(Point::new(left + 40.0, y), "start", small, text);
        left += 190.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Ramp, Threshold, Verdict};

    fn value(volts: f64, limit: f64) -> Threshold {
        Threshold {
            volts,
            volts_u: 0.05,
            step_u: 0.03,
            drive_u: 0.03,
            repeat_u: 0.0,
            volts_20: volts,
            volts_hot: 1.2 * volts,
            limit_volts: Some(limit),
            verdict: Verdict::Pass,
        }
    }

    #[test]
    fn no_line_of_the_plot_reaches_its_key() {
        let ramp =
            Ramp { still_volts: 7.7, moved_volts: 7.8, held_volts: 3.0, released_volts: 2.9 };
        let drawn = render(&PickUpFinding {
            result: Verdict::Pass,
            reason: "they keep their limits".into(),
            coil_ohms: Some(400.0),
            pick_up: Some(value(7.75, 9.6)),
            drop_out: Some(value(2.95, 0.6)),
            closed_at_rest: Some(true),
            ramps: vec![ramp; RAMPS_MAX + 3],
            rated_volts: Some(12.0),
            simulated: false,
        });
        let (plot, key) = drawn.split_once("volts at the coil").unwrap_or_default();
        assert!(key.contains("up: full line") && !plot.contains("up: full line"), "{drawn}");
        let lowest = |of: &str| {
            let paths = of.split("d=\"M").skip(1).filter_map(|rest| rest.split('"').next());
            let points = paths.flat_map(|path| path.split('L'));
            let ys = points.filter_map(|point| point.split(' ').nth(1)?.parse::<f64>().ok());
            ys.collect::<Vec<_>>()
        };
        // The axis is drawn first, its key last, and everything between stands above the axis.
        let key = key.rsplit_once("limit: long dashes").map_or(0.0, |_| TOP + HIGH + 50.0);
        let ramps = lowest(&drawn).into_iter().filter(|y| *y < key);
        assert!(ramps.clone().count() > 60);
        assert!(ramps.fold(0.0, f64::max) <= TOP + HIGH + 4.0, "{drawn}");
        let label =
            drawn.split("<text ").filter(|text| text.contains("full line")).collect::<Vec<_>>();
        assert!(label[0].contains(&format!("y=\"{}\"", TOP + HIGH + 54.0)), "{label:?}");
    }
}
