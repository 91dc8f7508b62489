//! What a metre of conductor resists: from a size in square millimetres (IEC 60228, and the alarm
//! cable sizes below it) or a wire gauge (ASTM B258) to ohms per kilometre at 20 degrees Celsius.
//! The tables of square millimetres give the largest resistance that is allowed; a gauge gives
//! that of solid copper as drawn. Sizes that no table has are refused: measure such a loop.

use super::BadCable;

/// Resistivity of annealed copper in ohm square millimetres per metre: 58 MS/m (IEC 60028).
const RESISTIVITY: f64 = 1.0 / 58.0;

/// One conductor of a cable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Conductor {
    /// A size by its cross-section.
    Square {
        /// The nominal cross-section, in square millimetres; one of [`sizes_mm2`].
        mm2: f64,
        /// How it is built.
        build: Build,
    },
    /// A solid conductor by its American wire gauge, 0 to 40.
    Gauge(u8),
}

/// How a conductor of IEC 60228 is built.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Build {
    /// Fine strands for cables that bend (class 5 and 6) instead of solid or stranded ones for
    /// those that lie still (class 1 and 2).
    pub flexible: bool,
    /// Tinned, or coated with another metal.
    pub coated: bool,
}

/// A size of IEC 60228: mm2, then the largest ohms per kilometre at 20 degrees Celsius of class 1
/// and 2 plain and coated, class 5 and 6 plain and coated.
const IEC_60228: [(f64, [f64; 4]); 7] = [
    (0.5, [36.0, 36.7, 39.0, 40.1]),
    (0.75, [24.5, 24.8, 26.0, 26.7]),
    (1.0, [18.1, 18.2, 19.5, 20.0]),
    (1.5, [12.1, 12.2, 13.3, 13.7]),
    (2.5, [7.41, 7.56, 7.98, 8.21]),
    (4.0, [4.61, 4.70, 4.95, 5.09]),
    (6.0, [3.08, 3.11, 3.30, 3.39]),
];

/// Sizes of alarm cable, which IEC 60228 does not reach down to (an extract of DIN VDE 0295): mm2,
/// then ohms per kilometre at 20 degrees Celsius plain and tinned, whatever the build.
const ALARM_CABLE: [(f64, [f64; 2]); 4] =
    [(0.14, [134.0, 138.0]), (0.22, [96.0, 99.0]), (0.25, [76.0, 79.0]), (0.34, [53.0, 56.0])];

/// The sizes that are known, in square millimetres, smallest first.
pub fn sizes_mm2() -> impl Iterator<Item = f64> {
    ALARM_CABLE.iter().map(|row| row.0).chain(IEC_60228.iter().map(|row| row.0))
}

impl Conductor {
    /// A conductor by its cross-section in square millimetres.
    ///
    /// # Errors
    /// [`BadCable::UnknownSize`] for a size that no table has.
    pub fn square(mm2: f64, build: Build) -> Result<Self, BadCable> {
        let known = sizes_mm2().any(|size| same(size, mm2));
        if known { Ok(Self::Square { mm2, build }) } else { Err(BadCable::UnknownSize { mm2 }) }
    }

    /// A solid conductor by its American wire gauge.
    ///
    /// # Errors
    /// [`BadCable::UnknownGauge`] above 40.
    pub const fn gauge(awg: u8) -> Result<Self, BadCable> {
        if awg <= 40 { Ok(Self::Gauge(awg)) } else { Err(BadCable::UnknownGauge { awg }) }
    }

    /// Ohms per kilometre of one conductor at 20 degrees Celsius.
    #[must_use]
    pub fn ohms_per_km(self) -> f64 {
        match self {
            Self::Square { mm2, build } => square_ohms_per_km(mm2, build),
            Self::Gauge(awg) => 1000.0 * RESISTIVITY / gauge_mm2(awg),
        }
    }

    /// Whether [`ohms_per_km`](Self::ohms_per_km) is the largest that is allowed (a size in square
    /// millimetres) rather than that of the conductor as drawn (a gauge).
    #[must_use]
    pub const fn is_upper_limit(self) -> bool {
        matches!(self, Self::Square { .. })
    }
}

fn square_ohms_per_km(mm2: f64, build: Build) -> f64 {
    let column = usize::from(build.flexible) * 2 + usize::from(build.coated);
    let iec = IEC_60228.iter().find(|row| same(row.0, mm2)).map(|row| row.1[column]);
    let alarm = || {
        let row = ALARM_CABLE.iter().find(|row| same(row.0, mm2));
        row.map(|row| row.1[usize::from(build.coated)])
    };
    // A size that was not checked resists as its copper does.
    iec.or_else(alarm).unwrap_or(1000.0 * RESISTIVITY / mm2)
}

