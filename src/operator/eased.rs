//! What makes it easier for a person with both hands full, around any operator that shows: sounds
//! by the terminal's bell, each ask and result as a line for a speech program, and the held dwell
//! that answers for an open pair. Words are those of [`Lines`], so that what is heard is what is
//! seen. Whoever listens gets text and nothing else; that nobody listens stops nothing.

use super::bells::Sound;
use super::{Bells, Countdown, Dwell, Heard, Key, Lines, Operator};
use crate::event::{Answer, Ask, DriveState, Event, LinkNews};
use drivers::{Moment, Reading};
use std::io::{self, Write};

/// Takes one line that is to be said aloud.
pub type Said = Box<dyn FnMut(&str)>;

/// An operator with sounds, speech and a dwell.
pub struct Eased<O> {
    inner: O,
    bells: Option<(Bells, Box<dyn Write>)>,
    dwell: Option<Dwell>,
    say: Option<Said>,
    words: Lines<Vec<u8>>,
    seq: u64,
    /// The drive that was asked for last.
    energised: Option<DriveState>,
    now: Moment,
}

impl<O: Operator> Eased<O> {
    /// Around `inner`, with nothing added yet.
    pub const fn new(inner: O) -> Self {
        let words = Lines::unwrapped();
        let (energised, now) = (None, Moment::START);
        Self { inner, bells: None, dwell: None, say: None, words, seq: 0, energised, now }
    }

    /// Rings are written here.
    #[must_use]
    pub fn ringing(mut self, out: Box<dyn Write>) -> Self {
        self.bells = Some((Bells::new(), out));
        self
    }

    /// Open pairs are taken by this dwell.
    #[must_use]
    pub fn holding(mut self, dwell: Dwell) -> Self {
        self.dwell = Some(dwell);
        self
    }

    /// Lines to be said go there.
    #[must_use]
    pub fn saying(mut self, say: Said) -> Self {
        self.say = Some(say);
        self
    }

    fn sound(&mut self, sound: Sound) {
        if let Some((bells, _)) = &mut self.bells {
            bells.add(sound);
        }
    }

    /// Eyes need not leave the pins for a drive that is switched off, or on as it was before.
    fn sound_of(&mut self, ask: &Ask) -> Sound {
        match ask {
            Ask::Drive(DriveState::Rest) => Sound::Switch,
            Ask::Drive(drive) if self.energised.replace(drive.clone()).as_ref() == Some(drive) => {
                Sound::Switch
            }
            _ => Sound::Ask,
        }
    }

    fn ring_what_is_due(&mut self) -> io::Result<()> {
        let Some((bells, out)) = &mut self.bells else { return Ok(()) };
        let due = bells.due(self.now);
        if due > 0 {
            out.write_all("\u{7}".repeat(due).as_bytes())?;
            out.flush()?;
        }
        Ok(())
    }

    /// Says what [`Lines`] would write, without numbers of asks, hints at keys and indentation.
    fn say(&mut self, tell: impl FnOnce(&mut Lines<Vec<u8>>) -> io::Result<()>) -> io::Result<()> {
        let Some(say) = &mut self.say else { return Ok(()) };
        tell(&mut self.words)?;
        for line in String::from_utf8_lossy(&self.words.take()).lines() {
            let line = line.trim();
            let line =
                line.strip_prefix('[').and_then(|l| l.split_once("] ")).map_or(line, |l| l.1);
            if !line.is_empty() {
                say(line);
            }
        }
        Ok(())
    }

    fn say_ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        let ask = match ask.clone() {
            Ask::Place { red, black, function, drive, .. } => {
                Ask::Place { red, black, function, drive, why: None }
            }
            other => other,
        };
        let Some(say) = &mut self.say else { return Ok(()) };
        self.words.ask(seq, &ask)?;
        let text = self.words.take();
        let text = String::from_utf8_lossy(&text);
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        // The last line is about keys; a caution is read out whole.
        let said = lines.split_last().map_or(&lines[..], |(_, said)| said).join(" ");
        say(said.split_once("] ").map_or(said.as_str(), |(_, rest)| rest));
        Ok(())
    }
}

