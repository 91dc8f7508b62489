//! Blocks of readings that the detector takes at once: which are calm enough for that, and that
//! they leave behind what their readings would have left one by one. Seconds and volts; ten
//! readings a second.

use super::super::super::moments::Moments;
use super::*;

#[test]
fn a_block_is_calm_where_it_would_change_nothing_but_sums() {
    let rest = |n: usize| {
        let mut log = Log::begin(0.0);
        log.push(&vec![0.0; n]);
        log.detector
    };
    let t = [3.0, 4.0];
    assert_eq!(rest(6).calm(&t, 0.0, 0.0), None, "seven readings with the first");
    let known = rest(7);
    assert_eq!(known.calm(&t, -0.02, 0.02), Some(Place::Rest));
    assert_eq!(known.calm(&t, -0.0201, 0.0), None);
    assert_eq!(known.calm(&t, 0.0, 0.0201), None);
    assert_eq!(known.calm(&[], 0.0, 0.0), None);
    let mut away = Log::begin(0.0);
    away.push(&[0.0; 20]);
    away.push(&[0.5]);
    assert_eq!(away.detector.calm(&t, 0.0, 0.0), None);
    let on = Log::on(0.0, 8).detector;
    assert_eq!(on.calm(&t, 12.375, 12.625), Some(Place::On));
    assert_eq!(on.calm(&t, 12.374, 12.5), None);
    assert_eq!(on.calm(&t, 12.5, 12.626), None);
    assert_eq!(Log::on(0.0, 7).detector.calm(&t, 12.5, 12.5), None);
    let mut falling = Log::on(0.0, 20);
    falling.push(&[4.0]);
    assert_eq!(falling.detector.calm(&t, 4.0, 4.0), None);
}

#[test]
fn a_level_that_would_leave_a_quarter_of_its_band_within_the_block_is_not_calm() {
    for slope in [0.01, -0.01] {
        let mut on = Log::on(0.0, 8).detector;
        on.on = Track::default();
        for k in 0..8 {
            let t = f64::from(k) - 3.5;
            on.on.push(t, 12.5 + slope * t, 1.0, 1e12);
        }
        // Its band is 0.125 V: it leaves a quarter of that in 3.125 s.
        let level = 12.5 + slope * 5.0;
        assert_eq!(on.calm(&[5.0, 8.1], level, level), Some(Place::On));
        assert_eq!(on.calm(&[5.0, 8.2], level, level), None);
        // What is left of the band is what both ends of it have in common.
        let (low, high) = if slope > 0.0 { (12.55, 12.58) } else { (12.42, 12.45) };
        assert_eq!(on.calm(&[5.0, 8.0], high - 0.124, low + 0.124), Some(Place::On));
        assert_eq!(on.calm(&[5.0, 8.0], high - 0.126, low), None);
        assert_eq!(on.calm(&[5.0, 8.0], high, low + 0.126), None);
    }
}

#[test]
fn a_block_that_is_taken_at_once_leaves_what_its_readings_would() {
    for level in [0.25, 12.5, -12.5] {
        let mut log = Log::begin(0.25);
        log.push(&[0.25; 20]);
        log.push(&[level; 20]);
        let mut each = Log { detector: log.detector.clone(), n: log.n, out: Vec::new() };
        let x: Vec<f64> = (0..100).map(|i| level + 0.001 * f64::from(i * 7 % 5 - 2)).collect();
        let t: Vec<f64> = (0..100).map(|i| f64::from(log.n + i) / 10.0).collect();
        each.push(&x);
        let (low, high) = (level - 0.002, level + 0.002);
        let block = Block { t: &t, x: &x, first_index: 40, low, high };
        let mut at_once = log.detector;
        at_once.absorb(&block, 0.1);
        let each = each.detector;
        assert_eq!(at_once.last_in, each.last_in);
        assert_eq!(at_once.recent.newest_first(), each.recent.newest_first());
        assert_eq!(at_once.run.readings, each.run.readings);
        assert_eq!((at_once.run.peak, at_once.run.last_s), (each.run.peak, each.run.last_s));
        let extremes = |d: &Detector| (d.run.extent.min, d.run.extent.max, d.run.extent.late_min);
        assert_eq!(extremes(&at_once), extremes(&each));
        let (track, plain) = if !(0.0..=1.0).contains(&level) {
            (at_once.on, each.on)
        } else {
            (at_once.rest, each.rest)
        };
        close(track.count(), plain.count());
        assert!((track.mean() - level).abs() < 1e-3);
        // Its scatter is that of the block itself, neighbours of the reading ahead included.
        let mut sums = Moments::default();
        if !(0.0..=1.0).contains(&level) {
            sums.push(0.0, level);
        }
        sums.extend(&t, &x);
        close(track.sigma(), sums.noise().unwrap());
        close(at_once.interval, 0.1);
    }
}
