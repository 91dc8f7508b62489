//! Runs made up by their edges, ten readings a second, and what becomes of them: alarms, cadence,
//! bounces, losses and spikes, each on either side of what tells them apart. The limits stand in
//! the room; here they are numbers again, so that moving one is seen. Seconds and volts.

use super::super::reading::Sample;
use super::*;

fn edge(at: f64) -> Edge {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small and whole")]
    let index = (at.max(0.0) * 10.0).round() as u64;
    Edge { at, u: 0.05, index }
}

/// On at 12 V between two moments, as five readings show it.
fn run(on: f64, off: f64) -> Run {
    read_as(on, off, 12.0, 5)
}

fn read_as(on: f64, off: f64, volts: f64, readings: u32) -> Run {
    let sample = |t: f64| Sample { t, x: volts, index: 0 };
    let mut run = Run::begin(Some(edge(on)), volts.signum(), sample(on));
    for i in 0..readings {
        run.extent.push(sample(on + (off - on) * f64::from(i) / f64::from(readings)));
    }
    run.readings = u64::from(readings);
    run.peak = volts.abs();
    run.off = Some(edge(off));
    run.last_s = off - 0.05;
    run
}

/// It was on as the log began.
fn cut(off: f64) -> Run {
    Run { on: None, first_s: 0.0, ..run(0.0, off) }
}

/// It was on as the log ended.
fn open(on: f64, last_s: f64) -> Run {
    Run { off: None, last_s, ..run(on, last_s) }
}

fn pace(longest: f64) -> Pace {
    let mut pace = Pace::begin(&[0.0, longest]);
    pace.push(0.0, longest);
    pace
}

/// The alarms of a log that goes on for long, its longest interval 0.1 s.
fn alarm(runs: &[Run]) -> (Option<OutputWindow>, Strays) {
    let mut windows = Windows::default();
    runs.iter().for_each(|run| windows.push(*run));
    windows.close(Some(12.0), &pace(0.1), None);
    assert!(windows.closed.len() <= 1);
    (windows.closed.pop(), windows.strays)
}

fn pulsed(runs: &[Run]) -> OutputWindow {
    alarm(runs).0.unwrap()
}

#[track_caller]
fn close(found: Option<f64>, wanted: f64) {
    assert!(found.is_some_and(|f| (f - wanted).abs() < 1e-9), "{found:?}, truly {wanted}");
}

#[test]
fn a_pulse_belongs_to_the_alarm_before_it_as_long_as_both_may_be_one_cadence() {
    let joins = |last: Run, at: f64, index: u64| {
        let mut windows = Windows::default();
        assert!(!windows.joins(edge(at)), "there is none before it");
        windows.push(last);
        windows.joins(Edge { index, ..edge(at) })
    };
    let cases = [
        // Pulse and pause last ten seconds, and more.
        (-8.0, 2.0, 90, true),
        (-8.0, 2.001, 90, false),
        // A loss of two readings is none, of three it is a pause.
        (-8.0, 3.0, 2, true),
        (-8.0, 3.0, 3, false),
        // A tenth of a second is a bounce.
        (-20.0, 0.1, 90, true),
        (-20.0, 0.101, 90, false),
        // A pause of five seconds, and a longer one.
        (-1.0, 5.0, 90, true),
        (-1.0, 5.001, 90, false),
        (-1.0, 5.001, 2, false),
    ];
    for (from, at, index, wanted) in cases {
        assert_eq!(joins(run(from, 0.0), at, index), wanted, "{from} {at} {index}");
    }
    assert!(!joins(Run { off: None, ..run(-1.0, 0.0) }, 0.1, 1), "that one is still on");
}

#[test]
fn more_pulses_than_are_held_count_with_the_rest() {
    let mut windows = Windows::default();
    let mut twin = Windows::default();
    for k in 0..2052_i32 {
        // The last four last twice as long.
        let (from, lasts) = (2.0 * f64::from(k), if k < 2048 { 0.5 } else { 1.0 });
        let volts = if k == 2050 { 15.0 } else { 12.0 };
        windows.push(read_as(from, from + lasts, volts, 5));
        assert!(windows.runs.len() <= RUNS_MAX);
        if k > 2046 {
            twin.push(run(from, from + lasts));
        }
    }
    // What comes next joins the last of all.
    assert!(windows.joins(edge(4104.0)) && !windows.joins(edge(4109.0)));
    assert_eq!(windows.runs.len(), RUNS_MAX);
    windows.close(Some(12.0), &pace(0.1), None);
    let window = windows.closed[0];
    assert_eq!((window.pulses, window.shape), (2052, Shape::Pulsed));
    close(window.period_s, 2.0);
    close(window.duty, (2048.0 * 0.5 + 4.0) / 2052.0 / 2.0);
    close(window.off_at_s, 4103.0);
    assert_eq!((window.volts_max, window.seen_until_s), (15.0, 4102.95));
    assert!(windows.runs.is_empty() && windows.beyond.is_none());
}

