//! Readings become one capture when they have settled: at least [`SAMPLES_MIN`] in a row, over
//! at least the dwell time, that agree within noise and accuracy. Overload agrees with overload.
//! The meter's first words after a change (leads, drive, function) are not listened to. An open
//! pair looks exactly like leads in the air, so an open result never announces itself: it counts
//! only after the operator's word. A closed or resistive one may, once the leads were seen to
//! lift or the answer to change.

use crate::event::{Capture, DriveState, Event, Pin};
use crate::metrology::mean_u_by_range;
use drivers::{Function, Moment, Reading, Unit, Value};
use std::collections::VecDeque;
use std::time::Duration;

/// The fewest readings that can be called settled.
pub const SAMPLES_MIN: usize = 3;
/// So many touches in a row may fail to settle before what was wanted of them is given up.
pub(super) const UNSETTLED_MAX: u32 = 3;
/// So many readings are looked at; more where these do not span the dwell.
const SAMPLES_MAX: usize = 12;
/// The most that are kept of a meter faster than any.
const SAMPLES_CAP: usize = 4096;

/// How many touches in a row failed to settle.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Unsettled(u32);

impl Unsettled {
    /// One more did; whether what was wanted of them is given up now. It counts anew then.
    pub(super) fn gives_up(&mut self) -> bool {
        self.0 = (self.0 + 1) % UNSETTLED_MAX;
        self.0 == 0
    }
}

/// How long readings must agree, and how long to wait for that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settling {
    /// Readings that arrive sooner than this after a change are not listened to.
    pub quiet: Duration,
    /// The settled readings span at least this time.
    pub dwell: Duration,
    /// After this time the agreement asked for is four times as wide (a noisy meter).
    pub patience: Duration,
    /// After this time the touch is given up.
    pub limit: Duration,
}

impl Default for Settling {
    fn default() -> Self {
        Self {
            quiet: Duration::from_millis(30),
            dwell: Duration::from_millis(60),
            patience: Duration::from_secs(4),
            limit: Duration::from_secs(12),
        }
    }
}

/// The settled result of several readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// Mean, in the readings' unit; `None` on overload.
    pub value: Option<f64>,
    /// The readings' unit.
    pub unit: Unit,
    /// Standard uncertainty of the meter at this value; the noise of the mean is within it.
    pub u: Option<f64>,
    /// Largest minus smallest.
    pub spread: Option<f64>,
    /// How many readings agreed.
    pub samples: usize,
    /// The texts of the last of them as received, at most twelve.
    pub raw: Vec<String>,
}

impl Settled {
    /// The capture of a touch that these readings have become.
    pub(super) fn captured(
        self,
        capture: u32,
        touch: u32,
        [red, black]: [Pin; 2],
        function: Function,
        drive: DriveState,
    ) -> Event {
        Event::ReadingCaptured(Capture {
            capture,
            touch,
            red,
            black,
            function,
            drive,
            overload: self.value.is_none(),
            value: self.value,
            unit: self.unit,
            u: self.u,
            spread: self.spread,
            samples: u32::try_from(self.samples).unwrap_or(u32::MAX),
            raw: self.raw,
        })
    }
}

/// Watches the readings of one look.
#[derive(Clone, Debug)]
pub struct Settler {
    terms: Settling,
    began: Moment,
    readings: VecDeque<Reading>,
    /// Whether the operator has said that all is in place.
    confirmed: bool,
    /// The value before the leads were asked to move, while they may still rest there.
    before: Option<Value>,
}

impl Settler {
    /// Begins to listen at `began`, when the operator has said that all is in place.
    #[must_use]
    pub fn confirmed(terms: Settling, began: Moment) -> Self {
        Self { terms, began, readings: VecDeque::new(), confirmed: true, before: None }
    }

    /// Begins to listen at `began` while the operator's hands are still on the way; `before` is
    /// what the last capture showed, which must be seen to change first.
    #[must_use]
    pub fn on_the_way(terms: Settling, began: Moment, before: Option<Value>) -> Self {
        Self { terms, began, readings: VecDeque::new(), confirmed: false, before }
    }

    /// Takes one reading; returns the settled result as soon as there is one. While the hands
    /// are on the way, only a closed or resistive result is returned.
    #[must_use]
    pub fn push(&mut self, reading: &Reading) -> Option<Settled> {
        if reading.at < self.began + self.terms.quiet {
            return None;
        }
        if self.may_rest_where_it_was(reading) {
            return None;
        }
        self.before = None;
        self.readings.push_back(reading.clone());
        self.forget_the_oldest(reading.at);
        let settled = self.settled()?;
        (self.confirmed || settled.value.is_some()).then_some(settled)
    }

    /// When the touch is given up.
    #[must_use]
    pub fn limit_at(&self) -> Moment {
        self.began + self.terms.limit
    }

    fn may_rest_where_it_was(&self, reading: &Reading) -> bool {
        match (self.before, reading.value) {
            (Some(Value::Number(was)), Value::Number(is)) => {
                (was - is).abs() <= 4.0 * tolerance(is, reading.u)
            }
            (Some(was), is) => was.is_overload() == is.is_overload(),
            (None, _) => false,
        }
    }

