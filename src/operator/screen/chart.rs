//! A chart of the volts so far: one column a span of time, each with its lowest and highest
//! reading, so that a short pulse is never lost; half a row is the resolution. The scale always
//! holds zero and is a volt at least, so that the noise at rest stays small. Its ends are written
//! beside it, and how long ago the left end was below it. However many readings come, they are kept
//! as a bounded number of spans.

use super::look::Look;
use super::text::put;
use drivers::Reading;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Columns for the numbers of the scale.
const SCALE: u16 = 7;
/// No scale is shorter than this.
const SCALE_VOLTS_MIN: f64 = 1.0;
/// So many spans are kept at most.
const SPANS_MAX: usize = 512;
/// With so many rows, one tells the time.
const TIMED_ROWS: u16 = 4;

/// Readings over time, thinned: the first time of each span, its lowest and its highest.
pub(super) struct Thinned {
    spans: Vec<(f64, f64, f64)>,
    span_s: f64,
}

impl Thinned {
    pub(super) const fn new() -> Self {
        Self { spans: Vec::new(), span_s: 0.0 }
    }

    /// Takes one reading; what is no number leaves no mark.
    pub(super) fn push(&mut self, reading: &Reading) {
        let Some(volts) = reading.value.number() else { return };
        let at = reading.at.as_secs_f64();
        if let Some(span) = self.spans.last_mut().filter(|span| at - span.0 < self.span_s) {
            *span = (span.0, span.1.min(volts), span.2.max(volts));
            return;
        }
        self.spans.push((at, volts, volts));
        if self.spans.len() > SPANS_MAX {
            let first = self.spans.first().map_or(at, |span| span.0);
            self.span_s = (at - first) / (SPANS_MAX / 2) as f64;
            let pairs = self.spans.chunks(2).filter_map(|pair| {
                let (low, high) = (pair.iter().map(|s| s.1), pair.iter().map(|s| s.2));
                Some((pair.first()?.0, low.reduce(f64::min)?, high.reduce(f64::max)?))
            });
            self.spans = pairs.collect();
        }
    }
}

/// Draws the readings, oldest at the left, over the time that they span.
pub(super) fn draw(thinned: &Thinned, look: Look, area: Rect, buffer: &mut Buffer) {
    let points = &thinned.spans;
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return };
    let columns = usize::from(area.width.saturating_sub(SCALE));
    if columns == 0 || area.height == 0 {
        return;
    }
    let span_s = (last.0 - first.0).max(1e-9);
    let area = time(span_s, look, area, buffer);
    let low = points.iter().map(|p| p.1).fold(0.0, f64::min);
    let high = points.iter().map(|p| p.2).fold(0.0, f64::max).max(low + SCALE_VOLTS_MIN);
    let mut spans = vec![None; columns];
    for (at, lowest, highest) in points {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the number of columns"
        )]
        let column = ((at - first.0) / span_s * (columns - 1) as f64) as usize;
        if let Some(span) = spans.get_mut(column) {
            let (min, max) = span.unwrap_or((*lowest, *highest));
            *span = Some((f64::min(min, *lowest), f64::max(max, *highest)));
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

/// Writes the time below, where there is room for it; what is left for the chart.
fn time(span_s: f64, look: Look, area: Rect, buffer: &mut Buffer) -> Rect {
    if area.height < TIMED_ROWS {
        return area;
    }
    let from = match span_s {
        s if s >= 120.0 => format!("{:.1} min ago", s / 60.0),
        s => format!("{s:.1} s ago"),
    };
    let (y, width) = (area.bottom() - 1, area.width - SCALE);
    put(area.x + SCALE, y, &from, width, look.quiet(), buffer);
    if usize::from(width) >= from.len() + 5 {
        put(area.right() - 3, y, "now", 3, look.quiet(), buffer);
    }
    Rect { height: area.height - 1, ..area }
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::{Function, Moment, Unit, Value};
    use std::time::Duration;

    #[test]
    fn one_high_reading_among_thousands_is_seen() {
        let area = Rect::new(0, 0, 27, 4);
        // Wherever it falls in what it is thinned with.
        for high in 3141..3181 {
            let reading = |i: u64| Reading {
                value: Value::Number(if i == high { 12.0 } else { 0.0 }),
                unit: Unit::Volt,
                function: Function::VoltageDc,
                u: None,
                text: String::new(),
                at: Moment::from_start(Duration::from_millis(100 * i)),
            };
            let mut thinned = Thinned::new();
            (0..5000).for_each(|i| thinned.push(&reading(i)));
            assert!(thinned.spans.len() <= SPANS_MAX);
            let mut buffer = Buffer::empty(area);
            draw(&thinned, Look::plain(), area, &mut buffer);
            let top = (SCALE..27).filter(|x| buffer[(*x, 0)].symbol() != " ");
            assert_eq!(top.count(), 1, "reading {high}");
            assert_eq!(buffer[(3, 0)].symbol(), ".", "12.0 V");
            let below: String = (SCALE..27).map(|x| buffer[(x, 3)].symbol()).collect();
            assert_eq!(below, "8.3 min ago      now");
        }
    }
}
