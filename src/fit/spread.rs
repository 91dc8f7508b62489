//! Values that are not exactly known: a range with the value that is worked with, and how chance
//! falls within it. From the ranges of all inputs comes the range of anything that is worked out
//! from them, by its corners, and a seeded sample of it by draws. Every draw lies within the
//! ranges, so no sample leaves the corners.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// A value with its range.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// The lowest it may be.
    pub low: f64,
    /// The value that is worked with.
    pub nominal: f64,
    /// The highest it may be.
    pub high: f64,
    chance: Chance,
}

/// How draws fall within a range.
#[derive(Clone, Debug, PartialEq)]
enum Chance {
    /// Every value as likely as another.
    Even,
    /// Normal with this standard uncertainty, cut at the ends.
    Bell(f64),
    /// One of these values, with these probabilities.
    OneOf(Vec<(f64, f64)>),
}

impl Spread {
    /// Exactly this.
    #[must_use]
    pub const fn exact(value: f64) -> Self {
        Self { low: value, nominal: value, high: value, chance: Chance::Even }
    }

    /// Anywhere between two ends.
    #[must_use]
    pub const fn between(low: f64, nominal: f64, high: f64) -> Self {
        Self { low, nominal, high, chance: Chance::Even }
    }

    /// Within so many per cent, either way.
    #[must_use]
    pub fn percent(value: f64, percent: f64) -> Self {
        let half = (value * percent / 100.0).abs();
        Self::between(value - half, value, value + half)
    }

    /// Measured with a standard uncertainty: two of them either way (k = 2).
    #[must_use]
    pub fn measured(value: f64, u: f64) -> Self {
        let (low, high) = (value - 2.0 * u, value + 2.0 * u);
        Self { low, nominal: value, high, chance: Chance::Bell(u) }
    }

    /// One of several values with their probabilities, the most probable first; those below
    /// `least` are left out. `None` where none is left.
    #[must_use]
    pub fn one_of(shares: &[(f64, f64)], least: f64) -> Option<Self> {
        let kept: Vec<(f64, f64)> = shares.iter().copied().filter(|s| s.1 >= least).collect();
        let nominal = kept.first()?.0;
        let low = kept.iter().map(|s| s.0).fold(nominal, f64::min);
        let high = kept.iter().map(|s| s.0).fold(nominal, f64::max);
        Some(Self { low, nominal, high, chance: Chance::OneOf(kept) })
    }

    /// This many times as much.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        let chance = match &self.chance {
            Chance::Even => Chance::Even,
            Chance::Bell(u) => Chance::Bell(u * factor),
            Chance::OneOf(shares) => {
                Chance::OneOf(shares.iter().map(|&(v, p)| (v * factor, p)).collect())
            }
        };
        let (low, nominal, high) = (self.low * factor, self.nominal * factor, self.high * factor);
        Self { low, nominal, high, chance }
    }

    /// Its standard uncertainty (JCGM 100:2008, 4.3.7: a half-width over the root of three).
    #[must_use]
    pub fn u(&self) -> f64 {
        match &self.chance {
            Chance::Even => (self.high - self.low) / 12.0_f64.sqrt(),
            Chance::Bell(u) => *u,
            Chance::OneOf(shares) => {
                let total: f64 = shares.iter().map(|s| s.1).sum();
                let mean: f64 = shares.iter().map(|s| s.0 * s.1).sum::<f64>() / total;
                let square = shares.iter().map(|s| s.1 * (s.0 - mean).powi(2)).sum::<f64>();
                (square / total).sqrt()
            }
        }
    }

    fn draw(&self, chance: &mut Pcg64) -> f64 {
        let unit = chance.random::<f64>();
        match &self.chance {
            Chance::Even => self.low + (self.high - self.low) * unit,
            Chance::Bell(u) => {
                // Box and Muller; what falls outside the range is drawn evenly within it.
                let angle = std::f64::consts::TAU * chance.random::<f64>();
                let drawn = self.nominal + u * (-2.0 * (1.0 - unit).ln()).sqrt() * angle.cos();
                let within = (self.low..=self.high).contains(&drawn);
                let anew = self.low + (self.high - self.low) * chance.random::<f64>();
                if within { drawn } else { anew }
            }
            Chance::OneOf(shares) => {
                let total: f64 = shares.iter().map(|s| s.1).sum();
                let mut left = unit * total;
                for (value, p) in shares {
                    left -= p;
                    if left <= 0.0 {
                        return *value;
                    }
                }
                self.nominal
            }
        }
    }
}

