//! A coil's ohms and the operator's limits -> the [`Ladder`] of drives with its reasons, and for a
//! ramp the most that it may go to. Nothing is driven above what the least powerful coil that is
//! still plausible stands: 110 % of its rated volts ([`STANDS`]). A rating whose 110 % left the
//! contacts still is ruled out. Volts, ohms, watts.

use crate::event::{Ladder, LadderStep, Pin, RatedVolts};
use crate::relay::coil::{DriveEvidence, PLAUSIBLE, STANDS, rated_volts};

/// What the operator allows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Allowed {
    pub(super) volts_max: f64,
    pub(super) coil_watts_max: f64,
}

impl Allowed {
    /// The most volts in a coil of so many ohms.
    pub(super) fn volts_in(self, ohms: f64) -> f64 {
        self.volts_max.min((self.coil_watts_max * ohms).sqrt())
    }

    /// What forbids these volts, in words.
    fn forbids(self, volts: f64, ohms: f64) -> String {
        if volts > self.volts_max {
            format!("which is above --volts-max {}", self.volts_max)
        } else {
            let watts = (volts * volts / ohms * 100.0).round() / 100.0;
            format!("{watts} W in this coil, with --coil-watts-max {}", self.coil_watts_max)
        }
    }
}

/// The rated voltages that a coil of these ohms at 20 degrees Celsius may have, lowest first.
pub(super) fn plausible(ohms: f64, u: f64) -> Vec<RatedVolts> {
    let shares = rated_volts(ohms, u, DriveEvidence::default());
    let kept = shares.into_iter().filter(|(_, p)| *p >= PLAUSIBLE);
    let mut kept: Vec<RatedVolts> = kept.map(|(volts, p)| RatedVolts { volts, p }).collect();
    kept.sort_by(|a, b| a.volts.total_cmp(&b.volts));
    kept
}

/// The most that a ramp may go to after the contacts were still at `still_volts`: what the lowest
/// rating stands that this has not ruled out, and never above `permitted_volts`. In whole
/// millivolts.
pub(super) fn ceiling(ratings: &[RatedVolts], still_volts: f64, permitted_volts: f64) -> f64 {
    let mut stands = ratings.iter().map(|rating| millivolts(rating.volts * STANDS));
    let open = stands.clone().find(|stands| *stands > still_volts);
    let most = open.or(stands.next_back()).unwrap_or(permitted_volts);
    millivolts(most.min(permitted_volts))
}

/// Down to whole millivolts; what is a whole number but for rounding stays it.
fn millivolts(volts: f64) -> f64 {
    (volts * 1000.0 + 1e-6).floor() / 1000.0
}

/// The ladder of an identification: these volts, on this coil of `ohms` with standard uncertainty
/// `u`.
pub(super) fn of_steps(
    coil: [Pin; 2],
    (ohms, u): (f64, f64),
    volts: &[f64],
    allowed: Allowed,
) -> Ladder {
    let ratings = plausible(ohms, u);
    let least = ohms - 2.0 * u.clamp(0.0, ohms / 3.0);
    let step = |place: usize, volts: f64| {
        let rating = ratings.iter().find(|rating| same(rating.volts, volts));
        let why = match (rating, place.checked_sub(1)) {
            (Some(rating), None) => {
                format!("the lowest rated voltage that is plausible ({})", percent(rating.p))
            }
            (Some(rating), Some(_)) => {
                format!("the next rated voltage that is plausible ({})", percent(rating.p))
            }
            (None, _) => "the highest usual voltage that is allowed below the next rating".into(),
        };
        LadderStep { volts, watts: volts * volts / ohms, why }
    };
    let steps: Vec<LadderStep> = volts.iter().enumerate().map(|(i, v)| step(i, *v)).collect();
    let top = volts.last().copied().unwrap_or(0.0);
    let order = "Lowest first: ohms alone do not tell the rated voltage, and each step is no more \
                 than the least powerful coil stands that is still plausible. A contact that stays \
                 still at a rating rules that rating out, and only then the next step is tried.";
    Ladder {
        coil,
        ohms,
        end: end(
            "It ends with the step that moves a contact",
            top,
            &ratings,
            1.0,
            (allowed, least),
        ),
        rated_volts: ratings,
        steps,
        order: order.into(),
    }
}

/// The ladder of a ramp: how far it goes for each rating that is plausible, or for the one that the
/// operator stated.
pub(super) fn of_ramp(
    coil: [Pin; 2],
    ohms: f64,
    ratings: Vec<RatedVolts>,
    stated: bool,
    allowed: Allowed,
) -> Ladder {
    let permitted = millivolts(allowed.volts_in(ohms));
    let mut steps: Vec<LadderStep> = Vec::new();
    for rating in &ratings {
        let volts = ceiling(std::slice::from_ref(rating), 0.0, permitted);
        if steps.last().is_some_and(|last| last.volts >= volts) {
            break;
        }
        let source = match (stated, steps.is_empty()) {
            (true, _) => "the rated voltage as stated".into(),
            (false, true) => format!("the lowest that is plausible ({})", percent(rating.p)),
            (false, false) => format!("the next that is plausible ({})", percent(rating.p)),
        };
        let cut =
            if volts < millivolts(rating.volts * STANDS) { ", as far as allowed" } else { "" };
        let why = format!("110 % of {} V, {source}{cut}", rating.volts);
        steps.push(LadderStep { volts, watts: volts * volts / ohms, why });
    }
    let top = steps.last().map_or(0.0, |step| step.volts);
    let order = "Upwards in small steps from nothing: no drive is more than the least powerful \
                 coil stands that is still plausible. Only where the contact stays still up to \
                 there is that rating ruled out, and the ramp goes on to what the next one stands.";
    Ladder {
        coil,
        ohms,
        end: end(
            "Upwards it ends where the contact changes",
            top,
            &ratings,
            STANDS,
            (allowed, ohms),
        ),
        rated_volts: ratings,
        steps,
        order: order.into(),
    }
}

