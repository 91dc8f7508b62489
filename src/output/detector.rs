//! From readings in order to edges, steps and spikes, one at a time and in fixed memory. It is told
//! no threshold: rest and alarm are levels it follows ([`super::track`]), the scatter around them
//! says what is outside, and an alarm ends half way back to rest. The one number it brings along:
//! less than a volt of change drives no relay (common practice, no source). Times come out inside
//! the sampling interval; grouping runs into alarms is left to [`super::windows`].

use super::departure::Departure;
use super::onset::{self, Leaving};
use super::reading::{Edge, Place, Recent, Sample};
use super::run::{Extent, Run};
use super::track::Track;

/// Less change than this is no alarm, in volts: common practice, no source.
const LEAST_VOLTS: f64 = 1.0;
/// A log that begins at this many volts or more begins with the output on, until it shows
/// otherwise: common practice, no source.
const BEGINS_ON_VOLTS: f64 = 3.0;
/// One reading in 150,000 of a normal scatter lies outside.
const BAND_SIGMAS: f64 = 4.5;
/// The alarm's band is never narrower than this share of the change, the rest's than this.
const BAND_SHARE: f64 = 0.01;
const REST_BAND_VOLTS: f64 = 0.02;
/// Ends an alarm, begins one again while it still falls: shares of the change.
const OFF_SHARE: f64 = 0.4;
const ON_SHARE: f64 = 0.6;
/// What moves for less time than this has not settled, in seconds.
const SETTLES_S: f64 = 0.5;
/// Readings after which an alarm's level and scatter are known.
const KNOWN: f64 = 8.0;

/// What was noticed.
#[derive(Clone, Debug)]
pub(super) enum Notice {
    /// The output came on; the run has begun.
    On(Edge),
    /// A run is over.
    Off(Box<Run>),
    /// The level changed while on.
    Step(Edge),
    /// A short excursion while on, and the reading that went furthest.
    Spike(f64),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Rest,
    On,
    Falling,
}

/// The state between two readings.
#[derive(Clone, Debug)]
pub(super) struct Detector {
    phase: Phase,
    rest: Track,
    on: Track,
    run: Run,
    rise: Option<Rise>,
    /// The run began before the log did, and nothing has shown what rest is.
    presumed: bool,
    rest_known: bool,
    pending: Option<Departure>,
    recent: Recent,
    last_in: Sample,
    level: f64,
    interval: f64,
}

/// A run that is still on its way up: the highest reading so far, readings, readings at that time.
#[derive(Clone, Copy, Debug)]
struct Rise {
    top: f64,
    n: u64,
    at: u64,
}

impl Detector {
    /// Begins at the level and scatter of the first readings.
    pub(super) fn begin(first: Sample, level: f64, sigma: f64) -> Self {
        let on = level.abs() >= BEGINS_ON_VOLTS;
        let sign = if level <= -BEGINS_ON_VOLTS { -1.0 } else { 1.0 };
        let mut rest = Track::with_sigma(sigma);
        if !on {
            rest.push(first.t, level, 1.0, 1.0);
        }
        Self {
            phase: if on { Phase::On } else { Phase::Rest },
            rest,
            on: Track::with_sigma(sigma),
            run: Run::begin(None, sign, first),
            rise: None,
            presumed: on,
            rest_known: !on,
            pending: None,
            recent: Recent::default(),
            last_in: first,
            level,
            interval: 0.0,
        }
    }

    /// Takes one reading; `interval` is the usual time between readings.
    pub(super) fn push(&mut self, reading: Sample, interval: f64, out: &mut Vec<Notice>) -> Place {
        self.interval = interval;
        let place = match self.phase {
            Phase::Rest => self.at_rest(reading, out),
            Phase::On => self.while_on(reading, out),
            Phase::Falling => self.falling(reading, out),
        };
        self.recent.push(reading);
        place
    }

