//! The log thinned for drawing, in the same pass: lowest and highest reading of each span of time.
//! Spans begin as short as the first interval and double as the log grows, so that memory is
//! fixed, no log is held, and no peak is lost. Leaves pixels to the report.

use crate::event::{Trace, TraceSpan};

/// No more spans than this.
const SPANS_MAX: usize = 2048;

/// A [`Trace`] that grows.
#[derive(Clone, Debug)]
pub struct Tracing {
    trace: Trace,
    per_span: f64,
}

impl Default for Tracing {
    fn default() -> Self {
        Self { trace: Trace::default(), per_span: 0.0 }
    }
}

impl Tracing {
    /// Takes readings in order of time, with their lowest and highest.
    pub fn extend(&mut self, t_s: &[f64], values: &[f64], min: f64, max: f64) {
        let (Some(first), Some(last)) = (t_s.first(), t_s.last()) else { return };
        self.make_room(*first, *last);
        let (from, to) = (self.place(*first), self.place(*last));
        if from == to {
            self.note(from, min, max);
            return;
        }
        for (t, x) in t_s.iter().zip(values) {
            self.note(self.place(*t), *x, *x);
        }
    }

    /// Takes an overload reading.
    pub fn overload(&mut self, t_s: f64) {
        self.make_room(t_s, t_s);
        let place = self.place(t_s);
        if let Some(span) = self.trace.spans.get_mut(place) {
            span.overload = true;
        }
    }

    /// What there is to draw, with the pauses of the log, from and to.
    #[must_use]
    pub fn finish(mut self, gaps_s: Vec<(f64, f64)>) -> Trace {
        self.trace.gaps = gaps_s;
        self.trace.span_s = if self.per_span > 0.0 { 1.0 / self.per_span } else { 0.0 };
        self.trace
    }

    fn make_room(&mut self, first: f64, last: f64) {
        if self.trace.spans.is_empty() {
            self.trace.start_s = first;
            self.trace.spans.push(TraceSpan::EMPTY);
        }
        let long = last - self.trace.start_s;
        if self.per_span == 0.0 && long > 0.0 {
            // The first spans are far shorter than an interval; doubling is cheap.
            self.per_span = 1024.0 / long;
        }
        let wanted = |per_span: f64| long * per_span;
        #[expect(clippy::cast_precision_loss, reason = "a small number")]
        while wanted(self.per_span) >= SPANS_MAX as f64 {
            self.per_span /= 2.0;
            let joined = self.trace.spans.chunks(2).map(|pair| match pair {
                [a, b] => TraceSpan {
                    min: a.min.min(b.min),
                    max: a.max.max(b.max),
                    overload: a.overload || b.overload,
                },
                alone => alone.first().copied().unwrap_or(TraceSpan::EMPTY),
            });
            self.trace.spans = joined.collect();
        }
        let place = self.place(last);
        if place >= self.trace.spans.len() {
            self.trace.spans.resize(place + 1, TraceSpan::EMPTY);
        }
    }

    fn place(&self, t_s: f64) -> usize {
        let spans = (t_s - self.trace.start_s) * self.per_span;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
        let place = spans.clamp(0.0, 1e6) as usize;
        place
    }

