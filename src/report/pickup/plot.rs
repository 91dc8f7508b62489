//! The contact's state over the coil's volts: one line up and one down for each ramp, slightly
//! apart, with the bands of both values and their limits. In `currentColor`; up and down are told apart by
//! arrows and dashes, never by colour. Volts to the right.

use super::super::svg::{Canvas, Point};
use crate::event::PickUpFinding;

const LEFT: f64 = 90.0;
const WIDE: f64 = 560.0;
const HIGH: f64 = 150.0;
const TOP: f64 = 30.0;
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
    let origin = Point::new(0.0, 0.0);
    let mut canvas = Canvas::open("pickup", origin, LEFT + WIDE + 30.0, foot + 44.0, &label);
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
        let dashed = "stroke-width=\"1\" stroke-dasharray=\"6 4\"";
        canvas.styled_line(Point::new(x(*volts), TOP), Point::new(x(*volts), foot), dashed);
        canvas.text(Point::new(x(*volts), TOP - 6.0), "middle", "font-size=\"11\"", name);
    }
    let mut apart = 0.0;
    for ramp in f.ramps.iter().take(RAMPS_MAX) {
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
        canvas.path(&down, "stroke-width=\"1.4\" stroke-dasharray=\"4 3\"");
        apart += 3.0;
    }
    let key = Point::new(LEFT + WIDE, rest_y - 12.0);
    canvas.text(key, "end", "font-size=\"11\"", "full line: up; dashed: down");
    canvas.close()
}
