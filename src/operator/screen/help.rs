//! The help page: what the keys do, when a key is needed at all, and what stays when one stops.
//! It is words, drawn from the top; what does not fit is left out. The words of the trade are for
//! `coilmark help` to explain.

use super::look::Look;
use super::text::{put, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Keys and what they do; an empty key goes on with words.
const HELP: [(&str, &str); 11] = [
    (
        "Enter",
        "the hands are done: both leads touch, or the drive is on. Space and a pedal that types Page Down or a function key do the same.",
    ),
    (
        "S",
        "this cannot be reached or done: not asked again in this run. The reason you type is recorded.",
    ),
    ("A", "take back the last capture and measure it anew. The record keeps both."),
    ("O", "acknowledge a caution. It has a key of its own so that a pedal cannot do it."),
    (
        "Q",
        "stop. Everything captured is kept, and `coilmark resume` with the job's folder goes on.",
    ),
    ("", ""),
    (
        "",
        "A closed contact or a coil announces itself: hold the leads there and it is taken without a key. An open pair looks exactly like leads in the air, so it waits for your word, or for --dwell.",
    ),
    (
        "",
        "Red is the square with R, black the circle with B. Leads move only while nothing is driven.",
    ),
    (
        "",
        "coil, com, NC, NO: what a pin is believed to be. A question mark: likely, not sure yet. The digit is the pole.",
    ),
    (
        "",
        "Bells: one for a capture, two for an ask (slow: only the supply's switch), three fast ones for trouble, four slow ones at the end.",
    ),
    (
        "",
        "This is no certificate. Local wiring codes, the equipment's own manual and a licensed person come first.",
    ),
];

/// Draws it.
pub(super) fn draw(look: Look, area: Rect, buffer: &mut Buffer) {
    let mut y = area.y;
    for (key, text) in HELP {
        let indent = if key.is_empty() { 1 } else { 8 };
        let width = area.width.saturating_sub(indent + 1);
        if y < area.bottom() {
            put(area.x + 1, y, key, 7, look.strong(), buffer);
        }
        for line in wrapped(text, usize::from(width)) {
            if y < area.bottom() {
                put(area.x + indent, y, &line, width, Style::new(), buffer);
            }
            y = y.saturating_add(1);
        }
    }
}
