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
        let (a, b) = (mean(early), mean(late));
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
        // A mean of equal stamps may round to less than they are.
        let earliest = self.last_in.t - (last - self.first.t).max(0.0);
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

/// Of one bucket or more.
fn mean(buckets: &[Bucket]) -> f64 {
    let n: f64 = buckets.iter().map(|b| b.n).sum();
    buckets.iter().map(|b| b.x * b.n).sum::<f64>() / n
}

/// Where the line through the first and the last of these meets the level.
fn line(part: &[Bucket]) -> Option<f64> {
    let (a, b) = (part.first()?, part.last()?);
    let rise = (b.away - a.away) / (b.t - a.t);
    (rise > 0.0).then(|| a.t - a.away / rise)
}

/// Where the parabola through these, by least squares, last met the level before them.
fn parabola(part: &[Bucket], from: f64) -> Option<f64> {
    let scale = part.last()?.t - from;
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
    // Not a number where it never met the level, or where no time goes by.
    let root = -2.0 * a / (b + (b * b - 4.0 * a * c).sqrt());
    (b > 0.0 && root.is_finite()).then_some(from + root * scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-9, "{found}, truly {wanted}");
    }

    fn sample(t: f64, x: f64) -> Sample {
        Sample { t, x, index: 0 }
    }

    /// Readings that lie `away(t)` above a level of 10 V, the last in it a second ahead of them.
    fn left(times: &[f64], away: impl Fn(f64) -> f64) -> Departure {
        let first = sample(times[0], 10.0 + away(times[0]));
        let extent = Extent::begin(1.0, 0.0);
        let last_in = sample(times[0] - 1.0, 10.0);
        let mut departure = Departure::begin(last_in, first, away(times[0]), extent);
        times.iter().for_each(|t| departure.push(sample(*t, 10.0 + away(*t)), away(*t)));
        departure
    }

    fn seconds(n: u32) -> Vec<f64> {
        (1..=n).map(f64::from).collect()
    }

    #[test]
    fn means_stand_for_neighbours_twice_as_many_each_time_there_is_no_room() {
        for (n, per) in [(1, 1), (256, 1), (257, 2), (512, 2), (513, 4), (515, 4), (2000, 8)] {
            let times = seconds(n);
            let departure = left(&times, |t| 0.01 * t * t);
            close(departure.per_bucket, f64::from(per));
            let parts = times.chunks(usize::try_from(per).unwrap());
            assert_eq!(departure.buckets.len(), parts.len());
            for (bucket, part) in departure.buckets.iter().zip(parts) {
                let n: f64 = part.iter().map(|_| 1.0).sum();
                let away = part.iter().map(|t| 0.01 * t * t).sum::<f64>() / n;
                close(bucket.n, n);
                close(bucket.t, part.iter().sum::<f64>() / n);
                assert!((bucket.away / away - 1.0).abs() < 1e-12);
                assert!((bucket.x / (10.0 + away) - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn the_first_of_those_that_went_furthest_is_kept() {
        let mut down =
            Departure::begin(sample(0.0, 10.0), sample(1.0, 9.0), -1.0, Extent::begin(1.0, 0.0));
        for (x, away) in [(9.0, -1.0), (7.0, -3.0), (7.5, -3.0), (8.0, -2.0)] {
            down.push(sample(1.0, x), away);
        }
        assert_eq!((down.upwards, down.n, down.peak, down.furthest), (false, 4, 3.0, 7.0));
        assert!(left(&[1.0], |_| 0.5).upwards);
    }

    #[test]
    fn it_has_settled_where_its_halves_agree_once_the_wait_is_over() {
        let steady = |n: u32| left(&seconds(n), |_| 2.0);
        assert_eq!(steady(3).settled(99.0, 0.5, 0.0), None, "three readings tell nothing");
        assert_eq!(steady(4).settled(1.4, 0.5, 0.0), None, "the wait is not over");
        assert_eq!(steady(4).settled(1.5, 0.5, 0.0), Some(12.0));
        assert_eq!(
            steady(515).settled(999.0, 0.5, 0.0),
            Some(12.0),
            "means count as they are made"
        );
        // Halves that differ by a fifth of the change, 2.5 V, agree; by more, they do not.
        for (by, settles) in [(0.5, true), (-0.5, true), (0.51, false), (-0.51, false)] {
            let late = 2.5_f64.min(2.5 + by);
            let mut halves =
                left(&seconds(4), |t| if t < 2.5 { late - by.min(by.abs()) } else { late });
            assert!(halves.peak <= 2.5 + 1e-12 || !settles, "{}", halves.peak);
            assert_eq!(halves.settled(9.0, 0.5, 0.0).is_some(), settles, "{by}");
        }
        // And so do those that scatter by as much: 3 sigma sqrt(4 / n).
        for (n, by, settles) in [(4, 3.0, true), (4, 3.1, false), (16, 1.5, true), (16, 1.6, false)]
        {
            let middle = f64::from(n) / 2.0 + 0.5;
            let mut halves = left(&seconds(n), |t| if t < middle { 1.0 } else { 1.0 + by });
            let found = halves.settled(99.0, 0.5, 1.0);
            assert_eq!(found, settles.then_some(11.0 + by), "{n} {by}");
        }
    }

    #[test]
    fn it_is_looked_at_again_only_when_there_are_twice_as_many() {
        let mut rising = left(&seconds(4), |t| t);
        assert_eq!(rising.settled(9.0, 0.5, 0.0), None);
        for t in [5.0, 6.0, 7.0] {
            rising.push(sample(t, 12.0), 2.0);
            rising.buckets.iter_mut().for_each(|b| b.x = 12.0);
            assert_eq!(rising.settled(9.0, 0.5, 0.0), None);
        }
        rising.push(sample(8.0, 12.0), 2.0);
        assert_eq!(rising.settled(9.0, 0.5, 0.0), Some(12.0));
    }

    #[test]
    fn a_slow_change_began_where_the_line_through_its_first_part_meets_the_level() {
        // The first three in ten of 10 V; the rest goes another way.
        let bent = |t: f64| if t <= 3.0 { t - 0.5 } else { 4.0 * t };
        let onset = left(&seconds(10), bent).onset(10.0, 0.1);
        assert_eq!(onset, Onset { at: 0.5, u: 0.5 });
        // No reading is surer than half an interval, or a quarter of how far it was carried back.
        assert_eq!(left(&seconds(10), bent).onset(10.0, 4.0).u, 2.0);
        let far = |t: f64| 4.0 + t;
        assert_eq!(left(&seconds(10), far).onset(30.0, 0.1), Onset { at: -4.0, u: 1.25 });
        // It is carried back no further than the change has lasted since.
        assert_eq!(left(&seconds(3), far).onset(30.0, 0.1), Onset { at: -2.0, u: 0.75 });
        // Two readings make a line, however far they are.
        let onset = left(&seconds(10), |t| 5.0 + 2.0 * t).onset(1.0, 0.1);
        assert_eq!(onset, Onset { at: -2.5, u: 0.875 });
    }

    #[test]
    fn what_does_not_rise_began_with_its_first_reading() {
        for away in [|_| 2.0, |t: f64| 9.0 - t] {
            let onset = left(&seconds(6), away).onset(100.0, 0.1);
            assert_eq!(onset, Onset { at: 1.0, u: 0.5 });
        }
        assert_eq!(left(&[1.0; 12], |_| 2.0).onset(100.0, 0.1).at, 1.0, "no time goes by");
        assert_eq!(left(&[1.0], |_| 2.0).onset(100.0, 0.1).at, 1.0);
    }

    /// Coarse stamps: hundreds of readings share one. The mean of three equal stamps may round to
    /// less than they are, and nothing begins before the last reading that was in.
    #[test]
    fn what_happens_within_one_stamp_began_then() {
        for t in (1..400).map(|tenths| f64::from(tenths) / 10.0) {
            let mut departure = left(&[t; 515], |_| 2.0);
            departure.last_in.t = t;
            assert_eq!(departure.onset(2.0, 0.0).at.to_bits(), t.to_bits());
        }
    }

    #[test]
    fn a_bent_change_began_where_its_parabola_meets_the_level() {
        // Wherever zero is on the clock: ahead of it, its first reading, or half way through eight.
        for zero in [0.0, 1.0, 4.5] {
            for bend in [0.0, 0.05, -0.02, 0.8] {
                let from = 0.75 - zero;
                let away = |t: f64| 1.5 * (t - from) + bend * (t - from) * (t - from);
                let times: Vec<f64> = seconds(20).iter().map(|t| t - zero).collect();
                let of = |n: usize| left(&times[..n], away).onset(1e9, 0.1).at;
                close(of(8), from);
                close(of(20), from);
                // Fewer than eight are carried back along a line.
                let rise = (away(times[6]) - away(times[0])) / 6.0;
                close(of(7), times[0] - (away(times[0]) / rise).min(7.0));
            }
        }
    }

    #[test]
    fn a_parabola_that_never_met_the_level_or_turns_up_again_gives_way_to_the_line() {
        // 1 + u + u^2 has no root; its line rises by 2 over 9 s from 1.
        let never = |t: f64| 1.0 + (t - 1.0) / 9.0 + (t - 1.0) * (t - 1.0) / 81.0;
        close(left(&seconds(10), never).onset(1e9, 0.1).at, 1.0 - 4.5);
        // (u - 0.05) (u - 0.09) falls at first: from 0.0045 to 0.8645 in 9 s.
        let dips = |t: f64| ((t - 1.0) / 9.0 - 0.05) * ((t - 1.0) / 9.0 - 0.09);
        close(left(&seconds(10), dips).onset(1e9, 0.1).at, 1.0 - 0.0045 / 0.86 * 9.0);
    }
}