    fn note(&mut self, place: usize, min: f64, max: f64) {
        if let Some(span) = self.trace.spans.get_mut(place) {
            span.min = span.min.min(min);
            span.max = span.max.max(max);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64;

    /// The span that holds a moment.
    fn span_of(trace: &Trace, t: f64) -> usize {
        let ahead = (0..=trace.spans.len()).filter(|k| {
            let begins = trace.start_s + trace.span_s * f64::from(u32::try_from(*k).unwrap());
            begins <= t + 1e-9
        });
        ahead.count().saturating_sub(1)
    }

    fn extend(tracing: &mut Tracing, t: &[f64], x: &[f64]) {
        let low = x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        tracing.extend(t, x, low, high);
    }

    /// Steps of a power of two, so that every moment lies on one side of a span's edge.
    fn log(seed: u64, n: u64) -> (Vec<f64>, Vec<f64>) {
        let mut chance = Pcg64::seed_from_u64(seed);
        let mut t = -20.0;
        let readings = (0..n).map(|_| {
            t += f64::from(chance.random_range(1..64)) / 256.0;
            (t, chance.random_range(-5.0..15.0))
        });
        readings.unzip()
    }

    #[test]
    fn each_span_holds_the_extremes_of_its_own_readings() {
        for (seed, part, n) in [(1, 1, 40), (2, 17, 300), (3, 129, 1500), (4, 257, 2600)] {
            let (t, x) = log(seed, n);
            let mut tracing = Tracing::default();
            for (t, x) in t.chunks(part).zip(x.chunks(part)) {
                extend(&mut tracing, t, x);
            }
            let trace = tracing.finish(vec![(1.0, 2.0)]);
            let mut plain = vec![TraceSpan::EMPTY; trace.spans.len()];
            for (t, x) in t.iter().zip(&x) {
                let span = &mut plain[span_of(&trace, *t)];
                (span.min, span.max) = (span.min.min(*x), span.max.max(*x));
            }
            assert_eq!(trace.spans, plain, "{seed}");
            assert_eq!((trace.start_s, trace.gaps.as_slice()), (t[0], &[(1.0, 2.0)][..]));
            let last = span_of(&trace, *t.last().unwrap());
            assert_eq!(trace.spans.len(), last + 1);
            assert!((1024..=2048).contains(&trace.spans.len()), "{}", trace.spans.len());
        }
    }

    #[test]
    fn spans_double_as_the_log_grows_and_there_are_never_more_than_there_may_be() {
        let mut tracing = Tracing::default();
        extend(&mut tracing, &[4.0, 5.0], &[1.0, 2.0]);
        assert_eq!(tracing.trace.spans.len(), 1025);
        // Twice the first 1,024 spans, less a hair, are still of the same length.
        extend(&mut tracing, &[4.5, 6.0 - 1.0 / 2048.0], &[7.0, 3.0]);
        assert_eq!(tracing.trace.spans.len(), SPANS_MAX);
        tracing.overload(6.0);
        assert_eq!(tracing.trace.spans.len(), 1025);
        let trace = tracing.finish(Vec::new());
        assert_eq!(trace.span_s.to_bits(), (1.0_f64 / 512.0).to_bits());
        assert!(trace.spans[1024].overload && trace.spans[1024].is_empty());
        let kept = [0, 256, 512, 1023].map(|k| (trace.spans[k].min, trace.spans[k].max));
        assert_eq!(kept, [(1.0, 1.0), (7.0, 7.0), (2.0, 2.0), (3.0, 3.0)]);
    }

    #[test]
    fn an_odd_span_at_the_end_and_every_overload_survive_doubling() {
        let mut tracing = Tracing::default();
        extend(&mut tracing, &[0.0, 1.0], &[1.0, 2.0]);
        for t in [0.25 + 1.0 / 1024.0, 0.5] {
            tracing.overload(t);
        }
        // 1,025 spans become 513 and 257; the last of them stood alone.
        extend(&mut tracing, &[4.0], &[5.0]);
        let trace = tracing.finish(Vec::new());
        let over: Vec<usize> =
            (0..trace.spans.len()).filter(|k| trace.spans[*k].overload).collect();
        assert_eq!(over, [64, 128]);
        let seen = (0..trace.spans.len()).filter(|k| !trace.spans[*k].is_empty());
        assert_eq!(seen.collect::<Vec<_>>(), [0, 256, 1024]);
        assert_eq!(trace.spans[256].max.to_bits(), 2.0_f64.to_bits());
    }

    #[test]
    fn a_log_of_one_moment_is_one_span_without_length() {
        let mut tracing = Tracing::default();
        tracing.overload(3.0);
        extend(&mut tracing, &[3.0, 3.0], &[1.0, 2.0]);
        let trace = tracing.finish(Vec::new());
        assert_eq!((trace.start_s, trace.span_s), (3.0, 0.0));
        assert_eq!(trace.spans, [TraceSpan { min: 1.0, max: 2.0, overload: true }]);
        assert_eq!(Tracing::default().finish(Vec::new()), Trace::default());
    }
}
