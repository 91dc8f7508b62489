//! Watching a meter: a fold over its events that counts readings, faults and losses, and says how
//! fast and how evenly readings come. It keeps no readings but the last. Times are in seconds.
//! Showing the figures is left to the caller.

use crate::clock::Moment;
use crate::error::DriverError;
use crate::meter::MeterEvent;
use crate::reading::Reading;
use std::time::Duration;

/// Count, smallest, mean and largest of a series of numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    count: u64,
    sum: f64,
    least: f64,
    most: f64,
}

impl Spread {
    /// Takes one more number; what is not finite is left out.
    pub fn add(&mut self, x: f64) {
        if !x.is_finite() {
            return;
        }
        (self.least, self.most) = match self.count {
            0 => (x, x),
            _ => (self.least.min(x), self.most.max(x)),
        };
        self.count += 1;
        self.sum += x;
    }

    /// How many numbers there were.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// Their mean, if there were any.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / self.count as f64)
    }

    /// The smallest and the largest, if there were any.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        (self.count > 0).then_some((self.least, self.most))
    }
}

/// What has been seen of a meter.
#[derive(Clone, Debug, Default)]
pub struct Watch {
    /// Readings taken.
    pub readings: u64,
    /// Of these, overloads.
    pub overloads: u64,
    /// Readings in another function than ordered.
    pub other_function: u64,
    /// Queries without an answer.
    pub silences: u64,
    /// Answers and lines that were no readings.
    pub garbled: u64,
    /// Errors that the meter reported.
    pub refusals: u64,
    /// Other complaints.
    pub others: u64,
    /// Times the link went away.
    pub losses: u64,
    /// How long it was away, in all.
    pub away: Duration,
    /// Seconds from one reading to the next, within one connection.
    pub intervals: Spread,
    /// The last reading.
    pub last: Option<Reading>,
    last_at: Option<Moment>,
}

impl Watch {
    /// Nothing seen yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one event.
    pub fn handle(&mut self, event: &MeterEvent) {
        match event {
            MeterEvent::ReadingTaken { reading, .. } => self.take(reading),
            MeterEvent::BlockTaken { block, .. } => {
                block.readings().for_each(|reading| self.take(&reading));
            }
            MeterEvent::OtherFunction { .. } => self.other_function += 1,
            MeterEvent::Complained(error) | MeterEvent::Declined { error, .. } => match error {
                DriverError::NoAnswer { .. } => self.silences += 1,
                DriverError::Garbled { .. } => self.garbled += 1,
                DriverError::Refused { .. } => self.refusals += 1,
                _ => self.others += 1,
            },
            MeterEvent::WentAway(_) => {
                self.losses += 1;
                self.last_at = None;
            }
            MeterEvent::Answered { gap, .. } => self.away += gap.unwrap_or_default(),
            MeterEvent::Ended(_) => {}
        }
    }

    /// Readings per second while the link was there; `None` below two readings.
    #[must_use]
    pub fn per_second(&self) -> Option<f64> {
        let mean = self.intervals.mean().filter(|mean| *mean > 0.0)?;
        Some(1.0 / mean)
    }

    fn take(&mut self, reading: &Reading) {
        self.readings += 1;
        self.overloads += u64::from(reading.value.is_overload());
        if let Some(last) = self.last_at {
            self.intervals.add(reading.at.since(last).as_secs_f64());
        }
        self.last_at = Some(reading.at);
        self.last = Some(reading.clone());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Function;
    use crate::testing::{Fault, Features, MeterSim, Rig};

    #[test]
    fn rate_losses_and_faults_are_counted_from_events_alone() {
        let features = Features { reading: Duration::from_millis(100), ..Features::default() };
        let sim = MeterSim::new(features).with_fault(5, Fault::Instead(b"what?\n".to_vec()));
        let got = Rig::new(sim)
            .measure(0, Function::Resistance, 1)
            .act(3000, MeterSim::unplug)
            .act(5000, |sim| sim.plugged = true)
            .run(8000);
        let mut watch = Watch::new();
        for (_, event) in &got.events {
            watch.handle(event);
        }
        assert_eq!(watch.readings as usize, got.readings().len());
        assert_eq!((watch.garbled, watch.losses, watch.silences), (1, 1, 0));
        assert!((2.0..4.0).contains(&watch.away.as_secs_f64()), "{:?}", watch.away);
        // One reading takes 100 ms; the two seconds without a link are in no interval.
        let rate = watch.per_second().unwrap();
        assert!((9.0..=10.0).contains(&rate), "{rate}");
        assert!(watch.intervals.range().unwrap().1 < 1.0);
        assert!(watch.last.is_some());
    }

    #[test]
    fn a_spread_knows_its_mean_and_its_ends() {
        let mut spread = Spread::default();
        assert_eq!((spread.mean(), spread.range()), (None, None));
        for x in [2.0, -1.0, f64::NAN, 5.0] {
            spread.add(x);
        }
        assert_eq!(
            (spread.count(), spread.mean(), spread.range()),
            (3, Some(2.0), Some((-1.0, 5.0)))
        );
    }
}
