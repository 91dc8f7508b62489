//! From what the meter showed to what it says about a pair. A [`Touch`] is all readings that were
//! taken while the leads stayed put: slips happen when leads touch and last as long as they
//! stay, so the touch is the unit of evidence. [`Channel::weigh`] turns it into natural-log
//! likelihoods per [`Status`], by the value in ohms. What the readings are is the guide's affair;
//! what they mean for the whole part is the belief's.

use super::pair::Pair;

/// What a pair of pins shows, at rest / energised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Status {
    /// Open / open.
    Open,
    /// Closed / open: a break contact.
    Break,
    /// Open / closed: a make contact.
    Make,
    /// Closed / closed.
    Joined,
    /// The resistance of a coil.
    Coil,
}

impl Status {
    /// All, in the order of lists kept per status.
    pub const ALL: [Self; 5] = [Self::Open, Self::Break, Self::Make, Self::Joined, Self::Coil];

    /// What the meter meets, at rest or energised.
    #[must_use]
    pub const fn level(self, energised: bool) -> Level {
        match (self, energised) {
            (Self::Coil, _) => Level::Coil,
            (Self::Joined, _) | (Self::Break, false) | (Self::Make, true) => Level::Closed,
            (Self::Open, _) | (Self::Break, true) | (Self::Make, false) => Level::Open,
        }
    }
}

/// What the meter meets between two pins at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Level {
    /// Nothing conducts.
    Open,
    /// A closed contact or a joint.
    Closed,
    /// A coil.
    Coil,
}

/// A settled reading, by value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// Overload on ohms.
    Open,
    /// A resistance.
    Ohms {
        /// Its value, in ohms; a zeroed meter may show a little less than nothing.
        ohms: f64,
        /// Its standard uncertainty, in ohms.
        u: f64,
    },
}

impl Seen {
    /// Whether it could be a worn contact as well as a coil of few ohms: then another reading of
    /// the same pair says no more.
    #[must_use]
    pub fn is_contact_or_coil(self) -> bool {
        let odds = ln_density(Level::Coil, self) - ln_density(Level::Closed, self);
        matches!(self, Self::Ohms { .. }) && odds.abs() < UNCLEAR
    }
}

/// One settled reading of a touch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// `None` at rest. `Some(q)` while driven: `q` is the probability that the drive that is
    /// applied really moves the part; 1 once something followed it.
    pub driven: Option<f64>,
    /// What the meter showed.
    pub seen: Seen,
}

/// All readings of one touch: one piece of evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Touch {
    /// Where the leads were.
    pub pair: Pair,
    /// What was seen while they stayed there.
    pub looks: Vec<Look>,
}

/// Natural-log likelihoods per [`Status`], in the order of [`Status::ALL`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weights(pub [f64; 5]);

/// How touches go wrong. Both rates are common practice without a source, and settable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Channel {
    /// Probability that a lead does not touch: open throughout.
    pub no_contact: f64,
    /// Probability that a lead bridges to the next pin: closed throughout.
    pub bridge: f64,
}

impl Default for Channel {
    fn default() -> Self {
        Self { no_contact: 0.02, bridge: 0.002 }
    }
}

impl Channel {
    /// A channel that errs so rarely that its readings are as good as the truth.
    pub const PERFECT: Self = Self { no_contact: 1e-9, bridge: 1e-9 };

    /// What `touch` says about its pair. A touch without looks says nothing. Values that are not
    /// numbers say nothing either.
    #[must_use]
    pub fn weigh(&self, touch: &Touch) -> Weights {
        let no_contact = clamp(self.no_contact);
        let bridge = clamp(self.bridge);
        let honest = clamp(1.0 - no_contact - bridge);
        let slip = |level| touch.looks.iter().map(|look| ln_density(level, look.seen)).sum();
        let open: f64 = slip(Level::Open);
        let short: f64 = slip(Level::Closed);
        Weights(Status::ALL.map(|status| {
            ln_sum(&[
                honest.ln() + truth(status, &touch.looks),
                no_contact.ln() + open,
                bridge.ln() + short,
            ])
        }))
    }
}

fn clamp(p: f64) -> f64 {
    if p.is_nan() { 0.5 } else { p.clamp(1e-12, 1.0) }
}

