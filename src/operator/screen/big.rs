//! Large characters for eyes two metres away: text in, blocks of three by five dots out, as large
//! as the room allows. A dot is a block of cells, or half a cell where there is little room. Text
//! with a character that has no large shape is not drawn at all; the caller then writes it small.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Dots of a character, across and down.
const ACROSS: u16 = 3;
const DOWN: u16 = 5;

/// How large a dot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dot {
    /// One column, half a row.
    Half,
    /// So many times two columns and one row.
    Whole(u16),
}

impl Dot {
    /// From large to small.
    const SIZES: [Self; 4] = [Self::Whole(3), Self::Whole(2), Self::Whole(1), Self::Half];

    const fn columns(self) -> u16 {
        match self {
            Self::Half => 1,
            Self::Whole(n) => 2 * n,
        }
    }

    /// The size of `text`: columns and rows.
    pub(super) fn size(self, text: &str) -> (u16, u16) {
        let count = u16::try_from(text.chars().count()).unwrap_or(u16::MAX);
        let columns = count.saturating_mul((ACROSS + 1) * self.columns());
        let rows = match self {
            Self::Half => DOWN.div_ceil(2),
            Self::Whole(n) => DOWN * n,
        };
        (columns.saturating_sub(self.columns()), rows)
    }
}

/// The largest dot with which `text` fits into this many columns and rows.
pub(super) fn fitting(text: &str, columns: u16, rows: u16) -> Option<Dot> {
    if text.is_empty() || text.chars().any(|c| dots(c).is_none()) {
        return None;
    }
    Dot::SIZES.into_iter().find(|dot| {
        let (wide, high) = dot.size(text);
        wide <= columns && high <= rows
    })
}

/// Draws `text` at the top left of `area` with this dot; returns the columns it took.
pub(super) fn draw(text: &str, dot: Dot, area: Rect, style: Style, buffer: &mut Buffer) -> u16 {
    let mut left = area.x;
    for c in text.chars() {
        let Some(dots) = dots(c) else { continue };
        for across in 0..ACROSS {
            let lit = |down: u16| {
                down < DOWN && dots >> (ACROSS * (DOWN - 1 - down) + ACROSS - 1 - across) & 1 == 1
            };
            let x = left.saturating_add(across * dot.columns());
            match dot {
                Dot::Half => halves(x, lit, area, style, buffer),
                Dot::Whole(n) => wholes(x, n, lit, area, style, buffer),
            }
        }
        left = left.saturating_add((ACROSS + 1) * dot.columns());
    }
    left.saturating_sub(dot.columns()).saturating_sub(area.x)
}

fn halves(x: u16, lit: impl Fn(u16) -> bool, area: Rect, style: Style, buffer: &mut Buffer) {
    for row in 0..DOWN.div_ceil(2) {
        let shape = match (lit(2 * row), lit(2 * row + 1)) {
            (true, true) => "\u{2588}",
            (true, false) => "\u{2580}",
            (false, true) => "\u{2584}",
            (false, false) => continue,
        };
        cell(x, area.y + row, shape, area, style, buffer);
    }
}

fn wholes(
    x: u16,
    n: u16,
    lit: impl Fn(u16) -> bool,
    area: Rect,
    style: Style,
    buffer: &mut Buffer,
) {
    for down in (0..DOWN).filter(|down| lit(*down)) {
        for dy in 0..n {
            for dx in 0..2 * n {
                cell(x + dx, area.y + down * n + dy, "\u{2588}", area, style, buffer);
            }
        }
    }
}

fn cell(x: u16, y: u16, shape: &str, area: Rect, style: Style, buffer: &mut Buffer) {
    if area.contains((x, y).into())
        && let Some(cell) = buffer.cell_mut((x, y))
    {
        cell.set_symbol(shape).set_style(style);
    }
}

