//! How things look, with sixteen colours or none. Colour never carries meaning alone: the red lead
//! is a square with an R, the black one a circle with a B, wherever they stand, and what is
//! stressed is bold or reversed as well. Only the sixteen colours of every terminal are used.

use ratatui::style::{Color, Modifier, Style};

/// The styles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    colours: bool,
}

/// One of the meter's leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lead {
    Red,
    Black,
}

impl Lead {
    /// Its shape and letter, three columns wide.
    pub(super) const fn mark(self) -> &'static str {
        match self {
            Self::Red => "\u{25a0} R",
            Self::Black => "\u{25cf} B",
        }
    }
}

impl Look {
    /// With sixteen colours.
    #[must_use]
    pub const fn coloured() -> Self {
        Self { colours: true }
    }

    /// Without any colour.
    #[must_use]
    pub const fn plain() -> Self {
        Self { colours: false }
    }

    fn coloured_or(self, coloured: Style, plain: Modifier) -> Style {
        if self.colours { coloured } else { Style::new().add_modifier(plain) }
    }

    /// A lead's own colours; without colour the red one is bold and the black one reversed.
    pub(super) fn lead(self, lead: Lead) -> Style {
        match lead {
            Lead::Red => self.coloured_or(
                Style::new().fg(Color::White).bg(Color::Red).add_modifier(Modifier::BOLD),
                Modifier::BOLD,
            ),
            Lead::Black => self.coloured_or(
                Style::new().fg(Color::Black).bg(Color::Gray).add_modifier(Modifier::BOLD),
                Modifier::REVERSED,
            ),
        }
    }

    /// Large strokes in a lead's colour on the ground of the screen.
    pub(super) fn strokes(self, lead: Lead) -> Style {
        match lead {
            Lead::Red => self.coloured_or(Style::new().fg(Color::LightRed), Modifier::BOLD),
            Lead::Black => self.coloured_or(Style::new().fg(Color::White), Modifier::BOLD),
        }
    }

    /// What the eye should find first.
    pub(super) fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// The bars at the top and the bottom.
    pub(super) fn bar(self) -> Style {
        Style::new().add_modifier(Modifier::REVERSED)
    }

    /// What can be done without.
    pub(super) fn quiet(self) -> Style {
        self.coloured_or(Style::new().fg(Color::DarkGray), Modifier::DIM)
    }

    /// What is wrong, or can hurt.
    pub(super) fn alarming(self) -> Style {
        self.coloured_or(
            Style::new().fg(Color::LightYellow).add_modifier(Modifier::BOLD),
            Modifier::BOLD,
        )
    }

    /// What is settled, captured, known.
    pub(super) fn good(self) -> Style {
        self.coloured_or(Style::new().fg(Color::LightGreen), Modifier::BOLD)
    }
}
