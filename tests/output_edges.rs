//! Small logs with the whole answer beside them, worked by hand: what is found to the last digit,
//! what is warned of in which words, and where one answer turns into another. Between two levels
//! an edge lies in the middle of two readings. Seconds and volts.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use coilmark::event::{
    Cadence, ChangeKind, InrushDip, LevelChange, LogCounts, OutputFinding, OutputWindow, Polarity,
    Shape,
};
use coilmark::output::{Analysis, Moments, micro};

/// What is found in `n` readings, so many a second, of what `volts` says at their number.
fn found(n: u32, rate: f64, volts: impl Fn(u32) -> f64) -> OutputFinding {
    let mut analysis = Analysis::default();
    (0..n).for_each(|i| analysis.push(f64::from(i) / rate, volts(i)));
    analysis.finish().finding
}

const NO_SHORTER_PAUSE: &str = "a pause shorter than 0.100 s would not have been seen";
const BEGAN_ON: &str = "it was on when the log began: the window is cut off at its start";
const STILL_ON: &str = "it was still on, or a pulse was due, when the log ended";

fn steady_window() -> OutputWindow {
    OutputWindow {
        on_at_s: Some(3.95),
        on_at_s_u: Some(0.05),
        off_at_s: Some(8.95),
        off_at_s_u: Some(0.05),
        window_s: Some(5.0),
        window_s_u: Some(0.1),
        shape: Shape::Steady,
        period_s: None,
        duty: None,
        pulses: 1,
        resolved: true,
        regular: true,
        volts: 12.5,
        volts_min: 12.5,
        volts_max: 12.5,
        noise_volts: Some(0.0),
        sag_volts_per_min: Some(0.0),
        sag_volts_per_min_u: Some(0.0),
        inrush: None,
        seen_until_s: 8.9,
    }
}

#[test]
fn a_steady_alarm_is_described_in_full() {
    let change = |at_s: f64, reading: u64, change: ChangeKind| LevelChange {
        at_s,
        at_s_u: 0.05,
        reading,
        change,
    };
    let wanted = OutputFinding {
        result: "described".into(),
        rest_volts: Some(0.25),
        alarm_volts: Some(12.5),
        alarm_volts_min: Some(12.5),
        alarm_volts_max: Some(12.5),
        polarity: Some(Polarity::AsConnected),
        shape: Shape::Steady,
        period_s: None,
        duty: None,
        on_at_s: Some(3.95),
        off_at_s: Some(8.95),
        window_s: Some(5.0),
        window_s_u: Some(0.1),
        sag_volts_per_min: Some(0.0),
        readings: 120,
        simulated: false,
        sag_volts_per_min_u: Some(0.0),
        on_at_s_u: Some(0.05),
        off_at_s_u: Some(0.05),
        held_s_min: None,
        noise_volts: Some(0.0),
        rest_noise_volts: Some(0.0),
        nominal_volts: Some(12.0),
        inrush: None,
        cadence: Cadence { resolved: Some(true), unseen_below_s: Some(0.1), pulses: 1 },
        windows: vec![steady_window()],
        changes: vec![change(3.95, 40, ChangeKind::On), change(8.95, 90, ChangeKind::Off)],
        counts: LogCounts {
            interval_s: Some(0.1),
            first_s: Some(0.0),
            last_s: Some(11.9),
            ..LogCounts::default()
        },
        warnings: vec![NO_SHORTER_PAUSE.into()],
    };
    let steady = |i: u32| if (40..90).contains(&i) { 12.5 } else { 0.25 };
    assert_eq!(found(120, 10.0, steady), wanted);
}

