//! What a panel reads a loop as: bands from a short to an open loop, their ends in ohms or in
//! volts, each kept within a tolerance. A reading lies in exactly one band; its distance to the
//! band's ends is its margin, positive while it is inside.

use super::source::{ohms_at, volts_across};
use crate::event::ZoneState;

/// The unit in which a panel compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compares {
    /// Ohms of the loop: its supply cancels.
    Ohms,
    /// Volts at the terminals.
    Volts,
}

/// The bands of an input; neighbours differ in what they read.
#[derive(Clone, Debug, PartialEq)]
pub struct Bands {
    /// The unit.
    pub unit: Compares,
    /// What each band reads, from a short to an open loop; never empty.
    reads: Vec<ZoneState>,
    /// The ends between them, rising; one fewer.
    ends: Vec<f64>,
}

/// A loop at the terminals, with the source that was at work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtTerminals {
    /// Ohms of the loop; infinite where it is open.
    pub ohms: f64,
    /// Volts of the source.
    pub source_volts: f64,
    /// Its resistance, in ohms.
    pub source_ohms: f64,
    /// What the thresholds are to be multiplied by, about 1.
    pub threshold_factor: f64,
}

impl AtTerminals {
    /// Volts at the terminals.
    #[must_use]
    pub fn volts(&self) -> f64 {
        volts_across(self.source_volts, self.source_ohms, self.ohms)
    }
}

impl Bands {
    /// Bands from what they read and the ends between them; `None` unless the ends rise, lie
    /// above 0 and are one fewer than the bands.
    #[must_use]
    pub fn new(unit: Compares, reads: Vec<ZoneState>, ends: Vec<f64>) -> Option<Self> {
        let rises = ends.windows(2).all(|pair| pair[0] < pair[1]);
        let sound = ends.iter().all(|end| end.is_finite() && *end > 0.0);
        (rises && sound && reads.len() == ends.len() + 1).then_some(Self { unit, reads, ends })
    }

    /// Each band with its upper end.
    pub fn iter(&self) -> impl Iterator<Item = (ZoneState, Option<f64>)> {
        let ends = self.ends.iter().copied().map(Some).chain([None]);
        self.reads.iter().copied().zip(ends)
    }

    /// What a loop is read as.
    #[must_use]
    pub fn read(&self, at: &AtTerminals) -> ZoneState {
        let value = match self.unit {
            Compares::Ohms => at.ohms,
            Compares::Volts => at.volts(),
        };
        let passed = self.ends.iter().filter(|end| value > **end * at.threshold_factor).count();
        self.reads[passed]
    }

    /// What this many volts at the terminals are read as, with the source at these values.
    #[must_use]
    pub fn read_volts(&self, volts: f64, source_volts: f64, source_ohms: f64) -> ZoneState {
        let ohms = ohms_at(source_volts, source_ohms, volts);
        self.read(&AtTerminals { ohms, source_volts, source_ohms, threshold_factor: 1.0 })
    }

    /// The bands that read `state`: lower and upper end of each, in the panel's unit.
    pub fn of(&self, state: ZoneState) -> impl Iterator<Item = (Option<f64>, Option<f64>)> {
        let reads = self.reads.iter().enumerate().filter(move |(_, reads)| **reads == state);
        reads.map(|(i, _)| (i.checked_sub(1).map(|i| self.ends[i]), self.ends.get(i).copied()))
    }

    /// How far inside the band between these ends a loop is, in ohms and in volts: the smaller of
    /// the two distances, negative outside, infinite where there is no end.
    #[must_use]
    pub fn margin(&self, ends: (Option<f64>, Option<f64>), at: &AtTerminals) -> Margin {
        let mut margin = Margin { ohms: f64::INFINITY, volts: f64::INFINITY };
        for (end, sign) in [(ends.0, 1.0), (ends.1, -1.0)] {
            let Some(end) = end.map(|end| end * at.threshold_factor) else { continue };
            let (end_ohms, end_volts) = match self.unit {
                Compares::Ohms => (end, volts_across(at.source_volts, at.source_ohms, end)),
                Compares::Volts => (ohms_at(at.source_volts, at.source_ohms, end), end),
            };
            margin.volts = margin.volts.min(sign * (at.volts() - end_volts));
            if end_ohms.is_finite() || at.ohms.is_finite() {
                margin.ohms = margin.ohms.min(sign * (at.ohms - end_ohms));
            }
        }
        margin
    }

    /// A margin in the unit that decides.
    #[must_use]
    pub const fn deciding(&self, margin: Margin) -> f64 {
        match self.unit {
            Compares::Ohms => margin.ohms,
            Compares::Volts => margin.volts,
        }
    }
}

