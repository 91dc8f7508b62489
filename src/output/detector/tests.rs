//! The detector led by hand, ten readings a second from one level to another: where one answer
//! turns into the other, each on both sides. Levels are such that the shares of them are whole in
//! binary: 12.5 V ends at 5 V, its band is 0.125 V, and a spike is more than 0.625 V. Seconds and
//! volts.

use super::*;

mod blocks;

struct Log {
    detector: Detector,
    n: u32,
    out: Vec<Notice>,
}

impl Log {
    /// Begins at a level without any scatter.
    fn begin(level: f64) -> Self {
        let first = Sample { t: 0.0, x: level, index: 0 };
        Self { detector: Detector::begin(first, level, 0.0), n: 0, out: Vec::new() }
    }

    /// At rest for two seconds, then on at 12.5 V for so many readings.
    fn on(rest: f64, readings: usize) -> Self {
        let mut log = Self::begin(rest);
        log.push(&[rest; 20]);
        log.push(&vec![12.5; readings]);
        log.said();
        log
    }

    /// Pushes readings, says where the last of them belongs.
    fn push(&mut self, volts: &[f64]) -> Place {
        let mut place = Place::Between;
        for x in volts {
            let reading = Sample { t: f64::from(self.n) / 10.0, x: *x, index: u64::from(self.n) };
            place = self.detector.push(reading, 0.1, &mut self.out);
            self.n += 1;
        }
        place
    }

    /// What was noticed since it was last asked: kind and first reading, or volts of a spike.
    fn said(&mut self) -> Vec<(&'static str, f64)> {
        let index = |edge: Edge| f64::from(u32::try_from(edge.index).unwrap());
        let said = self.out.drain(..).map(|notice| match notice {
            Notice::On(edge) => ("on", index(edge)),
            Notice::Off(run) => ("off", index(run.off.unwrap())),
            Notice::Step(edge) => ("step", index(edge)),
            Notice::Spike(volts) => ("spike", volts),
        });
        said.collect()
    }
}

#[track_caller]
fn close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9, "{found}, truly {wanted}");
}

#[test]
fn a_log_that_begins_at_three_volts_begins_with_the_output_on() {
    for (level, phase, sign) in
        [(3.0, Phase::On, 1.0), (-3.0, Phase::On, -1.0), (2.99, Phase::Rest, 1.0)]
    {
        let mut log = Log::begin(level);
        assert_eq!((log.detector.phase, log.detector.run.sign), (phase, sign));
        log.push(&[level; 20]);
        assert_eq!((log.detector.phase, log.said()), (phase, vec![]));
    }
    let mut low = Log::begin(-2.0);
    low.push(&[-2.0; 20]);
    close(low.detector.rest_level(), -2.0);
    close(low.detector.rest.sigma(), 0.0);
    assert_eq!(low.said(), []);
}

#[test]
fn what_began_on_was_at_rest_if_a_level_of_more_than_eight_fifths_follows() {
    let mut same = Log::begin(5.0);
    same.push(&[5.0; 10]);
    assert_eq!(same.push(&[8.0; 4]), Place::On);
    assert_eq!(same.said(), []);
    let mut higher = Log::begin(5.0);
    higher.push(&[5.0; 10]);
    assert_eq!(higher.push(&[8.001]), Place::On);
    assert_eq!(higher.said(), [("on", 10.0)]);
    close(higher.detector.rest_level(), 5.0);
    // Once it has gone off, it was an alarm.
    let mut known = Log::begin(5.0);
    known.push(&[5.0; 10]);
    known.push(&[0.0; 10]);
    known.push(&[5.0; 10]);
    known.push(&[12.0; 2]);
    assert_eq!(known.said(), [("off", 10.0), ("on", 20.0)]);
    // The first reading belongs to it, whatever it is.
    let mut odd = Detector::begin(Sample { x: -1.0, ..Sample::default() }, 12.0, 0.0);
    let mut out = Vec::new();
    odd.push(Sample { x: -1.0, ..Sample::default() }, 0.1, &mut out);
    assert!(out.is_empty() && odd.run.readings == 1);
}

