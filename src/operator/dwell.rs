//! A held dwell: an open pair, which looks exactly like leads in the air, is taken as placed once
//! a time that was announced has passed. After the ask the hands get [`REACH`] to arrive, then the
//! dwell counts down, heard and seen. Any change of the reading (a lead that lifts, or comes down)
//! begins all of it anew. Time that passes is no proof that somebody is there: after
//! [`UNATTENDED_MAX`] pairs in a row taken by time alone it waits for a key or a closed contact.

use crate::event::{Answer, Ask, AskedDrive};
use drivers::{Moment, Reading, Value};
use std::time::Duration;

/// The time from an ask to the beginning of the countdown: to listen, and to move two leads.
/// Common practice, no source.
pub const REACH: Duration = Duration::from_millis(2500);
/// So many open pairs in a row are taken by time alone.
pub const UNATTENDED_MAX: u32 = 6;
/// How often the countdown ticks.
pub const TICK: Duration = Duration::from_millis(500);

/// How far a countdown has come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Countdown {
    /// The hands are on their way; counting begins after this time.
    Reaching(Duration),
    /// Hold still for so long yet.
    Holding(Duration),
    /// Nobody was noticed for a while: a key is wanted.
    Waiting,
}

/// Watches one ask after the other.
#[derive(Clone, Debug)]
pub struct Dwell {
    hold: Duration,
    /// Whether the ask that is open can be answered by holding.
    open: bool,
    /// When the count began anew; `None` until it is known what time it is.
    since: Option<Moment>,
    reads_open: Option<bool>,
    ticked: u32,
    by_time: u32,
}

impl Dwell {
    /// A pair is taken after it was held for `hold`.
    #[must_use]
    pub const fn new(hold: Duration) -> Self {
        Self { hold, open: false, since: None, reads_open: None, ticked: 0, by_time: 0 }
    }

    /// A new ask is open. Only a placement at rest can be answered by holding still: a drive, a
    /// dial or a caution wants the operator's word.
    pub fn asked(&mut self, ask: &Ask) {
        self.open = matches!(ask, Ask::Place { drive: AskedDrive::Rest, .. });
        self.begin_anew();
        self.reads_open = None;
    }

    /// The ask was answered by hand or by a contact, which are signs that somebody is there, or
    /// by this dwell itself.
    pub fn closed(&mut self) {
        if self.open {
            self.by_time = 0;
        }
        self.open = false;
        self.begin_anew();
    }

    /// The operator gave a sign by hand: somebody is there.
    pub fn attended(&mut self) {
        self.by_time = 0;
    }

    /// A reading: when it changes between open and not, the count begins anew. A closed contact is
    /// a sign that somebody is there.
    pub fn read(&mut self, reading: &Reading) {
        let open = matches!(reading.value, Value::Overload);
        if self.reads_open.is_some_and(|was| was != open) {
            self.begin_anew();
        }
        if !open {
            self.by_time = 0;
        }
        self.reads_open = Some(open);
    }

    /// How far it has come by `now`; `None` while nothing is counted.
    #[must_use]
    pub fn countdown(&self, now: Moment) -> Option<Countdown> {
        let since = self.since.filter(|_| self.open && self.reads_open == Some(true))?;
        if self.by_time >= UNATTENDED_MAX {
            return Some(Countdown::Waiting);
        }
        let passed = now.since(since);
        Some(match passed.checked_sub(REACH) {
            None => Countdown::Reaching(REACH - passed),
            Some(held) => Countdown::Holding(self.hold.saturating_sub(held)),
        })
    }

    /// It is `now`: whether a tick is to be heard, and the answer once the time has passed.
    pub fn tick(&mut self, now: Moment) -> (bool, Option<Answer>) {
        if self.open && self.since.is_none() {
            self.since = Some(now);
        }
        let Some(Countdown::Holding(left)) = self.countdown(now) else { return (false, None) };
        if left.is_zero() {
            self.by_time += 1;
            self.open = false;
            return (false, Some(Answer::Ready));
        }
        let due = u32::try_from((self.hold - left).as_millis() / TICK.as_millis()).unwrap_or(0) + 1;
        let ticks = due > self.ticked;
        self.ticked = due;
        (ticks, None)
    }

