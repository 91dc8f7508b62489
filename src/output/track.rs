//! Where a level is and how much it scatters, while it lasts: a straight line through the recent
//! past, in which old readings fade, and the scatter from reading to reading. The line follows a
//! sag without lagging behind; it fades over a second or sixteen readings, whichever is longer.
//! Volts and seconds; what leaves the line is for [`super::detector`] to judge.

/// A level being followed.
#[derive(Clone, Copy, Debug, Default)]
pub struct Track {
    weight: f64,
    n: f64,
    fade: f64,
    last: f64,
    t: f64,
    x: f64,
    tt: f64,
    tx: f64,
    variance: f64,
    pairs: f64,
}

/// Pairs of readings after which the scatter forgets at a fixed rate.
const PAIRS: f64 = 64.0;

impl Track {
    /// A level about which only the scatter is known.
    #[must_use]
    pub const fn with_sigma(sigma: f64) -> Self {
        let pairs = if sigma > 0.0 { 8.0 } else { 0.0 };
        let nothing = [0.0; 8];
        let [weight, n, fade, last, t, x, tt, tx] = nothing;
        Self { weight, n, fade, last, t, x, tt, tx, variance: sigma * sigma, pairs }
    }

    /// Takes the mean of `n` readings around `t_s`; `fade_s` is how fast the past fades.
    pub fn push(&mut self, t_s: f64, value: f64, n: f64, fade_s: f64) {
        let fade = if self.weight > 0.0 { (-(t_s - self.last) / fade_s).exp() } else { 0.0 };
        self.last = t_s;
        self.fade = fade_s;
        self.weight *= fade;
        self.tt *= fade;
        self.tx *= fade;
        let all = self.weight + n;
        let (dt, dx) = (t_s - self.t, value - self.x);
        self.tt += n * self.weight / all * dt * dt;
        self.tx += n * self.weight / all * dt * dx;
        self.t += dt * n / all;
        self.x += dx * n / all;
        self.weight = all;
        self.n += n;
    }

    /// Takes the squared difference of neighbours; one wild pair counts as three sigma at most,
    /// or as `floor` where nothing is known yet.
    pub fn push_pair(&mut self, difference: f64, floor: f64) {
        let most = (9.0 * self.variance).max(floor * floor);
        self.push_variance((difference * difference / 2.0).min(most), 1.0);
    }

    /// Takes the mean of half the squared differences of `pairs` neighbours.
    pub fn push_variance(&mut self, variance: f64, pairs: f64) {
        self.pairs = (self.pairs + pairs).min(PAIRS.max(pairs));
        self.variance += (variance - self.variance) * (pairs / self.pairs);
    }

    /// How many readings it was made of.
    #[must_use]
    pub const fn count(&self) -> f64 {
        self.n
    }

