//! Keys become answers: Enter, Space and whatever a pedal types say that the hands are done; a
//! letter does the rest. What ends something or gives something up asks once more, so that no
//! single key in passing does it. A caution wants its own key: a pedal cannot acknowledge it.

use super::view::View;
use crate::event::{Answer, Ask};
use crate::operator::{Heard, Key};

/// The longest reason that is taken, in characters.
const REASON_MAX: usize = 60;
/// The longest serial number or label that is taken, in characters.
const TEXT_MAX: usize = 200;

/// What the keys mean just now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Mode {
    /// Answers to what is asked.
    Work,
    /// Help is open.
    Help,
    /// The reason for a skip is being typed.
    Reason(String),
    /// A serial number or a label is being typed.
    Typing(String),
    /// Whether to stop is asked.
    Stop,
}

/// Understands a key, and changes what the next one means.
pub(super) fn pressed(view: &mut View, key: Key) -> Heard {
    match std::mem::replace(&mut view.mode, Mode::Work) {
        _ if key == Key::Interrupt => Heard::Answer(None, Answer::Abort),
        mode if key == Key::Resized => {
            view.mode = mode;
            Heard::Nothing
        }
        Mode::Help => Heard::Nothing,
        Mode::Stop => match key {
            Key::Char('y' | 'Y' | 'q' | 'Q') => Heard::Answer(None, Answer::Abort),
            _ => Heard::Nothing,
        },
        Mode::Reason(reason) => reasoning(view, reason, key),
        Mode::Typing(text) => typing(view, text, key),
        Mode::Work if wants_text(view) => typing(view, String::new(), key),
        Mode::Work => working(view, key),
    }
}

fn working(view: &mut View, key: Key) -> Heard {
    match key {
        Key::Enter | Key::Pedal | Key::Char(' ') => Heard::Answer(None, Answer::Ready),
        Key::Char('o' | 'O') if is_caution(view) => Heard::Answer(None, Answer::Acknowledged),
        Key::Char('a' | 'A') => Heard::Answer(None, Answer::Again),
        Key::Char('s' | 'S') => match &view.ask {
            Some((_, ask)) if ask.accepts(Answer::Skip) => {
                view.mode = Mode::Reason(String::new());
                Heard::Nothing
            }
            _ => Heard::Answer(None, Answer::Skip),
        },
        Key::Char('q' | 'Q') => {
            view.mode = Mode::Stop;
            Heard::Nothing
        }
        Key::Char('?' | 'h' | 'H') => {
            view.mode = Mode::Help;
            Heard::Nothing
        }
        _ => Heard::Nothing,
    }
}

fn reasoning(view: &mut View, mut reason: String, key: Key) -> Heard {
    match key {
        Key::Enter => return Heard::SkipBecause(None, reason.trim().to_owned()),
        Key::Escape => return Heard::Nothing,
        Key::Backspace => {
            reason.pop();
        }
        Key::Char(c) if !c.is_control() && reason.chars().count() < REASON_MAX => reason.push(c),
        _ => {}
    }
    view.mode = Mode::Reason(reason);
    Heard::Nothing
}

/// Every key is a letter of the text but those that end it; nothing typed and Enter leaves it out.
fn typing(view: &mut View, mut text: String, key: Key) -> Heard {
    match key {
        Key::Enter if text.trim().is_empty() => return Heard::Answer(None, Answer::Ready),
        Key::Enter => return Heard::Text(None, text.trim().to_owned()),
        Key::Escape if text.is_empty() => {
            view.mode = Mode::Stop;
            return Heard::Nothing;
        }
        Key::Escape => return Heard::Nothing,
        Key::Backspace => {
            text.pop();
        }
        Key::Char(c) if !c.is_control() && text.chars().count() < TEXT_MAX => text.push(c),
        _ => {}
    }
    if !text.is_empty() {
        view.mode = Mode::Typing(text);
    }
    Heard::Nothing
}

