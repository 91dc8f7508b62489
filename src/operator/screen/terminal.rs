//! The terminal as a full-screen program needs it, and as it was before on every way out: the end
//! of the run, an error, a panic, a signal that ends the run in order. Nothing is left behind by
//! [`Taken`]: it restores when it is dropped, and a panic restores before its message is printed.
//! Only an end that no program sees coming (kill -9, power) leaves it to `reset`.

use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{self, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::crossterm::{cursor, execute};
use std::io::{self, Stdout};
use std::sync::Once;

use crate::operator::Key;

/// A terminal that was taken over, until it is dropped.
#[derive(Debug)]
pub struct Taken {
    _private: (),
}

/// The two sides of the terminal.
#[derive(Debug)]
pub struct Terminals;

impl Terminals {
    /// Takes the terminal over: keys come one by one, and what is on the screen is put aside.
    ///
    /// # Errors
    /// What the system says where there is no terminal.
    pub fn take() -> io::Result<(Taken, CrosstermBackend<Stdout>)> {
        static HOOK: Once = Once::new();
        HOOK.call_once(|| {
            let before = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |panic| {
                restore();
                before(panic);
            }));
        });
        enable_raw_mode()?;
        let taken = Taken { _private: () };
        execute!(io::stdout(), EnterAlternateScreen, cursor::Hide)?;
        Ok((taken, CrosstermBackend::new(io::stdout())))
    }

    /// Waits for the next key.
    ///
    /// # Errors
    /// What the system says once the terminal is gone.
    pub fn next_key() -> io::Result<Key> {
        loop {
            match event::read()? {
                event::Event::Key(pressed) if pressed.kind != KeyEventKind::Release => {
                    if let Some(key) = key(pressed) {
                        return Ok(key);
                    }
                }
                event::Event::Resize(..) => return Ok(Key::Resized),
                _ => {}
            }
        }
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        restore();
    }
}

/// As it was before. Where that fails nobody is left to see it.
fn restore() {
    let _ = execute!(io::stdout(), LeaveAlternateScreen, cursor::Show);
    let _ = disable_raw_mode();
}

fn key(pressed: KeyEvent) -> Option<Key> {
    let ctrl = pressed.modifiers.contains(KeyModifiers::CONTROL);
    match pressed.code {
        KeyCode::Char('c' | 'd') if ctrl => Some(Key::Interrupt),
        KeyCode::Char('m' | 'j') if ctrl => Some(Key::Enter),
        KeyCode::Char(_) if ctrl || pressed.modifiers.contains(KeyModifiers::ALT) => None,
        KeyCode::Char(c) => Some(Key::Char(c)),
        KeyCode::Enter => Some(Key::Enter),
        KeyCode::Backspace => Some(Key::Backspace),
        KeyCode::Esc => Some(Key::Escape),
        KeyCode::PageDown | KeyCode::PageUp | KeyCode::F(_) => Some(Key::Pedal),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ctrl_c_is_a_key_and_a_pedal_may_type_what_it_likes() {
        let with = |code, modifiers| key(KeyEvent::new(code, modifiers));
        assert_eq!(with(KeyCode::Char('c'), KeyModifiers::CONTROL), Some(Key::Interrupt));
        assert_eq!(with(KeyCode::Char('c'), KeyModifiers::NONE), Some(Key::Char('c')));
        assert_eq!(with(KeyCode::Char('x'), KeyModifiers::ALT), None);
        for code in [KeyCode::PageDown, KeyCode::F(1), KeyCode::F(13)] {
            assert_eq!(with(code, KeyModifiers::NONE), Some(Key::Pedal));
        }
    }
}
