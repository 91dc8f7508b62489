//! The live reading: the value large with its unit, how far it has settled, what a held dwell is
//! counting, and, for volts, a chart of them over time. Open reads as a word, never as a large
//! number, because on ohms it is how a meter says that nothing connects.

use super::big;
use super::look::Look;
use super::text::put;
use super::view::{LinkState, SETTLED, View};
use crate::operator::Countdown;
use drivers::{Function, Reading, Unit, Value};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws it.
pub(super) fn draw(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    if view.only_talks() {
        return;
    }
    let Some(reading) = view.readings.back() else {
        return put(
            area.x + 1,
            area.y,
            "no reading yet",
            area.width.saturating_sub(1),
            look.quiet(),
            buffer,
        );
    };
    let (number, unit) = shown(reading);
    let is_volts =
        reading.function == Function::VoltageDc || reading.function == Function::VoltageAc;
    // A blank line, the settling, and a countdown where there is one; else its line is the chart's.
    let between = if view.countdown.is_some() { 3 } else { 2 };
    let free = area.height.saturating_sub(between + 3);
    let chart_rows = if is_volts { free.min(area.height / 2) } else { 0 };
    let large = area.height.saturating_sub(chart_rows + between).min(10);
    let unit_columns = u16::try_from(unit.chars().count()).unwrap_or(0) + 2;
    let room = Rect::new(area.x + 1, area.y, area.width.saturating_sub(1 + unit_columns), large);
    let (taken, rows) = match big::fitting(&number, room.width, room.height) {
        Some(dot) => (big::draw(&number, dot, room, look.strong(), buffer), dot.size(&number).1),
        None => {
            put(room.x, room.y, &number, room.width, look.strong(), buffer);
            (u16::try_from(number.chars().count()).unwrap_or(0), 1)
        }
    };
    put(room.x + taken + 1, room.y, unit, unit_columns, look.strong(), buffer);
    let below = area.y + rows + 1;
    settling(view, look, Rect::new(area.x + 1, below, area.width.saturating_sub(1), 1), buffer);
    let line = Rect::new(area.x + 1, below + 1, area.width.saturating_sub(1), 1);
    countdown(view, look, line, buffer);
    if chart_rows > 1 {
        let left = Rect::new(
            area.x + 1,
            area.bottom() - chart_rows,
            area.width.saturating_sub(2),
            chart_rows,
        );
        super::chart::draw(&view.thinned, look, left, buffer);
    }
}

/// The number with five figures at most, and the unit it is in.
pub(super) fn shown(reading: &Reading) -> (String, &'static str) {
    let value = match reading.value {
        Value::Number(value) => value,
        Value::Overload if reading.function.sources_current() => return ("OPEN".into(), ""),
        Value::Overload => return ("OVER".into(), reading.unit.symbol()),
        Value::NotANumber => return ("---".into(), ""),
    };
    let (scaled, unit) = match (reading.unit, value.abs()) {
        (Unit::Ohm, size) if size >= 999_950.0 => (value / 1e6, "M\u{3a9}"),
        (Unit::Ohm, size) if size >= 9_999.5 => (value / 1e3, "k\u{3a9}"),
        (Unit::Ohm, _) => (value, "\u{3a9}"),
        (Unit::Volt, _) => (value, "V"),
    };
    let decimals = match scaled.abs() {
        size if size >= 999.95 => 0,
        size if size >= 99.995 => 1,
        size if size >= 9.9995 => 2,
        _ => 3,
    };
    (format!("{scaled:.decimals$}"), unit)
}

fn settling(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    if view.link == LinkState::Lost {
        return put(area.x, area.y, "the meter is away", area.width, look.alarming(), buffer);
    }
    let agreeing = view.agreeing();
    let (word, style) = match agreeing {
        n if n >= SETTLED => ("steady", look.good()),
        1 => ("moving", look.quiet()),
        _ => ("settling", look.strong()),
    };
    let full = "\u{2588}\u{2588}\u{2588}".repeat(agreeing);
    let empty = "\u{2591}\u{2591}\u{2591}".repeat(SETTLED.saturating_sub(agreeing));
    put(area.x, area.y, &format!("{full}{empty} {word}"), area.width, style, buffer);
}

fn countdown(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let (text, style) = match view.countdown {
        None => return,
        Some(Countdown::Reaching(_)) => ("go there, and hold".to_owned(), look.quiet()),
        Some(Countdown::Holding(left)) => {
            (format!("hold still: {:.1} s", left.as_secs_f64()), look.alarming())
        }
        Some(Countdown::Waiting) => ("is anybody there? press a key".to_owned(), look.alarming()),
    };
    put(area.x, area.y, &text, area.width, style, buffer);
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::Moment;

    fn reading(value: Value, function: Function) -> Reading {
        let unit = function.unit();
        Reading { value, unit, function, u: None, text: String::new(), at: Moment::START }
    }

    #[test]
    fn numbers_keep_their_figures_and_open_is_a_word() {
        let ohms = |value| shown(&reading(Value::Number(value), Function::Resistance));
        assert_eq!(ohms(329.84), ("329.8".into(), "\u{3a9}"));
        assert_eq!(ohms(0.213), ("0.213".into(), "\u{3a9}"));
        assert_eq!(ohms(9_999.6), ("10.00".into(), "k\u{3a9}"));
        assert_eq!(ohms(2_200_000.0), ("2.200".into(), "M\u{3a9}"));
        let volts = shown(&reading(Value::Number(-13.712), Function::VoltageDc));
        assert_eq!(volts, ("-13.71".into(), "V"));
        assert_eq!(shown(&reading(Value::Overload, Function::Diode)).0, "OPEN");
        assert_eq!(shown(&reading(Value::Overload, Function::VoltageDc)).0, "OVER");
    }
}
