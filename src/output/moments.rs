//! Sums over readings: mean, standard deviation, lag-1 autocorrelation, noise from reading to
//! reading, and the straight line through them. Every sum is about an origin near the first
//! reading, so that nothing cancels (NIST StRD's NumAcc sets hold that). One pass, mergeable, in
//! fixed memory; times in seconds, values in volts.

/// Sums over a set of readings, about the first of them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moments {
    n: f64,
    origin: Option<(f64, f64)>,
    s: [f64; 2],
    t: [f64; 3],
    // Over neighbours: how many pairs, sum of products, of both values, of squared differences.
    pairs: f64,
    products: f64,
    both: f64,
    steps: f64,
    last: Option<f64>,
}

/// A straight line through readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Volts per second.
    pub volts_per_s: f64,
    /// Standard uncertainty, widened where neighbouring residuals are alike.
    pub volts_per_s_u: f64,
}

impl Moments {
    /// Empty sums about the same origin as these, so that they can be merged.
    #[must_use]
    pub fn beside(&self) -> Self {
        Self { origin: self.origin, ..Self::default() }
    }

    /// Takes one reading; a neighbour of the one before unless [`Self::part`] came between.
    pub fn push(&mut self, t_s: f64, value: f64) {
        let (t0, x0) = *self.origin.get_or_insert((t_s, value));
        let (e, d) = (t_s - t0, value - x0);
        self.n += 1.0;
        self.s[0] += d;
        self.s[1] += d * d;
        self.t[0] += e;
        self.t[1] += e * e;
        self.t[2] += e * d;
        if let Some(before) = self.last {
            self.pairs += 1.0;
            self.products += before * d;
            self.both += before + d;
            self.steps += (d - before) * (d - before);
        }
        self.last = Some(d);
    }

    /// Takes neighbouring readings at once; the same as pushing each, apart from rounding.
    pub fn extend(&mut self, t_s: &[f64], values: &[f64]) {
        let mut at = 0;
        if self.last.is_none()
            && let (Some(t), Some(x)) = (t_s.first(), values.first())
        {
            self.push(*t, *x);
            at = 1;
        }
        let (t_s, values) = (t_s.get(at..).unwrap_or(&[]), values.get(at..).unwrap_or(&[]));
        let (Some((t0, x0)), Some(mut before)) = (self.origin, self.last) else { return };
        let n = t_s.len().min(values.len());
        let mut sums = [[0.0_f64; 4]; 7];
        let mut times = t_s.chunks_exact(4);
        let mut volts = values.chunks_exact(4);
        for (t, x) in times.by_ref().zip(volts.by_ref()) {
            let d = [x[0] - x0, x[1] - x0, x[2] - x0, x[3] - x0];
            let p = [before, d[0], d[1], d[2]];
            for k in 0..4 {
                let e = t[k] - t0;
                let step = d[k] - p[k];
                sums[0][k] += d[k];
                sums[1][k] += d[k] * d[k];
                sums[2][k] += e;
                sums[3][k] += e * e;
                sums[4][k] += e * d[k];
                sums[5][k] += p[k] * d[k];
                sums[6][k] += step * step;
            }
            before = d[3];
        }
        let total = |k: usize| (sums[k][0] + sums[k][1]) + (sums[k][2] + sums[k][3]);
        let whole = n - n % 4;
        #[expect(clippy::cast_precision_loss, reason = "a slice is shorter than 2^52")]
        let count = whole as f64;
        self.n += count;
        self.pairs += count;
        self.both += 2.0 * total(0) + self.last.unwrap_or(0.0) - before;
        self.s[0] += total(0);
        self.s[1] += total(1);
        for k in 0..3 {
            self.t[k] += total(2 + k);
        }
        self.products += total(5);
        self.steps += total(6);
        self.last = Some(before);
        for (t, x) in t_s.iter().zip(values).skip(whole) {
            self.push(*t, *x);
        }
    }

    /// The next reading is no neighbour of the last.
    pub const fn part(&mut self) {
        self.last = None;
    }

    /// Adds the sums over other readings, whatever their origin.
    pub fn merge(&mut self, other: &Self) {
        let Some(origin) = self.origin else {
            *self = *other;
            return;
        };
        let other = other.about(origin);
        self.n += other.n;
        for k in 0..2 {
            self.s[k] += other.s[k];
        }
        for k in 0..3 {
            self.t[k] += other.t[k];
        }
        self.pairs += other.pairs;
        self.products += other.products;
        self.both += other.both;
        self.steps += other.steps;
        self.last = other.last;
    }

