//! What an output does while it is being logged, reading by reading and without delay: has it come
//! on, is it on now, since when has it been off. The edges are the analysis's own ([`Detector`]);
//! a spike of a reading or two is no alarm, and pulses up to five seconds apart are one. Figures
//! are left to the analysis of the whole log. Seconds and volts.

use super::detector::{Detector, Notice};
use super::pace::Pace;
use super::reading::{Edge, Sample};
use super::run::Run;
use super::windows::{PAUSE_MAX_S, SPIKE_S};

/// The first readings say where the level begins and how it scatters.
const FIRST: usize = 4;
/// A run of so many readings is no spike; one of a reading less must last [`SPIKE_S`].
const READINGS_MIN: u64 = 3;
/// So many short runs close together are a cadence that the meter is too slow for.
const RUNS_MIN: u32 = 4;

/// An edge as it was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SeenEdge {
    /// When, in seconds.
    pub t_s: f64,
    /// The largest error of that, in seconds.
    pub t_s_u: f64,
}

/// Watches a log as it grows.
#[derive(Clone, Debug, Default)]
pub struct Watch {
    first: Vec<Sample>,
    last_t: Option<f64>,
    pace: Pace,
    detector: Option<Detector>,
    /// When the alarm that is under way, or may be one, began.
    began: Option<SeenEdge>,
    /// Whether it is one.
    sure: bool,
    runs: u32,
    off: Option<SeenEdge>,
}

impl Watch {
    /// Takes one reading; one from before the last is left out.
    pub fn push(&mut self, t_s: f64, volts: f64) {
        if !(t_s.is_finite() && volts.is_finite()) || self.last_t.is_some_and(|last| t_s < last) {
            return;
        }
        // Which reading it is, nobody asks here.
        let sample = Sample { t: t_s, x: volts, index: 0 };
        if let Some(last) = self.last_t.replace(t_s) {
            self.pace.push(last, t_s);
        }
        if self.detector.is_some() {
            self.take(sample);
            return;
        }
        self.first.push(sample);
        if self.first.len() == FIRST {
            self.begin();
        }
    }

    /// When the output came on, once that is sure.
    #[must_use]
    pub fn came_on(&self) -> Option<SeenEdge> {
        self.began.filter(|_| self.sure)
    }

    /// Whether it is on at the last reading.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.detector.as_ref().is_some_and(|d| d.open_run().is_some())
    }

    /// When it went off last, after an alarm, if it is off now.
    #[must_use]
    pub fn off_since(&self) -> Option<SeenEdge> {
        self.off.filter(|_| self.sure && !self.is_on())
    }

    /// When the last reading was, in seconds.
    #[must_use]
    pub const fn last_s(&self) -> Option<f64> {
        self.last_t
    }

    fn begin(&mut self) {
        let times: Vec<f64> = self.first.iter().map(|s| s.t).collect();
        self.pace = Pace::begin(&times);
        let level = super::ranked(self.first.iter().map(|s| s.x).collect(), 0.5);
        let sigma = scatter(&self.first);
        let first = std::mem::take(&mut self.first);
        self.detector = first.first().map(|s| Detector::begin(*s, level, sigma));
        first.into_iter().for_each(|sample| self.take(sample));
    }

    fn take(&mut self, sample: Sample) {
        let Some(detector) = self.detector.as_mut() else { return };
        let mut notices = Vec::new();
        let _ = detector.push(sample, self.pace.interval(), &mut notices);
        let open = detector.open_run();
        for notice in notices {
            match notice {
                Notice::On(edge) => self.on(edge),
                Notice::Off(run) => self.off(&run),
                Notice::Step(_) | Notice::Spike(_) => {}
            }
        }
        self.sure |= self.began.is_some() && open.is_some_and(|run| !is_spike(&run));
    }

    fn on(&mut self, edge: Edge) {
        let joins = self.off.is_some_and(|off| edge.at - off.t_s <= PAUSE_MAX_S);
        if !(self.sure || joins) {
            (self.began, self.runs) = (Some(seen(edge)), 0);
        }
    }

    fn off(&mut self, run: &Run) {
        // One that was on as the log began shows itself by its end.
        self.began = self.began.or(Some(SeenEdge { t_s: run.first_s, t_s_u: 0.0 }));
        self.runs += 1;
        self.sure |= !is_spike(run) || self.runs >= RUNS_MIN;
        self.off = run.off.map(seen);
    }
}

