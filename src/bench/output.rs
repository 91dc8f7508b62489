//! Equipment with a switched output, as an output file describes it: its alarm on or off and a
//! moment in, volts between its two terminals out. On delay, window, pulses, sag, noise and the
//! tail that a hold-up capacitor leaves; the same seed and moment give the same volts. The file
//! is the truth for the simulator and for a test alike; its text is [`super::output_file`]'s.

use super::chance::{Chance, Stream};
use drivers::Moment;
use schemars::JsonSchema;
use serde::Deserialize;

/// What the output does.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Output {
    /// Level at rest, in volts.
    pub rest_volts: f64,
    /// Level in alarm as it comes on, in volts.
    pub alarm_volts: f64,
    /// From the alarm to coming on, in seconds.
    pub on_delay_s: f64,
    /// How long it stays on, in seconds; 0: as long as the alarm.
    pub window_s: f64,
    /// Whether it comes on at all.
    pub comes_on: bool,
    /// Time from one pulse to the next, in seconds; 0: steady.
    pub pulse_period_s: f64,
    /// Share of the period that it is on, 0 to 1.
    pub pulse_duty: f64,
    /// Change of the level while on, in volts per minute.
    pub sag_volts_per_min: f64,
    /// Standard deviation of its noise, in volts.
    pub noise_volts: f64,
    /// Time constant of its fall once it is off, in seconds; 0: at once.
    pub hold_up_s: f64,
    /// Whether the terminals are marked the wrong way round.
    pub reversed: bool,
    /// Whether it is in alarm when the bench begins.
    pub begins_in_alarm: bool,
}

impl Default for Output {
    fn default() -> Self {
        Self {
            rest_volts: 0.0,
            alarm_volts: 13.6,
            on_delay_s: 0.5,
            window_s: 0.0,
            comes_on: true,
            pulse_period_s: 0.0,
            pulse_duty: 0.5,
            sag_volts_per_min: 0.0,
            noise_volts: 0.0,
            hold_up_s: 0.0,
            reversed: false,
            begins_in_alarm: false,
        }
    }
}

/// The equipment as it stands on the bench.
#[derive(Clone, Debug)]
pub(crate) struct Equipment {
    output: Output,
    seed: u64,
    /// When the alarm began, and when it was taken off.
    alarm: Option<(Moment, Option<Moment>)>,
}

impl Equipment {
    pub(crate) fn new(output: Output, seed: u64) -> Self {
        let alarm = output.begins_in_alarm.then_some((Moment::START, None));
        Self { output, seed, alarm }
    }

    /// The alarm begins, or is taken off; an alarm that is on goes on.
    pub(crate) fn set_alarm(&mut self, on: bool, now: Moment) {
        match &mut self.alarm {
            Some((_, off @ None)) if !on => *off = Some(now),
            Some((_, None)) => {}
            _ if on => self.alarm = Some((now, None)),
            _ => {}
        }
    }

    /// Volts of the terminal marked plus against the one marked minus.
    pub(crate) fn volts(&self, now: Moment) -> f64 {
        let o = &self.output;
        let level = self.level(now);
        let nanos = u64::try_from(now.since_start().as_nanos()).unwrap_or(u64::MAX);
        let noise = match o.noise_volts > 0.0 {
            true => o.noise_volts * Chance::of(self.seed ^ nanos, Stream::Output).normal(),
            false => 0.0,
        };
        let volts = level + noise;
        if o.reversed { -volts } else { volts }
    }