impl<O: Operator> Operator for Eased<O> {
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        if seq != self.seq {
            self.seq = seq;
            let sound = self.sound_of(ask);
            self.sound(sound);
            self.say_ask(seq, ask)?;
        }
        if let Some(dwell) = &mut self.dwell {
            dwell.asked(ask);
        }
        self.inner.ask(seq, ask)
    }

    fn object(&mut self, problem: &str) -> io::Result<()> {
        self.sound(Sound::Trouble);
        self.say(|words| words.object(problem))?;
        self.inner.object(problem)
    }

    fn show(&mut self, event: &Event) -> io::Result<()> {
        match event {
            Event::ReadingCaptured(_) => self.sound(Sound::Capture),
            Event::LinkChanged(LinkNews::Lost { .. })
            | Event::DriveLimited(_)
            | Event::MeterComplained { .. } => {
                self.sound(Sound::Trouble);
            }
            Event::RunFinished { .. } => self.sound(Sound::Finished),
            _ => {}
        }
        let silent = matches!(
            event,
            Event::BeliefUpdated(_) | Event::LadderPlanned(_) | Event::RunStarted(_)
        );
        if !silent {
            self.say(|words| words.show(event))?;
        }
        if event.closes_an_ask()
            && let Some(dwell) = &mut self.dwell
        {
            dwell.closed();
        }
        self.inner.show(event)
    }

    fn show_reading(&mut self, reading: &Reading) -> io::Result<()> {
        if let Some(dwell) = &mut self.dwell {
            dwell.read(reading);
        }
        self.inner.show_reading(reading)
    }

    fn parse(&self, line: &str) -> Heard {
        self.inner.parse(line)
    }

    fn key(&mut self, key: Key) -> Heard {
        if let (Some(dwell), false) = (&mut self.dwell, key == Key::Resized) {
            dwell.attended();
        }
        self.inner.key(key)
    }

    fn tick(&mut self, now: Moment) -> io::Result<Option<Answer>> {
        self.now = now;
        let mut answer = None;
        if let Some(dwell) = &mut self.dwell {
            let (ticks, held) = dwell.tick(now);
            answer = held;
            let countdown = dwell.countdown(now);
            self.inner.show_countdown(countdown);
            if ticks {
                self.sound(Sound::Tick);
            }
        }
        self.ring_what_is_due()?;
        Ok(self.inner.tick(now)?.or(answer))
    }

    fn wake_at(&self) -> Option<Moment> {
        let bells = self.bells.as_ref().and_then(|(bells, _)| bells.wake_at(self.now));
        let dwell = self.dwell.as_ref().and_then(|dwell| dwell.wake_at(self.now));
        [bells, dwell, self.inner.wake_at()].into_iter().flatten().min()
    }

    fn show_countdown(&mut self, countdown: Option<Countdown>) {
        self.inner.show_countdown(countdown);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::Pin;

    #[test]
    fn only_a_switch_that_is_thrown_as_before_sounds_like_one() {
        let mut eased = Eased::new(Lines::new(Vec::new(), false));
        let on = |volts: f64| {
            let [plus, minus] = ["1", "5"].map(Pin::new);
            Ask::Drive(DriveState::Energised { plus, minus, volts })
        };
        let off = Ask::Drive(DriveState::Rest);
        let asks = [on(9.0), off.clone(), on(12.0), off.clone(), on(12.0), off];
        let sounds = asks.map(|ask| eased.sound_of(&ask));
        let (ask, switch) = (Sound::Ask, Sound::Switch);
        assert_eq!(sounds, [ask, switch, ask, switch, switch, switch]);
    }
}