#[test]
fn reversed_pulses_are_described_in_full() {
    // A quarter of a second on, three quarters off, four times; two readings at each end are a
    // little lower and higher.
    let pulses = |i: u32| match i % 20 {
        _ if !(40..120).contains(&i) => 0.0,
        0 => -24.75,
        1 => -24.25,
        2..5 => -24.5,
        _ => 0.0,
    };
    let mut found = found(200, 20.0, pulses);
    let window = found.windows.pop().unwrap();
    assert!(found.windows.is_empty());
    assert_eq!((found.shape, found.polarity), (Shape::Pulsed, Some(Polarity::Reversed)));
    assert_eq!((found.alarm_volts, found.nominal_volts), (Some(-24.5), Some(24.0)));
    assert_eq!((found.alarm_volts_min, found.alarm_volts_max), (Some(-24.75), Some(-24.25)));
    assert_eq!((found.period_s, found.duty), (Some(1.0), Some(0.25)));
    assert_eq!((found.on_at_s, found.on_at_s_u), (Some(1.975), Some(0.025)));
    assert_eq!((found.off_at_s, found.off_at_s_u), (Some(5.225), Some(0.025)));
    assert_eq!((found.window_s, found.window_s_u), (Some(3.25), Some(0.05)));
    assert_eq!((found.held_s_min, found.inrush), (None, None));
    assert_eq!(
        (found.noise_volts, found.sag_volts_per_min),
        (window.noise_volts, window.sag_volts_per_min)
    );
    assert_eq!(found.sag_volts_per_min_u, window.sag_volts_per_min_u);
    assert_eq!((found.rest_volts, found.rest_noise_volts), (Some(0.0), Some(0.0)));
    assert_eq!(
        found.cadence,
        Cadence { resolved: Some(true), unseen_below_s: Some(0.05), pulses: 4 }
    );
    assert_eq!(found.changes.len(), 8);
    assert!(found.warnings.is_empty(), "twenty readings a second miss no pause");
}

#[test]
fn what_a_reader_must_know_is_said_in_these_words() {
    let says = |wanted: &[&str], found: &OutputFinding| assert_eq!(found.warnings, wanted);
    let quick = |i: u32| if (40..60).contains(&i) && i.is_multiple_of(2) { 12.0 } else { 0.0 };
    let lost = "it goes on and off faster than this meter can tell: pulses or pauses shorter than \
                0.100 s are lost, so that no period is given";
    let found_quick = found(100, 10.0, quick);
    says(&[lost], &found_quick);
    assert_eq!((found_quick.period_s, found_quick.cadence.resolved), (None, Some(false)));
    let uneven =
        |i: u32| if [40..44, 60..64, 90..94].iter().any(|p| p.contains(&i)) { 12.0 } else { 0.0 };
    let found_uneven = found(200, 20.0, uneven);
    says(&["the pulses do not come at equal distances; the period is their mean"], &found_uneven);
    assert_eq!((found_uneven.period_s, found_uneven.duty), (Some(1.25), Some(0.16)));
    says(&[NO_SHORTER_PAUSE, BEGAN_ON], &found(100, 10.0, |i| if i < 40 { 12.0 } else { 0.0 }));
    says(&[NO_SHORTER_PAUSE, STILL_ON], &found(100, 10.0, |i| if i < 40 { 0.0 } else { 12.0 }));
    says(&[NO_SHORTER_PAUSE, BEGAN_ON, STILL_ON], &found(100, 10.0, |_| 12.0));
    // Twenty readings a second are quick enough for a pause, and no alarm has none.
    says(&[], &found(200, 20.0, |i| if (40..140).contains(&i) { 12.0 } else { 0.0 }));
    says(&[], &found(100, 10.0, |_| 0.0));
}

#[test]
fn gaps_and_overloads_are_counted_and_said() {
    let mut analysis = Analysis::default();
    for i in (0..40).chain(65..200) {
        analysis.push(f64::from(i) / 20.0, 0.0);
    }
    analysis.overload(3.125);
    analysis.overload(f64::NAN);
    let described = analysis.finish();
    let finding = described.finding;
    assert_eq!((finding.counts.gaps, finding.counts.gaps_s), (1, 1.3));
    assert_eq!((finding.counts.overloads, finding.readings), (2, 175));
    assert_eq!(finding.warnings, ["gaps: 1, 1.300 s in all", "overload readings left out: 2"]);
    assert_eq!(described.trace.gaps, [(1.95, 3.25)]);
    let over = described.trace.spans.iter().filter(|span| span.overload).count();
    assert_eq!(over, 1);
}

