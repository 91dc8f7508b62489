//! The part as the operator looks at it: pins on their footprint, what each is believed to be, and
//! where the leads are wanted. Rows stand as they were stated (`4+4`, `2-1-2`, `8 round` as two
//! rows, numbered round); without a footprint the pins stand in one or two rows in their order.
//! A role with a question mark is likelier than all others together, and not yet sure.

use super::look::{Lead, Look};
use super::text::put;
use crate::event::{BeliefSummary, Candidate, Form, Pin, StatedFootprint};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A role is shown from this probability on, and without a question mark from the other.
const LIKELY_MIN: f64 = 0.5;
const SURE_MIN: f64 = 0.99;
/// The widest and the narrowest that a pin is drawn.
const CELL_MAX: u16 = 11;
const CELL_MIN: u16 = 7;

/// What is drawn.
pub(super) struct PinMap<'a> {
    pub(super) pins: &'a [Pin],
    pub(super) footprint: Option<&'a str>,
    /// Pins that the open ask wants, with what it wants there.
    pub(super) wanted: Vec<(&'a Pin, Mark)>,
    pub(super) belief: Option<&'a BeliefSummary>,
}

/// What stands on a pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    Lead(Lead),
    Plus,
    Minus,
}

impl Mark {
    const fn text(self) -> &'static str {
        match self {
            Self::Lead(lead) => lead.mark(),
            Self::Plus => "+ ON",
            Self::Minus => "- ON",
        }
    }

    fn style(self, look: Look) -> Style {
        match self {
            Self::Lead(lead) => look.lead(lead),
            Self::Plus | Self::Minus => look.bar(),
        }
    }
}

impl PinMap<'_> {
    /// Draws it into `area`, as large as it fits.
    pub(super) fn draw(&self, look: Look, area: Rect, buffer: &mut Buffer) {
        let rows = rows(self.footprint, self.pins);
        let widest = rows.iter().map(Vec::len).max().unwrap_or(1).max(1);
        let across = area.width / u16::try_from(widest).unwrap_or(u16::MAX);
        let high = area.height / u16::try_from(rows.len()).unwrap_or(u16::MAX).max(1);
        let boxed = across >= CELL_MIN && high >= 3;
        let width = across.min(CELL_MAX);
        let height = if boxed { 3 + u16::from(high >= 4) } else { 2 + u16::from(high >= 3) };
        for (y, row) in (area.y..).step_by(usize::from(height)).zip(&rows) {
            let indent = (widest - row.len()) * usize::from(width) / 2;
            let left = area.x.saturating_add(u16::try_from(indent).unwrap_or(0));
            for (x, place) in (left..).step_by(usize::from(width.max(1))).zip(row) {
                let cell = Rect::new(x, y, width, height.min(3)).intersection(area);
                let Some(pin) = place.and_then(|place| self.pins.get(place)) else { continue };
                if boxed {
                    self.boxed(pin, look, cell, buffer);
                } else {
                    self.small(pin, look, cell, buffer);
                }
            }
        }
    }

    fn mark(&self, pin: &Pin) -> Option<Mark> {
        self.wanted.iter().find(|(wanted, _)| *wanted == pin).map(|(_, mark)| *mark)
    }

    /// Three rows: the label on the frame, the role inside, the lead below.
    fn boxed(&self, pin: &Pin, look: Look, cell: Rect, buffer: &mut Buffer) {
        let mark = self.mark(pin);
        let inner = usize::from(cell.width).saturating_sub(3);
        let line = if mark.is_some() { "\u{2550}" } else { "\u{2500}" };
        let (style, corners) = match mark {
            Some(mark) => {
                (mark.style(look), ["\u{2554}", "\u{2557}", "\u{255a}", "\u{255d}", "\u{2551}"])
            }
            None => (look.quiet(), ["\u{256d}", "\u{256e}", "\u{2570}", "\u{256f}", "\u{2502}"]),
        };
        let label = format!(" {} ", pin.label());
        let below = mark.map_or(String::new(), |mark| format!(" {} ", mark.text()));
        let role = self.belief.and_then(|belief| role(belief, pin)).unwrap_or_default();
        let edge = |left: &str, text: &str, right: &str| {
            let fill = inner.saturating_sub(text.chars().count());
            let before = line.repeat(fill / 2);
            format!("{left}{before}{text}{}{right}", line.repeat(fill - fill / 2))
        };
        let lines = [
            edge(corners[0], &label, corners[1]),
            format!("{}{role:^inner$}{}", corners[4], corners[4]),
            edge(corners[2], &below, corners[3]),
        ];
        for (y, text) in (cell.y..cell.bottom()).zip(&lines) {
            put(
                cell.x,
                y,
                text,
                cell.width,
                if mark.is_some() { look.strong() } else { style },
                buffer,
            );
        }
        // The label and the role are to be read; the frame only holds them.
        let label_at = cell.x
            + 1
            + u16::try_from(inner.saturating_sub(label.chars().count()) / 2).unwrap_or(0);
        put(label_at, cell.y, &label, cell.right().saturating_sub(label_at), look.strong(), buffer);
        if cell.height > 1 {
            put(
                cell.x + 1,
                cell.y + 1,
                &format!("{role:^inner$}"),
                cell.width.saturating_sub(2),
                look.strong(),
                buffer,
            );
        }
        if let (Some(mark), true) = (mark, cell.height > 2) {
            let at = cell.x
                + 1
                + u16::try_from(inner.saturating_sub(below.chars().count()) / 2).unwrap_or(0);
            put(
                at,
                cell.y + 2,
                &below,
                cell.right().saturating_sub(at + 1),
                mark.style(look),
                buffer,
            );
        }
    }

    /// Two rows: label and lead, then the role.
    fn small(&self, pin: &Pin, look: Look, cell: Rect, buffer: &mut Buffer) {
        let mark = self.mark(pin);
        let sign = mark
            .map_or("", |mark| mark.text().get(..mark.text().find(' ').unwrap_or(1)).unwrap_or(""));
        let style = mark.map_or_else(|| look.strong(), |mark| mark.style(look));
        let width = cell.width.saturating_sub(1);
        put(cell.x, cell.y, &format!("{}{sign}", pin.label()), width, style, buffer);
        let role = self.belief.and_then(|belief| role(belief, pin)).unwrap_or_default();
        if cell.height > 1 {
            put(cell.x, cell.y + 1, &role, width, look.strong(), buffer);
        }
    }
}