/// Why nothing above `top` is tried, where the steps go to `share` of each rating; `ohms` on the
/// safe side.
fn end(first: &str, top: f64, ratings: &[RatedVolts], share: f64, may: (Allowed, f64)) -> String {
    let (allowed, ohms) = may;
    let above = ratings.iter().map(|rating| (rating.volts, millivolts(rating.volts * share)));
    let why = match above.clone().find(|(_, wanted)| *wanted > top + 1e-9) {
        Some((rated, wanted)) => format!(
            "for a coil rated {rated} V it would go to {} V, {}",
            short(wanted),
            allowed.forbids(wanted, ohms)
        ),
        None => "no higher rated voltage is plausible".into(),
    };
    format!("{first}, at the latest at {} V: {why}.", short(top))
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

fn percent(p: f64) -> String {
    match 100.0 * p {
        p if p < 99.5 => format!("{p:.0} %"),
        _ => "over 99 %".into(),
    }
}

fn short(x: f64) -> f64 {
    (x * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const USUAL: Allowed = Allowed { volts_max: 24.0, coil_watts_max: 3.0 };

    fn pins() -> [Pin; 2] {
        [Pin::new("1"), Pin::new("8")]
    }

    #[test]
    fn no_ramp_goes_above_what_the_least_powerful_plausible_coil_stands() {
        // 1440 ohm suits 12, 24 and 48 V coils (R = V^2 / P, fixtures/reference/relay-coils.csv).
        for ohms in [62.5, 360.0, 400.0, 1440.0, 2880.0] {
            let ratings = plausible(ohms, 0.01 * ohms);
            let mut still = 0.0;
            while still < 24.0 {
                let most = ceiling(&ratings, still, 24.0);
                let least = ratings.iter().find(|r| r.volts * 1.1 > still + 0.001);
                let stands = least.or(ratings.last()).map_or(24.0, |r| r.volts * 1.1);
                assert!(most <= stands.min(24.0) + 1e-9, "{ohms} ohm, still at {still}: {most}");
                if most <= still {
                    break;
                }
                still = (still + 0.8_f64).min(most);
            }
        }
    }

    #[test]
    fn a_rating_that_left_the_contact_still_gives_way_to_the_next() {
        let ratings = [9.0, 12.0, 48.0].map(|volts| RatedVolts { volts, p: 0.3 });
        let at = |still| ceiling(&ratings, still, 24.0);
        assert_eq!([at(0.0), at(9.8), at(9.9), at(13.2), at(24.0)], [9.9, 9.9, 13.2, 24.0, 24.0]);
        assert_eq!(ceiling(&[], 0.0, 7.5), 7.5);
    }

    #[test]
    fn the_ladder_says_which_volts_why_and_why_it_ends() {
        let ladder = of_steps(pins(), (1440.0, 5.0), &[12.0, 24.0], USUAL);
        assert!(ladder.steps[0].why.starts_with("the lowest rated voltage"), "{ladder:?}");
        assert!(ladder.steps[1].why.starts_with("the next rated voltage"), "{ladder:?}");
        assert!((ladder.steps[1].watts - 0.4).abs() < 1e-9);
        // 48 V at 1.6 W reads 1440 ohm too.
        assert!(ladder.end.contains("48 V") && ladder.end.contains("--volts-max 24"), "{ladder:?}");
        let all = of_steps(pins(), (400.0, 2.0), &[9.0, 12.0, 24.0], USUAL);
        let end = "at the latest at 24 V: no higher rated voltage is plausible.";
        assert!(all.end.ends_with(end), "{}", all.end);
    }

    #[test]
    fn a_stated_rating_is_the_only_one_and_limits_are_named() {
        let stated = vec![RatedVolts { volts: 12.0, p: 1.0 }];
        let ladder = of_ramp(pins(), 400.0, stated.clone(), true, USUAL);
        assert_eq!(ladder.steps.iter().map(|s| s.volts).collect::<Vec<_>>(), [13.2]);
        assert!(ladder.steps[0].why.contains("as stated"), "{ladder:?}");
        assert!(ladder.end.contains("no higher rated voltage"), "{}", ladder.end);
        let tight = Allowed { coil_watts_max: 0.2, ..USUAL };
        let ladder = of_ramp(pins(), 400.0, stated, true, tight);
        // 0.2 W in 400 ohm are 8.944 V.
        assert_eq!(ladder.steps[0].volts, 8.944);
        assert!(ladder.end.contains("--coil-watts-max 0.2"), "{}", ladder.end);
    }
}