#[test]
fn more_than_a_volt_or_six_times_the_scatter_is_an_alarm() {
    let begins = |sigma: f64, volts: f64| {
        let mut log = Log::begin(0.0);
        log.push(&[0.0; 20]);
        log.detector.rest.push_variance(sigma * sigma, 1e9);
        (log.push(&[volts]), log.said())
    };
    for sign in [1.0, -1.0] {
        assert_eq!(begins(0.0, sign).0, Place::Between);
        assert_eq!(begins(0.0, sign * 1.001), (Place::On, vec![("on", 20.0)]));
        // Scatter that a thousand million pairs tell: six times 0.5 V.
        assert_eq!(begins(0.5, sign * 2.99).0, Place::Between);
        assert_eq!(begins(0.5, sign * 3.01).0, Place::On);
    }
}

#[test]
fn the_bands_follow_the_scatter() {
    let mut log = Log::on(0.0, 16);
    let detector = &mut log.detector;
    close(detector.rest_band(), 0.02);
    close(detector.on_band(), 0.125);
    detector.rest = Track::with_sigma(0.2);
    detector.rest.push(0.0, 2.5, 1.0, 1.0);
    close(detector.rest_band(), 0.9);
    // Eight pairs allow half as much again: 6 * 0.3.
    close(detector.on_volts(), 1.8);
    close(detector.on_span(), 10.0);
    detector.on = Track::with_sigma(0.2);
    close(detector.on_band(), 4.5 * 0.3 * 5.0_f64.sqrt());
    detector.on.push(0.0, 12.5, 12.0, 1.0);
    close(detector.on_band(), 4.5 * 0.3 * (4.0_f64 / 3.0).sqrt());
    assert_eq!(
        [0.01, 0.0625, 0.1].map(|interval| {
            detector.interval = interval;
            detector.fade()
        }),
        [1.0, 1.0, 1.6]
    );
}

#[test]
fn what_leaves_the_level_at_rest_for_less_than_an_alarm_is_in_between() {
    let mut log = Log::begin(0.0);
    assert_eq!(log.push(&[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5]), Place::Rest, "few are known");
    let mut log = Log::begin(0.0);
    assert_eq!(log.push(&[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5]), Place::Between);
    assert_eq!(log.push(&[0.02]), Place::Rest);
    assert!(log.detector.pending.is_none());
    assert_eq!(log.push(&[-0.5]), Place::Between);
    assert_eq!(log.said(), []);
}

#[test]
fn the_level_at_rest_moves_once_it_has_stood_elsewhere_for_half_a_second() {
    for shift in [0.5, -0.5] {
        let mut log = Log::begin(0.0);
        log.push(&[0.0; 20]);
        assert_eq!(log.push(&[shift; 5]), Place::Between);
        assert!(log.detector.pending.is_some());
        close(log.detector.rest_level(), 0.0);
        assert_eq!(log.push(&[shift]), Place::Between);
        close(log.detector.rest_level(), shift);
        assert_eq!(log.push(&[shift]), Place::Rest);
    }
    // To and fro is no other level.
    let mut log = Log::begin(0.0);
    log.push(&[0.0; 20]);
    log.push(&[0.5, -0.5].repeat(8));
    close(log.detector.rest_level(), 0.0);
}

#[test]
fn an_alarm_ends_below_two_fifths_of_the_change() {
    for (rest, end) in [(0.0, 5.0), (2.5, 6.5)] {
        let mut log = Log::on(rest, 12);
        assert_eq!(log.push(&[end]), Place::On);
        assert_eq!(log.said(), []);
        let mut log = Log::on(rest, 12);
        assert_eq!(log.push(&[end - 0.001]), Place::Between);
        assert_eq!(log.said(), [("off", 32.0)]);
        assert!(log.detector.open_run().is_none());
    }
}

