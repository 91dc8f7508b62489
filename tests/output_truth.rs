//! The truth set: some seventy made-up logs, from two readings a second to a thousand, and what the
//! analysis makes of each. Edges must lie within one sampling interval of the truth, levels within
//! 0.2 %, nothing may be seen that is not there, and nothing missed. Each failure names its log and
//! its seed; `COILMARK_LOG=NAME` runs that one alone and prints the finding.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod output_logs;

use coilmark::event::{OutputFinding, Polarity, Shape};
use coilmark::output::Analysis;
use output_logs::{Truth, set};

fn analysed(truth: &Truth) -> OutputFinding {
    let (t, x) = truth.log();
    let mut analysis = Analysis::default();
    analysis.extend(&t, &x);
    analysis.finish().finding
}

fn near(found: Option<f64>, wanted: f64, within: f64, what: &str, wrong: &mut Vec<String>) {
    if !found.is_some_and(|found| (found - wanted).abs() <= within) {
        wrong.push(format!("{what} {found:?}, truly {wanted} within {within}"));
    }
}

/// What is wrong with the finding, by the truth.
fn judge(truth: &Truth, found: &OutputFinding) -> Vec<String> {
    let mut wrong = Vec::new();
    let interval = (1.0 + truth.jitter) / truth.rate;
    let noisy = truth.noise.1 / (truth.rate * (truth.ends - 120.0)).sqrt() * 5.0;
    near(found.rest_volts, truth.rest, noisy.max(0.001).max(truth.grid), "rest", &mut wrong);
    if found.windows.len() != truth.alarms.len() {
        wrong.push(format!("{} alarms, truly {}", found.windows.len(), truth.alarms.len()));
    }
    let Some((from, to)) = truth.alarms.first().copied() else {
        if found.shape != Shape::None || found.on_at_s.is_some() {
            wrong.push(format!("came on: {:?}", found.shape));
        }
        return wrong;
    };
    let shape = match (to.is_finite(), truth.pulse) {
        (false, _) => Shape::Held,
        (true, Some(_)) => Shape::Pulsed,
        (true, None) => Shape::Steady,
    };
    if found.shape != shape {
        wrong.push(format!("{:?}, truly {shape:?}", found.shape));
    }
    near(found.on_at_s, from, interval, "on", &mut wrong);
    let level = truth.level_median();
    // No estimate from n readings is surer than their scatter lets it be.
    let on_s = to.min(truth.ends) - from;
    let share = truth.pulse.map_or(1.0, |(on, off)| on / (on + off));
    let chance = 4.5 * 1.2533 * truth.noise.0 / (on_s * share * truth.rate).sqrt();
    near(found.alarm_volts, level, chance.max(0.002 * level.abs()), "level", &mut wrong);
    let way = if level < 0.0 { Polarity::Reversed } else { Polarity::AsConnected };
    if found.polarity != Some(way) {
        wrong.push(format!("{:?}", found.polarity));
    }
    if to.is_finite() {
        let off = truth.last_off();
        near(found.off_at_s, off, interval, "off", &mut wrong);
        let u = found.window_s_u.unwrap_or(0.0);
        near(found.window_s, off - from, 2.0 * interval, "window", &mut wrong);
        if u > 2.0 * interval + 1e-6 || u < 0.3 / truth.rate {
            wrong.push(format!("window's uncertainty {u}"));
        }
    }
    if let Some((on, off)) = truth.pulse {
        near(found.period_s, on + off, 0.02 * (on + off), "period", &mut wrong);
        near(found.duty, on / (on + off), 0.05, "duty", &mut wrong);
    } else {
        let sag = 60.0 * truth.sag;
        let u = found.sag_volts_per_min_u.unwrap_or(0.0);
        near(found.sag_volts_per_min, sag, 5.0 * u + 2.0 * truth.grid, "sag", &mut wrong);
        let edges = found.windows.len() * 2 - usize::from(!to.is_finite());
        let extra = found.changes.len().saturating_sub(edges);
        if truth.bounces == 0 && truth.spikes.is_empty() && extra > 0 {
            wrong.push(format!("{extra} changes that are none"));
        }
    }
    if (found.counts.bounces > 0) != (truth.bounces > 0) {
        wrong.push(format!("{} bounces", found.counts.bounces));
    }
    let strays = found.counts.spikes + found.counts.dropouts;
    if strays != truth.spikes.len() as u64 {
        wrong.push(format!("{strays} spikes, truly {}", truth.spikes.len()));
    }
    let sane = |w: &coilmark::event::OutputWindow| w.volts_min <= w.volts && w.volts <= w.volts_max;
    if !found.windows.iter().all(sane) {
        wrong.push("the level lies outside its extremes".into());
    }
    wrong
}

#[test]
fn every_log_is_described_as_it_truly_is() {
    let alone = std::env::var("COILMARK_LOG").ok();
    let rounds = std::env::var("COILMARK_CAMPAIGN").ok().and_then(|n| n.parse().ok()).unwrap_or(1);
    let mut wrong = Vec::new();
    for truth in (0..rounds).flat_map(set) {
        if alone.as_ref().is_some_and(|name| *name != truth.name) {
            continue;
        }
        let found = analysed(&truth);
        if alone.is_some() {
            println!("{found:#?}");
        }
        let seed = truth.seed;
        wrong.extend(judge(&truth, &found).iter().map(|w| format!("{} ({seed}): {w}", truth.name)));
    }
    assert!(set(0).len() >= 40);
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