    /// When something changes, if no reading does before.
    #[must_use]
    pub fn wake_at(&self, now: Moment) -> Option<Moment> {
        match self.countdown(now)? {
            Countdown::Waiting => None,
            Countdown::Reaching(left) => Some(now + left),
            Countdown::Holding(left) => Some(now + left.min(TICK / 2)),
        }
    }

    fn begin_anew(&mut self) {
        self.since = None;
        self.ticked = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{DriveState, Pin};
    use drivers::{Function, Unit};

    const HOLD: Duration = Duration::from_millis(1500);

    fn at(ms: u64) -> Moment {
        Moment::from_start(Duration::from_millis(ms))
    }

    fn place(drive: AskedDrive) -> Ask {
        let (red, black) = (Pin::new("1"), Pin::new("2"));
        Ask::Place { red, black, function: Function::Resistance, drive, why: None }
    }

    fn reading(value: Value, ms: u64) -> Reading {
        let (unit, function) = (Unit::Ohm, Function::Resistance);
        Reading { value, unit, function, u: None, text: String::new(), at: at(ms) }
    }

    /// Feeds a reading every 100 ms; the moments of ticks and of the answer.
    fn hold(dwell: &mut Dwell, from: u64, to: u64, value: Value) -> (Vec<u64>, Option<u64>) {
        let mut ticks = Vec::new();
        for ms in (from..to).step_by(100) {
            dwell.read(&reading(value, ms));
            let (tick, answer) = dwell.tick(at(ms));
            if tick {
                ticks.push(ms);
            }
            if answer.is_some() {
                return (ticks, Some(ms));
            }
        }
        (ticks, None)
    }

    #[test]
    fn an_open_pair_is_taken_after_reach_and_hold_and_every_half_second_ticks() {
        let mut dwell = Dwell::new(HOLD);
        dwell.asked(&place(AskedDrive::Rest));
        let (ticks, answered) = hold(&mut dwell, 0, 9000, Value::Overload);
        assert_eq!(ticks, [2500, 3000, 3500]);
        assert_eq!(answered, Some(4000));
        assert_eq!(hold(&mut dwell, 4100, 9000, Value::Overload), (vec![], None), "only once");
    }

    #[test]
    fn lifting_early_cancels_and_the_count_begins_anew() {
        let mut dwell = Dwell::new(HOLD);
        dwell.asked(&place(AskedDrive::Rest));
        assert_eq!(hold(&mut dwell, 0, 3400, Value::Overload).1, None);
        assert_eq!(hold(&mut dwell, 3400, 3600, Value::Number(0.2)).1, None);
        let (_, answered) = hold(&mut dwell, 3600, 20_000, Value::Overload);
        assert_eq!(answered, Some(3600 + 4000));
    }

    #[test]
    fn a_closed_contact_is_never_taken_by_time() {
        let mut dwell = Dwell::new(HOLD);
        dwell.asked(&place(AskedDrive::Rest));
        assert_eq!(hold(&mut dwell, 0, 60_000, Value::Number(0.2)).1, None);
    }

    #[test]
    fn a_drive_a_caution_and_a_driven_placement_want_a_word() {
        let caution = Ask::caution(crate::event::Caution::CoilDrive);
        for ask in [Ask::Drive(DriveState::Rest), caution, place(AskedDrive::Energised)] {
            let mut dwell = Dwell::new(HOLD);
            dwell.asked(&ask);
            assert_eq!(hold(&mut dwell, 0, 60_000, Value::Overload).1, None, "{ask:?}");
        }
    }

    #[test]
    fn nobody_there_is_noticed_until_somebody_is() {
        let mut dwell = Dwell::new(HOLD);
        let mut taken = 0;
        for n in 0..UNATTENDED_MAX + 4 {
            dwell.asked(&place(AskedDrive::Rest));
            let from = u64::from(n) * 10_000;
            taken += u32::from(hold(&mut dwell, from, from + 9000, Value::Overload).1.is_some());
        }
        assert_eq!(taken, UNATTENDED_MAX);
        assert_eq!(dwell.countdown(at(200_000)), Some(Countdown::Waiting));
        dwell.attended();
        dwell.asked(&place(AskedDrive::Rest));
        assert!(hold(&mut dwell, 300_000, 309_000, Value::Overload).1.is_some());
    }
}