/// `ln` of the sum of exponentials.
fn ln_sum(terms: &[f64]) -> f64 {
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + terms.iter().map(|term| (term - top).exp()).sum::<f64>().ln()
}

/// ln likelihood of the looks if the leads touched well. Whether a drive moves the part is one
/// fact for the whole touch: a drive with the higher `q` moves whatever the lower one moves.
fn truth(status: Status, looks: &[Look]) -> f64 {
    let rest = looks.iter().filter(|look| look.driven.is_none());
    let still: f64 = rest.map(|look| ln_density(status.level(false), look.seen)).sum();
    let mut driven: Vec<(f64, Seen)> =
        looks.iter().filter_map(|look| Some((clamp(look.driven?), look.seen))).collect();
    if driven.is_empty() {
        return still;
    }
    driven.sort_by(|a, b| b.0.total_cmp(&a.0));
    // Threshold after the first `moved` drives, strongest first: those move the part.
    let terms: Vec<f64> = (0..=driven.len())
        .map(|moved| {
            let above = if moved == 0 { 1.0 } else { driven[moved - 1].0 };
            let below = driven.get(moved).map_or(0.0, |next| next.0);
            let looks = driven.iter().enumerate();
            let seen = looks.map(|(i, (_, seen))| ln_density(status.level(i < moved), *seen));
            // ln of nothing between two drives that are alike: minus infinity, which adds nothing.
            (above - below).ln() + seen.sum::<f64>()
        })
        .collect();
    still + ln_sum(&terms)
}

/// Points of ln density over log10 ohms, straight lines between them, by what the meter meets.
/// Wide on purpose: a contact with dirt on it reaches tens of ohms, a coil for a car's current
/// relay goes down to a few. Between 5 and 16 ohms neither is preferred, so only what follows
/// the drive tells. Common practice, no source.
const CLOSED: [(f64, f64); 8] = [
    (-3.0, -0.5),
    (-1.0, 0.0),
    (0.3, 0.0),
    (0.7, -3.5),
    (1.2, -3.5),
    (1.7, -7.5),
    (3.0, -8.0),
    (6.0, -9.0),
];
const COIL: [(f64, f64); 9] = [
    (-3.0, -10.0),
    (0.0, -8.0),
    (0.7, -3.5),
    (1.2, -3.5),
    (1.6, -1.0),
    (2.0, -0.5),
    (4.0, -0.5),
    (4.7, -2.0),
    (6.0, -6.0),
];
const OPEN: [(f64, f64); 4] = [(-3.0, -12.0), (5.0, -10.0), (6.0, -6.0), (8.0, -3.0)];
/// Up to these ln odds either way a value does not tell a contact from a coil.
const UNCLEAR: f64 = 1.0;
/// ln probability that a good touch on a conductor still shows overload.
const LOST: f64 = -9.0;

/// ln density of what is seen, per decade of resistance, or ln probability of an overload.
fn ln_density(level: Level, seen: Seen) -> f64 {
    match (seen, level) {
        (Seen::Open, Level::Open) => 0.0,
        (Seen::Open, _) => LOST,
        (Seen::Ohms { ohms, .. }, _) if ohms.is_nan() => 0.0,
        (Seen::Ohms { ohms, u }, _) => {
            // Below its own uncertainty a value is as good as that uncertainty.
            let floor = if u.is_finite() { u.clamp(1e-3, 1.0) } else { 1.0 };
            line(points(level), ohms.clamp(floor, 1e9).log10())
        }
    }
}

fn points(level: Level) -> &'static [(f64, f64)] {
    match level {
        Level::Open => &OPEN,
        Level::Closed => &CLOSED,
        Level::Coil => &COIL,
    }
}