#[test]
fn a_bounce_and_its_pause_are_short_beside_what_follows() {
    let bounces = |first: Run, second: Run| {
        let (window, strays) = alarm(&[first, second]);
        let pulses = window.unwrap().pulses;
        assert_eq!(pulses, if strays.bounces + strays.dropouts > 0 { 1 } else { 2 });
        strays.bounces
    };
    assert_eq!(bounces(run(0.0, 0.01), run(0.03, 10.0)), 1);
    assert_eq!(bounces(run(0.0, 10.0), run(10.02, 10.03)), 1);
    // A pulse of a tenth of a second is none, and neither is one after such a pause.
    assert_eq!(bounces(run(-0.1, 0.0), run(0.05, 10.0)), 0);
    assert_eq!(bounces(run(-0.01, 0.0), run(0.1, 10.0)), 0);
    // Nor one of more than a tenth of the longest.
    assert_eq!(bounces(run(0.0, 0.04), run(0.08, 0.58)), 1);
    assert_eq!(bounces(run(0.0, 0.04), run(0.08, 0.43)), 0);
    assert_eq!(bounces(run(0.0, 0.02), run(0.08, 0.58)), 0);
}

#[test]
fn a_loss_is_of_two_readings_and_short_beside_both_its_sides() {
    let lost = |first: Run, off: u64, on: u64, second: Run| {
        let (mut first, mut second) = (first, second);
        first.off = first.off.map(|edge| Edge { index: off, ..edge });
        second.on = second.on.map(|edge| Edge { index: on, ..edge });
        alarm(&[first, second]).1.dropouts
    };
    assert_eq!(lost(run(0.0, 10.0), 100, 102, run(10.2, 20.0)), 1);
    assert_eq!(lost(run(0.0, 10.0), 100, 103, run(10.2, 20.0)), 0);
    assert_eq!(lost(run(0.0, 10.0), 100, 102, run(11.0, 31.0)), 0, "a tenth of the first");
    assert_eq!(lost(run(0.0, 20.0), 200, 202, run(21.0, 31.0)), 0, "a tenth of the second");
    assert_eq!(lost(run(0.0, 20.0), 200, 202, run(20.9375, 31.0)), 1);
    let (window, strays) = alarm(&[run(0.0, 10.0), run(10.2, 20.0), run(20.2, 30.0)]);
    assert_eq!((strays.dropouts, strays.bounces, strays.spikes), (2, 0, 0));
    let window = window.unwrap();
    assert_eq!(
        (window.shape, window.on_at_s, window.off_at_s),
        (Shape::Steady, Some(0.0), Some(30.0))
    );
    assert_eq!(window.seen_until_s, 29.95);
}

#[test]
fn what_is_joined_adds_up_and_keeps_the_dip_of_the_longer_one() {
    let dipped = |on: f64, off: f64, dip: f64| {
        let mut run = run(on, off);
        run.extent.push(Sample { t: on + 0.25, x: dip, index: 0 });
        run
    };
    for (off, dip) in [(9.0, (8.0, 10.25)), (10.0, (7.0, 0.25)), (9.75, (7.0, 0.25))] {
        let mut last = dipped(0.0, if off < 9.5 { 9.0 } else { 10.0 }, 7.0);
        let second = dipped(10.0, if off < 9.5 { 20.0 } else { 10.0 + off }, 8.0);
        join(&mut last, &Run { peak: 13.0, ..second });
        assert_eq!(last.extent.early, dip, "{off}");
        assert_eq!((last.readings, last.peak), (10, 13.0));
        assert_eq!((last.off, last.last_s), (second.off, second.last_s));
        assert_eq!(last.extent.moments.count(), 12.0);
    }
}

