//! What a coil's resistance says: from ohms at a temperature to a probability for each rated
//! voltage, the drive voltages worth trying, and whether a drive moves the contacts. Resistance
//! alone never fixes the voltage (1440 ohm suits 12, 24 and 48 V parts), so every answer is a
//! distribution, and drives that moved the contacts, or did not, sharpen it. Ohms are ohms at
//! 20 degrees Celsius, volts are DC. Whether the coil has a polarity is told by [`suppression()`];
//! which drive is asked, and when, is left to the guide.

mod suppression;

pub use suppression::{
    Direction, LeadLooks, Polarity, Shown, Suppression, lamp_excluded, suppression,
};

/// Rated coil voltages and how common each is among small DC relays. The voltages are the
/// preferred DC values of IEC 61810-1, 5.1 (from memory) and 6 V; the weights are common
/// practice, no source.
const RATINGS: [(f64, f64); 9] = [
    (3.0, 0.03),
    (5.0, 0.19),
    (6.0, 0.06),
    (9.0, 0.05),
    (12.0, 0.32),
    (24.0, 0.24),
    (48.0, 0.07),
    (60.0, 0.015),
    (110.0, 0.025),
];

/// Coil power classes in watts, and how common each is (classes from memory, weights common
/// practice, no source).
const POWERS: [(f64, f64); 12] = [
    (0.15, 0.07),
    (0.20, 0.13),
    (0.25, 0.06),
    (0.36, 0.17),
    (0.40, 0.17),
    (0.45, 0.08),
    (0.53, 0.15),
    (0.70, 0.06),
    (0.90, 0.04),
    (1.00, 0.03),
    (1.50, 0.025),
    (2.00, 0.015),
];

/// Spread of a coil's power within its class, as a standard deviation of the logarithm. Coil
/// resistance is within 10 % (a maker's term list) to 15 % (terms after JIS C 4530 and C 5442).
const CLASS_SPREAD: f64 = 0.08;

/// Coils of no class: this share of all, lognormal about 0.45 W (common practice, no source).
const UNCLASSED: (f64, f64, f64) = (0.15, 0.45, 0.9);

/// Rated power above which a relay coil is taken for damaged, in watts: half as much again as
/// the most powerful class (common practice, no source).
const HEALTHY_WATTS_MAX: f64 = 3.0;

/// Share of rated voltage at which the contacts must have changed over (terms after
/// JIS C 4530 and JIS C 5442: must operate at most 80 %).
pub const MUST_OPERATE: f64 = 0.8;

/// Share of its rated voltage that a coil stands for good (operative range class 1 and 2,
/// IEC 61810-1, 5.2, from memory).
pub const STANDS: f64 = 1.1;

/// A rating less probable than this is not tried in a ladder of drives.
pub const PLAUSIBLE: f64 = 0.01;

/// Voltages that a bench supply, or a row of batteries, is usually set to.
const BENCH_VOLTS: [f64; 16] =
    [3.0, 5.0, 6.0, 9.0, 12.0, 15.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0, 60.0, 72.0, 90.0, 110.0];

/// What driving the coil has shown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DriveEvidence {
    /// The lowest voltage at which the contacts changed over, in volts.
    pub moved_at: Option<f64>,
    /// The highest voltage at which they did not, in volts. At or above `moved_at` it is passed
    /// over: contacts seen moving are a fact, contacts seen still may be a slipped lead.
    pub still_at: Option<f64>,
}

impl DriveEvidence {
    /// The bracket that pick-up lies in: above the first, at or below the second.
    fn bracket(self) -> (Option<f64>, Option<f64>) {
        let usable = |volts: &f64| volts.is_finite() && *volts > 0.0;
        let moved = self.moved_at.filter(usable);
        let still = self.still_at.filter(usable);
        match (still, moved) {
            (Some(s), Some(m)) if s >= m => (None, moved),
            _ => (still, moved),
        }
    }
}

/// Rated voltages with their probabilities, most probable first, summing to 1: every voltage of
/// the model, however improbable. `ohms` at 20 degrees Celsius with standard uncertainty `u`.
/// Empty where `ohms` is not a positive number.
#[must_use]
pub fn rated_volts(ohms: f64, u: f64, evidence: DriveEvidence) -> Vec<(f64, f64)> {
    let mut shares = weigh(ohms, u, evidence);
    shares.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.total_cmp(&b.0)));
    shares
}

/// Probability that driving the coil with `volts` changes the contacts over, 0 to 1: that
/// pick-up is at or below `volts`. Never falls as `volts` grows; 1 from where they were seen to
/// move, 0 up to where they were not. A part that is no relay, or whose armature is stuck, is not
/// in this model. 0 where `ohms` or `volts` is not a positive number.
#[must_use]
pub fn moves_probability(ohms: f64, u: f64, evidence: DriveEvidence, volts: f64) -> f64 {
    if !(volts.is_finite() && volts > 0.0) {
        return 0.0;
    }
    let (still, moved) = evidence.bracket();
    match (still, moved) {
        (_, Some(m)) if volts >= m => return if positive(ohms) { 1.0 } else { 0.0 },
        (Some(s), _) if volts <= s => return 0.0,
        _ => {}
    }
    let shares = weigh(ohms, u, evidence);
    let p: f64 = shares
        .iter()
        .map(|&(rated, p)| {
            let low = still.map_or(0.0, |s| picked_up(s / rated));
            let high = moved.map_or(1.0, |m| picked_up(m / rated));
            let room = high - low;
            let here = picked_up(volts / rated) - low;
            p * if room > 0.0 { (here / room).clamp(0.0, 1.0) } else { 1.0 }
        })
        .sum();
    p.clamp(0.0, 1.0)
}