/// The fifteen dots of a character, row by row from the top left.
const fn dots(c: char) -> Option<u16> {
    Some(match c {
        '0' => 0b111_101_101_101_111,
        '1' => 0b010_110_010_010_111,
        '2' => 0b111_001_111_100_111,
        '3' => 0b111_001_111_001_111,
        '4' => 0b101_101_111_001_001,
        '5' => 0b111_100_111_001_111,
        '6' => 0b111_100_111_101_111,
        '7' => 0b111_001_010_010_010,
        '8' => 0b111_101_111_101_111,
        '9' => 0b111_101_111_001_111,
        'A' => 0b010_101_111_101_101,
        'B' => 0b110_101_110_101_110,
        'C' => 0b011_100_100_100_011,
        'D' => 0b110_101_101_101_110,
        'E' => 0b111_100_110_100_111,
        'F' => 0b111_100_110_100_100,
        'G' => 0b011_100_101_101_011,
        'H' => 0b101_101_111_101_101,
        'I' => 0b111_010_010_010_111,
        'J' => 0b001_001_001_101_010,
        'K' => 0b101_101_110_101_101,
        'L' => 0b100_100_100_100_111,
        'M' => 0b101_111_111_101_101,
        'N' => 0b110_101_101_101_101,
        'O' => 0b010_101_101_101_010,
        'P' => 0b110_101_110_100_100,
        'Q' => 0b010_101_101_110_011,
        'R' => 0b110_101_110_101_101,
        'S' => 0b011_100_010_001_110,
        'T' => 0b111_010_010_010_010,
        'U' => 0b101_101_101_101_111,
        'V' => 0b101_101_101_101_010,
        'W' => 0b101_101_111_111_101,
        'X' => 0b101_101_010_101_101,
        'Y' => 0b101_101_010_010_010,
        'Z' => 0b111_001_010_100_111,
        'a' => 0b000_011_101_101_011,
        'b' => 0b100_100_110_101_110,
        'c' => 0b000_000_011_100_011,
        'k' => 0b100_101_110_110_101,
        'm' => 0b000_000_111_111_101,
        '.' => 0b000_000_000_000_010,
        '-' => 0b000_000_111_000_000,
        '+' => 0b000_010_111_010_000,
        '\u{3a9}' => 0b010_101_101_010_101,
        ' ' => 0b000_000_000_000_000,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(text: &str, dot: Dot) -> Vec<String> {
        let area = Rect::new(0, 0, dot.size(text).0, dot.size(text).1);
        let mut buffer = Buffer::empty(area);
        draw(text, dot, area, Style::new(), &mut buffer);
        let row = |y| (0..area.width).map(|x| buffer[(x, y)].symbol()).collect::<String>();
        (0..area.height).map(row).collect()
    }

    #[test]
    fn a_digit_is_drawn_in_its_own_shape() {
        assert_eq!(drawn("7", Dot::Whole(1)), ["██████", "    ██", "  ██  ", "  ██  ", "  ██  "]);
        assert_eq!(drawn("7", Dot::Half), ["▀▀█", " █ ", " ▀ "]);
    }

    #[test]
    fn no_two_characters_look_alike() {
        let all: Vec<char> = (' '..='~').chain(['Ω']).filter(|c| dots(*c).is_some()).collect();
        assert!(all.len() > 40);
        let alike = |c: &char, d: &char| c < d && dots(*c) == dots(*d);
        let pairs: Vec<_> = all
            .iter()
            .flat_map(|c| all.iter().filter(|d| alike(c, d)).map(move |d| (*c, *d)))
            .collect();
        assert_eq!(pairs, []);
    }

    #[test]
    fn the_largest_that_fits_is_taken_and_nothing_is_drawn_outside() {
        assert_eq!(fitting("12", 80, 15), Some(Dot::Whole(3)));
        assert_eq!(fitting("12", 20, 5), Some(Dot::Whole(1)));
        assert_eq!(fitting("12", 7, 3), Some(Dot::Half));
        assert_eq!(fitting("12", 6, 3), None);
        assert_eq!(fitting("é", 80, 20), None);
        let mut buffer = Buffer::empty(Rect::new(0, 0, 4, 2));
        draw("888", Dot::Whole(2), Rect::new(1, 1, 60, 60), Style::new(), &mut buffer);
    }
}
