//! Seeded randomness for the bench: one [`Stream`] per concern (the meter's noise, the hands and so
//! on), so that one more noisy reading does not change where the next slip falls. The same seed and
//! stream give the same numbers on every machine.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// A stream of seeded chance.
#[derive(Clone, Debug)]
pub(crate) struct Chance(Pcg64);

/// What a stream is for.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Stream {
    /// Errors that the meter keeps for life.
    MeterError = 1,
    /// Noise of single readings.
    Noise = 2,
    /// Slips of the hands.
    Hands = 3,
    /// How well a tip touches.
    Touch = 4,
    /// Noise of an output.
    Output = 5,
    /// An armature that sticks now and then.
    Armature = 6,
}

impl Chance {
    /// The stream for `stream` of this seed.
    pub(crate) fn of(seed: u64, stream: Stream) -> Self {
        let mixed = seed ^ (stream as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        Self(Pcg64::seed_from_u64(mixed))
    }

    /// A number from 0 to below 1, each equally likely.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// A number from `low` to below `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A number of the standard normal distribution (Box and Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// A whole number below `count`; 0 if `count` is 0.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        if count == 0 { 0 } else { self.0.random_range(0..count) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_of_one_seed_differ_and_repeat() {
        let draw = |stream| Chance::of(7, stream).unit();
        assert_eq!(draw(Stream::Noise), draw(Stream::Noise));
        assert_ne!(draw(Stream::Noise), draw(Stream::Hands));
    }

    #[test]
    fn normal_numbers_have_unit_spread() {
        let mut chance = Chance::of(1, Stream::Noise);
        let draws: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (variance - 1.0).abs() < 0.04, "{mean} {variance}");
    }
}