#[test]
fn a_rise_lasts_for_as_long_again_as_it_took_to_the_top() {
    for top_at in 1..4_u32 {
        let mut log = Log::on(0.0, 0);
        let steps: Vec<f64> = (1..=top_at).map(|k| 6.0 + f64::from(k)).collect();
        log.push(&steps);
        // Readings that the rise has had as it ends: the first beyond twice as many and two.
        for n in top_at..2 * top_at + 2 {
            assert!(log.detector.rise.is_some(), "{n} of {top_at}");
            assert_eq!(log.detector.calm(&[0.0, 9.0], 6.9, 7.1), None);
            log.push(&[6.0 + f64::from(top_at)]);
        }
        assert!(log.detector.rise.is_some());
        log.push(&[6.0 + f64::from(top_at)]);
        assert!(log.detector.rise.is_none());
        let run = log.detector.open_run().unwrap();
        assert_eq!(run.extent.min, 6.0 + f64::from(top_at), "what came before is the edge");
        assert_eq!(run.readings, u64::from(2 * top_at + 3));
    }
}

#[test]
fn a_new_height_is_half_a_hundredth_more_or_four_times_the_scatter() {
    let lowest = |volts: &[f64]| {
        let mut log = Log::on(0.0, 0);
        log.push(volts);
        log.detector.run.extent.min
    };
    assert_eq!(lowest(&[12.5, 12.5625]), 12.5);
    assert_eq!(lowest(&[12.5, 12.563]), 12.563);
    // The first pair counts as a hundredth of the change, 0.1225 V at a mean of 12.25 V.
    assert_eq!(lowest(&[12.5, 12.0, 12.5 + 0.48]), 12.0);
    assert_eq!(lowest(&[12.5, 12.0, 12.5 + 0.5]), 13.0);
}

#[test]
fn the_scatter_of_an_alarm_is_that_between_its_own_readings() {
    let mut log = Log::on(0.0, 0);
    log.push(&[12.5]);
    close(log.detector.on.sigma(), 0.0);
    log.push(&[12.0]);
    let mean = log.detector.on.mean();
    close(log.detector.on.sigma(), 0.01 * mean);
    // A reading at rest that shares its stamp with the first is none of them.
    let mut log = Log::on(0.0, 0);
    let last = log.detector.last_in;
    let first = Sample { x: 12.5, index: last.index + 1, ..last };
    log.detector.push(first, 0.1, &mut log.out);
    close(log.detector.on.sigma(), 0.0);
    // Half the squared differences of 0.0625 V, ten pairs.
    let mut steps = Log::begin(12.5);
    steps.push(&[12.5, 12.4375].repeat(6)[..11]);
    close(steps.detector.on.sigma(), 0.0625 / 2.0_f64.sqrt());
    assert_eq!((steps.detector.run.peak, steps.detector.run.readings), (12.5, 11));
    let mut reversed = Log::begin(-12.5);
    reversed.push(&[-12.5, -13.0]);
    assert_eq!(reversed.detector.run.peak, 13.0);
}

#[test]
fn one_or_two_readings_far_from_the_level_are_a_spike_and_nearer_ones_part_of_it() {
    let after = |volts: &[f64]| {
        let mut log = Log::on(0.0, 20);
        log.push(volts);
        assert_eq!(log.said(), []);
        assert_eq!(log.push(&[12.5]), Place::On);
        let extent = log.detector.run.extent;
        (log.said(), extent.min, extent.max, extent.moments.count())
    };
    assert_eq!(after(&[13.125]), (vec![], 12.5, 13.125, 22.0));
    assert_eq!(after(&[13.126]), (vec![("spike", 13.126)], 12.5, 12.5, 21.0));
    assert_eq!(after(&[20.0, 19.0]), (vec![("spike", 20.0)], 12.5, 12.5, 21.0));
    assert_eq!(after(&[10.0, 9.0]), (vec![("spike", 9.0)], 12.5, 12.5, 21.0));
    assert_eq!(after(&[20.0, 19.0, 19.0]), (vec![], 12.5, 20.0, 24.0));
    // A band of 0.125 V is the level.
    assert_eq!(after(&[12.625]).3, 22.0);
    // Where it scatters, more is wanted: nine times the variance is the most that the pair itself
    // counts for, which is 0.25 + 2 / 64 then; a seventh more is allowed for 64 pairs, six times.
    for (away, spikes) in [(3.7, 0), (3.8, 1)] {
        let mut noisy = Log::on(0.0, 20);
        noisy.detector.on.push_variance(0.25, 1e9);
        noisy.push(&[12.5 + away]);
        assert!(noisy.detector.pending.is_some());
        noisy.push(&[12.5]);
        assert_eq!(noisy.said().len(), spikes);
    }
}