#[test]
fn a_median_on_a_coarser_grid_is_said() {
    let coarser = "medians are on a coarser grid";
    // Volts on no grid at all, and so many that they do not fit; 0.25 V to and fro.
    let scattered = |i: u32| 0.25 * (f64::from(i) * 0.618_033_988_75).fract();
    let at_rest = found(5000, 20.0, scattered);
    assert_eq!(at_rest.warnings, [coarser]);
    let on = |i: u32| if !(40..=5000).contains(&i) { 0.0 } else { 12.0 + scattered(i) };
    assert_eq!(found(5100, 20.0, on).warnings, [coarser]);
    assert!((at_rest.rest_volts.unwrap() - 0.125).abs() < 1e-4);
}

#[test]
fn alarms_beyond_the_thousandth_are_said() {
    // Three readings of a second and seven pauses each.
    let found = found(10_020, 1.0, |i| if i % 10 > 6 { 12.0 } else { 0.0 });
    assert_eq!(found.windows.len(), 1000);
    assert_eq!(found.warnings.last().unwrap(), "2 more alarms than are listed");
}

#[test]
fn a_window_without_an_end_says_for_how_long_it_was_seen() {
    let held = found(100, 10.0, |i| if i < 40 { 0.0 } else { 12.0 });
    assert_eq!((held.shape, held.held_s_min), (Shape::Held, Some(5.95)));
    assert_eq!((held.on_at_s, held.off_at_s, held.window_s), (Some(3.95), None, None));
    let all = found(100, 10.0, |_| 12.0);
    assert_eq!((all.shape, all.held_s_min, all.on_at_s), (Shape::Held, Some(9.9), None));
    assert_eq!((all.rest_volts, all.rest_noise_volts), (None, None));
}

#[test]
fn a_log_of_next_to_nothing_says_no_more_than_it_shows() {
    let none = found(0, 10.0, |_| 12.0);
    let described = OutputFinding { result: "described".into(), ..OutputFinding::default() };
    assert_eq!(none, described);
    let one = found(1, 10.0, |_| 0.0);
    let counts = LogCounts { first_s: Some(0.0), last_s: Some(0.0), ..LogCounts::default() };
    assert_eq!(one, OutputFinding { rest_volts: Some(0.0), readings: 1, counts, ..described });
    let two = found(2, 8.0, |_| 0.0);
    assert_eq!((two.counts.interval_s, two.cadence.unseen_below_s), (Some(0.125), Some(0.125)));
    assert_eq!((two.rest_noise_volts, two.cadence.resolved), (Some(0.0), None));
}

#[test]
fn figures_are_to_a_microsecond_and_a_microvolt() {
    assert_eq!([1.234_567_4, -0.000_000_6].map(micro), [1.234_567, -0.000_001]);
    let mut analysis = Analysis::default();
    for i in 0..700_u32 {
        let on = (200..600).contains(&i) && i % 20 < 9;
        let scatter = (f64::from(i) * 0.618_033_988_75).fract() / 30.0;
        let level = if on { 12.0 - f64::from(i) / 700.0 } else { 0.0 };
        analysis.push(
            f64::from(i) / 21.0 + (f64::from(i) * 0.414_213_56).fract() / 300.0,
            level + scatter,
        );
    }
    let found = analysis.finish().finding;
    let w = found.windows[0];
    let first = [
        found.on_at_s,
        found.on_at_s_u,
        found.off_at_s,
        found.off_at_s_u,
        found.window_s,
        found.window_s_u,
        found.period_s,
        found.duty,
        found.noise_volts,
        found.sag_volts_per_min,
        found.sag_volts_per_min_u,
    ];
    let of_window = [
        w.on_at_s,
        w.on_at_s_u,
        w.off_at_s,
        w.off_at_s_u,
        w.window_s,
        w.window_s_u,
        w.period_s,
        w.duty,
        w.noise_volts,
        w.sag_volts_per_min,
        w.sag_volts_per_min_u,
    ];
    assert_eq!(first, of_window);
    let changes = found.changes.iter().flat_map(|c| [Some(c.at_s), Some(c.at_s_u)]);
    let others = [found.rest_noise_volts, Some(found.counts.gaps_s)];
    for figure in first.into_iter().chain(changes).chain(others) {
        let figure = figure.unwrap();
        assert_eq!(micro(figure).to_bits(), figure.to_bits(), "{figure}");
    }
    let interval = found.counts.interval_s.unwrap();
    assert!(interval.to_bits() != micro(interval).to_bits(), "{interval}");
    for figure in [interval, found.cadence.unseen_below_s.unwrap()] {
        assert_eq!(((figure * 1e9).round() / 1e9).to_bits(), figure.to_bits(), "{figure}");
    }
}

