//! The whole page for a window of any size: the bar at the top, the ask, the part beside the live
//! reading, what is known, and at the bottom the keys that do something now. What does not fit is
//! left out from the least important on: keys, then what is known, then the part; the ask stays to
//! the last.

use super::asked;
use super::keys::Mode;
use super::look::Look;
use super::pins::PinMap;
use super::reading;
use super::text::{put, shortened, wrapped};
use super::view::{LinkState, View};
use crate::event::{Answer, Ask, DriveState, visible};
use crate::operator::lines::placements_left;
use crate::operator::relay_words::{in_words, percent};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Rows below which only the bar, the ask and the reading are shown.
const SMALL_ROWS: u16 = 16;

/// Draws the page.
pub(super) fn draw(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    if area.width < 4 || area.height < 2 {
        return;
    }
    top_bar(view, look, Rect { height: 1, ..area }, buffer);
    let inside = Rect::new(area.x, area.y + 1, area.width, area.height - 2);
    match &view.mode {
        Mode::Help => super::help::draw(look, inside, buffer),
        _ if inside.height < SMALL_ROWS => small(view, look, inside, buffer),
        _ => large(view, look, inside, buffer),
    }
    keys(view, look, Rect::new(area.x, area.bottom() - 1, area.width, 1), buffer);
}

/// The ask, and one line of reading.
fn small(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let lines = 2.min(area.height / 2);
    asked::draw(view, look, Rect { height: area.height - lines, ..area }, buffer);
    let y = area.bottom() - lines;
    if let Some(last) = view.readings.back() {
        let (number, unit) = reading::shown(last);
        put(
            area.x + 1,
            y,
            &format!("{number} {unit}"),
            area.width.saturating_sub(1),
            look.strong(),
            buffer,
        );
    }
    if lines > 1 {
        news(view, look, Rect { y: y + 1, height: 1, ..area }, buffer);
    }
}

fn large(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let ask_rows = (area.height * 2 / 5).max(8);
    asked::draw(view, look, Rect { height: ask_rows, ..area }, buffer);
    let rule = "\u{2500}".repeat(usize::from(area.width));
    put(area.x, area.y + ask_rows, &rule, area.width, look.quiet(), buffer);
    let body = Rect::new(area.x, area.y + ask_rows + 1, area.width, area.height - ask_rows - 4);
    let left = Rect { width: body.width * 3 / 5, ..body };
    let right = Rect { x: body.x + left.width, width: body.width - left.width, ..body };
    match view.pins() {
        Some((pins, footprint)) => PinMap {
            pins: &pins,
            footprint,
            wanted: asked::wanted(view),
            belief: view.belief.as_ref(),
        }
        .draw(
            look,
            Rect { x: left.x + 1, width: left.width.saturating_sub(2), ..left },
            buffer,
        ),
        None if view.board.is_some() => super::checks::draw(view, look, left, buffer),
        None => past(view, look, left, buffer),
    }
    reading::draw(view, look, right, buffer);
    let y = body.bottom();
    put(area.x, y, &rule, area.width, look.quiet(), buffer);
    known(view, look, Rect::new(area.x, y + 1, area.width, 1), buffer);
    news(view, look, Rect::new(area.x, y + 2, area.width, 1), buffer);
}

/// The newest of what has happened, as plain lines: for a command without a part to draw. What a
/// line goes on with stands further to the right.
fn past(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let width = usize::from(area.width.saturating_sub(2));
    let wrapped = view.past.iter().flat_map(|line| {
        let indent = line.chars().take_while(|c| *c == ' ').count();
        let lines = wrapped(line, width.saturating_sub(indent + 2));
        let begins = std::iter::once(indent).chain(std::iter::repeat(indent + 2));
        begins.zip(lines).map(|(indent, line)| format!("{:indent$}{line}", "")).collect::<Vec<_>>()
    });
    let lines: Vec<String> = wrapped.collect();
    let first = lines.len().saturating_sub(usize::from(area.height));
    for (y, line) in (area.y..area.bottom()).zip(lines.iter().skip(first)) {
        put(area.x + 1, y, line, area.width.saturating_sub(2), look.quiet(), buffer);
    }
}