/// How far inside a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// In ohms.
    pub ohms: f64,
    /// In volts at the terminals.
    pub volts: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use ZoneState::{Ready, Tamper, Violated};

    fn at(ohms: f64) -> AtTerminals {
        AtTerminals { ohms, source_volts: 12.0, source_ohms: 4700.0, threshold_factor: 1.0 }
    }

    fn bands() -> Bands {
        let reads = vec![Tamper, Ready, Violated, Tamper];
        Bands::new(Compares::Ohms, reads, vec![1000.0, 5000.0, 12_000.0]).unwrap()
    }

    #[test]
    fn each_loop_is_read_as_its_band() {
        let read = [0.0, 999.0, 1001.0, 4999.0, 5001.0, 13_000.0, f64::INFINITY];
        let expected = [Tamper, Tamper, Ready, Ready, Violated, Tamper, Tamper];
        assert_eq!(read.map(|ohms| bands().read(&at(ohms))), expected);
        let wide = AtTerminals { threshold_factor: 1.1, ..at(1050.0) };
        assert_eq!(bands().read(&wide), Tamper);
        let ends = [1000.0, 5000.0, 12_000.0].map(|ohms| bands().read(&at(ohms)));
        assert_eq!(ends, [Tamper, Ready, Violated], "an end is of the band below it");
        // 12 V behind 4.7 kilohm: 5 kilohm leave 6.186 V, 1 kilohm 2.105 V.
        let volts = [2.1, 2.2, 6.1, 6.2].map(|volts| bands().read_volts(volts, 12.0, 4700.0));
        assert_eq!(volts, [Tamper, Ready, Ready, Violated]);
    }

    #[test]
    fn thresholds_kept_worse_move_the_margins_with_them() {
        let wide = AtTerminals { threshold_factor: 1.1, ..at(3300.0) };
        let margin = |ends| bands().margin(ends, &wide);
        assert!((margin((Some(1000.0), None)).ohms - 2200.0).abs() < 1e-9);
        assert!((margin((None, Some(5000.0))).ohms - 2200.0).abs() < 1e-9);
        // 3300 ohm leave 4.95 V, 1100 ohm 13.2 / 5.8 V, 5500 ohm 66 / 10.2 V.
        assert!((margin((Some(1000.0), None)).volts - (4.95 - 13.2 / 5.8)).abs() < 1e-9);
        assert!((margin((None, Some(5000.0))).volts - (66.0 / 10.2 - 4.95)).abs() < 1e-9);
    }

    #[test]
    fn an_open_loop_is_endlessly_beyond_an_end_in_ohms_and_not_in_volts() {
        let open = bands().margin((None, Some(5000.0)), &at(f64::INFINITY));
        assert_eq!(open.ohms, f64::NEG_INFINITY);
        assert!((open.volts - (60.0 / 9.7 - 12.0)).abs() < 1e-9);
        // An end above the open volts is never reached.
        let in_volts = Bands::new(Compares::Volts, vec![Ready, Violated], vec![13.0]).unwrap();
        let margin = in_volts.margin((Some(13.0), None), &at(3300.0));
        assert_eq!(margin.ohms, f64::NEG_INFINITY);
        assert!((margin.volts + 8.05).abs() < 1e-9);
        let margin = in_volts.margin((Some(13.0), None), &at(f64::INFINITY));
        assert_eq!((margin.ohms, margin.volts), (f64::INFINITY, -1.0));
        let close = Margin { ohms: 70.0, volts: 0.5 };
        assert_eq!((bands().deciding(close), in_volts.deciding(close)), (70.0, 0.5));
    }

    #[test]
    fn a_margin_is_the_smaller_distance_and_negative_outside() {
        let ends = (Some(1000.0), Some(5000.0));
        assert!((bands().margin(ends, &at(3300.0)).ohms - 1700.0).abs() < 1e-9);
        assert!((bands().margin(ends, &at(1500.0)).ohms - 500.0).abs() < 1e-9);
        assert!(bands().margin(ends, &at(900.0)).ohms < 0.0);
        let open = bands().margin((Some(12_000.0), None), &at(f64::INFINITY));
        assert!(open.ohms.is_infinite() && (open.volts - (12.0 - 12.0 * 12.0 / 16.7)).abs() < 1e-9);
    }

    #[test]
    fn a_state_that_two_bands_read_has_both() {
        let all: Vec<_> = bands().of(Tamper).collect();
        assert_eq!(all, [(None, Some(1000.0)), (Some(12_000.0), None)]);
    }

    #[test]
    fn ends_that_do_not_rise_are_refused() {
        let new = |ends: Vec<f64>| Bands::new(Compares::Volts, vec![Ready, Violated, Ready], ends);
        assert!(new(vec![2.0, 1.0]).is_none() && new(vec![0.0, 1.0]).is_none());
        assert!(new(vec![1.0]).is_none() && new(vec![1.0, f64::NAN]).is_none());
    }
}