    /// Keeps enough readings to span the dwell, however fast they come, and never too many.
    fn forget_the_oldest(&mut self, now: Moment) {
        while self.readings.len() > SAMPLES_MAX {
            let spans = self.readings.get(1).is_some_and(|r| now.since(r.at) >= self.terms.dwell);
            if !spans && self.readings.len() <= SAMPLES_CAP {
                return;
            }
            self.readings.pop_front();
        }
    }

    /// The longest run at the end that agrees, if it is long enough in count and time.
    fn settled(&self) -> Option<Settled> {
        let last = self.readings.back()?;
        let widen = if last.at.since(self.began) > self.terms.patience { 4.0 } else { 1.0 };
        let run: Vec<&Reading> =
            self.readings.iter().rev().take_while(|r| agree(r, last, widen)).collect();
        let first = run.last()?;
        if run.len() < SAMPLES_MIN || last.at.since(first.at) < self.terms.dwell {
            return None;
        }
        let numbers: Vec<f64> = run.iter().filter_map(|r| r.value.number()).collect();
        let samples = run.len();
        let raw = run.iter().take(SAMPLES_MAX).rev().map(|r| r.text.clone()).collect();
        if numbers.is_empty() {
            let unit = last.unit;
            return Some(Settled { value: None, unit, u: None, spread: None, samples, raw });
        }
        let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
        let low = numbers.iter().copied().fold(f64::INFINITY, f64::min);
        let high = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let noise = mean_u_by_range(high - low, numbers.len() as f64);
        let u = last.u.unwrap_or(0.0).hypot(noise);
        Some(Settled {
            value: Some(mean),
            unit: last.unit,
            u: Some(u),
            spread: Some(high - low),
            samples,
            raw,
        })
    }
}

/// How far two settled readings may lie apart: four standard uncertainties, or half a per cent
/// plus 0.05 units where the profile says nothing of accuracy.
fn tolerance(value: f64, u: Option<f64>) -> f64 {
    (4.0 * u.unwrap_or(0.0)).max(0.005 * value.abs() + 0.05)
}

fn agree(a: &Reading, b: &Reading, widen: f64) -> bool {
    match (a.value, b.value) {
        (Value::Number(x), Value::Number(y)) => (x - y).abs() <= widen * tolerance(y, b.u),
        (Value::Overload, Value::Overload) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::Function;

    fn reading(ms: u64, value: Value) -> Reading {
        Reading {
            value,
            unit: Unit::Ohm,
            function: Function::Resistance,
            u: value.number().map(|x| 0.005 * x),
            text: format!("{value:?}"),
            at: Moment::from_start(Duration::from_millis(ms)),
        }
    }

    fn feed(settler: &mut Settler, from_ms: u64, values: &[Value]) -> Option<Settled> {
        (0u64..).zip(values).find_map(|(i, v)| settler.push(&reading(from_ms + 40 * i, *v)))
    }

    const OPEN: Value = Value::Overload;
    const COIL: Value = Value::Number(330.0);
    const SHUT: Value = Value::Number(0.2);

    #[test]
    fn three_readings_that_agree_over_the_dwell_are_settled() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        let settled = feed(&mut settler, 40, &[COIL, Value::Number(330.4), COIL]).unwrap();
        assert_eq!(settled.raw.len(), 3);
        assert!((settled.value.unwrap() - 330.13).abs() < 0.01);
    }

    #[test]
    fn a_meter_of_a_thousand_readings_a_second_settles_too() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        let settled = (40..400).find_map(|ms| settler.push(&reading(ms, COIL))).unwrap();
        assert!(settled.samples > 50 && settled.raw.len() == 12, "{settled:?}");
    }

    #[test]
    fn a_reading_that_still_wanders_is_not_settled() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        let wandering: Vec<Value> = (1..12).map(|i| Value::Number(100.0 * f64::from(i))).collect();
        assert_eq!(feed(&mut settler, 40, &wandering), None);
    }

    #[test]
    fn the_first_words_after_a_change_are_not_listened_to() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        assert_eq!(settler.push(&reading(10, SHUT)), None);
        assert!(feed(&mut settler, 40, &[COIL, COIL, COIL]).unwrap().value.unwrap() > 300.0);
    }

    #[test]
    fn confirmed_leads_may_read_open() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        assert_eq!(feed(&mut settler, 40, &[OPEN, OPEN, OPEN]).unwrap().value, None);
    }

    #[test]
    fn leads_in_the_air_never_announce_an_open_pair() {
        let mut settler = Settler::on_the_way(Settling::default(), Moment::START, Some(SHUT));
        assert_eq!(feed(&mut settler, 40, &[OPEN; 100]), None);
    }

    #[test]
    fn a_closed_pair_announces_itself_after_the_leads_lifted() {
        let mut settler = Settler::on_the_way(Settling::default(), Moment::START, Some(SHUT));
        assert!(feed(&mut settler, 40, &[SHUT, OPEN, SHUT, SHUT, SHUT]).is_some());
    }

    #[test]
    fn the_previous_placement_is_not_captured_again() {
        let mut settler = Settler::on_the_way(Settling::default(), Moment::START, Some(SHUT));
        assert_eq!(feed(&mut settler, 40, &[SHUT; 100]), None);
    }

    #[test]
    fn not_a_number_never_settles() {
        let mut settler = Settler::confirmed(Settling::default(), Moment::START);
        assert_eq!(feed(&mut settler, 40, &[Value::NotANumber; 20]), None);
    }
}
