//! The ask, as large as the room allows: two pins side by side, each with its lead's shape, letter
//! and colour; or the voltage and where plus and minus go. An ask that has no picture of its own
//! stands in its words. Why it is asked stands below; and where nothing is asked, what is going on.

use super::big;
use super::keys::is_caution;
use super::look::{Lead, Look};
use super::pins::Mark;
use super::text::{put, words};
use super::view::View;
use crate::event::{Ask, DriveState, Pin, visible};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Draws the ask.
pub(super) fn draw(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let Some((_, ask)) = &view.ask else {
        return resting(view, look, area, buffer);
    };
    match ask {
        Ask::Place { red, black, function, why, .. } => {
            let fresh = view.leads.as_ref() == Some(&(red.clone(), black.clone()));
            let head = match fresh {
                true => format!("Lift both leads, and touch the same pins again ({function})"),
                false => format!("Put the leads here ({function})"),
            };
            let sides = [
                Side { head: "RED", mark: Mark::Lead(Lead::Red), text: red.label() },
                Side { head: "BLACK", mark: Mark::Lead(Lead::Black), text: black.label() },
            ];
            let rest = line(&head, area, look.strong(), buffer);
            let rest = sides_drawn(&sides, look, rest, buffer);
            words(why.as_deref().unwrap_or(""), "Why: ", look, rest, buffer);
        }
        Ask::Drive(DriveState::Energised { plus, minus, volts }) => {
            let rest =
                line("Drive the coil; leave the leads where they are", area, look.strong(), buffer);
            let volts = format!("{volts} V");
            let sides = [
                Side { head: "apply", mark: Mark::Plus, text: &volts },
                Side { head: "PLUS on", mark: Mark::Plus, text: plus.label() },
                Side { head: "MINUS on", mark: Mark::Minus, text: minus.label() },
            ];
            sides_drawn(&sides, look, rest, buffer);
        }
        Ask::Drive(DriveState::Rest) => {
            let rest = line(
                "Take the drive off the coil; leave the leads on",
                area,
                look.strong(),
                buffer,
            );
            let side = [Side { head: "drive", mark: Mark::Minus, text: "OFF" }];
            sides_drawn(&side, look, rest, buffer);
        }
        _ => in_words(view, look, area, buffer),
    }
}

/// The pins that an ask wants something on; and where the leads rest, while it moves none.
pub(super) fn wanted(view: &View) -> Vec<(&Pin, Mark)> {
    let resting = view.leads.as_ref().map(|(red, black)| [(red, Lead::Red), (black, Lead::Black)]);
    let resting = resting.into_iter().flatten().map(|(pin, lead)| (pin, Mark::Lead(lead)));
    match view.ask.as_ref().map(|(_, ask)| ask) {
        Some(Ask::Place { red, black, .. }) => {
            vec![(red, Mark::Lead(Lead::Red)), (black, Mark::Lead(Lead::Black))]
        }
        Some(Ask::Drive(DriveState::Energised { plus, minus, .. })) => {
            [(plus, Mark::Plus), (minus, Mark::Minus)].into_iter().chain(resting).collect()
        }
        _ => resting.collect(),
    }
}

/// One thing that stands large.
struct Side<'a> {
    head: &'a str,
    mark: Mark,
    text: &'a str,
}

/// Side by side, all of one height; returns what is left below.
fn sides_drawn(sides: &[Side<'_>], look: Look, area: Rect, buffer: &mut Buffer) -> Rect {
    let count = u16::try_from(sides.len()).unwrap_or(1).max(1);
    let rows = area.height.saturating_sub(2).max(1).min(area.height);
    let width = area.width / count;
    for (left, side) in (area.x..).step_by(usize::from(width.max(1))).zip(sides) {
        let cell = Rect::new(left, area.y, width.saturating_sub(1), rows);
        let head = match side.mark {
            Mark::Lead(lead) => {
                format!(" {} {} ", lead.mark().split(' ').next().unwrap_or(""), side.head)
            }
            Mark::Plus | Mark::Minus => format!(" {} ", side.head),
        };
        let style = match side.mark {
            Mark::Lead(lead) => look.lead(lead),
            Mark::Plus | Mark::Minus => look.bar(),
        };
        put(cell.x + 1, cell.y + rows / 2, &head, cell.width.saturating_sub(1), style, buffer);
        let after = cell.x + 1 + u16::try_from(head.chars().count()).unwrap_or(0) + 1;
        let room = Rect::new(after, cell.y, cell.right().saturating_sub(after), rows);
        large(side, look, room, buffer);
    }
    Rect::new(area.x, area.y + rows, area.width, area.height - rows)
}

fn large(side: &Side<'_>, look: Look, room: Rect, buffer: &mut Buffer) {
    let style = match side.mark {
        Mark::Lead(lead) => look.strokes(lead),
        Mark::Plus | Mark::Minus => look.strong(),
    };
    match big::fitting(side.text, room.width, room.height) {
        Some(dot) => {
            big::draw(side.text, dot, room, style, buffer);
        }
        None => {
            put(room.x, room.y + room.height / 2, &visible(side.text), room.width, style, buffer)
        }
    }
}

/// Nothing is asked: a log grows, the meter is measuring, or it has not answered yet.
fn resting(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    if let (super::view::LinkState::Up, Some(log)) = (&view.link, &view.log) {
        let lines = log.lines(view.output(), view.now);
        for (i, (y, text)) in (area.y + 1..area.bottom()).zip(&lines).enumerate() {
            let style = if i == 0 { look.strong() } else { Style::new() };
            put(area.x + 1, y, text, area.width.saturating_sub(2), style, buffer);
        }
        return;
    }
    let text = match (view.link != super::view::LinkState::Up, &view.leads) {
        (true, _) => "Waiting for the meter".to_owned(),
        (false, Some((red, black))) => format!("Hold still: measuring {red} - {black}"),
        (false, None) => "One moment".to_owned(),
    };
    let middle = Rect { y: area.y + area.height / 2, height: 1.min(area.height), ..area };
    put(middle.x + 1, middle.y, &text, middle.width.saturating_sub(1), look.strong(), buffer);
}

/// In the words of plain lines, without the number and the keys of a line terminal.
fn in_words(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let lines = view.ask_lines.split_last().map_or(&[][..], |(_, lines)| lines);
    let Some((head, rest)) = lines.split_first() else { return };
    let head = head.split_once("] ").map_or(head.as_str(), |(_, head)| head);
    let style = if is_caution(view) { look.alarming() } else { look.strong() };
    let below = line(head, area, style, buffer);
    let text: Vec<&str> = rest.iter().map(|line| line.trim()).collect();
    words(&text.join(" "), "", look, below, buffer);
}

/// One line at the top; returns what is left.
fn line(text: &str, area: Rect, style: Style, buffer: &mut Buffer) -> Rect {
    if area.height == 0 {
        return area;
    }
    put(area.x + 1, area.y, text, area.width.saturating_sub(2), style, buffer);
    Rect::new(area.x, area.y + 1, area.width, area.height - 1)
}
