//! Ramps up and down with a contact as witness: what was seen so far in, the next volts out, and at
//! the end pick-up and drop-out with their uncertainty. One coarse ramp finds the region, fine ones
//! measure in it. Nothing above the limit is ever wanted. Volts; 0 is at rest.

use crate::cable::copper::{pick_up_from_20_celsius, to_20_celsius};
use crate::event::{PickUpStart, Ramp, Threshold, Verdict};

/// Steps of the coarse ramp, in fine steps.
const COARSE: f64 = 8.0;

/// Of a contact that stays where the drive put it.
const HELD_AT_REST: &str = "the contact does not return at rest: latching?";

/// What was seen at one drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Volts of the drive; 0 at rest.
    pub volts: f64,
    /// Whether the witness was closed.
    pub closed: bool,
}

/// What is wanted next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// A look at the witness at these volts; 0: at rest.
    Look(f64),
    /// All ramps are done.
    Done,
    /// It cannot be measured, for this reason.
    Hopeless(&'static str),
}

/// What the looks so far amount to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// The witness at rest.
    pub closed_at_rest: Option<bool>,
    /// The coarse ramp, once it is whole.
    pub coarse: Option<Ramp>,
    /// The fine ramps that are whole.
    pub fine: Vec<Ramp>,
}

/// Where a ramp stands.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    /// To rest first: at the beginning, and between ramps.
    Rest,
    /// Upwards from these volts, which left it as it was.
    Up(f64),
    /// Downwards from these volts, which held it; the ramp so far.
    Down(f64, Ramp),
}

/// Follows the looks so far; says what they amount to and what is wanted next.
#[must_use]
pub fn follow(seen: &[Seen], step_volts: f64, ramps: u32, most_volts: f64) -> (Course, Wanted) {
    let mut course = Course::default();
    let mut phase = Phase::Rest;
    for look in seen {
        let rest = course.closed_at_rest;
        phase = match (phase, rest) {
            (Phase::Rest, None) => {
                course.closed_at_rest = Some(look.closed);
                Phase::Up(0.0)
            }
            (Phase::Rest, Some(rest)) if look.closed == rest => {
                Phase::Up(begin(&course, step_volts))
            }
            (Phase::Rest, Some(_)) => {
                return (course, Wanted::Hopeless(HELD_AT_REST));
            }
            (Phase::Up(_), rest) if Some(look.closed) == rest => Phase::Up(look.volts),
            (Phase::Up(still), _) => {
                // Where a fine ramp begins nobody looked: then it was only seen still at rest.
                let begun = course.coarse.is_some() && still == begin(&course, step_volts);
                let still_volts = if begun { 0.0 } else { still };
                let ramp = Ramp { still_volts, moved_volts: look.volts, ..Ramp::default() };
                Phase::Down(look.volts, ramp)
            }
            (Phase::Down(_, ramp), rest) if Some(look.closed) != rest => {
                Phase::Down(look.volts, ramp)
            }
            (Phase::Down(held, ramp), _) => {
                let whole = Ramp { held_volts: held, released_volts: look.volts, ..ramp };
                if course.coarse.is_none() {
                    course.coarse = Some(whole);
                } else {
                    course.fine.push(whole);
                }
                Phase::Rest
            }
        };
    }
    let wanted = wanted(phase, &course, step_volts, ramps, most_volts);
    (course, wanted)
}

fn wanted(phase: Phase, course: &Course, fine: f64, ramps: u32, most_volts: f64) -> Wanted {
    let step = if course.coarse.is_some() { fine } else { fine * COARSE };
    match phase {
        Phase::Rest if course.fine.len() >= ramps as usize => Wanted::Done,
        Phase::Rest => Wanted::Look(0.0),
        Phase::Up(still) if still >= most_volts => {
            Wanted::Hopeless("the contact did not change within the limits")
        }
        Phase::Up(still) => Wanted::Look(tidy((still + step).min(most_volts))),
        Phase::Down(held, _) if held <= 0.0 => Wanted::Hopeless(HELD_AT_REST),
        Phase::Down(held, ramp) => {
            // From pick-up straight to what the coarse ramp saw it held at.
            let known = course.coarse.map(|c| c.held_volts + fine * (COARSE / 2.0 + 1.0));
            let from = known.filter(|_| held == ramp.moved_volts).map_or(held, |v| v.min(held));
            Wanted::Look(tidy((from - step).max(0.0)))
        }
    }
}

