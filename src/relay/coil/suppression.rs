//! Whether a coil has a polarity: from ohms and diode-test readings with the leads both ways
//! round to which pin must be A1(+). A suppression diode has its cathode at A1(+), so it conducts
//! with the red lead on A2; a lamp or LED has its anode at A1(+), so it conducts with red on A1
//! (common practice, no source). A meter whose test current drops too little across the coil
//! shows neither, and then the answer is that it cannot tell, never "no diode".

/// Which way round the leads lie on the coil's two pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// The red lead on the first pin, black on the second.
    Forward,
    /// The red lead on the second pin, black on the first.
    Reverse,
}

impl Direction {
    /// The other way round.
    #[must_use]
    pub const fn turned(self) -> Self {
        match self {
            Self::Forward => Self::Reverse,
            Self::Reverse => Self::Forward,
        }
    }
}

/// What the meter showed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// Beyond the range.
    Overload,
    /// A number, in the function's unit.
    Number {
        /// Its value.
        value: f64,
        /// Its standard uncertainty.
        u: f64,
    },
}

/// Readings across the coil with the leads one way round; `None` where none was taken.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LeadLooks {
    /// The ohms function, in ohms.
    pub ohms: Option<Shown>,
    /// The diode test, in volts.
    pub diode_volts: Option<Shown>,
}

/// What lies across the coil.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suppression {
    /// A suppression diode.
    Diode,
    /// A lamp or LED.
    Lamp,
}

/// Whether the coil has a polarity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Polarity {
    /// It must be driven one way round.
    Polarised {
        /// The direction of the leads in which red lies on A1(+).
        plus: Direction,
        /// What makes it so.
        kind: Suppression,
    },
    /// No diode lies across it. Whether a lamp does is [`lamp_excluded`]'s answer.
    NotPolarised,
    /// These readings cannot show a diode across this coil, or contradict themselves.
    CannotTell,
}

/// The test current must drop this much across the coil alone for a silicon diode to show: at
/// 0.6 V one with Is = 1e-14 A takes 4 % of it (diode equation at 27 degrees Celsius).
const DIODE_SHOWS_VOLTS: f64 = 0.6;

/// A junction below this is none, but a bad touch (Schottky: 0.15 V and more; from memory).
const JUNCTION_VOLTS_MIN: f64 = 0.15;

/// The same in ohms: no meter drives more than 1.5 mA on a range that reads a coil (from memory).
const JUNCTION_OHMS_MIN: f64 = 100.0;

/// Between a diode's drop and a lamp's: silicon stays below 0.9 V, a red LED above 1.4 V at a
/// meter's test current (from memory).
const LAMP_VOLTS_MIN: f64 = 1.1;

/// An LED of any colour shows if the coil alone would drop this much (from memory).
const LAMP_SHOWS_VOLTS: f64 = 3.5;

/// Two directions that differ by no more than this share agree: less than the 4 % above.
const SAME_WITHIN: f64 = 0.025;

/// Two directions that differ by more than this share differ by a junction. Between the two lies
/// what a coil does that was driven in the meantime: 30 kelvin are 12 % (IEC 60028).
const DIFFERS_BEYOND: f64 = 0.12;

/// Judges a coil from its readings both ways round. The diode test decides where it was taken in
/// both directions and its current suffices; else unequal ohms show a diode (an ohms function
/// has too little voltage to light a lamp: common practice, no source).
#[must_use]
pub fn suppression(forward: LeadLooks, reverse: LeadLooks) -> Polarity {
    match by_diode_test(forward.diode_volts, reverse.diode_volts) {
        Polarity::CannotTell => by_ohms(forward.ohms, reverse.ohms),
        told => told,
    }
}

/// Whether a coil that is [`Polarity::NotPolarised`] has no lamp or LED either: the diode test
/// put more voltage on it, both ways round, than an LED would have let stand.
#[must_use]
pub fn lamp_excluded(forward: LeadLooks, reverse: LeadLooks) -> bool {
    let stands = |looks: LeadLooks| match looks.diode_volts {
        Some(Shown::Number { value, .. }) => value >= LAMP_SHOWS_VOLTS,
        Some(Shown::Overload) | None => false,
    };
    stands(forward) && stands(reverse)
}

fn by_diode_test(forward: Option<Shown>, reverse: Option<Shown>) -> Polarity {
    let (Some(forward), Some(reverse)) = (forward, reverse) else {
        return Polarity::CannotTell;
    };
    match compare(forward, reverse) {
        Compared::BothOver => Polarity::NotPolarised,
        Compared::Alike(volts) if volts >= DIODE_SHOWS_VOLTS => Polarity::NotPolarised,
        Compared::Lower(direction, volts) if volts >= JUNCTION_VOLTS_MIN => {
            conducting(direction, volts)
        }
        Compared::Alike(_) | Compared::Lower(..) | Compared::Unclear => Polarity::CannotTell,
    }
}

