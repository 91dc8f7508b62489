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