    /// Whether all of a block of readings in order would change nothing but sums.
    pub(super) fn calm(&self, t: &[f64], low: f64, high: f64) -> Option<Place> {
        if self.pending.is_some() || self.rise.is_some() {
            return None;
        }
        let (from, to) = (*t.first()?, *t.last()?);
        let (a, b, band, place) = match self.phase {
            Phase::Rest if self.rest.count() >= KNOWN => {
                (self.rest.mean(), self.rest.mean(), self.rest_band(), Place::Rest)
            }
            Phase::On if self.on.count() >= KNOWN => {
                (self.on.at(from), self.on.at(to), self.on_band(), Place::On)
            }
            _ => return None,
        };
        let narrow = (a - b).abs() <= band / 4.0;
        (narrow && low >= a.max(b) - band && high <= a.min(b) + band).then_some(place)
    }

    /// Takes a block that is [`Self::calm`].
    pub(super) fn absorb(&mut self, block: &Block<'_>, interval: f64) {
        let Block { t, x, first_index, low, high } = *block;
        self.interval = interval;
        let fade = self.fade();
        let mut here = super::moments::Moments::default();
        let track = match self.phase {
            Phase::On => {
                let before = self.run.extent.moments;
                self.run.extent.extend(t, x, low, high);
                self.run.readings += x.len() as u64;
                self.run.peak = self.run.peak.max(high * self.run.sign).max(low * self.run.sign);
                here = self.run.extent.moments.since(&before);
                self.run.last_s = t.last().copied().unwrap_or(self.run.last_s);
                &mut self.on
            }
            _ => {
                here.extend(t, x);
                &mut self.rest
            }
        };
        if let (Some(middle), Some(noise)) = (here.centre(), here.noise()) {
            track.push(middle.0, middle.1, here.count(), fade);
            track.push_variance(noise * noise, here.count());
        }
        let tail = x.len().saturating_sub(4);
        for (i, (t, x)) in t.iter().zip(x).enumerate().skip(tail) {
            self.last_in = Sample { t: *t, x: *x, index: first_index + i as u64 };
            self.recent.push(self.last_in);
        }
    }

    /// The run that is open, if the output is on now.
    pub(super) fn open_run(&self) -> Option<Run> {
        (self.phase == Phase::On).then(|| {
            let mut run = self.run;
            if let Some(pending) = self.pending.as_ref() {
                run.extent.merge(&pending.extent);
            }
            run
        })
    }

    fn fade(&self) -> f64 {
        (16.0 * self.interval).max(1.0)
    }

    fn rest_level(&self) -> f64 {
        if self.rest_known { self.rest.mean() } else { 0.0 }
    }

    fn rest_band(&self) -> f64 {
        (BAND_SIGMAS * self.rest.sigma()).max(REST_BAND_VOLTS)
    }

    fn on_span(&self) -> f64 {
        (self.on.mean() - self.rest_level()).abs()
    }

    fn on_band(&self) -> f64 {
        // A line through n readings is itself unsure by some 2 sigma / sqrt n at its end.
        let unsure = (1.0 + 4.0 / self.on.count().max(1.0)).sqrt();
        (BAND_SIGMAS * self.on.sigma_at_most() * unsure).max(BAND_SHARE * self.on_span())
    }

    /// The change that begins an alarm.
    fn on_volts(&self) -> f64 {
        (6.0 * self.rest.sigma_at_most()).max(LEAST_VOLTS)
    }

