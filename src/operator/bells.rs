//! The terminal's bell in patterns that ears can tell apart: a capture rings once, an ask twice, an
//! ask for the supply's switch alone twice slowly, trouble three times fast, the end four times;
//! each tick of a held dwell once. The bell has one pitch and one length, so rings differ in number
//! and distance. What is due is written by [`Bells::due`]; patterns wait for each other.

use drivers::Moment;
use std::collections::VecDeque;
use std::time::Duration;

/// What is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sound {
    /// A reading was captured.
    Capture,
    /// Something is asked.
    Ask,
    /// The supply is to be switched on or off as it was before, with the leads where they are.
    Switch,
    /// Something is wrong: an answer, the link, the meter.
    Trouble,
    /// The run is at its end.
    Finished,
    /// The countdown goes on.
    Tick,
}

impl Sound {
    /// Rings and the time between them, in milliseconds.
    const fn pattern(self) -> (u32, u64) {
        match self {
            Self::Capture | Self::Tick => (1, 0),
            Self::Ask => (2, 180),
            Self::Switch => (2, 450),
            Self::Trouble => (3, 120),
            Self::Finished => (4, 300),
        }
    }
}

/// The time between two patterns.
const PAUSE: Duration = Duration::from_millis(350);
/// No more rings than this wait.
const WAITING_MAX: usize = 16;

/// The rings to come.
#[derive(Clone, Debug, Default)]
pub struct Bells {
    rings: VecDeque<Duration>,
    /// When the last ring was; the next waits its time from there.
    last: Option<Moment>,
}

impl Bells {
    /// Silent so far.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a sound behind those that wait; a tick is dropped rather than delayed.
    pub(super) fn add(&mut self, sound: Sound) {
        if sound == Sound::Tick && !self.rings.is_empty() || self.rings.len() >= WAITING_MAX {
            return;
        }
        let (rings, apart_ms) = sound.pattern();
        let first = if sound == Sound::Tick { Duration::ZERO } else { PAUSE };
        self.rings.push_back(first);
        self.rings.extend((1..rings).map(|_| Duration::from_millis(apart_ms)));
    }

    /// How many rings are due at `now`.
    pub(super) fn due(&mut self, now: Moment) -> usize {
        let mut due = 0;
        while self.wake_at(now).is_some_and(|at| at <= now) {
            self.rings.pop_front();
            self.last = Some(now);
            due += 1;
        }
        due
    }

    /// When the next ring is due.
    pub(super) fn wake_at(&self, now: Moment) -> Option<Moment> {
        let wait = *self.rings.front()?;
        Some(self.last.map_or(now, |last| last + wait))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The moments of all rings, in milliseconds, looked at every 10 ms.
    fn heard(sounds: &[Sound]) -> Vec<u64> {
        let mut bells = Bells::new();
        sounds.iter().for_each(|sound| bells.add(*sound));
        let at = |ms| Moment::from_start(Duration::from_millis(ms));
        (0..5000).step_by(10).flat_map(|ms| vec![ms; bells.due(at(ms))]).collect()
    }

    #[test]
    fn every_pattern_differs_in_number_or_distance() {
        let patterns = [Sound::Capture, Sound::Ask, Sound::Switch].map(|kind| heard(&[kind]));
        assert_eq!(patterns, [vec![0], vec![0, 180], vec![0, 450]]);
        let patterns = [Sound::Trouble, Sound::Finished].map(|kind| heard(&[kind]));
        assert_eq!(patterns, [vec![0, 120, 240], vec![0, 300, 600, 900]]);
    }

    #[test]
    fn a_pattern_waits_for_the_one_before() {
        assert_eq!(heard(&[Sound::Capture, Sound::Ask]), [0, 350, 530]);
    }

    #[test]
    fn a_tick_never_comes_late() {
        assert_eq!(heard(&[Sound::Trouble, Sound::Tick]), [0, 120, 240]);
    }
}
