//! The figures of a watched meter, as one line for people, as an object for scripts, and as a
//! summary. Figures come from counts ([`Watch`], [`Spans`]); nothing is measured or waited for
//! here. A line is at most 79 columns while its numbers are usual ones.

use drivers::Moment;
use drivers::reading::{Reading, Unit, Value};
use drivers::spans::Spans;
use drivers::watch::Watch;
use serde_json::{Value as Json, json};

/// What the link is doing.
pub(super) enum State {
    /// The meter has not answered yet.
    Waiting,
    /// It answers.
    Answering,
    /// The link has been lost since then.
    Away(Moment),
}

/// Everything that is shown, at one moment.
pub(super) struct Figures<'a> {
    pub(super) watch: &'a Watch,
    pub(super) state: &'a State,
    pub(super) round_trips: Spans,
    /// Sent and received.
    pub(super) bytes: (u64, u64),
    /// Readings per second since figures were shown last.
    pub(super) per_second_lately: Option<f64>,
    pub(super) now: Moment,
    pub(super) watched_s: f64,
}

impl Figures<'_> {
    /// One line for people.
    pub(super) fn line(&self) -> String {
        match self.state {
            State::Waiting => return "waiting for the meter to answer".into(),
            State::Away(since) => {
                let seconds = self.now.since(*since).as_secs_f64();
                return format!("link lost {seconds:.0} s ago, trying to open it again");
            }
            State::Answering => {}
        }
        let reading = self.watch.last.as_ref().map_or_else(|| "no reading yet".into(), shown);
        let rate = self.per_second_lately.unwrap_or_default();
        let trips = match (self.round_trips.median(), self.round_trips.spread().range()) {
            (Some(median), Some((_, worst))) => {
                format!("trip {}, worst {}", span(median), span(worst))
            }
            _ => "sends by itself".into(),
        };
        let lost = self.watch.losses;
        format!("{reading:<20} {rate:>6.1}/s  {trips}  faults {}  lost {lost}", self.faults())
    }

    /// The object of this note.
    pub(super) fn json(&self, note: &str) -> Json {
        let watch = self.watch;
        let spread = self.round_trips.spread();
        let last = watch.last.as_ref();
        json!({
            "v": crate::event::VERSION,
            "note": note,
            "t_s": rounded(self.watched_s, 3),
            "state": match self.state {
                State::Waiting => "waiting",
                State::Answering => "answering",
                State::Away(_) => "lost",
            },
            "function": last.map(|reading| reading.function.name()),
            "value": last.and_then(|reading| reading.value.number()),
            "unit": last.map(|reading| reading.unit),
            "u": last.and_then(|reading| reading.u),
            "overload": last.map(|reading| reading.value.is_overload()),
            "text": last.map(|reading| reading.text.clone()),
            "readings": watch.readings,
            "overloads": watch.overloads,
            "per_second": self.per_second_lately.map(|rate| rounded(rate, 3)),
            "per_second_mean": watch.per_second().map(|rate| rounded(rate, 3)),
            "round_trips": {
                "count": spread.count(),
                "median_ms": self.round_trips.median().map(|s| rounded(s * 1e3, 4)),
                "worst_ms": spread.range().map(|(_, worst)| rounded(worst * 1e3, 4)),
            },
            "faults": {
                "silences": watch.silences,
                "garbled": watch.garbled,
                "refusals": watch.refusals,
                "others": watch.others,
            },
            "other_function": watch.other_function,
            "losses": watch.losses,
            "away_s": rounded(watch.away.as_secs_f64(), 3),
            "bytes_sent": self.bytes.0,
            "bytes_received": self.bytes.1,
        })
    }

    /// Some lines for people, without the last line's end.
    pub(super) fn summary(&self, seconds: f64) -> String {
        let watch = self.watch;
        let rate = watch.per_second().map(|rate| format!(", {rate:.1}/s")).unwrap_or_default();
        let mut lines = vec![format!(
            "{} readings in {seconds:.1} s{rate}; {} of them overload",
            watch.readings, watch.overloads
        )];
        if let Some((least, most)) = watch.intervals.range() {
            lines.push(format!("from one to the next: {} to {}", span(least), span(most)));
        }
        if let (Some(median), Some((_, worst))) =
            (self.round_trips.median(), self.round_trips.spread().range())
        {
            lines.push(format!(
                "round trip: {} median, {} worst, of {} queries",
                span(median),
                span(worst),
                self.round_trips.spread().count()
            ));
        }
        lines.push(format!(
            "faults: {} without an answer, {} garbled, {} refused, {} other",
            watch.silences, watch.garbled, watch.refusals, watch.others
        ));
        lines.push(format!(
            "link: lost {} times, away {}; {} bytes sent, {} received",
            watch.losses,
            span(watch.away.as_secs_f64()),
            self.bytes.0,
            self.bytes.1
        ));
        lines.join("\n")
    }

    const fn faults(&self) -> u64 {
        let watch = self.watch;
        watch.silences + watch.garbled + watch.refusals + watch.others
    }
}

/// A reading with its expanded uncertainty: `+329.81 Ω ± 1.7`.
fn shown(reading: &Reading) -> String {
    let unit = reading.unit.symbol();
    match reading.value {
        Value::Overload => format!("overload ({})", reading.function),
        Value::NotANumber => format!("no number ({})", reading.function),
        Value::Number(value) => {
            let (scale, prefix) = scale(value, reading.unit);
            let places = if (value / scale).abs() < 100.0 { 3 } else { 2 };
            let u = reading.u.map(|u| {
                let u = 2.0 * u / scale;
                let places = (1.0 - u.max(1e-9).log10().floor()).clamp(0.0, 4.0) as usize;
                format!(" \u{b1} {u:.places$}")
            });
            format!("{:+.places$} {prefix}{unit}{}", value / scale, u.unwrap_or_default())
        }
    }
}

fn scale(value: f64, unit: Unit) -> (f64, &'static str) {
    match value.abs() {
        size if size >= 1e6 => (1e6, "M"),
        size if size >= 1e4 => (1e3, "k"),
        size if unit == Unit::Volt && size < 0.1 => (1e-3, "m"),
        _ => (1.0, ""),
    }
}

/// A span of seconds: `0.41 ms`, `40.0 ms`, `1.90 s`.
fn span(seconds: f64) -> String {
    match seconds * 1e3 {
        ms if ms < 10.0 => format!("{ms:.2} ms"),
        ms if ms < 1000.0 => format!("{ms:.1} ms"),
        _ => format!("{seconds:.2} s"),
    }
}

fn rounded(value: f64, places: i32) -> f64 {
    let unit = 10_f64.powi(places);
    (value * unit).round() / unit
}