fn by_ohms(forward: Option<Shown>, reverse: Option<Shown>) -> Polarity {
    let (Some(forward), Some(reverse)) = (forward, reverse) else {
        return Polarity::CannotTell;
    };
    match (compare(forward, reverse), forward, reverse) {
        // Overload one way is a lifted lead or an open coil, not a coil with a diode across it.
        (Compared::Lower(direction, ohms), Shown::Number { .. }, Shown::Number { .. })
            if ohms >= JUNCTION_OHMS_MIN =>
        {
            conducting(direction, 0.0)
        }
        _ => Polarity::CannotTell,
    }
}

/// The junction conducts with the leads this way round and drops so much.
const fn conducting(direction: Direction, volts: f64) -> Polarity {
    if volts < LAMP_VOLTS_MIN {
        Polarity::Polarised { plus: direction.turned(), kind: Suppression::Diode }
    } else {
        Polarity::Polarised { plus: direction, kind: Suppression::Lamp }
    }
}

enum Compared {
    BothOver,
    Alike(f64),
    Lower(Direction, f64),
    Unclear,
}

fn compare(forward: Shown, reverse: Shown) -> Compared {
    match (forward, reverse) {
        (Shown::Overload, Shown::Overload) => Compared::BothOver,
        (Shown::Number { value, .. }, Shown::Overload) => lower(Direction::Forward, value),
        (Shown::Overload, Shown::Number { value, .. }) => lower(Direction::Reverse, value),
        (Shown::Number { value: f, u: fu }, Shown::Number { value: r, u: ru }) => {
            if !(f.is_finite() && r.is_finite()) {
                return Compared::Unclear;
            }
            let size = f.abs().max(r.abs());
            let differ = (f - r).abs();
            if differ <= SAME_WITHIN * size {
                Compared::Alike(f64::midpoint(f, r))
            // `f64::max` passes over a missing uncertainty given as NaN.
            } else if differ <= (DIFFERS_BEYOND * size).max(4.0 * fu.hypot(ru)) {
                Compared::Unclear
            } else if f < r {
                lower(Direction::Forward, f)
            } else {
                lower(Direction::Reverse, r)
            }
        }
    }
}

