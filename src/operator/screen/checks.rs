//! The checks of the board on the bench: how it stands so far, in words, then each check with its
//! verdict as a word and a mark, the newest last, and the one that is being looked at. What does
//! not fit is left out from the oldest on; what did not pass stays to the last.

use super::look::Look;
use super::text::put;
use super::view::View;
use crate::event::{Ask, CheckSoFar, Verdict};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Draws them; nothing without a board.
pub(super) fn draw(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let Some((serial, checks)) = &view.board else { return };
    let width = area.width.saturating_sub(2);
    if area.height == 0 {
        return;
    }
    let so_far = Verdict::of_all(checks.iter().map(|check| check.verdict));
    let (done, of) = checks.iter().map(|c| (c.done, c.of)).max().unwrap_or_default();
    let head = match so_far {
        _ if checks.is_empty() => format!("Board {serial}: nothing judged yet"),
        Verdict::Pass => format!("Board {serial}: {done} of {of} judged, all passed so far"),
        verdict => format!("Board {serial}: {done} of {of} judged, {verdict} so far"),
    };
    put(area.x + 1, area.y, &head, width, style(so_far, look), buffer);
    let rows = usize::from(area.height).saturating_sub(2);
    for (y, check) in (area.y + 1..).zip(shown(checks, rows)) {
        let verdict = check.verdict.to_string();
        let text = format!("{} {verdict:<10} {}", mark(check.verdict), check.check);
        put(area.x + 1, y, &text, width, style(check.verdict, look), buffer);
    }
    if let Some((_, Ask::Place { why: Some(why), .. })) = &view.ask {
        let y = area.y + 1 + u16::try_from(checks.len().min(rows)).unwrap_or(u16::MAX);
        put(area.x + 1, y, &format!("> now        {why}"), width, look.strong(), buffer);
    }
}

/// So many checks as fit: all that did not pass, and the newest of the others.
fn shown(checks: &[CheckSoFar], rows: usize) -> Vec<&CheckSoFar> {
    let bad = checks.iter().filter(|check| check.verdict != Verdict::Pass).count();
    let mut left_out = checks.len().saturating_sub(rows);
    let mut passed_out = left_out.min(checks.len() - bad);
    left_out -= passed_out;
    let keep = |check: &&CheckSoFar| {
        let out = if check.verdict == Verdict::Pass { &mut passed_out } else { &mut left_out };
        let drop = *out > 0;
        *out -= usize::from(drop);
        !drop
    };
    checks.iter().filter(keep).collect()
}

const fn mark(verdict: Verdict) -> char {
    match verdict {
        Verdict::Pass => '\u{2713}',
        Verdict::Fail => '\u{2717}',
        Verdict::Undecided => '?',
    }
}

fn style(verdict: Verdict, look: Look) -> Style {
    match verdict {
        Verdict::Pass => look.good(),
        Verdict::Fail | Verdict::Undecided => look.alarming(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_did_not_pass_stays_when_rows_are_few() {
        let check =
            |name: &str, verdict| CheckSoFar { check: name.into(), verdict, done: 1, of: 9 };
        let checks = [
            check("a", Verdict::Pass),
            check("b", Verdict::Fail),
            check("c", Verdict::Pass),
            check("d", Verdict::Pass),
        ];
        let names = |rows| -> String {
            shown(&checks, rows).iter().map(|check| check.check.as_str()).collect()
        };
        assert_eq!([9, 3, 2, 1, 0].map(names), ["abcd", "bcd", "bd", "b", ""]);
    }
}
