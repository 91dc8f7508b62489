//! The log of the readings of an output, or of a zone, as the journal knows it. The readings
//! themselves stand in the log's own file, since there are many; here stand its beginning, what was
//! seen in it, its end with count and SHA-256, and a picture of it that is small enough for the
//! record. Times are seconds on the log's own clock, which goes on by wall time where the program
//! was away.

use super::output::{Trace, TraceSpan};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// No more spans than this in a picture: it stands in one line of the journal.
const SPANS_MAX: usize = 512;

/// News of the log of an output's readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum LogNews {
    /// It was begun, or is gone on with.
    Opened {
        /// Its file in the job folder.
        file: String,
        /// Its time now, in seconds; 0 where it begins.
        t_s: f64,
        /// How many rows it has already.
        rows: u64,
        /// How many bytes of a torn last row were set aside.
        #[serde(default, skip_serializing_if = "super::is_zero")]
        torn_bytes: u64,
    },
    /// The operator said that the equipment is in alarm.
    AlarmBegun {
        /// When, in seconds.
        t_s: f64,
    },
    /// The output came on.
    CameOn {
        /// When, in seconds.
        t_s: f64,
        /// Largest error of `t_s` that the sampling allows.
        t_s_u: f64,
        /// The reading that settled it, in volts.
        volts: f64,
    },
    /// It went off, and stayed off for as long as is waited after a drop.
    WentOff {
        /// When, in seconds.
        t_s: f64,
        /// Largest error of `t_s` that the sampling allows.
        t_s_u: f64,
    },
    /// It ended; nothing is written to it any more.
    Closed {
        /// Its file in the job folder.
        file: String,
        /// How many rows it has.
        rows: u64,
        /// SHA-256 of the file, in hex.
        sha256: String,
        /// Why it ended.
        why: LogEnd,
    },
    /// The whole log, thinned for drawing.
    Drawn(LogPicture),
}

/// Why a log ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LogEnd {
    /// The output dropped, and stayed off.
    Dropped,
    /// The time that it was given was over.
    TimeOver,
    /// The operator could not bring the equipment into alarm.
    NoAlarm,
    /// The operator took the placement back.
    TakenBack,
    /// This is no low-voltage output.
    TooHigh,
    /// Everything that was wanted was seen.
    Concluded,
}

/// A log thinned for drawing: lowest and highest reading of each span of time, `null` where a span
/// holds none. No peak is lost.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogPicture {
    /// Start of the first span, in seconds.
    pub start_s: f64,
    /// Length of a span, in seconds.
    pub span_s: f64,
    /// Lowest readings, in volts.
    pub volts_min: Vec<Option<f64>>,
    /// Highest readings, in volts.
    pub volts_max: Vec<Option<f64>>,
    /// The spans into which an overload reading fell, counted from 0.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub overload_spans: Vec<usize>,
    /// Pauses in the log, from and to, in seconds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gaps_s: Vec<[f64; 2]>,
    /// The class that the level fits: nominal, lowest and highest volts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class_volts: Option<[f64; 3]>,
}

impl LogPicture {
    /// The picture of a trace, with the class that its level fits: nominal, lowest and highest
    /// volts.
    #[must_use]
    pub fn of(trace: &Trace, class: Option<(f64, f64, f64)>) -> Self {
        let per_span = trace.spans.len().div_ceil(SPANS_MAX).max(1);
        let spans: Vec<TraceSpan> = trace.spans.chunks(per_span).map(joined).collect();
        #[expect(clippy::cast_precision_loss, reason = "a few thousand spans at most")]
        let span_s = trace.span_s * per_span as f64;
        let overloads = spans.iter().enumerate().filter(|(_, span)| span.overload);
        Self {
            start_s: trace.start_s,
            span_s,
            volts_min: spans.iter().map(|s| (!s.is_empty()).then_some(s.min)).collect(),
            volts_max: spans.iter().map(|s| (!s.is_empty()).then_some(s.max)).collect(),
            overload_spans: overloads.map(|(place, _)| place).collect(),
            gaps_s: trace.gaps.iter().map(|(from, to)| [*from, *to]).collect(),
            class_volts: class.map(|(nominal, low, high)| [nominal, low, high]),
        }
    }

    /// The trace that it is a picture of.
    #[must_use]
    pub fn trace(&self) -> Trace {
        let both = self.volts_min.iter().zip(&self.volts_max).enumerate();
        let spans = both.map(|(place, (min, max))| TraceSpan {
            overload: self.overload_spans.contains(&place),
            min: min.unwrap_or(TraceSpan::EMPTY.min),
            max: max.unwrap_or(TraceSpan::EMPTY.max),
        });
        Trace {
            start_s: self.start_s,
            span_s: self.span_s,
            spans: spans.collect(),
            gaps: self.gaps_s.iter().map(|[from, to]| (*from, *to)).collect(),
        }
    }
}

fn joined(spans: &[TraceSpan]) -> TraceSpan {
    spans.iter().fold(TraceSpan::EMPTY, |a, b| TraceSpan {
        min: a.min.min(b.min),
        max: a.max.max(b.max),
        overload: a.overload || b.overload,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_keeps_every_peak_and_every_gap() {
        let mut spans = vec![TraceSpan { min: 0.0, max: 0.1, overload: false }; 2000];
        spans[777].max = 31.5;
        spans[1500] = TraceSpan { overload: true, ..TraceSpan::EMPTY };
        spans[1999].min = -4.25;
        let trace = Trace { start_s: 1.0, span_s: 0.5, spans, gaps: vec![(3.0, 4.5)] };
        let picture = LogPicture::of(&trace, Some((12.0, 9.5, 15.0)));
        let text = serde_json::to_string(&LogNews::Drawn(picture.clone())).unwrap();
        let LogNews::Drawn(back) = serde_json::from_str(&text).unwrap() else { panic!("{text}") };
        assert_eq!(back, picture);
        let thin = back.trace();
        assert!(thin.spans.len() <= SPANS_MAX, "{}", thin.spans.len());
        let highest = thin.spans.iter().map(|s| s.max).fold(f64::MIN, f64::max);
        let lowest = thin.spans.iter().map(|s| s.min).fold(f64::MAX, f64::min);
        assert_eq!((lowest, highest), (-4.25, 31.5));
        assert_eq!(thin.spans.iter().filter(|s| s.overload).count(), 1);
        assert_eq!(thin.gaps, [(3.0, 4.5)]);
        assert!((thin.span_s * 500.0 - 1000.0).abs() < 1e-9, "the time it spans");
    }
}