#[test]
fn levels_noise_and_sag_are_those_of_the_readings_between_the_edges() {
    // 20 s at rest, 60 s on and falling by a volt a minute, and at rest again, elsewhere.
    let scatter = |i: u32| (f64::from(i) * 0.618_033_988_75).fract() / 50.0;
    let volts = |i: u32| match i {
        0..400 => micro(scatter(i)),
        400..1600 => micro(13.0 - f64::from(i - 400) / 1200.0 + scatter(i)),
        _ => micro(0.015 + scatter(i)),
    };
    let found = found(2500, 20.0, volts);
    let (mut rest, mut on) = (Moments::default(), Moments::default());
    let (mut at_rest, mut while_on) = (Vec::new(), Vec::new());
    for i in 0..2500 {
        let (sums, values) = if (400..1600).contains(&i) {
            (&mut on, &mut while_on)
        } else {
            (&mut rest, &mut at_rest)
        };
        if i == 1600 {
            sums.part();
        }
        sums.push(f64::from(i) / 20.0, volts(i));
        values.push(volts(i));
    }
    let middle = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        f64::midpoint(values[(values.len() - 1) / 2], values[values.len() / 2])
    };
    let close = |found: Option<f64>, wanted: f64, within: f64, what: &str| {
        assert!((found.unwrap() - wanted).abs() < within, "{what}: {found:?}, truly {wanted}");
    };
    close(found.rest_volts, middle(&mut at_rest), 1e-9, "rest");
    close(found.alarm_volts, middle(&mut while_on), 1e-9, "level");
    close(found.rest_noise_volts, rest.noise().unwrap(), 1e-6, "noise at rest");
    close(found.noise_volts, on.noise().unwrap(), 1e-6, "noise");
    let slope = on.slope().unwrap();
    close(found.sag_volts_per_min, 60.0 * slope.volts_per_s, 1e-6, "sag");
    close(found.sag_volts_per_min_u, 60.0 * slope.volts_per_s_u, 1e-6, "its uncertainty");
    assert_eq!(found.alarm_volts_min, while_on.first().copied());
    assert_eq!(found.alarm_volts_max, while_on.last().copied());
    assert_eq!((found.on_at_s, found.off_at_s), (Some(19.975), Some(79.975)));
}

#[test]
fn a_dip_after_coming_on_is_the_inrush_of_its_window() {
    let found = found(200, 10.0, |i| match i {
        43 => 10.0,
        40..100 => 12.0,
        _ => 0.0,
    });
    assert_eq!(found.inrush, Some(InrushDip { volts: 10.0, at_s: 4.3 }));
    assert_eq!((found.alarm_volts_min, found.changes.len()), (Some(10.0), 2));
}

#[test]
fn the_level_at_rest_carries_no_noise_across_an_alarm() {
    let found = found(200, 10.0, |i| match i {
        0..40 => 0.0,
        40..100 => 12.0,
        _ => 0.0625,
    });
    assert_eq!((found.rest_noise_volts, found.rest_volts), (Some(0.0), Some(0.0625)));
}

#[test]
fn an_output_that_switches_to_nothing_is_as_connected() {
    let found = found(100, 10.0, |i| if i < 40 { 2.5 } else { 0.0 });
    assert_eq!((found.rest_volts, found.alarm_volts), (Some(2.5), Some(0.0)));
    assert_eq!((found.polarity, found.nominal_volts), (Some(Polarity::AsConnected), None));
}