    fn at_rest(&mut self, reading: Sample, out: &mut Vec<Notice>) -> Place {
        let away = reading.x - self.rest_level();
        let before = self.recent.newest_first().first().copied();
        if away.abs() > self.on_volts() {
            let edge = self.edge_from_rest(reading, away.abs());
            self.begin_run(Some(edge), away.signum(), reading, out);
            return Place::On;
        }
        let band = self.rest_band();
        let inside = away.abs() <= band || self.rest.count() < KNOWN;
        if !inside {
            let upwards = away > 0.0;
            if self.pending.as_ref().is_none_or(|p| p.upwards != upwards) {
                let extent = Extent::begin(1.0, reading.t);
                self.pending = Some(Departure::begin(self.last_in, reading, away, extent));
            }
            let sigma = self.rest.sigma();
            let settled = self.pending.as_mut().and_then(|pending| {
                pending.push(reading, away);
                pending.settled(reading.t, SETTLES_S, sigma)
            });
            if settled.is_some() {
                self.pending = None;
                self.rest.restart();
                self.rest.push(reading.t, reading.x, 1.0, self.fade());
                self.last_in = reading;
            }
        } else {
            self.pending = None;
            self.rest.push(reading.t, reading.x, 1.0, self.fade());
            self.last_in = reading;
        }
        if let Some(before) = before {
            self.rest.push_pair(reading.x - before.x, REST_BAND_VOLTS);
        }
        self.rest_known = true;
        if inside { Place::Rest } else { Place::Between }
    }

    fn edge_from_rest(&self, reading: Sample, away: f64) -> Edge {
        let leaving = Leaving {
            level: &self.rest,
            line: false,
            band: self.rest_band(),
            span: away,
            interval: self.interval,
        };
        onset::find(&leaving, self.recent.newest_first(), self.pending.as_ref(), reading)
    }

    fn begin_run(&mut self, on: Option<Edge>, sign: f64, reading: Sample, out: &mut Vec<Notice>) {
        self.phase = Phase::On;
        self.pending = None;
        self.run = Run::begin(on, sign, reading);
        self.on = Track::default();
        self.rise = Some(Rise { top: f64::NEG_INFINITY, n: 0, at: 0 });
        if let Some(edge) = on {
            out.push(Notice::On(edge));
        }
        self.while_on(reading, out);
    }

    fn while_on(&mut self, reading: Sample, out: &mut Vec<Notice>) -> Place {
        let sign = self.run.sign;
        let y = sign * (reading.x - self.rest_level());
        if self.on.count() > 0.0 && y < OFF_SHARE * self.on_span() {
            return self.end_run(reading, out);
        }
        if self.presumed && self.on.count() > 0.0 && y > 1.6 * self.on_span() {
            return self.was_rest(reading, out);
        }
        self.run.readings += 1;
        self.run.last_s = reading.t;
        self.run.peak = self.run.peak.max(sign * reading.x);
        let before = self.recent.newest_first().first().copied();
        if self.rise.is_some() {
            self.rising(reading, y);
        } else {
            self.on_level(reading, out);
        }
        if let Some(before) = before.filter(|b| b.t >= self.run.first_s)
            && self.run.readings > 1
        {
            let floor = BAND_SHARE * self.on_span();
            self.on.push_pair(reading.x - before.x, floor);
        }
        Place::On
    }

    /// On its way up: each new height begins the run's sums anew, until none comes for as many
    /// readings as it took so far.
    fn rising(&mut self, reading: Sample, y: f64) {
        let Some(rise) = self.rise.as_mut() else { return };
        rise.n += 1;
        let higher = (0.005 * rise.top).max(4.0 * self.on.sigma());
        if y > rise.top + higher {
            (rise.top, rise.at) = (y, rise.n);
            let from = self.run.from();
            self.run.extent = Extent::begin(self.run.sign, from);
            self.on.restart();
        }
        if rise.n > 2 * rise.at + 2 {
            self.rise = None;
        }
        self.run.extent.push(reading);
        self.on.push(reading.t, reading.x, 1.0, self.fade());
        self.last_in = reading;
        self.level = self.on.mean();
    }