fn top_bar(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let command = view.start.as_ref().map_or("", |start| start.terms.command());
    let simulated = view.start.as_ref().is_some_and(|start| start.simulated);
    let link = match view.link {
        _ if view.only_talks() => "",
        LinkState::Waiting => "meter: no answer yet",
        LinkState::Up => "meter: answers",
        LinkState::Lost => "METER: AWAY",
    };
    let drive = match &view.drive {
        DriveState::Rest => String::new(),
        DriveState::Energised { volts, .. } => format!("DRIVEN {volts} V   "),
    };
    let elapsed = view.elapsed_s();
    let right = format!("{drive}{link}   {}:{:02} ", elapsed / 60, elapsed % 60);
    let columns = u16::try_from(right.chars().count()).unwrap_or(0);
    // The longest that leaves room for what stands at the right.
    let words = ["   SIMULATED: nothing real is measured", "   SIMULATED"]
        .map(|s| if simulated { s } else { "" });
    let lefts = words.map(|words| format!(" coilmark {command}{words}"));
    let room = usize::from(area.width.saturating_sub(columns + 1));
    let left = lefts.iter().find(|left| left.chars().count() <= room).unwrap_or(&lefts[1]);
    let width = usize::from(area.width);
    put(area.x, area.y, &format!("{left:<width$}"), area.width, look.bar(), buffer);
    if columns < area.width {
        put(area.right() - columns, area.y, &right, columns, look.bar(), buffer);
    }
}

/// The likeliest pinout and how much is left to do.
fn known(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let Some(belief) = &view.belief else { return };
    let left = placements_left(belief).unwrap_or_default();
    let likeliest = match belief.candidates.first() {
        Some(first) if first.posterior >= 0.2 => {
            format!("Likeliest: {} ({})", in_words(first), percent(first.posterior))
        }
        _ => "Nothing is likely yet".into(),
    };
    let columns = u16::try_from(left.chars().count()).unwrap_or(0) + 1;
    let at = area.right().saturating_sub(columns).max(area.x);
    put(area.x + 1, area.y, &likeliest, (at - area.x).saturating_sub(3), look.strong(), buffer);
    put(at, area.y, &left, columns, look.strong(), buffer);
}

/// What is wrong with the last answer; else what happened last.
fn news(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let width = area.width.saturating_sub(2);
    match (&view.objection, view.past.back()) {
        (Some(objection), _) => {
            put(area.x + 1, area.y, &format!("! {objection}"), width, look.alarming(), buffer);
        }
        (None, Some(last)) => {
            let text = format!("Last: {}", visible(last.trim()));
            put(area.x + 1, area.y, &shortened(&text, width), width, look.quiet(), buffer);
        }
        (None, None) => {}
    }
}

fn keys(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let text = match &view.mode {
        Mode::Help => " Any key goes back".into(),
        Mode::Stop => " Stop here? All of it is kept.  Y stop   any other key: go on".into(),
        Mode::Reason(reason) => format!(" Skip, because: {reason}_   Enter skips   Esc goes back"),
        Mode::Typing(text) => format!(" {text}_   Enter takes it   Esc begins anew"),
        Mode::Work if super::keys::wants_text(view) => {
            " Type it; Enter alone leaves it out   Esc stops".to_owned()
        }
        Mode::Work => format!(" {}? help   Q stop", answers(view)),
    };
    let width = usize::from(area.width);
    put(area.x, area.y, &format!("{text:<width$}"), area.width, look.bar(), buffer);
}

/// The keys that answer what is asked, each with what it says; none where nothing is asked.
fn answers(view: &View) -> String {
    let Some((_, ask)) = &view.ask else { return String::new() };
    let (ready, skip) = match ask {
        Ask::Step { .. } => ("do it now", "leave it out"),
        Ask::Point { .. } => ("it is so", "it is not so"),
        _ => ("done", "skip"),
    };
    let keys = [
        (Answer::Acknowledged, "O I have read it".to_owned()),
        (Answer::Ready, format!("Enter, Space or pedal: {ready}")),
        (Answer::Skip, format!("S {skip}")),
        (Answer::Again, "A last one again".to_owned()),
    ];
    let accepted = keys.into_iter().filter(|(answer, _)| ask.accepts(*answer));
    accepted.map(|(_, key)| format!("{key}   ")).collect()
}