    /// The same sums about another origin.
    fn about(&self, (t0, x0): (f64, f64)) -> Self {
        let (dt, dx) = self.origin.map_or((0.0, 0.0), |(t, x)| (t - t0, x - x0));
        if dt == 0.0 && dx == 0.0 {
            return *self;
        }
        let n = self.n;
        Self {
            origin: Some((t0, x0)),
            s: [self.s[0] + n * dx, self.s[1] + 2.0 * dx * self.s[0] + n * dx * dx],
            t: [
                self.t[0] + n * dt,
                self.t[1] + 2.0 * dt * self.t[0] + n * dt * dt,
                self.t[2] + dt * self.s[0] + dx * self.t[0] + n * dt * dx,
            ],
            both: self.both + 2.0 * self.pairs * dx,
            products: self.products + dx * self.both + self.pairs * dx * dx,
            last: self.last.map(|d| d + dx),
            ..*self
        }
    }

    /// What came in since these were `before`, about the same origin.
    #[must_use]
    pub fn since(&self, before: &Self) -> Self {
        let mut new = Self { n: self.n - before.n, ..self.beside() };
        for k in 0..2 {
            new.s[k] = self.s[k] - before.s[k];
        }
        for k in 0..3 {
            new.t[k] = self.t[k] - before.t[k];
        }
        new.pairs = self.pairs - before.pairs;
        new.steps = self.steps - before.steps;
        new
    }

    /// Mean time and mean value; `None` without a reading.
    #[must_use]
    pub fn centre(&self) -> Option<(f64, f64)> {
        let (t0, x0) = self.origin.filter(|_| self.n > 0.0)?;
        Some((t0 + self.t[0] / self.n, x0 + self.s[0] / self.n))
    }

    /// How many readings.
    #[must_use]
    pub const fn count(&self) -> f64 {
        self.n
    }

    /// Their mean; `None` without a reading.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        self.origin.filter(|_| self.n > 0.0).map(|(_, x0)| x0 + self.s[0] / self.n)
    }

    /// Standard deviation (n - 1); `None` below two readings.
    #[must_use]
    pub fn sd(&self) -> Option<f64> {
        (self.n > 1.0).then(|| (self.about_mean() / (self.n - 1.0)).sqrt())
    }

    /// Lag-1 autocorrelation: sum of products of neighbours over the sum of squares, both about
    /// the mean (NIST StRD's definition). `None` where nothing varies.
    #[must_use]
    pub fn lag_1(&self) -> Option<f64> {
        let m = self.s[0] / self.n;
        let near = self.products - m * self.both + self.pairs * m * m;
        let all = self.about_mean();
        (all > 0.0).then(|| near / all)
    }

    /// Standard deviation from reading to reading, free of slow change.
    #[must_use]
    pub fn noise(&self) -> Option<f64> {
        (self.pairs > 0.0).then(|| (self.steps / self.pairs / 2.0).sqrt())
    }

    /// The straight line through the readings, by least squares; `None` below four readings or
    /// where time stands still.
    #[must_use]
    pub fn slope(&self) -> Option<Slope> {
        let n = self.n;
        let stt = self.t[1] - self.t[0] * self.t[0] / n;
        let stx = self.t[2] - self.t[0] * self.s[0] / n;
        if n < 4.0 || stt <= 0.0 {
            return None;
        }
        let slope = stx / stt;
        let left = (self.about_mean() - slope * stx).max(0.0);
        let variance = left / (n - 2.0);
        // Residuals that drift slowly carry less: from reading to reading they differ little.
        let white = self.noise().map_or(variance, |noise| noise * noise);
        let alike = if variance > 0.0 { (1.0 - white / variance).clamp(0.0, 0.999) } else { 0.0 };
        let widen = ((1.0 + alike) / (1.0 - alike)).min(n / 2.0);
        let u = (variance * widen / stt).sqrt();
        Some(Slope { volts_per_s: slope, volts_per_s_u: u })
    }

    fn about_mean(&self) -> f64 {
        (self.s[1] - self.s[0] * self.s[0] / self.n).max(0.0)
    }
}

#[cfg(test)]
mod tests;