/// Whether the ask that is open wants a text.
pub(super) fn wants_text(view: &View) -> bool {
    matches!(view.ask, Some((_, Ask::Serial { .. } | Ask::Label { .. })))
}

pub(super) fn is_caution(view: &View) -> bool {
    matches!(view.ask, Some((_, Ask::Acknowledge { .. })))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{AskedDrive, Caution, Pin};
    use drivers::Function;

    fn asked(ask: Ask) -> View {
        let mut view = View::new();
        view.ask(1, &ask);
        view
    }

    fn place() -> Ask {
        let (red, black) = (Pin::new("1"), Pin::new("2"));
        let (function, drive) = (Function::Resistance, AskedDrive::Rest);
        Ask::Place { red, black, function, drive, why: None }
    }

    fn typed(view: &mut View, text: &str) -> Vec<Heard> {
        text.chars().map(|c| pressed(view, Key::Char(c))).collect()
    }

    #[test]
    fn enter_space_and_a_pedal_say_ready() {
        for key in [Key::Enter, Key::Char(' '), Key::Pedal] {
            assert_eq!(
                pressed(&mut asked(place()), key),
                Heard::Answer(None, Answer::Ready),
                "{key:?}"
            );
        }
    }

    #[test]
    fn a_pedal_acknowledges_no_caution() {
        let mut view = asked(Ask::caution(Caution::CoilDrive));
        let Heard::Answer(None, answer) = pressed(&mut view, Key::Pedal) else { panic!() };
        assert!(!Ask::caution(Caution::CoilDrive).accepts(answer));
        assert_eq!(pressed(&mut view, Key::Char('o')), Heard::Answer(None, Answer::Acknowledged));
    }

    #[test]
    fn one_key_in_passing_stops_nothing() {
        let mut view = asked(place());
        assert_eq!(pressed(&mut view, Key::Char('q')), Heard::Nothing);
        assert_eq!(pressed(&mut view, Key::Enter), Heard::Nothing);
        assert_eq!(view.mode, Mode::Work);
        pressed(&mut view, Key::Char('q'));
        assert_eq!(pressed(&mut view, Key::Char('y')), Heard::Answer(None, Answer::Abort));
    }

    #[test]
    fn a_skip_takes_its_reason_with_it() {
        let mut view = asked(place());
        assert!(typed(&mut view, "squite dirtt").iter().all(|heard| *heard == Heard::Nothing));
        pressed(&mut view, Key::Backspace);
        pressed(&mut view, Key::Char('y'));
        assert_eq!(pressed(&mut view, Key::Enter), Heard::SkipBecause(None, "quite dirty".into()));
        pressed(&mut view, Key::Char('s'));
        assert_eq!(pressed(&mut view, Key::Escape), Heard::Nothing);
        assert_eq!(view.mode, Mode::Work);
    }

    #[test]
    fn a_label_is_typed_letter_by_letter_and_q_is_a_letter() {
        let label = crate::event::JobLabel::Site;
        let mut view = asked(Ask::Label { label, text: "Which?".into() });
        assert_eq!(pressed(&mut view, Key::Enter), Heard::Answer(None, Answer::Ready));
        assert!(typed(&mut view, "quay x").iter().all(|heard| *heard == Heard::Nothing));
        pressed(&mut view, Key::Backspace);
        assert_eq!(view.mode, Mode::Typing("quay ".into()));
        assert_eq!(pressed(&mut view, Key::Enter), Heard::Text(None, "quay".into()));
        assert_eq!(pressed(&mut view, Key::Escape), Heard::Nothing);
        assert_eq!(view.mode, Mode::Stop);
        assert_eq!(pressed(&mut view, Key::Char('y')), Heard::Answer(None, Answer::Abort));
    }

    #[test]
    fn ctrl_c_stops_from_anywhere() {
        for mode in [Mode::Work, Mode::Help, Mode::Stop, Mode::Reason("x".into())] {
            let mut view = asked(place());
            view.mode = mode;
            assert_eq!(pressed(&mut view, Key::Interrupt), Heard::Answer(None, Answer::Abort));
        }
    }
}