    fn level(&self, now: Moment) -> f64 {
        let o = &self.output;
        let Some((began, taken_off)) = self.alarm.filter(|_| o.comes_on) else {
            return o.rest_volts;
        };
        // Time since it came on.
        let t = now.since(began).as_secs_f64() - o.on_delay_s;
        if now < began || t < 0.0 {
            return o.rest_volts;
        }
        let mut ends = if o.window_s > 0.0 { o.window_s } else { f64::INFINITY };
        if let Some(off) = taken_off {
            ends = ends.min(off.since(began).as_secs_f64() - o.on_delay_s);
        }
        if ends <= 0.0 {
            return o.rest_volts;
        }
        let inside = t.min(ends);
        // The last moment at which it was driven: now, or the end of a pulse, or of the window.
        let driven = if o.pulse_period_s > 0.0 {
            let begins = (inside / o.pulse_period_s).floor() * o.pulse_period_s;
            inside.min(begins + o.pulse_period_s * o.pulse_duty)
        } else {
            inside
        };
        let height = o.alarm_volts + o.sag_volts_per_min * driven / 60.0 - o.rest_volts;
        let since = t - driven;
        let left = match since {
            s if s <= 0.0 => 1.0,
            _ if o.hold_up_s <= 0.0 => 0.0,
            s => (-s / o.hold_up_s).exp(),
        };
        o.rest_volts + height * left
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn at(seconds: f64) -> Moment {
        Moment::from_start(Duration::from_secs_f64(seconds))
    }

    fn in_alarm_from(seconds: f64, output: Output) -> Equipment {
        let mut equipment = Equipment::new(output, 1);
        equipment.set_alarm(true, at(seconds));
        equipment
    }

    fn steady() -> Output {
        Output { rest_volts: 0.1, alarm_volts: 13.0, window_s: 3.0, ..Output::default() }
    }

    #[test]
    fn it_comes_on_after_its_delay_for_its_window() {
        let it = in_alarm_from(2.0, steady());
        let volts = [1.0, 2.4, 2.6, 5.4, 5.6].map(|t| it.volts(at(t)));
        assert_eq!(volts, [0.1, 0.1, 13.0, 13.0, 0.1]);
    }

    #[test]
    fn without_a_window_it_stays_on_as_long_as_the_alarm() {
        let mut it = in_alarm_from(2.0, Output { window_s: 0.0, ..steady() });
        assert_eq!(it.volts(at(500.0)), 13.0);
        it.set_alarm(false, at(501.0));
        assert_eq!([it.volts(at(500.9)), it.volts(at(501.1))], [13.0, 0.1]);
    }

    #[test]
    fn pulses_keep_their_period_and_duty() {
        let pulsed = Output { pulse_period_s: 1.0, pulse_duty: 0.25, ..steady() };
        let it = in_alarm_from(0.0, pulsed);
        let on: Vec<bool> =
            [0.6, 0.7, 0.8, 1.4, 1.6, 3.6].iter().map(|t| it.volts(at(*t)) > 1.0).collect();
        assert_eq!(on, [true, true, false, false, true, false]);
    }

    #[test]
    fn it_sags_and_falls_by_its_time_constant() {
        let output = Output { sag_volts_per_min: -6.0, hold_up_s: 0.3, ..steady() };
        let it = in_alarm_from(0.0, Output { rest_volts: 0.0, ..output });
        assert!((it.volts(at(2.5)) - 12.8).abs() < 1e-9, "two seconds of a tenth of a volt each");
        let end = 12.7;
        let fallen = it.volts(at(3.5 + 0.3));
        assert!((fallen - end / std::f64::consts::E).abs() < 1e-9, "{fallen}");
    }

    #[test]
    fn noise_is_the_same_at_the_same_moment() {
        let noisy = in_alarm_from(0.0, Output { noise_volts: 0.5, ..steady() });
        assert_eq!(noisy.volts(at(1.0)), noisy.volts(at(1.0)));
        let many: Vec<f64> =
            (0..2000u32).map(|i| noisy.volts(at(1.0 + f64::from(i) / 1000.0)) - 13.0).collect();
        let square = many.iter().map(|v| v * v).sum::<f64>() / 2000.0;
        assert!((square.sqrt() - 0.5).abs() < 0.05, "{square}");
    }

    #[test]
    fn what_never_comes_on_or_is_reversed_does_so() {
        let never = in_alarm_from(0.0, Output { comes_on: false, ..steady() });
        assert_eq!(never.volts(at(1.0)), 0.1);
        let reversed = in_alarm_from(0.0, Output { reversed: true, ..steady() });
        assert_eq!(reversed.volts(at(1.0)), -13.0);
    }
}