#[test]
fn one_or_two_readings_alone_are_a_spike_unless_they_last() {
    let spikes = |run: Run| {
        let (window, strays) = alarm(&[run]);
        assert_eq!(window.is_none(), strays.spikes > 0);
        strays.spikes
    };
    assert_eq!(spikes(read_as(1.0, 1.1, 12.0, 1)), 1);
    assert_eq!(spikes(read_as(1.0, 9.0, 12.0, 1)), 1);
    assert_eq!(spikes(read_as(1.0, 1.49, 12.0, 2)), 1);
    assert_eq!(spikes(read_as(1.0, 1.5, 12.0, 2)), 0);
    assert_eq!(spikes(read_as(1.0, 1.1, 12.0, 3)), 0);
    // One that was cut by an end of the log may have been longer.
    assert_eq!(spikes(Run { on: None, ..read_as(1.0, 1.1, 12.0, 1) }), 0);
    assert_eq!(spikes(Run { off: None, ..read_as(1.0, 1.1, 12.0, 1) }), 0);
}

#[test]
fn spikes_are_told_from_a_cadence_by_number_and_share_and_from_an_alarm_by_length() {
    let spike = |on: f64, off: f64| read_as(on, off, 12.0, 1);
    let spikes = |runs: &[Run]| alarm(runs).1.spikes;
    let cadence = [spike(0.0, 1.0), spike(6.0, 7.0), spike(13.0, 14.0), spike(19.0, 20.0)];
    assert_eq!(spikes(&cadence), 0, "they are on for a fifth of the time");
    assert_eq!(spikes(&cadence[..3]), 3, "three are too few");
    let [first, second, third, _] = cadence;
    assert_eq!(spikes(&[first, second, third, spike(19.5, 20.5)]), 4, "or for less");
    assert_eq!(spikes(&[run(0.0, 10.0), spike(12.0, 14.4)]), 1);
    assert_eq!(spikes(&[run(0.0, 10.0), spike(12.0, 14.5)]), 0, "a quarter of the longest");
    let (window, strays) = alarm(&[read_as(0.0, 0.1, -31.0, 1), run(1.0, 9.0), spike(11.0, 11.1)]);
    assert_eq!((strays.spikes, strays.spike_volts), (2, Some(-31.0)));
    assert_eq!(window.unwrap().on_at_s, Some(1.0));
}

#[test]
fn the_spike_that_went_furthest_is_kept_with_its_sign() {
    let mut strays = Strays::default();
    for (volts, furthest) in [(3.0, 3.0), (-2.0, 3.0), (-3.0, 3.0), (-4.0, -4.0), (5.0, 5.0)] {
        strays.spike(volts);
        assert_eq!(strays.spike_volts, Some(furthest));
    }
    assert_eq!(strays.spikes, 5);
}

#[test]
fn period_and_duty_are_means_over_whole_pulses() {
    let window = pulsed(&[run(0.0, 0.5), run(1.0, 1.75), run(2.0, 2.25), run(3.0, 3.5)]);
    assert_eq!((window.pulses, window.shape), (4, Shape::Pulsed));
    assert!(window.resolved && window.regular);
    close(window.period_s, 1.0);
    close(window.duty, 0.5);
    // A pulse cut by an end of the log is counted, and says nothing about lengths.
    let window = pulsed(&[cut(0.25), run(1.0, 1.5), run(2.0, 2.5), open(3.0, 3.125)]);
    assert_eq!((window.pulses, window.resolved), (4, true));
    close(window.period_s, 1.0);
    close(window.duty, 0.5);
    // One pause between two that are cut tells nothing.
    for runs in [&[cut(0.5), open(1.0, 2.0)][..], &[cut(0.5), run(1.0, 1.5)]] {
        let window = pulsed(runs);
        assert_eq!((window.pulses, window.resolved, window.period_s), (2, false, None));
        assert_eq!((window.duty, window.regular), (None, true));
    }
    let steady = pulsed(&[run(0.0, 9.0)]);
    assert_eq!((steady.pulses, steady.shape, steady.period_s), (1, Shape::Steady, None));
    assert!(steady.resolved && steady.regular);
}

#[test]
fn a_cadence_is_resolved_where_no_pulse_or_pause_could_be_missed() {
    let resolved = |on: f64, longest: f64, singles: usize| {
        let mut windows = Windows::default();
        for k in 0..6 {
            let mut run = run(f64::from(k), f64::from(k) + on);
            run.readings = if usize::try_from(k).unwrap() < singles { 1 } else { 2 };
            windows.push(run);
        }
        windows.close(Some(12.0), &pace(longest), None);
        let window = windows.closed[0];
        assert_eq!(window.period_s.is_some(), window.resolved);
        assert_eq!(window.duty.is_some(), window.resolved);
        window.resolved
    };
    assert!(resolved(0.75, 0.125, 0) && resolved(0.25, 0.125, 0));
    assert!(!resolved(0.75, 0.25, 0), "a pause no longer than an interval");
    assert!(!resolved(0.25, 0.25, 0), "a pulse no longer than an interval");
    assert!(resolved(0.75, 0.125, 3));
    assert!(!resolved(0.75, 0.125, 4), "most pulses are of one reading");
}

