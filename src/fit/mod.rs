//! Whether this output will hold this relay at the end of this cable, hot and on a low battery:
//! from what was said ([`RawFit`]) to a checked [`Fit`], and by [`Fit::judge`] to a
//! [`FitFinding`] with margins, formulas, a hold-up capacitor and advice. Conditions that will come
//! are fixed at their worst; what is not exactly known is a range, and a verdict that depends on it
//! is undecided. Reads no clock and no file; chance is seeded.

mod case;
mod check;
pub mod circuit;
mod claim;
mod contact;
mod holdup;
pub mod ramp;
mod raw;
pub mod spread;
mod suppression;

pub use case::{Fit, Quantity};
pub use check::{BadFit, DRAWS};
pub use contact::Material;
pub use raw::{RawAir, RawCable, RawCoil, RawContact, RawFit, RawOutput};

use crate::event::{FitCheck, FitCode, FitFinding, Verdict};
use claim::{Claim, claims};

impl Fit {
    /// Judges it.
    #[must_use]
    pub fn judge(&self) -> FitFinding {
        let claims = claims(self);
        let (shares, probability) = self.by_chance(&claims);
        let checks: Vec<FitCheck> =
            claims.iter().zip(shares).map(|(claim, share)| claim.judge(share)).collect();
        let nominal = self.nominal();
        let drawn = self.drawn(&nominal);
        let (low, high) = (drawn.low(), drawn.high());
        let result = Verdict::of_all(checks.iter().map(|check| check.verdict));
        let hold_up = holdup::hold_up(self);
        let mut assumptions = self.assumptions.clone();
        if self.pulse_s.is_some() && hold_up.is_none() {
            assumptions
                .push("No capacitor of a usual size holds this relay through the gap.".into());
        }
        FitFinding {
            result,
            reason: reason(result, &checks),
            coil_volts_min: low.coil_volts(),
            coil_volts_max: high.coil_volts(),
            coil_amps_min: low.coil_amps(),
            coil_amps_max: high.coil_amps(),
            margin_percent: worst(&checks).map_or(0.0, |check| check.margin_percent),
            probability,
            draws: self.draws,
            seed: self.seed,
            hold_up,
            suppression: suppression::choices(self),
            inputs: self.inputs.clone(),
            assumptions,
            checks,
            simulated: self.simulated,
        }
    }

    /// Margins of one check over seeded draws, for whoever wants their distribution. Empty where
    /// this fit makes no such check.
    #[must_use]
    pub fn margins(&self, code: FitCode) -> Vec<f64> {
        let claims = claims(self);
        let mut margins = Vec::new();
        if let Some(claim) = claims.iter().find(|claim| claim.code() == code) {
            spread::sample(&self.spreads, self.draws, self.seed, |values| {
                margins.push(claim.margin(values));
            });
        }
        margins
    }

    /// The margin of one check by linear propagation (JCGM 100:2008, 5.1.2, no correlations): its
    /// value at the nominal inputs and its standard uncertainty. `None` where there is no such
    /// check.
    #[must_use]
    pub fn propagated(&self, code: FitCode) -> Option<(f64, f64)> {
        let claims = claims(self);
        let claim = claims.iter().find(|claim| claim.code() == code)?;
        let nominal = self.nominal();
        let square = self.spreads.iter().enumerate().map(|(i, spread)| {
            let width = spread.high - spread.low;
            if width <= 0.0 {
                return 0.0;
            }
            let mut moved = nominal.clone();
            moved[i] = spread.high;
            let above = claim.margin(&moved);
            moved[i] = spread.low;
            ((above - claim.margin(&moved)) / width * spread.u()).powi(2)
        });
        Some((claim.margin(&nominal), square.sum::<f64>().sqrt()))
    }

    /// Share of the draws that kept each limit, and all of them.
    fn by_chance(&self, claims: &[Claim<'_>]) -> (Vec<f64>, f64) {
        let mut kept = vec![0_u32; claims.len()];
        let mut all = 0_u32;
        spread::sample(&self.spreads, self.draws, self.seed, |values| {
            let mut every = true;
            for (count, claim) in kept.iter_mut().zip(claims) {
                let keeps = claim.margin(values) >= 0.0;
                *count += u32::from(keeps);
                every &= keeps;
            }
            all += u32::from(every);
        });
        let share = |count: u32| f64::from(count) / f64::from(self.draws);
        (kept.into_iter().map(share).collect(), share(all))
    }
}

/// The check that stands worst: the verdict first, then the margin.
fn worst(checks: &[FitCheck]) -> Option<&FitCheck> {
    let rank = |check: &FitCheck| match check.verdict {
        Verdict::Fail => 0,
        Verdict::Undecided => 1,
        Verdict::Pass => 2,
    };
    checks
        .iter()
        .min_by(|a, b| rank(a).cmp(&rank(b)).then(a.margin_percent.total_cmp(&b.margin_percent)))
}

fn reason(result: Verdict, checks: &[FitCheck]) -> String {
    let Some(check) = worst(checks) else { return "nothing was checked".into() };
    let margin = format!("{} {}", claim::short(check.margin), check.unit);
    match result {
        Verdict::Pass => format!(
            "every limit is kept over the whole range; the smallest margin is {margin} \
             ({} %): {}",
            claim::short(check.margin_percent.round()),
            check.text
        ),
        Verdict::Fail => format!("not kept: {} (margin {margin})", check.text),
        Verdict::Undecided => format!(
            "what is known cannot tell whether {}: the margin lies between {} and {} {}",
            check.text,
            claim::short(check.margin_low),
            claim::short(check.margin_high),
            check.unit
        ),
    }
}