    fn on_level(&mut self, reading: Sample, out: &mut Vec<Notice>) {
        let away = reading.x - self.on.at(reading.t);
        if self.on.count() < KNOWN || away.abs() <= self.on_band() {
            self.close_pending(out);
            self.run.extent.push(reading);
            self.on.push(reading.t, reading.x, 1.0, self.fade());
            self.last_in = reading;
            self.level = self.on.mean();
            return;
        }
        let upwards = away > 0.0;
        if self.pending.as_ref().is_some_and(|p| p.upwards != upwards) {
            self.close_pending(out);
        }
        let (last_in, sigma) = (self.last_in, self.on.sigma());
        let beside = self.run.extent.beside();
        let pending =
            self.pending.get_or_insert_with(|| Departure::begin(last_in, reading, away, beside));
        pending.push(reading, away);
        pending.extent.push(reading);
        if let Some(level) = pending.settled(reading.t, SETTLES_S, sigma) {
            let first = pending.first;
            let edge = Edge {
                at: f64::midpoint(pending.last_in.t, first.t),
                u: (first.t - pending.last_in.t) / 2.0,
                index: first.index,
            };
            self.run.extent.merge(&pending.extent);
            self.pending = None;
            self.on.restart();
            self.on.push(reading.t, level, 2.0, self.fade());
            self.last_in = reading;
            self.level = level;
            out.push(Notice::Step(edge));
        }
    }

    /// The readings that were away came back: a spike, or no more than scatter.
    fn close_pending(&mut self, out: &mut Vec<Notice>) {
        let Some(pending) = self.pending.take() else { return };
        let far = (6.0 * self.on.sigma_at_most()).max(0.05 * self.on_span());
        let inrush = !pending.upwards && self.run.extent.in_inrush(pending.first.t);
        let brief = pending.n <= 2 && pending.peak > far;
        if inrush && pending.peak > far {
            self.run.extent.stretch_over(&pending.extent);
        } else if brief {
            out.push(Notice::Spike(pending.furthest));
        } else {
            self.run.extent.merge(&pending.extent);
        }
        self.run.extent.moments.part();
    }

    fn end_run(&mut self, reading: Sample, out: &mut Vec<Notice>) -> Place {
        let short = self.on.count() < KNOWN;
        let band = if short { 0.25 * self.on_span() } else { self.on_band() };
        let leaving = Leaving {
            level: &self.on,
            line: !short,
            band,
            span: self.on_span(),
            interval: self.interval,
        };
        let recent = self.recent.newest_first();
        let edge = onset::find(&leaving, recent, self.pending.as_ref(), reading);
        self.run.off = Some(edge);
        self.pending = None;
        self.rise = None;
        self.presumed = false;
        self.level = self.on.mean();
        out.push(Notice::Off(Box::new(self.run)));
        self.phase = Phase::Falling;
        self.settle_low(reading)
    }

    /// What seemed an alarm from the start was the level at rest: a far higher one has come.
    fn was_rest(&mut self, reading: Sample, out: &mut Vec<Notice>) -> Place {
        self.presumed = false;
        self.rest = self.on;
        self.rest_known = true;
        self.phase = Phase::Rest;
        self.pending = None;
        out.clear();
        self.at_rest(reading, out)
    }

    fn falling(&mut self, reading: Sample, out: &mut Vec<Notice>) -> Place {
        let rest = self.rest_level();
        let span = (self.level - rest).abs();
        let y = self.run.sign * (reading.x - rest);
        if y.abs() > ON_SHARE * span && span > 0.0 {
            let sign = y.signum() * self.run.sign;
            let edge = onset::rise(self.recent.newest_first(), reading, sign);
            self.begin_run(Some(edge), sign, reading, out);
            return Place::On;
        }
        self.settle_low(reading)
    }

    /// Back at rest, if this reading is.
    fn settle_low(&mut self, reading: Sample) -> Place {
        let rest = self.rest_level();
        // Well below what begins an alarm, or the tail of a slow fall would begin one.
        let near = (0.5 * self.on_volts()).min(0.3 * (self.level - rest).abs());
        if (reading.x - rest).abs() > near {
            return Place::Between;
        }
        self.phase = Phase::Rest;
        self.rest.push(reading.t, reading.x, 1.0, self.fade());
        self.rest_known = true;
        self.last_in = reading;
        Place::Rest
    }
}

/// Neighbouring readings with their lowest and highest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block<'a> {
    pub(super) t: &'a [f64],
    pub(super) x: &'a [f64],
    pub(super) first_index: u64,
    pub(super) low: f64,
    pub(super) high: f64,
}

#[cfg(test)]
mod tests;