/// Straight lines between points, level beyond the ends.
fn line(points: &[(f64, f64)], x: f64) -> f64 {
    let after = points.partition_point(|point| point.0 < x);
    match (after.checked_sub(1).and_then(|i| points.get(i)), points.get(after)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn touch(looks: &[(Option<f64>, Option<f64>)]) -> Touch {
        let looks = looks
            .iter()
            .map(|&(driven, ohms)| Look {
                driven,
                seen: ohms.map_or(Seen::Open, |ohms| Seen::Ohms { ohms, u: 0.05 }),
            })
            .collect();
        Touch { pair: Pair::ordered(0, 1), looks }
    }

    fn odds(weights: Weights, a: Status, b: Status) -> f64 {
        weights.0[a as usize] - weights.0[b as usize]
    }

    #[test]
    fn an_open_touch_keeps_a_closed_pair_at_the_slip_rate() {
        let weights = Channel::default().weigh(&touch(&[(None, None)]));
        let ratio = odds(weights, Status::Joined, Status::Open).exp();
        assert!((ratio - 0.02).abs() < 0.001, "{ratio}");
    }

    #[test]
    fn a_closed_touch_keeps_an_open_pair_at_the_bridge_rate() {
        let weights = Channel::default().weigh(&touch(&[(None, Some(0.2))]));
        let ratio = odds(weights, Status::Open, Status::Break).exp();
        assert!((ratio - 0.002).abs() < 0.0005, "{ratio}");
    }

    #[test]
    fn a_pair_that_follows_is_stronger_evidence_than_any_single_look() {
        let channel = Channel::default();
        let both = channel.weigh(&touch(&[(None, Some(0.2)), (Some(1.0), None)]));
        let rest = channel.weigh(&touch(&[(None, Some(0.2))]));
        assert!(
            odds(both, Status::Break, Status::Open) > odds(rest, Status::Break, Status::Open) + 2.0
        );
        assert!(odds(both, Status::Break, Status::Joined) > 6.0);
    }

    #[test]
    fn eight_ohms_alone_do_not_tell_a_coil_from_a_contact() {
        let weights = Channel::default().weigh(&touch(&[(None, Some(8.0))]));
        assert!(odds(weights, Status::Coil, Status::Joined).abs() < 0.1);
        let coil = Channel::default().weigh(&touch(&[(None, Some(330.0))]));
        assert!(odds(coil, Status::Coil, Status::Joined) > 4.0);
        let contact = Channel::default().weigh(&touch(&[(None, Some(0.08))]));
        assert!(odds(contact, Status::Joined, Status::Coil) > 4.0);
        let unclear = |ohms| Seen::Ohms { ohms, u: 0.05 }.is_contact_or_coil();
        assert_eq!([0.2, 2.0, 8.0, 14.0, 60.0].map(unclear), [false, false, true, true, false]);
        assert!(!Seen::Open.is_contact_or_coil());
    }

    #[test]
    fn a_drive_that_may_not_move_the_part_says_less() {
        let channel = Channel::default();
        let sure = channel.weigh(&touch(&[(None, Some(0.2)), (Some(1.0), Some(0.2))]));
        let faint = channel.weigh(&touch(&[(None, Some(0.2)), (Some(0.3), Some(0.2))]));
        assert!(odds(sure, Status::Joined, Status::Break) > 5.0);
        assert!(odds(faint, Status::Joined, Status::Break) < 0.5);
    }

    #[test]
    fn a_part_moved_by_the_weaker_drive_is_moved_by_the_stronger() {
        let contrary = touch(&[(None, None), (Some(0.3), Some(0.2)), (Some(0.9), None)]);
        let steady = touch(&[(None, None), (Some(0.3), None), (Some(0.9), Some(0.2))]);
        let channel = Channel { no_contact: 1e-6, bridge: 1e-6 };
        let make = |touch| channel.weigh(touch).0[Status::Make as usize];
        assert!(make(&steady) > -1.0);
        assert!(make(&contrary) < -8.0);
    }

    #[test]
    fn odd_numbers_give_finite_weights() {
        for ohms in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -3.0, 0.0, 1e300] {
            for q in [f64::NAN, -1.0, 0.0, 2.0] {
                let weights = Channel { no_contact: f64::NAN, bridge: 2.0 }.weigh(&touch(&[
                    (None, Some(ohms)),
                    (Some(q), Some(ohms)),
                    (Some(q), None),
                ]));
                assert!(weights.0.iter().all(|w| w.is_finite()), "{ohms} {q} {weights:?}");
            }
        }
    }

    /// Half way between two points a value is their mean; beyond the ends it stays. The points
    /// stand above; ohms are given as their logarithm to base 10.
    #[test]
    fn densities_are_straight_lines_over_the_logarithm_of_ohms() {
        let coil = [
            (-3.0, -10.0),
            (-1.5, -9.0),
            (0.35, -5.75),
            (0.95, -3.5),
            (1.4, -2.25),
            (1.8, -0.75),
            (3.0, -0.5),
            (4.35, -1.25),
            (5.35, -4.0),
            (8.0, -6.0),
        ];
        let closed = [
            (-3.0, -0.5),
            (-2.0, -0.25),
            (-0.35, 0.0),
            (0.5, -1.75),
            (0.6, -2.625),
            (0.95, -3.5),
            (1.45, -5.5),
            (2.35, -7.75),
            (4.5, -8.5),
            (8.0, -9.0),
        ];
        let open =
            [(-3.0, -12.0), (1.0, -11.0), (5.5, -8.0), (7.0, -4.5), (7.5, -3.75), (9.0, -3.0)];
        let (coil, closed, open) = (coil.as_slice(), closed.as_slice(), open.as_slice());
        for (level, points) in [(Level::Coil, coil), (Level::Closed, closed), (Level::Open, open)] {
            for &(decades, expected) in points {
                let found = ln_density(level, Seen::Ohms { ohms: 10_f64.powf(decades), u: 1e-3 });
                assert!((found - expected).abs() < 1e-9, "{level:?} at {decades}: {found}");
            }
        }
    }

    #[test]
    fn below_its_uncertainty_a_value_is_as_good_as_that() {
        let density = |ohms, u| ln_density(Level::Coil, Seen::Ohms { ohms, u });
        assert_eq!(density(-3.0, 0.05), density(0.05, 0.05));
        assert_eq!(density(1e-9, 0.2), density(0.2, 0.05));
        assert_eq!(density(0.0, 0.0), density(1e-3, 0.0));
        assert_eq!(density(0.5, 90.0), density(1.0, 0.05), "an ohm at most");
        assert_eq!(density(0.5, f64::NAN), density(1.0, 0.05));
    }

    #[test]
    fn a_touch_that_is_no_number_says_nothing() {
        let weights = Channel::default().weigh(&touch(&[(None, Some(f64::NAN))]));
        assert!(weights.0.iter().all(|weight| *weight == weights.0[0]), "{weights:?}");
        let silent = Channel::default().weigh(&touch(&[]));
        assert!(silent.0.iter().all(|weight| weight.abs() < 1e-12), "{silent:?}");
    }

    /// By hand, with slips of 30 and 20 %: half of all touches are good. 0.2 ohm is a contact's
    /// likeliest value (density 1); open, it lies at -12 + (2.301 / 8) x 2; an overload on a
    /// conductor has e^-9.
    #[test]
    fn a_touch_is_good_or_slipped_throughout() {
        let channel = Channel { no_contact: 0.3, bridge: 0.2 };
        let says = |looks: &[_], status: Status| channel.weigh(&touch(looks)).0[status as usize];
        let open = (-12.0 + (0.2_f64.log10() + 3.0) / 4.0).exp();
        let lost = (-9.0_f64).exp();
        let near = |found: f64, expected: f64| {
            assert!((found - expected.ln()).abs() < 1e-12, "{found} against {}", expected.ln());
        };
        let rest = [(None, None)];
        near(says(&rest, Status::Open), 0.5 + 0.3 + 0.2 * lost);
        for status in [Status::Break, Status::Joined, Status::Coil] {
            near(says(&rest, status), 0.5 * lost + 0.3 + 0.2 * lost);
        }
        // A drive that moves the part three times in four.
        let maybe = [(None, None), (Some(0.75), Some(0.2))];
        near(says(&maybe, Status::Make), 0.5 * (0.75 + 0.25 * open) + 0.3 * open + 0.2 * lost);
        near(says(&maybe, Status::Open), 0.5 * open + 0.3 * open + 0.2 * lost);
        near(says(&maybe, Status::Joined), 0.5 * lost + 0.3 * open + 0.2 * lost);
        // The stronger of two drives shows a contact, the weaker none: six in ten are between.
        let two = [(Some(0.3), None), (Some(0.9), Some(0.2))];
        let between = 0.1 * open + 0.6 + 0.3 * lost;
        near(says(&two, Status::Make), 0.5 * between + 0.3 * open + 0.2 * lost);
        // Two alike move together.
        let alike = [(Some(0.9), None), (Some(0.9), Some(0.2))];
        let together = 0.1 * open + 0.9 * lost;
        near(says(&alike, Status::Make), 0.5 * together + 0.3 * open + 0.2 * lost);
    }
}