/// The standard deviation of the first readings: half of |a - b| lie below 0.6745 sqrt(2) sigma, if
/// the scatter is normal. An edge among these few moves the middle one little.
fn scatter(first: &[Sample]) -> f64 {
    let x: Vec<f64> = first.iter().map(|s| s.x).collect();
    super::by_steps(&x, 0.5, 0.6745)
}

fn is_spike(run: &Run) -> bool {
    let lasts = run.last_s - run.first_s;
    run.readings + 1 < READINGS_MIN || (run.readings < READINGS_MIN && lasts < SPIKE_S)
}

fn seen(edge: Edge) -> SeenEdge {
    SeenEdge { t_s: edge.at, t_s_u: edge.u }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings every `step` seconds of what `volts` says, until the watch is asked.
    fn watched(step: f64, until: f64, volts: impl Fn(f64) -> f64) -> Watch {
        let mut watch = Watch::default();
        for i in 0.. {
            let t = f64::from(i) * step;
            if t > until {
                break;
            }
            watch.push(t, volts(t));
        }
        watch
    }

    fn window(t: f64) -> f64 {
        if (4.0..9.0).contains(&t) { 13.6 } else { 0.01 }
    }

    #[test]
    fn coming_on_is_seen_within_three_readings() {
        let watch = watched(0.1, 4.25, window);
        let on = watch.came_on().unwrap();
        assert!(watch.is_on() && watch.off_since().is_none());
        assert!((on.t_s - 3.95).abs() <= on.t_s_u + 1e-9 && on.t_s_u <= 0.06, "{on:?}");
    }

    #[test]
    fn a_drop_is_seen_at_the_next_reading() {
        let watch = watched(0.1, 9.05, window);
        let off = watch.off_since().unwrap();
        assert!(!watch.is_on());
        assert!((off.t_s - 8.95).abs() <= 0.06, "{off:?}");
    }

    #[test]
    fn a_spike_is_no_alarm() {
        let watch = watched(0.1, 20.0, |t| if (4.0..4.05).contains(&t) { 9.0 } else { 0.0 });
        assert_eq!(watch.came_on(), None);
        assert_eq!(watch.off_since(), None);
    }

    #[test]
    fn a_level_at_rest_that_scatters_by_more_than_a_volt_is_no_alarm() {
        let to_and_fro = |t: f64| if (t * 10.0) % 2.0 < 0.5 { 0.0 } else { 1.2 };
        assert_eq!(watched(0.1, 20.0, to_and_fro).came_on(), None);
    }

    #[test]
    fn pulses_are_one_alarm_that_is_off_since_the_last() {
        let pulsed = |t: f64| if window(t) > 1.0 && (t % 1.0) < 0.5 { 12.0 } else { 0.0 };
        let watch = watched(0.1, 12.0, pulsed);
        assert!((watch.came_on().unwrap().t_s - 4.0).abs() < 0.1);
        assert!((watch.off_since().unwrap().t_s - 8.5).abs() < 0.1, "{watch:?}");
    }

    #[test]
    fn a_slow_meter_sees_a_window_of_seconds() {
        let watch = watched(0.5, 12.0, window);
        assert!((watch.came_on().unwrap().t_s - 3.75).abs() <= 0.26);
        assert!((watch.off_since().unwrap().t_s - 8.75).abs() <= 0.26);
    }

    #[test]
    fn what_was_on_from_the_start_is_seen_by_its_end() {
        let watch = watched(0.1, 6.0, |t| if t < 2.0 { 13.0 } else { 0.0 });
        assert_eq!(watch.came_on().unwrap().t_s, 0.0);
        assert!((watch.off_since().unwrap().t_s - 1.95).abs() < 0.1);
        assert_eq!(watched(0.1, 1.0, |_| 13.0).came_on(), None, "it may be the level at rest");
    }

    #[test]
    fn reversed_leads_make_no_difference() {
        let watch = watched(0.1, 12.0, |t| -window(t));
        assert!(watch.came_on().is_some() && watch.off_since().is_some());
    }

    #[test]
    fn what_is_seen_stays_seen_while_it_lasts() {
        let mut watch = Watch::default();
        for i in 0..200 {
            let t = f64::from(i) / 10.0;
            watch.push(t, if (40..90).contains(&i) { 13.6 } else { 0.01 });
            assert_eq!(watch.last_s(), Some(t));
            assert_eq!(watch.came_on().is_some(), i >= 42, "{t}");
            assert_eq!(watch.is_on(), (40..90).contains(&i), "{t}");
            assert_eq!(watch.off_since().is_some(), i >= 90, "{t}");
        }
    }

    #[test]
    fn readings_from_before_or_not_finite_are_left_out_and_shared_stamps_are_not() {
        let mut watch = watched(0.1, 4.0, |_| 0.0);
        for (t, x) in [(4.1, f64::NAN), (f64::INFINITY, 12.0), (f64::NAN, 12.0), (3.9, 12.0)] {
            watch.push(t, x);
            assert_eq!((watch.last_s(), watch.is_on()), (Some(4.0), false));
        }
        watch.push(4.0, 12.0);
        assert!(watch.is_on());
    }

    #[test]
    fn a_run_of_three_readings_or_of_two_half_a_second_apart_is_no_spike() {
        let sure = |step: f64, readings: u32| {
            let on = 20.0 * step..(20.0 + f64::from(readings)) * step - step / 2.0;
            watched(step, 40.0 * step, |t| if on.contains(&t) { 12.0 } else { 0.0 })
                .came_on()
                .is_some()
        };
        assert_eq!(
            [sure(0.5, 1), sure(0.5, 2), sure(0.25, 2), sure(0.25, 3)],
            [false, true, false, true]
        );
    }

    #[test]
    fn four_short_runs_no_more_than_five_seconds_apart_are_an_alarm() {
        // Single readings; off half an interval after each, on again half an interval before.
        let runs = |every: u32, n: u32| {
            let mut watch = Watch::default();
            for i in 0..90 {
                let on = i >= 8 && (i - 8) % every == 0 && (i - 8) / every < n;
                watch.push(f64::from(i) / 2.0, if on { 12.0 } else { 0.0 });
            }
            watch.came_on().map(|on| on.t_s)
        };
        assert_eq!(runs(11, 4), Some(3.75), "five seconds of pause");
        assert_eq!(runs(11, 3), None);
        assert_eq!(runs(12, 4), None, "a pause of five seconds and a half");
        assert_eq!(runs(12, 7), None);
    }

    #[test]
    fn a_later_alarm_after_spikes_begins_with_itself() {
        let spikes_first = |t: f64| match t {
            4.0 => 12.0,
            12.0..20.0 => 12.0,
            _ => 0.0,
        };
        let watch = watched(0.5, 30.0, spikes_first);
        let edges = (watch.came_on().unwrap(), watch.off_since().unwrap());
        let seen = |t_s: f64| SeenEdge { t_s, t_s_u: 0.25 };
        assert_eq!(edges, (seen(11.75), seen(19.75)));
    }

    #[test]
    fn what_seemed_on_from_the_start_is_rest_if_far_more_follows() {
        let watch = watched(0.5, 10.0, |t| if t < 4.0 { 5.0 } else { 12.0 });
        assert_eq!(watch.came_on(), Some(SeenEdge { t_s: 3.75, t_s_u: 0.25 }));
        assert!(watch.is_on());
    }

    #[test]
    fn the_first_four_readings_tell_the_scatter_by_their_middle_step() {
        let samples = |x: [f64; 4]| x.map(|x| Sample { x, ..Sample::default() });
        // Half of a normal scatter lies within 0.6745 of its standard deviation.
        let sigma = scatter(&samples([0.0, 0.5, 0.0, 9.0]));
        assert!((sigma - 0.5 / 0.6745 / 2.0_f64.sqrt()).abs() < 1e-12, "{sigma}");
        assert!(scatter(&samples([0.0, 0.0, 12.0, 12.0])).abs() < 1e-12);
    }
}