#[test]
fn a_reading_on_the_other_side_ends_an_excursion() {
    let mut log = Log::on(0.0, 20);
    log.push(&[20.0, 9.0]);
    assert_eq!(log.said(), [("spike", 20.0)]);
    log.push(&[9.0, 15.0, 15.0, 12.5]);
    assert_eq!(log.said(), [("spike", 9.0), ("spike", 15.0)]);
    // What came back is no neighbour of what was there before.
    let moments = log.detector.run.extent.moments;
    assert_eq!((moments.count(), moments.noise()), (21.0, Some(0.0)));
}

#[test]
fn a_dip_in_the_first_second_is_the_inrush_and_a_peak_in_it_a_spike() {
    // On between 1.9 s and 2 s: the second is over at 2.95 s.
    let at = |readings: usize, volts: f64| {
        let mut log = Log::on(0.0, readings);
        log.push(&[volts, volts, 12.5]);
        let extent = log.detector.run.extent;
        (log.said(), extent.early.0, extent.min, extent.moments.count())
    };
    assert_eq!(at(9, 10.0), (vec![], 10.0, 10.0, 10.0));
    assert_eq!(at(10, 10.0), (vec![("spike", 10.0)], 12.5, 12.5, 11.0));
    assert_eq!(at(9, 15.0), (vec![("spike", 15.0)], 12.5, 12.5, 10.0));
    // A shallow one is part of the level: a twentieth of the change.
    assert_eq!(at(9, 11.875), (vec![], 11.875, 11.875, 12.0));
    assert_eq!(at(9, 12.0), (vec![], 12.0, 12.0, 12.0));
}

#[test]
fn another_level_while_on_is_a_step_once_it_has_stood_for_half_a_second() {
    let mut log = Log::on(0.0, 20);
    log.push(&[14.0; 5]);
    assert_eq!(log.said(), []);
    let open = log.detector.open_run().unwrap();
    assert_eq!((open.extent.moments.count(), open.extent.max), (25.0, 14.0));
    assert_eq!(log.detector.calm(&[0.0, 9.0], 12.5, 12.5), None, "it is not over");
    log.push(&[14.0]);
    let Some(Notice::Step(edge)) = log.out.first().cloned() else { panic!("{:?}", log.out) };
    close(edge.at, 3.95);
    close(edge.u, 0.05);
    assert_eq!(log.said(), [("step", 40.0)]);
    close(log.detector.on.mean(), 14.0);
    close(log.detector.on.count(), 2.0);
    assert_eq!(log.detector.run.extent.moments.count(), 26.0);
    // And from there another half a second later.
    log.push(&[14.0; 10]);
    log.push(&[13.0; 6]);
    assert_eq!(log.said(), [("step", 56.0)]);
}

#[test]
fn a_short_pulse_ends_where_it_leaves_a_quarter_of_the_change() {
    let ends = |volts: &[f64]| {
        let mut log = Log::on(0.0, 0);
        log.push(volts);
        log.push(&[0.0]);
        log.said()
    };
    assert_eq!(ends(&[12.5, 12.5, 12.5, 11.5]), [("on", 20.0), ("off", 24.0)]);
    assert_eq!(ends(&[12.5, 12.5, 12.5, 6.0]), [("on", 20.0), ("off", 23.0)]);
    assert_eq!(ends(&[12.5, 12.5, 12.5, 12.5, 12.5, 12.5, 11.5]), [("on", 20.0), ("off", 27.0)]);
    // A longer one, of eight readings, where it leaves its band.
    let eight = [12.5, 12.5, 12.5, 12.5, 12.5, 12.5, 12.5, 11.5];
    assert_eq!(ends(&eight), [("on", 20.0), ("off", 27.0)]);
    let mut long = Log::on(0.0, 20);
    long.push(&[11.5, 0.0]);
    assert_eq!(long.said(), [("off", 40.0)]);
}