fn lower(direction: Direction, value: f64) -> Compared {
    if value.is_finite() { Compared::Lower(direction, value) } else { Compared::Unclear }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(value: f64) -> Option<Shown> {
        Some(Shown::Number { value, u: value * 0.001 })
    }

    const OVER: Option<Shown> = Some(Shown::Overload);

    fn ohms(value: f64) -> LeadLooks {
        LeadLooks { ohms: number(value), diode_volts: None }
    }

    fn diode(shown: Option<Shown>) -> LeadLooks {
        LeadLooks { ohms: None, diode_volts: shown }
    }

    fn both_ways(a: LeadLooks, b: LeadLooks, expected: Polarity) {
        assert_eq!(suppression(a, b), expected);
        let turned = match expected {
            Polarity::Polarised { plus, kind } => Polarity::Polarised { plus: plus.turned(), kind },
            other => other,
        };
        assert_eq!(suppression(b, a), turned, "with the leads' names swapped");
    }

    const DIODE: Polarity =
        Polarity::Polarised { plus: Direction::Reverse, kind: Suppression::Diode };
    const LAMP: Polarity =
        Polarity::Polarised { plus: Direction::Forward, kind: Suppression::Lamp };

    /// Volts across a coil of `ohms` with a silicon diode that `amperes` flow forward through:
    /// v / R + Is (exp(v / Vt) - 1) = I at 27 degrees Celsius, Is = 1e-14 A. At 1600 ohm it
    /// agrees with ngspice 39 (see `the_ohmmeter_of_the_circuit_simulator`).
    fn volts_with_diode(ohms: f64, amperes: f64) -> f64 {
        let (mut low, mut high) = (0.0, ohms * amperes);
        for _ in 0..200 {
            let v = f64::midpoint(low, high);
            let flows = v / ohms + 1e-14 * ((v / 0.025_864_9).exp() - 1.0);
            if flows < amperes { low = v } else { high = v }
        }
        low
    }

    #[test]
    fn the_ohmmeter_of_the_circuit_simulator() {
        // ngspice 39 and closed form, 1600 ohm coil with a diode across it: +1 mA 641.9 ohm,
        // -1 mA 1600 ohm; at 0.1 mA 1600 ohm both ways.
        assert!((volts_with_diode(1600.0, 1e-3) / 1e-3 - 641.9).abs() < 0.1);
        both_ways(ohms(641.9), ohms(1600.0), DIODE);
        both_ways(ohms(1600.0), ohms(1600.0), Polarity::CannotTell);
    }

    #[test]
    fn a_diode_shows_or_the_answer_is_that_it_cannot_be_told() {
        for coil_ohms in [10.0, 60.0, 100.0, 400.0, 590.0, 620.0, 720.0, 1600.0, 5760.0, 11520.0] {
            for amperes in [1e-4, 5e-4, 1e-3] {
                let forward = volts_with_diode(coil_ohms, amperes);
                let reverse = coil_ohms * amperes;
                let told = suppression(diode(number(forward)), diode(number(reverse)));
                let shows = reverse >= 0.7;
                assert!(
                    told == DIODE || (!shows && told == Polarity::CannotTell),
                    "{told:?} at {coil_ohms} ohm, {amperes} A"
                );
            }
        }
    }

    #[test]
    fn a_bare_coil_has_no_polarity_where_a_diode_would_have_shown() {
        both_ways(diode(number(1.6)), diode(number(1.61)), Polarity::NotPolarised);
        both_ways(diode(OVER), diode(OVER), Polarity::NotPolarised);
        // 400 ohm at 1 mA drops 0.4 V: a diode would not conduct.
        both_ways(diode(number(0.4)), diode(number(0.4)), Polarity::CannotTell);
    }

    #[test]
    fn a_coil_warmed_between_the_readings_is_not_said_to_be_polarised() {
        // 1600 ohm at 20 C is 1726 ohm at 40 C (IEC 60028).
        both_ways(diode(number(1.6)), diode(number(1.726)), Polarity::CannotTell);
        both_ways(ohms(1600.0), ohms(1726.0), Polarity::CannotTell);
    }

    #[test]
    fn readings_too_uncertain_to_compare_tell_nothing() {
        let vague = |value| diode(Some(Shown::Number { value, u: 0.3 }));
        both_ways(vague(0.64), vague(1.6), Polarity::CannotTell);
    }

    #[test]
    fn a_diode_beyond_the_range_the_other_way_is_a_diode() {
        both_ways(diode(number(0.64)), diode(OVER), DIODE);
        both_ways(diode(number(0.25)), diode(number(1.6)), DIODE);
    }

    #[test]
    fn a_lamp_conducts_with_red_on_a1() {
        both_ways(diode(number(1.9)), diode(number(5.7)), LAMP);
        both_ways(diode(number(1.9)), diode(OVER), LAMP);
    }

    #[test]
    fn a_lifted_lead_is_no_diode() {
        both_ways(diode(number(0.06)), diode(OVER), Polarity::CannotTell);
        let over = LeadLooks { ohms: OVER, diode_volts: None };
        both_ways(ohms(400.0), over, Polarity::CannotTell);
    }

    #[test]
    fn leads_that_touch_are_no_diode() {
        both_ways(ohms(0.3), ohms(1600.0), Polarity::CannotTell);
        both_ways(diode(number(0.001)), diode(number(1.6)), Polarity::CannotTell);
    }

    #[test]
    fn the_diode_test_decides_over_ohms() {
        let conducts = LeadLooks { ohms: number(1600.0), diode_volts: number(0.64) };
        let blocks = LeadLooks { ohms: number(1600.0), diode_volts: number(1.6) };
        both_ways(conducts, blocks, DIODE);
        // Too little current in the diode test, but unequal ohms.
        let low = LeadLooks { ohms: number(300.0), diode_volts: number(0.04) };
        let high = LeadLooks { ohms: number(400.0), diode_volts: number(0.04) };
        both_ways(low, high, DIODE);
    }

    #[test]
    fn only_enough_voltage_excludes_a_lamp() {
        assert!(lamp_excluded(diode(number(5.7)), diode(number(5.7))));
        assert!(!lamp_excluded(diode(number(1.6)), diode(number(1.6))));
        assert!(!lamp_excluded(diode(OVER), diode(OVER)), "the range may end below an LED's drop");
    }

    #[test]
    fn missing_or_senseless_readings_tell_nothing() {
        let none = LeadLooks::default();
        both_ways(none, none, Polarity::CannotTell);
        both_ways(diode(number(0.6)), none, Polarity::CannotTell);
        both_ways(diode(number(f64::NAN)), diode(number(1.6)), Polarity::CannotTell);
        both_ways(diode(number(f64::NAN)), diode(OVER), Polarity::CannotTell);
        both_ways(diode(number(f64::INFINITY)), diode(OVER), Polarity::CannotTell);
        both_ways(diode(number(-1.6)), diode(number(1.6)), Polarity::CannotTell);
    }

    /// Two directions agree within one part in forty of the larger, and differ beyond 12 % of it.
    #[test]
    fn directions_agree_or_differ_by_their_shares() {
        both_ways(diode(number(3.0)), diode(number(3.06)), Polarity::NotPolarised);
        both_ways(diode(number(0.7)), diode(number(0.72)), Polarity::CannotTell);
        both_ways(diode(number(0.7)), diode(number(0.79)), Polarity::CannotTell);
        both_ways(diode(number(0.7)), diode(number(0.81)), DIODE);
        both_ways(ohms(400.0), ohms(450.0), Polarity::CannotTell);
        both_ways(ohms(400.0), ohms(460.0), DIODE);
    }

    #[test]
    fn limits_belong_to_what_lies_above_them() {
        both_ways(diode(number(0.6)), diode(number(0.6)), Polarity::NotPolarised);
        both_ways(diode(number(0.15)), diode(OVER), DIODE);
        both_ways(diode(number(1.1)), diode(OVER), LAMP);
        both_ways(ohms(100.0), ohms(400.0), DIODE);
        assert!(lamp_excluded(diode(number(3.5)), diode(number(3.5))));
        assert!(!lamp_excluded(diode(number(5.7)), diode(number(1.6))), "one way only");
    }
}