/// Lowest and highest of `f` over the ranges, where `f` only rises or only falls with each value:
/// the direction of each is found at the nominal values, then all are set to their worse end, and
/// to their better one.
pub fn bounds(spreads: &[Spread], f: impl Fn(&[f64]) -> f64) -> (f64, f64) {
    let nominal: Vec<f64> = spreads.iter().map(|s| s.nominal).collect();
    let (mut worse, mut better) = (nominal.clone(), nominal.clone());
    for (i, spread) in spreads.iter().enumerate() {
        let at = |value: f64| {
            let mut moved = nominal.clone();
            moved[i] = value;
            f(&moved)
        };
        let rises = at(spread.high) >= at(spread.low);
        let (low, high) = (spread.low, spread.high);
        (worse[i], better[i]) = if rises { (low, high) } else { (high, low) };
    }
    (f(&worse), f(&better))
}

/// Calls `each` with so many seeded draws of all values.
pub fn sample(spreads: &[Spread], draws: u32, seed: u64, mut each: impl FnMut(&[f64])) {
    let mut chance = Pcg64::seed_from_u64(seed);
    let mut drawn = vec![0.0; spreads.len()];
    for _ in 0..draws {
        for (value, spread) in drawn.iter_mut().zip(spreads) {
            *value = spread.draw(&mut chance);
        }
        each(&drawn);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn three() -> [Spread; 3] {
        [
            Spread::percent(100.0, 10.0),
            Spread::measured(50.0, 1.0),
            Spread::one_of(&[(12.0, 0.8), (24.0, 0.15), (5.0, 0.001)], 0.01).unwrap(),
        ]
    }

    #[test]
    fn no_draw_leaves_its_range() {
        let spreads = three();
        sample(&spreads, 20_000, 3, |drawn| {
            for (value, spread) in drawn.iter().zip(&spreads) {
                assert!((spread.low..=spread.high).contains(value), "{value} of {spread:?}");
            }
        });
    }

    #[test]
    fn draws_have_the_spread_that_is_stated() {
        for spread in three() {
            let (mut n, mut sum, mut square) = (0.0, 0.0, 0.0);
            sample(std::slice::from_ref(&spread), 40_000, 5, |drawn| {
                n += 1.0;
                sum += drawn[0];
                square += drawn[0] * drawn[0];
            });
            let sd = (square / n - (sum / n).powi(2)).sqrt();
            // Cutting a bell at two standard deviations takes an eighth off its own.
            assert!((sd / spread.u() - 1.0).abs() < 0.13, "{sd} against {}", spread.u());
        }
    }

    #[test]
    fn the_corners_are_where_the_worst_is() {
        let spreads = three();
        let f = |v: &[f64]| v[0] / v[1] - v[2];
        let (low, high) = bounds(&spreads, f);
        assert!((low - (90.0 / 52.0 - 24.0)).abs() < 1e-12, "{low}");
        assert!((high - (110.0 / 48.0 - 12.0)).abs() < 1e-12, "{high}");
        sample(&spreads, 5_000, 1, |drawn| assert!((low..=high).contains(&f(drawn))));
    }

    #[test]
    fn nothing_is_drawn_from_nothing() {
        assert_eq!(Spread::one_of(&[(12.0, 0.001)], 0.01), None);
        let one = Spread::exact(3.0);
        sample(&[one], 10, 1, |drawn| assert_eq!(drawn[0], 3.0));
    }
}
