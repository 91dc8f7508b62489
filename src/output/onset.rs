//! Where an edge lies, once a reading has crossed. A sharp edge lies between the last reading that
//! still belongs to the level and the first that does not; a gradual one is carried back from its
//! first part ([`super::departure`]). The largest error goes with it: half the interval it lies in,
//! or more where the stamps are coarser than the readings.

use super::departure::Departure;
use super::reading::{Edge, Sample};
use super::track::Track;

/// The level that is being left.
pub(super) struct Leaving<'a> {
    pub(super) level: &'a Track,
    /// Whether the level is a line or only a mean.
    pub(super) line: bool,
    pub(super) band: f64,
    /// The change that is seen, in volts.
    pub(super) span: f64,
    pub(super) interval: f64,
}

/// The edge that `reading` has crossed; `recent` holds those before it, newest first.
pub(super) fn find(
    leaving: &Leaving<'_>,
    recent: &[Sample],
    pending: Option<&Departure>,
    reading: Sample,
) -> Edge {
    let at_level = |q: &Sample| {
        let level = if leaving.line { leaving.level.at(q.t) } else { leaving.level.mean() };
        (q.x - level).abs() <= leaving.band
    };
    let near = recent.get(..recent.len().min(3)).unwrap_or(recent);
    if let Some(k) = near.iter().position(at_level) {
        let after = if k == 0 { reading } else { near.get(k - 1).copied().unwrap_or(reading) };
        return near.get(k).map_or_else(|| alone(reading), |q| between(*q, after));
    }
    if let Some(edge) = jump(near, reading, leaving.span) {
        return edge;
    }
    let Some(pending) = pending else {
        return recent.last().map_or_else(|| alone(reading), |q| between(*q, reading));
    };
    let onset = pending.onset(leaving.span, leaving.interval);
    let per_reading = leaving.interval.max(f64::MIN_POSITIVE);
    let back = ((pending.first.t - onset.at) / per_reading).clamp(0.0, 1e12);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let back = back as u64;
    Edge { at: onset.at, u: onset.u, index: pending.first.index.saturating_sub(back) }
}

/// Half the change or more within two readings: sharp, whatever the level did before.
fn jump(near: &[Sample], reading: Sample, span: f64) -> Option<Edge> {
    let before = near.first()?;
    if (reading.x - before.x).abs() >= span / 2.0 {
        return Some(between(*before, reading));
    }
    let earlier = near.get(1)?;
    let whole = (reading.x - earlier.x).abs() >= 0.7 * span;
    whole.then(|| between(*earlier, *before))
}

/// Where a rise that has crossed began: ahead of the first of the steps up that end in it.
pub(super) fn rise(recent: &[Sample], reading: Sample, sign: f64) -> Edge {
    let near = recent.get(..recent.len().min(3)).unwrap_or(recent);
    let lowest = near.iter().map(|q| sign * q.x).fold(f64::INFINITY, f64::min);
    let least = 0.1 * (sign * reading.x - lowest);
    let mut edge = alone(reading);
    let mut after = reading;
    for q in near {
        if sign * (after.x - q.x) <= least {
            break;
        }
        edge = between(*q, after);
        after = *q;
    }
    edge
}

fn between(last: Sample, first: Sample) -> Edge {
    Edge {
        at: f64::midpoint(last.t, first.t),
        u: (first.t - last.t).max(0.0) / 2.0,
        index: first.index,
    }
}

/// An edge before which there is nothing.
const fn alone(reading: Sample) -> Edge {
    Edge { at: reading.t, u: 0.0, index: reading.index }
}
