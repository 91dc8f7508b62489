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
