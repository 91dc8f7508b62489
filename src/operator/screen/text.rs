//! Text on the page: one line at a place, words wrapped into an area, words broken into lines of a
//! width, a long one cut with dots. Nothing is drawn outside the page, and what is too long is cut
//! off, never wrapped by the terminal. Widths are in columns.

use super::look::Look;
use crate::event::visible;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Writes at most `width` columns of `text` from this cell on.
pub(super) fn put(x: u16, y: u16, text: &str, width: u16, style: Style, buffer: &mut Buffer) {
    if buffer.area.contains((x, y).into()) {
        buffer.set_stringn(x, y, text, usize::from(width), style);
    }
}

/// Wrapped words, as many as fit.
pub(super) fn words(text: &str, head: &str, look: Look, area: Rect, buffer: &mut Buffer) {
    let text = visible(text);
    if text.is_empty() {
        return;
    }
    let width = usize::from(area.width.saturating_sub(2));
    let lines = wrapped(&format!("{head}{text}"), width);
    for (y, line) in (area.y..area.bottom()).zip(&lines) {
        put(area.x + 1, y, line, area.width.saturating_sub(2), Style::new(), buffer);
    }
    if !head.is_empty() && area.height > 0 {
        put(area.x + 1, area.y, head, area.width.saturating_sub(2), look.quiet(), buffer);
    }
}

/// Lines of at most `width` characters, broken between words.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let long = lines.last().map_or(0, |l| l.chars().count()) + word.chars().count() + 1 > width;
        if long && lines.last().is_some_and(|line| !line.is_empty()) {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

/// The beginning of a text that is wider than there is room, with dots where it is cut.
pub(super) fn shortened(text: &str, width: u16) -> String {
    let width = usize::from(width);
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let kept = text.chars().take(width.saturating_sub(3));
    kept.chain("...".chars()).collect()
}
