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

#[cfg(test)]
mod tests {
    use super::super::run::Extent;
    use super::*;

    /// Readings a second apart, newest first; the newest is the tenth, at 10 s.
    fn recent(volts: &[f64]) -> Vec<Sample> {
        let all = (0_u32..).zip(volts);
        all.map(|(i, x)| Sample { t: 10.0 - f64::from(i), x: *x, index: 10 - u64::from(i) })
            .collect()
    }

    const CROSSED: Sample = Sample { t: 11.0, x: 4.0, index: 11 };

    fn edge(at: f64, index: u64) -> Edge {
        Edge { at, u: 0.5, index }
    }

    /// The edge where a level of 12 V is left for rest, as the readings before it are; whether
    /// those a quarter of a volt away are still at the level.
    fn found(volts: &[f64], pending: Option<&Departure>) -> Edge {
        let mut level = Track::default();
        level.push(0.0, 12.0, 20.0, 1.0);
        let leaving = Leaving { level: &level, line: false, band: 0.25, span: 12.0, interval: 0.5 };
        find(&leaving, &recent(volts), pending, CROSSED)
    }

    #[test]
    fn a_sharp_edge_lies_after_the_last_reading_at_the_level() {
        assert_eq!(found(&[12.0, 12.0, 12.0], None), edge(10.5, 11));
        assert_eq!(found(&[11.0, 12.25, 12.0], None), edge(9.5, 10));
        assert_eq!(found(&[11.0, 11.0, 11.75], None), edge(8.5, 9));
        // The fourth before it is too long ago; half the change at once is sharp even so.
        assert_eq!(found(&[11.0, 11.0, 11.0, 12.0], None), edge(10.5, 11));
    }

    #[test]
    fn a_level_that_is_a_line_is_drawn_on() {
        // Two volts a second, 24 V at 10 s: by its mean, 17 V, no reading is at the level.
        let mut level = Track::default();
        (3..=10).map(f64::from).for_each(|t| level.push(t, 4.0 + 2.0 * t, 1.0, 1e12));
        let mut leaving =
            Leaving { level: &level, line: true, band: 0.25, span: 100.0, interval: 1.0 };
        let before = recent(&[25.0, 22.0, 20.0, 18.0]);
        assert_eq!(find(&leaving, &before, None, CROSSED), edge(9.5, 10));
        leaving.line = false;
        assert_eq!(find(&leaving, &before, None, CROSSED).at, 9.0, "from the oldest there is");
    }

    #[test]
    fn half_the_change_at_once_or_most_of_it_within_two_readings_is_sharp() {
        // From 10 V it is 6 of 12 V; from 9.9 V it is less, but 8.4 V from the one before.
        assert_eq!(found(&[10.0, 10.5], None), edge(10.5, 11));
        assert_eq!(found(&[9.9, 12.5, 12.6], None), edge(9.5, 10));
        assert_eq!(found(&[-2.0, 20.0, 20.0], None), edge(10.5, 11));
        let slow = found(&[9.9, 11.5, 11.6, 11.7], None);
        assert_eq!(slow, Edge { at: 9.0, u: 2.0, index: 11 });
        assert_eq!(found(&[9.9], None), edge(10.5, 11));
        assert_eq!(found(&[], None), Edge { at: 11.0, u: 0.0, index: 11 });
    }

    #[test]
    fn a_gradual_edge_is_carried_back_from_where_it_was_first_seen() {
        let sample = |t: f64, x: f64, index: u64| Sample { t, x, index };
        let begun = |first: Sample| {
            let last_in = sample(first.t - 1.0, 12.0, first.index - 1);
            Departure::begin(last_in, first, -1.0, Extent::begin(1.0, 0.0))
        };
        let mut pending = begun(sample(6.0, 9.5, 6));
        for i in 0..5 {
            let t = f64::from(i) + 6.0;
            pending.push(sample(t, 15.5 - t, 0), t - 3.5);
        }
        // A volt a second since 3.5 s: five usual intervals before the first that was away.
        let found = found(&[9.9, 10.0, 10.1, 10.2], Some(&pending));
        assert_eq!((found.at, found.index), (3.5, 1));
        assert_eq!(found.u, 2.5 / 4.0);
    }

    #[test]
    fn a_rise_began_ahead_of_the_first_of_the_steps_that_end_in_it() {
        let up = Sample { x: 10.0, ..CROSSED };
        assert_eq!(rise(&recent(&[8.0, 4.0, 0.0, -9.0]), up, 1.0), edge(8.5, 9));
        assert_eq!(rise(&recent(&[8.0, 0.0, 0.5]), up, 1.0), edge(9.5, 10));
        assert_eq!(rise(&recent(&[0.0, 0.0, 0.0]), up, 1.0), edge(10.5, 11));
        // A step of a tenth of the rise or less is none: 1 of 10 V.
        assert_eq!(rise(&recent(&[5.0, 4.0, 0.0]), up, 1.0), edge(10.5, 11));
        assert_eq!(rise(&recent(&[5.0, 4.0, 3.0, 0.0]), up, 1.0), edge(8.5, 9));
        assert_eq!(rise(&recent(&[1.0, 0.0, 0.0]), up, 1.0), edge(10.5, 11));
        let down = Sample { x: -10.0, ..CROSSED };
        assert_eq!(rise(&recent(&[-8.0, 0.0, 0.0]), down, -1.0), edge(9.5, 10));
        assert_eq!(rise(&[], up, 1.0), Edge { at: 11.0, u: 0.0, index: 11 });
    }
}