/// Diameter of a gauge in millimetres (ASTM B258): 39 equal ratios from 0.127 mm at 36 to 92
/// times that.
#[must_use]
pub fn gauge_diameter_mm(awg: u8) -> f64 {
    0.127 * 92_f64.powf((36.0 - f64::from(awg)) / 39.0)
}

/// Cross-section of a gauge in square millimetres.
#[must_use]
pub fn gauge_mm2(awg: u8) -> f64 {
    std::f64::consts::FRAC_PI_4 * gauge_diameter_mm(awg).powi(2)
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checked::{absolute, relative};

    fn rows(text: &str) -> Vec<Vec<f64>> {
        let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
        rows.map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect()
    }

    #[test]
    fn gauges_follow_astm_b258_and_iec_60028() {
        let rows = rows(include_str!("../../fixtures/reference/awg.csv"));
        assert_eq!(rows.len(), 23);
        for row in rows {
            let awg = row[0] as u8;
            let found = Conductor::gauge(awg).unwrap().ohms_per_km();
            // The table is rounded to five and to four digits after the point.
            let source = format!("ASTM B258, AWG {awg}");
            absolute(&source, gauge_diameter_mm(awg), row[1], 5.1e-6);
            absolute(&source, gauge_mm2(awg), row[2], 5.1e-6);
            absolute("IEC 60028 for that gauge", found, row[3], 5.1e-5);
        }
        // NBS Handbook 100, copper wire tables (from memory): ohm per kilometre at 20 C.
        for (awg, ohms) in [(18, 20.95), (20, 33.31), (22, 52.96), (24, 84.22), (26, 133.9)] {
            let found = Conductor::gauge(awg).unwrap().ohms_per_km();
            relative("NBS Handbook 100 (from memory)", found, ohms, 3e-4);
        }
    }

    #[test]
    fn sizes_follow_iec_60228() {
        let rows = rows(include_str!("../../fixtures/reference/iec60228.csv"));
        assert_eq!(rows.len(), IEC_60228.len());
        for row in rows {
            for (column, expected) in row[1..].iter().enumerate() {
                let build = Build { flexible: column >= 2, coated: column % 2 == 1 };
                let found = Conductor::square(row[0], build).unwrap().ohms_per_km();
                absolute(&format!("IEC 60228, {} mm2, {build:?}", row[0]), found, *expected, 1e-9);
            }
        }
    }

    #[test]
    fn no_table_allows_less_than_copper_can() {
        // 58 MS/m (IEC 60028) for the nominal cross-section, less the few per cent by which a real
        // one may be thinner: a digit swapped in a table would fall below or far above.
        for mm2 in sizes_mm2() {
            let copper = 1000.0 / 58.0 / mm2;
            for (flexible, coated) in [(false, false), (false, true), (true, false), (true, true)] {
                let build = Build { flexible, coated };
                let ratio = Conductor::square(mm2, build).unwrap().ohms_per_km() / copper;
                assert!((1.0..1.30).contains(&ratio), "{mm2} mm2, {build:?}: {ratio}");
            }
        }
    }

    #[test]
    fn alarm_cable_spreads_so_much_that_a_loop_is_better_measured() {
        // Seven strands of 0.2 mm at 58 MS/m are 78.4 ohm per kilometre (arithmetic), and the
        // extract of DIN VDE 0295 allows 96 for 0.22 mm2.
        let strands = 7.0 * std::f64::consts::FRAC_PI_4 * 0.2_f64.powi(2);
        let found = Conductor::square(0.22, Build::default()).unwrap().ohms_per_km();
        assert!((1000.0 / 58.0 / strands - 78.40).abs() < 0.01);
        assert!((found - 96.0).abs() < 1e-9);
    }

    #[test]
    fn sizes_that_no_table_has_are_refused() {
        for mm2 in [0.0, -0.5, 0.2, 0.6, 10.0, f64::NAN, f64::INFINITY] {
            assert!(Conductor::square(mm2, Build::default()).is_err(), "{mm2}");
        }
        assert_eq!(Conductor::gauge(41), Err(BadCable::UnknownGauge { awg: 41 }));
        assert_eq!(Conductor::gauge(40), Ok(Conductor::Gauge(40)));
    }
}
