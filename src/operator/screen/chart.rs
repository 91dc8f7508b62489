//! A chart of the last readings while volts are logged: one column a span of time, each with its
//! lowest and highest reading, so that a short pulse is never lost; half a row is the resolution.
//! The scale always holds zero, and its ends are written beside it.

use super::look::Look;
use super::pins::put;
use drivers::Reading;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::collections::VecDeque;

/// Columns for the numbers of the scale.
const SCALE: u16 = 7;

/// Draws the readings, oldest at the left, over the time that they span.
pub(super) fn draw(readings: &VecDeque<Reading>, look: Look, area: Rect, buffer: &mut Buffer) {
    let points: Vec<(f64, f64)> = readings
        .iter()
        .filter_map(|reading| Some((reading.at.as_secs_f64(), reading.value.number()?)))
        .collect();
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return };
    let columns = usize::from(area.width.saturating_sub(SCALE));
    if columns == 0 || area.height == 0 {
        return;
    }
    let low = points.iter().map(|p| p.1).fold(0.0, f64::min);
    let high = points.iter().map(|p| p.1).fold(0.0, f64::max);
    let span_s = (last.0 - first.0).max(1e-9);
    let mut spans = vec![None; columns];
    for (at, volts) in &points {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the number of columns"
        )]
        let column = ((at - first.0) / span_s * (columns - 1) as f64) as usize;
        if let Some(span) = spans.get_mut(column) {
            let (min, max) = span.unwrap_or((*volts, *volts));
            *span = Some((f64::min(min, *volts), f64::max(max, *volts)));
        }
    }
    let half_rows = f64::from(area.height * 2 - 1);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and the number of half rows"
    )]
    let row_of = |volts: f64| {
        let share = if high > low { (high - volts) / (high - low) } else { 1.0 };
        (share * half_rows).round() as u16
    };
    for (x, span) in (area.x + SCALE..area.right()).zip(&spans) {
        let Some((min, max)) = span else { continue };
        let (top, bottom) = (row_of(*max), row_of(*min));
        for y in 0..area.height {
            let lit = |half: u16| (top..=bottom).contains(&half);
            let shape = match (lit(2 * y), lit(2 * y + 1)) {
                (true, true) => "\u{2588}",
                (true, false) => "\u{2580}",
                (false, true) => "\u{2584}",
                (false, false) => continue,
            };
            put(x, area.y + y, shape, 1, look.good(), buffer);
        }
    }
    put(area.x, area.y, &format!("{high:>5.1} V"), SCALE, look.quiet(), buffer);
    if area.height > 1 {
        put(area.x, area.bottom() - 1, &format!("{low:>5.1} V"), SCALE, look.quiet(), buffer);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::{Function, Moment, Unit, Value};
    use std::time::Duration;

    #[test]
    fn one_high_reading_among_thousands_is_seen() {
        let area = Rect::new(0, 0, 27, 4);
        let reading = |i: u64| Reading {
            value: Value::Number(if i == 3141 { 12.0 } else { 0.0 }),
            unit: Unit::Volt,
            function: Function::VoltageDc,
            u: None,
            text: String::new(),
            at: Moment::from_start(Duration::from_millis(100 * i)),
        };
        let readings: VecDeque<Reading> = (0..5000).map(reading).collect();
        let mut buffer = Buffer::empty(area);
        draw(&readings, Look::plain(), area, &mut buffer);
        let top: Vec<u16> =
            (SCALE..27).filter(|x| buffer[(*x, 0)].symbol() != " ").map(|x| x - SCALE).collect();
        assert_eq!(top, [11]);
        assert_eq!(buffer[(3, 0)].symbol(), ".", "12.0 V");
    }
}