#[test]
fn a_cadence_is_regular_within_a_tenth_or_two_intervals() {
    let regular = |second: f64, longest: f64| {
        let mut windows = Windows::default();
        for from in [0.0, second, 5.0] {
            windows.push(run(from, from + 1.0));
        }
        windows.close(Some(12.0), &pace(longest), None);
        windows.closed[0].regular
    };
    assert!(regular(2.75, 0.1) && regular(2.25, 0.1));
    assert!(!regular(2.76, 0.1) && !regular(2.24, 0.1));
    assert!(regular(3.0, 0.25) && !regular(3.01, 0.25));
    // What the pulse that was cut began with is not known.
    assert!(pulsed(&[cut(0.25), run(2.0, 2.5), run(3.0, 3.5), run(4.0, 4.5)]).regular);
}

#[test]
fn an_alarm_is_held_where_it_was_on_or_a_pulse_was_due_as_the_log_ended() {
    let held = |runs: &[Run], end: f64| {
        let mut windows = Windows::default();
        runs.iter().for_each(|run| windows.push(*run));
        windows.close(Some(12.0), &pace(0.125), Some(end));
        let window = windows.closed[0];
        let known = [window.off_at_s, window.off_at_s_u, window.window_s, window.window_s_u];
        let held = window.shape == Shape::Held;
        assert_eq!(known.map(|k| k.is_none()), [held; 4]);
        held
    };
    assert!(held(&[open(1.0, 9.0)], 9.0));
    assert!(!held(&[run(1.0, 9.0)], 9.0), "a single pulse has no pause to wait for");
    // On for a quarter, off for three quarters of a second, and two intervals to be sure.
    let pulses = [run(0.0, 0.25), run(1.0, 1.25), run(2.0, 2.25)];
    assert!(held(&pulses, 3.2));
    assert!(!held(&pulses, 3.25) && !held(&pulses, 9.0));
    // A cadence that was not resolved has no pause that is known.
    let quick = [run(0.0, 0.0625), run(1.0, 1.0625), run(2.0, 2.0625)];
    assert!(held(&quick, 2.3) && !held(&quick, 2.3125));
}

#[test]
fn levels_are_signed_and_a_run_without_readings_stands_at_the_median() {
    let mut reversed = read_as(0.0, 10.0, -12.0, 5);
    reversed.extent.push(Sample { t: 8.0, x: -14.0, index: 0 });
    let mut windows = Windows::default();
    windows.push(reversed);
    windows.push(read_as(12.0, 20.0, -11.0, 5));
    windows.close(Some(-12.0), &pace(0.1), None);
    let window = windows.closed[0];
    assert_eq!((window.volts, window.volts_min, window.volts_max), (-12.0, -14.0, -11.0));
    let empty = Run { extent: Extent::begin(1.0, 0.0), ..run(0.0, 10.0) };
    let window = pulsed(&[empty]);
    assert_eq!((window.volts_min, window.volts_max), (12.0, 12.0));
    // Without a median it is the mean of the first.
    let mut windows = Windows::default();
    windows.push(run(0.0, 10.0));
    windows.close(None, &pace(0.1), None);
    assert_eq!(windows.closed[0].volts, 12.0);
    windows.push(empty);
    windows.close(None, &pace(0.1), None);
    assert_eq!(windows.closed.len(), 1);
}

#[test]
fn noise_and_sag_are_those_of_all_pulses() {
    let mut falling = Run { extent: Extent::begin(1.0, 0.0), ..run(0.0, 4.0) };
    let mut later = Run { extent: Extent::begin(1.0, 4.0), ..run(4.5, 8.0) };
    for t in 0..8_i32 {
        let sample = Sample { t: f64::from(t), x: 12.0 - 0.01 * f64::from(t), index: 0 };
        if t < 4 { falling.extent.push(sample) } else { later.extent.push(sample) }
    }
    let window = pulsed(&[falling, later]);
    close(window.sag_volts_per_min, -0.6);
    assert!(window.sag_volts_per_min_u.unwrap() < 1e-6);
    // Neighbours are a centivolt apart.
    close(window.noise_volts, 0.01 / 2.0_f64.sqrt());
    let mut unsure = run(0.0, 4.0);
    for (t, x) in [(1.0, 13.0), (2.0, 12.5), (3.0, 11.5), (3.5, 12.25)] {
        unsure.extent.push(Sample { t, x, index: 0 });
    }
    let slope = unsure.extent.moments.slope().unwrap();
    close(pulsed(&[unsure]).sag_volts_per_min_u, 60.0 * slope.volts_per_s_u);
}