/// Where an upward ramp begins: half a coarse step below the coarse ramp's last still one.
fn begin(course: &Course, fine: f64) -> f64 {
    course.coarse.map_or(0.0, |coarse| (coarse.still_volts - fine * COARSE / 2.0).max(0.0))
}

fn tidy(volts: f64) -> f64 {
    (volts * 1000.0).round() / 1000.0
}

/// Pick-up and drop-out from the fine ramps; none where there is none.
#[must_use]
pub fn thresholds(ramps: &[Ramp], terms: &PickUpStart) -> Option<(Threshold, Threshold)> {
    let up: Vec<(f64, f64)> = ramps.iter().map(|r| (r.still_volts, r.moved_volts)).collect();
    let down: Vec<(f64, f64)> = ramps.iter().map(|r| (r.released_volts, r.held_volts)).collect();
    let share = |percent: f64| terms.rated_volts.map(|rated| rated * percent / 100.0);
    let operate = threshold(&up, terms, share(terms.operate_percent), true)?;
    let release = threshold(&down, terms, share(terms.release_percent), false)?;
    Some((operate, release))
}

fn threshold(
    brackets: &[(f64, f64)],
    terms: &PickUpStart,
    limit_volts: Option<f64>,
    at_most: bool,
) -> Option<Threshold> {
    if brackets.is_empty() {
        return None;
    }
    let n = brackets.len() as f64;
    let middles: Vec<f64> = brackets.iter().map(|(low, high)| f64::midpoint(*low, *high)).collect();
    let volts = middles.iter().sum::<f64>() / n;
    let width = brackets.iter().map(|(low, high)| high - low).sum::<f64>() / n;
    // Rectangular: a half-width over the root of three (JCGM 100:2008, 4.3.7).
    let step_u = width / 2.0 / 3.0_f64.sqrt();
    let drive_u = volts * terms.drive_percent / 100.0 / 3.0_f64.sqrt();
    // Type A (JCGM 100:2008, 4.2.3).
    let square: f64 = middles.iter().map(|middle| (middle - volts).powi(2)).sum();
    let repeat_u = if n > 1.0 { (square / (n - 1.0) / n).sqrt() } else { 0.0 };
    let volts_u = (step_u.powi(2) + drive_u.powi(2) + repeat_u.powi(2)).sqrt();
    let volts_20 = to_20_celsius(volts, terms.ambient_celsius);
    let margin = limit_volts.map(|limit| if at_most { limit - volts_20 } else { volts_20 - limit });
    let verdict = match margin {
        Some(margin) if margin >= 2.0 * volts_u => Verdict::Pass,
        Some(margin) if margin < -2.0 * volts_u => Verdict::Fail,
        _ => Verdict::Undecided,
    };
    Some(Threshold {
        volts,
        volts_u,
        step_u,
        drive_u,
        repeat_u,
        volts_20,
        volts_hot: pick_up_from_20_celsius(volts_20, terms.coil_celsius_max),
        limit_volts,
        verdict,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terms(rated_volts: Option<f64>) -> PickUpStart {
        let pins = crate::event::Pins::numbered(4).unwrap();
        let pin = |place: usize| pins.at(place).clone();
        PickUpStart {
            drive_percent: 0.0,
            rated_volts,
            ..PickUpStart::usual([pin(0), pin(1)], [pin(2), pin(3)])
        }
    }

    /// A relay with these thresholds answers every look.
    fn led(pick_up: f64, drop_out: f64, most: f64) -> (Course, Wanted, Vec<Seen>) {
        let (mut seen, mut set) = (Vec::new(), false);
        loop {
            let (course, wanted) = follow(&seen, 0.1, 3, most);
            let Wanted::Look(volts) = wanted else { return (course, wanted, seen) };
            assert!((0.0..=most).contains(&volts), "{volts}");
            set = volts >= pick_up || (set && volts > drop_out);
            seen.push(Seen { volts, closed: set });
            assert!(seen.len() < 1000, "it never ends");
        }
    }

    #[test]
    fn every_pick_up_and_drop_out_is_bracketed_by_one_step() {
        for (pick_up, drop_out) in [(7.83, 2.97), (3.21, 0.33), (11.98, 9.47), (0.55, 0.21)] {
            let (course, wanted, seen) = led(pick_up, drop_out, 24.0);
            assert_eq!(wanted, Wanted::Done, "{pick_up} {drop_out}: {course:?}");
            assert_eq!(course.fine.len(), 3);
            for ramp in &course.fine {
                assert!(ramp.still_volts < pick_up && ramp.moved_volts >= pick_up, "{ramp:?}");
                assert!(ramp.held_volts > drop_out && ramp.released_volts <= drop_out, "{ramp:?}");
                assert!(ramp.moved_volts - ramp.still_volts < 0.101, "{ramp:?}");
                assert!(ramp.held_volts - ramp.released_volts < 0.101, "{ramp:?}");
            }
            assert!(seen.len() < 160, "{} looks", seen.len());
        }
    }

    #[test]
    fn a_relay_beyond_the_limit_is_given_up_and_never_driven_above_it() {
        let (_, wanted, seen) = led(30.0, 5.0, 24.0);
        assert!(matches!(wanted, Wanted::Hopeless(_)));
        assert_eq!(seen.last().map(|look| look.volts), Some(24.0));
    }

    #[test]
    fn a_latching_relay_is_told() {
        let (_, wanted, _) = led(7.0, -1.0, 24.0);
        assert!(matches!(wanted, Wanted::Hopeless(why) if why.contains("latching")), "{wanted:?}");
    }

    #[test]
    fn the_uncertainty_is_that_of_step_drive_and_repeat() {
        let ramp = |still_volts: f64| Ramp {
            still_volts,
            moved_volts: still_volts + 0.1,
            held_volts: 3.0,
            released_volts: 2.9,
        };
        let ramps = [ramp(7.0), ramp(7.1), ramp(7.2)];
        let terms = PickUpStart { drive_percent: 1.0, ..terms(Some(12.0)) };
        let (pick_up, drop_out) = thresholds(&ramps, &terms).unwrap();
        // Half a step over the root of three; 1 % of 7.15 V over the root of three; three middles
        // 0.1 V apart: s = 0.1 V, over the root of three (JCGM 100:2008, 4.3.7 and 4.2.3).
        let root = 3.0_f64.sqrt();
        assert!((pick_up.volts - 7.15).abs() < 1e-9);
        assert!((pick_up.step_u - 0.05 / root).abs() < 1e-9);
        assert!((pick_up.drive_u - 0.0715 / root).abs() < 1e-9);
        assert!((pick_up.repeat_u - 0.1 / root).abs() < 1e-9);
        let all = (0.05_f64.powi(2) + 0.0715_f64.powi(2) + 0.1_f64.powi(2)).sqrt() / root;
        assert!((pick_up.volts_u - all).abs() < 1e-9);
        // IEC 61810-1, 5.2 and 5.3 (from memory): 80 % and 5 % of 12 V.
        assert_eq!(pick_up.limit_volts.map(|v| (v * 1e9).round() / 1e9), Some(9.6));
        assert_eq!((pick_up.verdict, drop_out.verdict), (Verdict::Pass, Verdict::Pass));
        // 7.15 V at 20 C is 7.15 x 1.1965 at 70 C (IEC 60028).
        assert!((pick_up.volts_hot - 7.15 * 1.1965).abs() < 1e-9);
    }

    #[test]
    fn a_value_at_its_limit_is_undecided() {
        let at = |still_volts: f64| {
            let ramp = Ramp {
                still_volts,
                moved_volts: still_volts + 0.1,
                held_volts: 1.0,
                released_volts: 0.9,
            };
            thresholds(&[ramp, ramp], &terms(Some(12.0))).unwrap().0.verdict
        };
        assert_eq!(
            [at(9.0), at(9.55), at(10.0)],
            [Verdict::Pass, Verdict::Undecided, Verdict::Fail]
        );
        let ramp =
            Ramp { still_volts: 7.0, moved_volts: 7.1, held_volts: 1.0, released_volts: 0.9 };
        assert_eq!(thresholds(&[ramp], &terms(None)).unwrap().0.verdict, Verdict::Undecided);
        assert!(thresholds(&[], &terms(None)).is_none());
    }
}