/// Voltages to drive a coil with, lowest first, stopping at the one that moves it. Each is a
/// usual bench voltage, at most `volts_max`, puts at most `coil_watts_max` into the coil as
/// measured (two standard uncertainties on the safe side), and is at most the lowest plausible
/// rating that the steps before it have not ruled out: a part that stayed still at its rating is
/// not of that rating, and each part stands 110 % of its own ([`STANDS`]). The first is the lowest
/// plausible rating; where the limits end the ladder below the next plausible rating, the highest
/// permitted voltage is its last step.
/// Empty where nothing is permitted or `ohms` is not a positive number.
#[must_use]
pub fn ladder(ohms: f64, u: f64, volts_max: f64, coil_watts_max: f64) -> Vec<f64> {
    let by_power = (coil_watts_max * (ohms - 2.0 * sane_u(ohms, u))).sqrt();
    if !(positive(ohms) && positive(volts_max) && positive(by_power)) {
        return Vec::new();
    }
    let permitted = volts_max.min(by_power);
    let mut steps: Vec<f64> = Vec::new();
    for (rated, p) in weigh(ohms, u, DriveEvidence::default()) {
        if p < PLAUSIBLE {
            continue;
        }
        let highest = BENCH_VOLTS.iter().copied().rfind(|&v| v <= permitted.min(rated));
        if let Some(volts) = highest.filter(|v| steps.last().is_none_or(|last| v > last)) {
            steps.push(volts);
        }
    }
    steps
}

/// A coil whose resistance is too low for a healthy one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShortedTurns {
    /// The least resistance of a healthy coil that answers to the drive as this one did, in ohms.
    pub healthy_ohms_min: f64,
}

/// Whether the coil has shorted turns: its contacts moved, and its resistance, two standard
/// uncertainties up, is still below that of a 3 W coil of the lowest rating that the drives
/// allow. Turns shorted out take resistance and ampere-turns alike, so the coil still moves at
/// about its old voltage, on more current. A mild short looks like a more powerful coil and is
/// not told; a part that did not move is not judged.
#[must_use]
pub fn shorted_turns(ohms: f64, u: f64, evidence: DriveEvidence) -> Option<ShortedTurns> {
    let (still, moved) = evidence.bracket();
    moved?;
    let rated_min = still.map_or(RATINGS[0].0, |s| (s / MUST_OPERATE).max(RATINGS[0].0));
    let healthy_ohms_min = rated_min * rated_min / HEALTHY_WATTS_MAX;
    let judged = positive(ohms) && ohms + 2.0 * sane_u(ohms, u) < healthy_ohms_min;
    judged.then_some(ShortedTurns { healthy_ohms_min })
}

/// Whether a resistance at rest may be a relay coil's at all: from 3 V at 3 W to 110 V at a third
/// less than the least powerful class, about 3 ohm to 121 kilohm. A bad contact may be so too.
#[must_use]
pub fn is_coil_like(ohms: f64) -> bool {
    let (lowest, highest) = (RATINGS[0].0, RATINGS[RATINGS.len() - 1].0);
    let most = highest * highest / (POWERS[0].0 / 1.5);
    (lowest * lowest / HEALTHY_WATTS_MAX..=most).contains(&ohms)
}

/// The posterior in the order of [`RATINGS`].
fn weigh(ohms: f64, u: f64, evidence: DriveEvidence) -> Vec<(f64, f64)> {
    if !positive(ohms) {
        return Vec::new();
    }
    let (still, moved) = evidence.bracket();
    let spread = sane_u(ohms, u) / ohms;
    let weights = RATINGS.map(|(rated, prior)| {
        let low = still.map_or(0.0, |s| picked_up(s / rated));
        let high = moved.map_or(1.0, |m| picked_up(m / rated));
        // The small floor keeps drives that fit no rating from dividing by zero.
        let drives = (high - low).max(0.0) + 1e-9;
        (rated, prior * power_density(rated * rated / ohms, spread) * drives)
    });
    let total: f64 = weights.iter().map(|w| w.1).sum();
    weights.iter().map(|&(rated, w)| (rated, w / total)).collect()
}

/// Density of coils at this rated power, per unit of its natural logarithm.
fn power_density(watts: f64, spread: f64) -> f64 {
    let (share, median, sd) = UNCLASSED;
    let class_sd = CLASS_SPREAD.hypot(spread);
    let classed: f64 =
        POWERS.iter().map(|&(class, w)| w * normal((watts / class).ln(), class_sd)).sum();
    // Never quite zero: coils of 10 ohm and of 100 kilohm get a distribution too.
    (1.0 - share) * classed + share * normal((watts / median).ln(), sd.hypot(spread)) + 1e-12
}

fn normal(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / (sd * std::f64::consts::TAU.sqrt())
}

/// Share of parts whose pick-up is at or below this share of their rated voltage: from 40 % to
/// the guaranteed 80 % (see [`MUST_OPERATE`]; the lower end is common practice, no source), with
/// one part in 25 between 20 % and 120 %: warm coils, odd parts, tired supplies.
fn picked_up(share_of_rated: f64) -> f64 {
    let rise = |low: f64, high: f64| {
        let t = ((share_of_rated - low) / (high - low)).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    };
    0.96 * rise(0.4, MUST_OPERATE) + 0.04 * rise(0.2, 1.2)
}

fn positive(x: f64) -> bool {
    x.is_finite() && x > 0.0
}

/// An uncertainty that arithmetic can bear: not negative, at most a third of the value.
fn sane_u(ohms: f64, u: f64) -> f64 {
    if u.is_nan() { 0.0 } else { u.clamp(0.0, ohms.max(0.0) / 3.0) }
}

#[cfg(test)]
mod tests;
