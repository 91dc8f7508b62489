//! The class of supply that a level fits: 6, 12 or 24 V. The bands reach from a battery near its
//! end to one on float charge (common practice, no source), in volts; a level between two bands
//! fits none.

/// Nominal volts, and the band of levels seen from such a supply.
pub const CLASSES: [(f64, f64, f64); 3] = [(6.0, 5.0, 7.5), (12.0, 9.5, 15.0), (24.0, 19.0, 30.0)];

/// The class that a level fits, whichever way round; `None` between and beyond the bands.
#[must_use]
pub fn nominal(volts: f64) -> Option<f64> {
    let fits = |(_, low, high): &&(f64, f64, f64)| (*low..=*high).contains(&volts.abs());
    CLASSES.iter().find(fits).map(|(class, ..)| *class)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_fits_the_class_whose_band_holds_it_whichever_way_round() {
        for (class, low, high) in CLASSES {
            for volts in [low, class, high, -low, -class, -high] {
                assert_eq!(nominal(volts), Some(class));
            }
            assert_eq!((nominal(low - 0.001), nominal(high + 0.001)), (None, None));
        }
    }
}