    /// The level's weighted mean.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.x
    }

    /// The level expected at `t_s`, on the line; it is not drawn on for ever across a pause.
    #[must_use]
    pub fn at(&self, t_s: f64) -> f64 {
        let ahead = (t_s - self.t).clamp(-4.0 * self.fade, 4.0 * self.fade);
        self.x + self.slope() * ahead
    }

    /// Volts per second; 0 while the line is young.
    #[must_use]
    pub fn slope(&self) -> f64 {
        if self.n >= 8.0 && self.tt > 0.0 { self.tx / self.tt } else { 0.0 }
    }

    /// Standard deviation from reading to reading.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.variance.sqrt()
    }

    /// A scatter that the true one hardly exceeds, as long as few readings tell it.
    #[must_use]
    pub fn sigma_at_most(&self) -> f64 {
        self.sigma() * (1.0 + (2.0 / self.pairs.max(1.0)).sqrt())
    }

    /// Begins anew at another level, with the scatter it had.
    pub fn restart(&mut self) {
        *self = Self { variance: self.variance, pairs: self.pairs, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-9, "{found}, truly {wanted}");
    }

    /// Mean and slope by weighted least squares over all readings, each faded by its age.
    fn fitted(readings: &[(f64, f64, f64)], fade_s: f64) -> (f64, f64) {
        let now = readings.last().unwrap().0;
        let faded: Vec<(f64, f64, f64)> =
            readings.iter().map(|(t, x, n)| (*t, *x, n * ((t - now) / fade_s).exp())).collect();
        let sum = |of: &dyn Fn(&(f64, f64, f64)) -> f64| faded.iter().map(of).sum::<f64>();
        let weight = sum(&|r| r.2);
        let (t, x) = (sum(&|r| r.2 * r.0) / weight, sum(&|r| r.2 * r.1) / weight);
        let tx = sum(&|r| r.2 * (r.0 - t) * (r.1 - x));
        (x, tx / sum(&|r| r.2 * (r.0 - t) * (r.0 - t)))
    }

    #[test]
    fn the_line_is_that_of_least_squares_over_a_fading_past() {
        for (from, fade_s) in [(0.0, 1.0), (-1e6, 2.5), (1e4, 0.7)] {
            let mut track = Track::default();
            let mut readings = Vec::new();
            for i in 0..40 {
                let i = f64::from(i);
                let (t, x) = (from + 0.3 * i + 0.1 * (i % 3.0), 12.0 - 0.2 * i + (i % 5.0) * 0.3);
                let n = 1.0 + i % 4.0;
                track.push(t, x, n, fade_s);
                readings.push((t, x, n));
                let (mean, slope) = fitted(&readings, fade_s);
                close(track.mean(), mean);
                close(track.count(), readings.iter().map(|r| r.2).sum());
                if track.count() >= 8.0 {
                    close(track.slope(), slope);
                }
            }
        }
    }

    #[test]
    fn a_line_is_drawn_on_for_four_times_what_it_fades_over() {
        let mut track = Track::default();
        // Two volts a second, around 10 V at 3.5 s, in eight readings that do not fade.
        for i in 0..8 {
            let t = f64::from(i);
            assert!(track.slope().abs() < 1e-9, "it is young");
            track.push(t, 3.0 + 2.0 * t, 1.0, 1e12);
        }
        track.fade = 2.0;
        close(track.slope(), 2.0);
        for (t, x) in [(3.5, 10.0), (5.0, 13.0), (11.5, 26.0), (20.0, 26.0), (-4.5, -6.0)] {
            close(track.at(t), x);
        }
        close(track.at(-100.0), -6.0);
        let mut still = Track::default();
        (0..9).for_each(|i| still.push(2.0, f64::from(i), 1.0, 1.0));
        close(still.slope(), 0.0);
    }

    #[test]
    fn one_wild_pair_counts_as_three_sigma_or_as_the_floor() {
        // Half the squared difference, at most nine times 0.01; the ninth pair.
        let mut track = Track::with_sigma(0.1);
        track.push_pair(1.0, 0.02);
        close(track.sigma() * track.sigma(), 0.01 + 0.08 / 9.0);
        let mut track = Track::with_sigma(0.1);
        track.push_pair(-0.2, 0.02);
        close(track.sigma() * track.sigma(), 0.01 + 0.01 / 9.0);
        let mut track = Track::with_sigma(0.1);
        track.push_pair(5.0, 0.4);
        close(track.sigma() * track.sigma(), 0.01 + 0.15 / 9.0);
        // Nothing is known yet.
        let mut track = Track::with_sigma(0.0);
        track.push_pair(1.0, 0.02);
        close(track.sigma(), 0.02);
    }

    #[test]
    fn the_scatter_forgets_at_the_rate_of_sixty_four_pairs() {
        let mut track = Track::with_sigma(2.0);
        track.push_variance(1.0, 256.0);
        close(track.sigma(), 1.0);
        track.push_variance(65.0, 1.0);
        close(track.sigma() * track.sigma(), 2.0);
        let mut track = Track::with_sigma(1.0);
        track.push_variance(4.0, 8.0);
        close(track.sigma() * track.sigma(), 2.5);
        track.push_variance(1.5, 64.0);
        close(track.sigma() * track.sigma(), 1.5);
    }

    #[test]
    fn few_readings_allow_a_larger_scatter() {
        // sigma (1 + sqrt(2 / pairs)): eight pairs, thirty-two, none.
        close(Track::with_sigma(0.4).sigma_at_most(), 0.4 * 1.5);
        let mut track = Track::with_sigma(0.4);
        track.push_variance(0.16, 24.0);
        close(track.sigma_at_most(), 0.4 * 1.25);
        let unknown = Track { variance: 0.16, ..Track::default() };
        close(unknown.sigma_at_most(), 0.4 * (1.0 + 2.0_f64.sqrt()));
    }

    #[test]
    fn a_new_level_keeps_the_scatter() {
        let mut track = Track::with_sigma(0.4);
        (0..9).for_each(|i| track.push(f64::from(i), f64::from(i), 1.0, 1.0));
        track.restart();
        close(track.sigma_at_most(), 0.4 * 1.5);
        close(track.count(), 0.0);
        track.push(1e6, 7.0, 1.0, 1.0);
        close(track.mean(), 7.0);
    }
}