#[test]
fn a_sagging_alarm_ends_where_it_leaves_its_line() {
    // Half a volt a second: the mean of what has not faded lags behind by more than the band.
    let mut log = Log::on(0.0, 0);
    log.push(&(0..30).map(|k| 12.5 - 0.05 * f64::from(k)).collect::<Vec<_>>());
    log.push(&[7.0, 0.0]);
    assert_eq!(log.said(), [("on", 20.0), ("off", 50.0)]);
}

#[test]
fn eight_readings_make_a_level_that_can_be_left() {
    for (readings, left) in [(7, false), (8, true)] {
        let mut log = Log::on(0.0, readings);
        log.push(&[12.0]);
        assert_eq!(log.detector.pending.is_some(), left);
    }
}

#[test]
fn it_is_back_at_rest_within_half_a_volt_or_three_tenths_of_the_change() {
    let mut log = Log::on(0.0, 20);
    assert_eq!(log.push(&[0.51]), Place::Between);
    assert_eq!(log.push(&[-0.51]), Place::Between);
    assert_eq!(log.push(&[0.5]), Place::Rest);
    assert_eq!(log.detector.phase, Phase::Rest);
    close(log.detector.last_in.x, 0.5);
    // A change of 1.25 V only: 0.375 V.
    let mut small = Log::begin(0.0);
    small.push(&[0.0; 20]);
    small.push(&[1.25; 20]);
    assert_eq!(small.push(&[0.376]), Place::Between);
    assert_eq!(small.push(&[0.374]), Place::Rest);
    // Above rest, as all levels are; and half of what begins an alarm where it scatters.
    let mut above = Log::begin(2.5);
    above.push(&[2.5; 20]);
    above.push(&[3.75; 20]);
    assert_eq!(above.push(&[2.5 + 0.376]), Place::Between);
    assert_eq!(above.push(&[2.5 + 0.374]), Place::Rest);
    let mut noisy = Log::on(0.0, 20);
    noisy.detector.rest.push_variance(1.0 / 9.0, 1e9);
    assert_eq!(noisy.push(&[1.01]), Place::Between);
    assert_eq!(noisy.push(&[0.99]), Place::Rest);
}

#[test]
fn what_rises_again_before_it_is_back_at_rest_is_on_above_three_fifths() {
    for sign in [1.0, -1.0] {
        let mut log = Log::on(0.0, 20);
        log.push(&[4.0]);
        assert_eq!(log.said(), [("off", 40.0)]);
        assert_eq!(log.push(&[sign * 7.5]), Place::Between);
        assert_eq!(log.said(), []);
        assert_eq!(log.push(&[sign * 7.501]), Place::On);
        assert_eq!(log.said().len(), 1);
        assert_eq!(log.detector.run.sign, sign);
    }
    // It began with the step that led there; the other way round, with the fall itself.
    for (volts, at) in [(9.0, 4.05), (-9.0, 3.95)] {
        let mut log = Log::on(0.0, 20);
        log.push(&[4.0, volts]);
        let on = log.detector.run.on.unwrap();
        close(on.at, at);
        close(on.u, 0.05);
    }
    // Above rest, as all levels are.
    let mut log = Log::on(2.5, 20);
    log.push(&[6.0, 8.5]);
    assert_eq!(log.said(), [("off", 40.0)]);
    assert_eq!(log.push(&[8.501]), Place::On);
    // From no height at all nothing rises.
    let mut flat = Log::begin(0.0);
    flat.push(&[0.0; 20]);
    (flat.detector.phase, flat.detector.level) = (Phase::Falling, 0.0);
    assert_eq!(flat.push(&[0.3]), Place::Between);
}

#[test]
fn a_reversed_alarm_rises_and_falls_the_other_way() {
    let mut log = Log::begin(0.0);
    log.push(&[0.0; 20]);
    log.push(&[-12.5; 20]);
    log.push(&[-4.0, -2.0, -9.0, -12.5, 0.0]);
    assert_eq!(log.said(), [("on", 20.0), ("off", 40.0), ("on", 42.0), ("off", 44.0)]);
}