#[test]
fn an_inrush_dip_is_deep_and_recovers() {
    /// Readings 12.5 V and as far off as the noise wants; a dip in the first second, and after it.
    fn dip(sign: f64, early: f64, late: Option<f64>, noise: f64) -> Option<InrushDip> {
        let mut run = Run { extent: Extent::begin(sign, 0.0), ..run(0.0, 9.0) };
        run.sign = sign;
        let mut beside = run.extent.beside();
        beside.push(Sample { t: 0.25, x: sign * early, index: 0 });
        run.extent.stretch_over(&beside);
        for t in 0..8_i32 {
            let x = 12.5 + if t % 2 == 0 { noise } else { 0.0 };
            run.extent.moments.push(f64::from(t), sign * x);
        }
        let mut beside = run.extent.beside();
        if let Some(late) = late {
            beside.push(Sample { t: 2.0, x: sign * late, index: 0 });
        }
        run.extent.stretch_over(&beside);
        let mut window = OutputWindow { volts: sign * 12.5, ..OutputWindow::default() };
        levels(&mut window, &[run]);
        window.inrush
    }
    // Deep is three hundredths of the level, 0.375 V, and half of that is what must come back.
    assert_eq!(dip(1.0, 11.0, Some(12.0), 0.0), Some(InrushDip { volts: 11.0, at_s: 0.25 }));
    assert_eq!(dip(-1.0, 11.0, Some(12.0), 0.0), Some(InrushDip { volts: -11.0, at_s: 0.25 }));
    assert_eq!(dip(1.0, 12.124, Some(12.5), 0.0).map(|d| d.volts), Some(12.124));
    assert_eq!(dip(1.0, 12.125, Some(12.5), 0.0), None);
    assert_eq!(dip(1.0, 11.0, Some(11.188), 0.0).map(|d| d.volts), Some(11.0));
    assert_eq!(dip(1.0, 11.0, Some(11.1875), 0.0), None, "it stays down");
    assert_eq!(dip(1.0, 11.0, None, 0.0), None, "nothing is known of what follows");
    // Or six times the noise: half a volt to and fro is 0.3536 V, and deep 2.1213 V.
    assert_eq!(dip(1.0, 10.37, Some(12.5), 0.5).map(|d| d.volts), Some(10.37));
    assert_eq!(dip(1.0, 10.38, Some(12.5), 0.5), None);
    assert_eq!(dip(1.0, 9.5, Some(10.55), 0.5), None);
}

#[test]
fn edges_are_no_surer_than_the_stamps_and_a_window_no_surer_than_its_gaps() {
    let window = |pace: &Pace| {
        let mut windows = Windows::default();
        windows.push(run(1.0, 4.0));
        windows.push(run(6.0, 9.0));
        windows.close(Some(12.0), pace, None);
        windows.closed[0]
    };
    let plain = window(&pace(0.1));
    assert_eq!((plain.on_at_s, plain.off_at_s), (Some(1.0), Some(9.0)));
    assert_eq!((plain.on_at_s_u, plain.off_at_s_u), (Some(0.05), Some(0.05)));
    assert_eq!((plain.window_s, plain.window_s_u), (Some(8.0), Some(0.1)));
    let mut coarse = pace(0.5);
    coarse.push(2.0, 2.0);
    coarse.listed = vec![(0.5, 4.0), (4.5, 7.0), (7.0, 8.0), (8.5, 9.5)];
    let unsure = window(&coarse);
    assert_eq!((unsure.on_at_s_u, unsure.off_at_s_u), (Some(0.25), Some(0.25)));
    close(unsure.window_s_u, 0.5 + 3.5);
    let mut windows = Windows::default();
    windows.push(cut(9.0));
    windows.close(Some(12.0), &pace(0.1), None);
    let began_on = windows.closed[0];
    assert_eq!((began_on.on_at_s, began_on.on_at_s_u, began_on.window_s), (None, None, None));
    assert_eq!((began_on.off_at_s, began_on.shape), (Some(9.0), Shape::Steady));
}

#[test]
fn a_thousand_alarms_are_listed_and_the_others_counted() {
    let mut windows = Windows::default();
    for k in 0..1002 {
        windows.push(run(20.0 * f64::from(k), 20.0 * f64::from(k) + 9.0));
        windows.close(Some(12.0), &pace(0.1), None);
    }
    assert_eq!((windows.closed.len(), windows.strays.unlisted), (1000, 2));
}
