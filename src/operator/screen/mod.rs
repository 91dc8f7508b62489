//! The operator as a full screen: events, asks and readings in, a page out, drawn anew only where
//! it differs. [`View`] is the fold, [`mod@page`] the drawing; neither knows a terminal, so that a
//! test draws into memory. Readings are drawn at most ten times a second, asks at once. After the
//! run the terminal is as it was, and the result stands on it in plain lines.

mod asked;
mod big;
mod chart;
mod checks;
mod help;
mod keys;
mod logged;
mod look;
mod page;
mod pins;
mod reading;
mod terminal;
mod text;
mod view;

pub use look::Look;
pub use terminal::{Taken, Terminals};

use super::{Countdown, Heard, Key, Lines, Operator};
use crate::event::{Answer, Ask, Event};
use drivers::{Moment, Reading};
use ratatui::Terminal;
use ratatui::backend::Backend;
use std::io::{self, Write};
use std::time::Duration;
use view::View;

/// The shortest time between two pictures that only readings make differ.
const FRAME: Duration = Duration::from_millis(100);
/// The elapsed time is drawn anew so often.
const SECOND: Duration = Duration::from_secs(1);

/// Draws on a terminal; what remains is written to `after` once the terminal is given back.
pub struct Screen<B: Backend, W> {
    view: View,
    look: Look,
    terminal: Terminal<B>,
    /// Dropped when the run has finished: the terminal is given back.
    taken: Option<Taken>,
    after: W,
    remains: Vec<Event>,
    drawn_at: Option<Moment>,
    /// Something changed that wants to be seen at once.
    urgent: bool,
    /// Something changed.
    stale: bool,
    finished: bool,
}

impl<B: Backend, W: Write> Screen<B, W> {
    /// On this terminal, which is given back by dropping `taken`.
    ///
    /// # Errors
    /// What the terminal says if it cannot be drawn on.
    pub fn new(backend: B, taken: Option<Taken>, look: Look, after: W) -> io::Result<Self> {
        Ok(Self {
            view: View::new(),
            look,
            terminal: Terminal::new(backend).map_err(broken)?,
            taken,
            after,
            remains: Vec::new(),
            drawn_at: None,
            urgent: true,
            stale: true,
            finished: false,
        })
    }

    /// What is drawn on.
    pub fn backend(&self) -> &B {
        self.terminal.backend()
    }

    fn changed(&mut self) {
        self.stale = true;
        self.urgent = true;
    }

    fn draw(&mut self) -> io::Result<()> {
        let (view, look) = (&self.view, self.look);
        let page = |frame: &mut ratatui::Frame<'_>| {
            let area = frame.area();
            page::draw(view, look, area, frame.buffer_mut());
        };
        self.terminal.draw(page).map_err(broken)?;
        self.drawn_at = Some(self.view.now);
        self.stale = false;
        self.urgent = false;
        Ok(())
    }

    /// Gives the terminal back and writes what remains of the run in plain lines.
    fn leave(&mut self) -> io::Result<()> {
        self.finished = true;
        self.taken = None;
        let mut lines = Lines::new(&mut self.after, false);
        self.remains.drain(..).try_for_each(|event| lines.show(&event))
    }
}

/// Whatever a backend says, as the system's error.
fn broken(error: impl std::error::Error) -> io::Error {
    io::Error::other(error.to_string())
}

impl<B: Backend, W: Write> Operator for Screen<B, W> {
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        self.view.ask(seq, ask);
        self.changed();
        Ok(())
    }

    fn object(&mut self, problem: &str) -> io::Result<()> {
        self.view.object(problem);
        self.changed();
        Ok(())
    }

    fn show(&mut self, event: &Event) -> io::Result<()> {
        self.view.show(event);
        self.changed();
        match event {
            Event::RunStarted(_) | Event::MeterIdentified(_) | Event::ResultReached(_) => {
                self.remains.push(event.clone());
            }
            Event::RunFinished { .. } => {
                self.remains.push(event.clone());
                return self.leave();
            }
            _ => {}
        }
        Ok(())
    }

    fn show_reading(&mut self, reading: &Reading) -> io::Result<()> {
        self.view.read(reading);
        self.stale = true;
        Ok(())
    }

    /// Lines do not come from a screen; what does is not understood.
    fn parse(&self, _line: &str) -> Heard {
        Heard::Nothing
    }

    fn key(&mut self, key: Key) -> Heard {
        self.changed();
        keys::pressed(&mut self.view, key)
    }

    fn tick(&mut self, now: Moment) -> io::Result<Option<Answer>> {
        if self.finished {
            return Ok(None);
        }
        self.view.began.get_or_insert(now);
        let second = self.view.elapsed_s();
        self.view.now = now;
        self.stale |= self.view.elapsed_s() != second;
        let due = self.drawn_at.is_none_or(|at| now.since(at) >= FRAME);
        if self.urgent || (self.stale && due) {
            self.draw()?;
        }
        Ok(None)
    }

    fn wake_at(&self) -> Option<Moment> {
        let drawn_at = self.drawn_at.filter(|_| !self.finished)?;
        Some(drawn_at + if self.stale { FRAME } else { SECOND })
    }

    fn show_countdown(&mut self, countdown: Option<Countdown>) {
        if self.view.countdown != countdown {
            self.view.countdown = countdown;
            self.stale = true;
        }
    }
}