/// The pins' positions, row by row, with the empty places.
fn rows(footprint: Option<&str>, pins: &[Pin]) -> Vec<Vec<Option<usize>>> {
    let stated = footprint.and_then(|text| StatedFootprint::parse(text, pins).ok());
    stated.unwrap_or_else(|| StatedFootprint::unstated(pins.len())).rows
}

/// What a pin is believed to be, in a word.
fn role(belief: &BeliefSummary, pin: &Pin) -> Option<String> {
    let mut shares: Vec<(&'static str, f64)> = Vec::new();
    for candidate in &belief.candidates {
        let word = word(candidate, pin);
        match shares.iter_mut().find(|(known, _)| *known == word) {
            Some((_, share)) => *share += candidate.posterior,
            None => shares.push((word, candidate.posterior)),
        }
    }
    let (word, share) = shares.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    if share < LIKELY_MIN || (word == "-" && share < SURE_MIN) {
        return None;
    }
    let best = belief.candidates.first()?;
    let pole = (best.poles.len() > 1 && best.posterior >= LIKELY_MIN)
        .then(|| pole_of(best, pin))
        .flatten();
    let pole = pole.map_or(String::new(), |place| (place + 1).to_string());
    Some(format!("{word}{pole}{}", if share < SURE_MIN { "?" } else { "" }))
}

fn pole_of(candidate: &Candidate, pin: &Pin) -> Option<usize> {
    candidate
        .poles
        .iter()
        .position(|p| [&p.common, &p.nc, &p.no].iter().any(|side| side.contains(pin)))
}

fn word(candidate: &Candidate, pin: &Pin) -> &'static str {
    if candidate.coils.iter().flatten().any(|coil| coil == pin) {
        return "coil";
    }
    let Some(pole) = pole_of(candidate, pin).and_then(|place| candidate.poles.get(place)) else {
        return "-";
    };
    match pole.form {
        // Which side of a make or break pole is the common cannot be known.
        Form::A => "NO",
        Form::B => "NC",
        Form::C if pole.common.contains(pin) => "com",
        Form::C if pole.nc.contains(pin) => "NC",
        Form::C => "NO",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_stand_as_stated_or_in_order_where_that_does_not_fit() {
        let pins = ["11", "12", "14", "A1", "A2"].map(Pin::new);
        let wanted = [[Some(3), None, Some(4)], [Some(0), Some(1), Some(2)]];
        assert_eq!(rows(Some("/ A1 . A2 / 11 12 14"), &pins), wanted);
        for unfit in [None, Some("/ A1 . A2 / 11 12"), Some("4+4")] {
            assert_eq!(rows(unfit, &pins), [[0, 1, 2, 3, 4].map(Some)]);
        }
    }
}
