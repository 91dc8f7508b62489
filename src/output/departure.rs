//! Readings that left a level and are not back yet: the start of an edge, a step, a spike, or only
//! noise. They are kept as at most 256 means, two neighbours becoming one when it is full, so that
//! a slow fall at a high rate is still seen whole. Finds where a gradual change began, by carrying
//! its first part back to the level. Seconds and volts.

use super::reading::Sample;
use super::run::Extent;

const BUCKETS_MAX: usize = 256;
/// The first part of a change, as a share of the whole, that is carried back to the level.
const FIRST_PART: f64 = 0.3;

/// A mean of neighbouring readings: its time, its distance from the level, its volts, how many.
#[derive(Clone, Copy, Debug)]
struct Bucket {
    t: f64,
    away: f64,
    x: f64,
    n: f64,
}

/// Readings outside a level's band, on one side of it.
#[derive(Clone, Debug)]
pub(super) struct Departure {
    pub(super) last_in: Sample,
    pub(super) first: Sample,
    pub(super) upwards: bool,
    pub(super) n: u64,
    /// The reading that went furthest.
    pub(super) furthest: f64,
    pub(super) peak: f64,
    pub(super) extent: Extent,
    buckets: Vec<Bucket>,
    per_bucket: f64,
    next_check: u64,
}

/// Where a change began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Onset {
    pub(super) at: f64,
    pub(super) u: f64,
}

impl Departure {
    pub(super) fn begin(last_in: Sample, first: Sample, away: f64, extent: Extent) -> Self {
        Self {
            last_in,
            first,
            upwards: away > 0.0,
            n: 0,
            furthest: first.x,
            peak: 0.0,
            extent,
            buckets: Vec::with_capacity(32),
            per_bucket: 1.0,
            next_check: 4,
        }
    }

    /// Takes one more reading, `away` from the level.
    pub(super) fn push(&mut self, reading: Sample, away: f64) {
        self.n += 1;
        if away.abs() > self.peak {
            (self.peak, self.furthest) = (away.abs(), reading.x);
        }
        let one = Bucket { t: reading.t, away: away.abs(), x: reading.x, n: 1.0 };
        match self.buckets.last_mut().filter(|last| last.n < self.per_bucket) {
            Some(last) => *last = joined(*last, one),
            None => self.buckets.push(one),
        }
        if self.buckets.len() > BUCKETS_MAX {
            let pairs = self.buckets.chunks(2);
            let pairs = pairs.filter_map(|pair| match pair {
                [a, b] => Some(joined(*a, *b)),
                alone => alone.first().copied(),
            });
            self.buckets = pairs.collect();
            self.per_bucket *= 2.0;
        }
    }

    /// Whether the readings have come to rest at another level: its mean, if so. Looks only each
    /// time that their number has doubled, and never before `wait_s`: what still moves after that
    /// is no step.
    pub(super) fn settled(&mut self, now: f64, wait_s: f64, sigma: f64) -> Option<f64> {
        if self.n < self.next_check || now - self.first.t < wait_s {
            return None;
        }
        self.next_check = self.n * 2;
        let half = self.buckets.len() / 2;
        let (early, late) = self.buckets.split_at(half);
        let (a, b) = (mean(early)?, mean(late)?);
        #[expect(clippy::cast_precision_loss, reason = "a count of readings in memory")]
        let noise = 3.0 * sigma * (4.0 / self.n as f64).sqrt();
        ((a - b).abs() <= noise.max(0.2 * self.peak)).then_some(b)
    }

    /// Where the change began: its first part, up to a share of `span`, carried back to the level.
    pub(super) fn onset(&self, span: f64, interval: f64) -> Onset {
        let most = (FIRST_PART * span).min(self.peak);
        let part = self.buckets.iter().take_while(|b| b.away <= most).count();
        let part = self.buckets.get(..part.max(2)).unwrap_or(&self.buckets);
        let back = if part.len() >= 8 { parabola(part, self.first.t) } else { None };
        let back = back.or_else(|| line(part));
        let last = self.buckets.last().map_or(self.first.t, |b| b.t);
        let earliest = (self.last_in.t - (last - self.first.t)).min(self.last_in.t);
        let at = back.unwrap_or(self.first.t).clamp(earliest, self.first.t);
        let reach = (self.first.t - self.last_in.t).max(interval) / 2.0;
        Onset { at, u: reach.max((self.first.t - at) / 4.0) }
    }
}

fn joined(a: Bucket, b: Bucket) -> Bucket {
    let n = a.n + b.n;
    let mean = |x: f64, y: f64| (x * a.n + y * b.n) / n;
    Bucket { t: mean(a.t, b.t), away: mean(a.away, b.away), x: mean(a.x, b.x), n }
}

fn mean(buckets: &[Bucket]) -> Option<f64> {
    let n: f64 = buckets.iter().map(|b| b.n).sum();
    (n > 0.0).then(|| buckets.iter().map(|b| b.x * b.n).sum::<f64>() / n)
}

/// Where the line through the first and the last of these meets the level.
fn line(part: &[Bucket]) -> Option<f64> {
    let (a, b) = (part.first()?, part.last()?);
    let rise = (b.away - a.away) / (b.t - a.t);
    (rise > 0.0 && rise.is_finite()).then(|| a.t - a.away / rise)
}

/// Where the parabola through these, by least squares, last met the level before them.
fn parabola(part: &[Bucket], from: f64) -> Option<f64> {
    let scale = part.last().map(|b| b.t - from).filter(|s| *s > 0.0)?;
    let mut s = [0.0; 5];
    let mut r = [0.0; 3];
    for bucket in part {
        let u = (bucket.t - from) / scale;
        let mut power = bucket.n;
        for (k, sum) in s.iter_mut().enumerate() {
            *sum += power;
            if let Some(right) = r.get_mut(k) {
                *right += power * bucket.away;
            }
            power *= u;
        }
    }
    let [s0, s1, s2, s3, s4] = s;
    let [r0, r1, r2] = r;
    let det = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let all = det([[s0, s1, s2], [s1, s2, s3], [s2, s3, s4]]);
    let a = det([[r0, s1, s2], [r1, s2, s3], [r2, s3, s4]]) / all;
    let b = det([[s0, r0, s2], [s1, r1, s3], [s2, r2, s4]]) / all;
    let c = det([[s0, s1, r0], [s1, s2, r1], [s2, s3, r2]]) / all;
    let inside = b * b - 4.0 * a * c;
    let root = -2.0 * a / (b + inside.sqrt());
    (b > 0.0 && inside >= 0.0 && root.is_finite()).then_some(from + root * scale)
}
