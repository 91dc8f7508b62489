//! The coil's side of a fit: resistance at 20 degrees Celsius, rated volts, pick-up, drop-out and
//! maximum. What was not measured follows from the rated volts, and where those are not known from
//! their distribution over the resistance: then every limit is as wide as that is. Volts, ohms.

use super::{BadFit, Work};
use crate::cable::copper::to_20_celsius;
use crate::event::Origin;
use crate::fit::case::Quantity;
use crate::fit::raw::RawCoil;
use crate::fit::spread::Spread;
use crate::relay::coil::{DriveEvidence, MUST_OPERATE, STANDS, rated_volts};

/// A rating less probable than this is not reckoned with.
const PLAUSIBLE: f64 = 0.005;

/// Pick-up as a share of the rated volts: at most [`MUST_OPERATE`]; the other two are common
/// practice, no source.
const PICK_UP_SHARE: (f64, f64, f64) = (0.4, 0.65, MUST_OPERATE);

/// Drop-out as a share of the rated volts: at least 5 % (IEC 61810-1, 5.3, from memory); the other
/// two are common practice, no source.
const DROP_OUT_SHARE: (f64, f64, f64) = (0.05, 0.25, 0.6);

/// Inductance over resistance of a coil that nobody measured, in seconds: 0.6 H at 400 ohm (common
/// practice, no source).
const TAU_S: f64 = 0.0015;

/// What the rest of the work needs to know of the coil.
pub(super) struct Coil {
    /// Drives that did not move the contacts and that did, in volts.
    pub(super) pick_up_bracket: (f64, f64),
    pub(super) pick_up_is_share: bool,
    pub(super) drop_out_is_share: bool,
    pub(super) coil_max_is_share: bool,
    pub(super) tau_s: f64,
}

impl Work {
    pub(super) fn coil(&mut self, raw: &RawCoil) -> Result<Coil, BadFit> {
        let ohms = self.coil_ohms(raw)?;
        let rated = self.rated(raw, &ohms)?;
        let pick_up_is_share = self.pick_up(raw, rated)?;
        let drop_out_is_share = self.drop_out(raw)?;
        let coil_max_is_share = self.maximum(raw)?;
        let henries = Self::within("--coil-henries", raw.henries, 1e-6, 1000.0)?;
        let tau_s = henries.map_or(TAU_S, |h| h / ohms.nominal);
        if henries.is_none() {
            self.assume(
                "The coil's inductance over its resistance is 1.5 ms (common practice, no source); \
                 it only bears on the release times; --coil-henries says it better.",
            );
        }
        let pick_up_bracket = if pick_up_is_share { bracket(raw) } else { (0.0, f64::INFINITY) };
        Ok(Coil { pick_up_bracket, pick_up_is_share, drop_out_is_share, coil_max_is_share, tau_s })
    }

    fn coil_ohms(&mut self, raw: &RawCoil) -> Result<Spread, BadFit> {
        let Some(ohms) = Self::within("--coil-ohms", raw.ohms, 1.0, 1e6)? else {
            return Err(BadFit::new(
                "the coil's resistance is not known",
                "give --coil-ohms, or the --job in which the relay was identified",
            ));
        };
        let percent = Self::within("--coil-ohms-percent", raw.ohms_percent, 0.0, 50.0)?;
        let celsius = Self::within("--coil-ohms-celsius", raw.ohms_celsius, -60.0, 180.0)?;
        let ohms_20 = to_20_celsius(ohms, celsius.unwrap_or(20.0));
        if raw.celsius_unknown && percent.is_none() {
            self.assume(
                "The coil was at 15 to 30 degrees Celsius while it was measured: 4 % of its \
                 resistance; --coil-ohms-percent says it better.",
            );
        }
        // Half of 4 %: two standard uncertainties are the range.
        let warm = if raw.celsius_unknown { 0.02 * ohms } else { 0.0 };
        let u = raw.ohms_u.map(|u| u.hypot(warm));
        let spread = match (u, percent) {
            (Some(u), None) if u.is_finite() && u >= 0.0 && u < ohms / 4.0 => {
                Spread::measured(ohms_20, u * ohms_20 / ohms)
            }
            (_, Some(percent)) => Spread::percent(ohms_20, percent),
            _ => {
                self.assume(
                    "The coil's resistance keeps within a tenth of what was stated (a relay \
                     maker's term list); --coil-ohms-percent says it better.",
                );
                Spread::percent(ohms_20, 10.0)
            }
        };
        self.input(Quantity::CoilOhms, "coil at 20 C", "ohm", spread.clone(), raw.origin);
        Ok(spread)
    }

    /// The rated volts as far as they are known; none where neither word nor model has any.
    fn rated(&mut self, raw: &RawCoil, ohms: &Spread) -> Result<Option<Spread>, BadFit> {
        let stated = Self::within("--rated-volts", raw.rated_volts, 1.0, 500.0)?;
        let (spread, from) = match stated {
            Some(volts) => (Some(Spread::exact(volts)), Origin::Stated),
            None => {
                let evidence =
                    DriveEvidence { moved_at: raw.moved_at_volts, still_at: raw.still_at_volts };
                let modelled = rated_volts(ohms.nominal, ohms.u(), evidence);
                let found = !raw.rated_shares.is_empty();
                let shares = if found { &raw.rated_shares } else { &modelled };
                let from = if found { raw.origin } else { Origin::Assumed };
                (Spread::one_of(shares, PLAUSIBLE), from)
            }
        };
        let Some(spread) = spread else { return Ok(None) };
        // Where every limit was stated, the rated volts bear on nothing.
        let needed =
            raw.pick_up_volts.is_none() || raw.drop_out_volts.is_none() || raw.volts_max.is_none();
        if needed && stated.is_none() {
            self.assume(format!(
                "The rated volts are not known: {} to {} V are all plausible for this resistance, \
                 {} V most of all; --rated-volts says it better.",
                spread.low, spread.high, spread.nominal
            ));
        }
        if needed {
            self.show("rated volts of the coil", "V", &spread, from);
        }
        self.set(Quantity::Rated, spread.clone());
        Ok(Some(spread))
    }

    /// Whether pick-up is a share of the rated volts.
    fn pick_up(&mut self, raw: &RawCoil, rated: Option<Spread>) -> Result<bool, BadFit> {
        let stated = Self::within("--pick-up-volts", raw.pick_up_volts, 0.1, 500.0)?;
        let percent = Self::within("--pick-up-percent", raw.pick_up_percent, 0.0, 50.0)?;
        if let Some(volts) = stated {
            let spread = Spread::percent(volts, percent.unwrap_or(3.0));
            self.input(Quantity::PickUp, "pick-up at 20 C", "V", spread, raw.pick_up_origin);
            return Ok(false);
        }
        let Some(rated) = rated else {
            return Err(BadFit::new(
                "neither pick-up nor rated volts of this coil are known",
                "give --pick-up-volts or --rated-volts",
            ));
        };
        let operate = Self::within("--operate-percent", raw.operate_percent, 45.0, 120.0)?;
        let (low, usual, must) = PICK_UP_SHARE;
        let high = operate.map_or(must, |percent| percent / 100.0);
        let mid = usual.min(high);
        let spread = Spread::between(low, mid, high);
        let (still, moved) = bracket(raw);
        let seen = |volts: f64| volts.clamp(still, moved);
        let shown = Spread::between(
            seen(low * rated.low),
            seen(mid * rated.nominal),
            seen(high * rated.high),
        );
        self.show("pick-up at 20 C", "V", &shown, Origin::Assumed);
        self.set(Quantity::PickUp, spread);
        let bracketed = if moved.is_finite() {
            " and no more than the drive that moved the contacts at the bench"
        } else {
            ""
        };
        self.assume(format!(
            "Pick-up is not known: 40 to {} % of the rated volts ({}){bracketed}; --pick-up-volts \
             says it better.",
            100.0 * high,
            match operate {
                Some(_) => "operative range as stated, IEC 61810-1, 5.2",
                None => "must operate at 80 %: terms after JIS C 4530 and JIS C 5442",
            }
        ));
        Ok(true)
    }

    fn drop_out(&mut self, raw: &RawCoil) -> Result<bool, BadFit> {
        let top = raw.pick_up_volts.unwrap_or(500.0);
        let stated = Self::within("--drop-out-volts", raw.drop_out_volts, 0.01, top)?;
        if let Some(volts) = stated {
            let spread = Spread::percent(volts, raw.pick_up_percent.unwrap_or(3.0));
            self.input(Quantity::DropOut, "drop-out at 20 C", "V", spread, raw.pick_up_origin);
            return Ok(false);
        }
        let release = Self::within("--release-percent", raw.release_percent, 0.0, 60.0)?;
        let (least, usual, high) = DROP_OUT_SHARE;
        let low = release.map_or(least, |percent| percent / 100.0);
        self.set(Quantity::DropOut, Spread::between(low, usual.max(low), high));
        let source = if release.is_some() { "as stated" } else { "IEC 61810-1, 5.3, from memory" };
        self.assume(format!(
            "Drop-out is not known: {} % ({source}) to 60 % of the rated volts, and never above \
             pick-up.",
            100.0 * low
        ));
        Ok(true)
    }

    fn maximum(&mut self, raw: &RawCoil) -> Result<bool, BadFit> {
        let stated = Self::within("--volts-max", raw.volts_max, 0.5, 500.0)?;
        if let Some(volts) = stated {
            let spread = Spread::exact(volts);
            self.input(Quantity::CoilMax, "coil's maximum", "V", spread, Origin::Stated);
            return Ok(false);
        }
        self.set(Quantity::CoilMax, Spread::exact(STANDS));
        self.assume(
            "The coil stands 110 % of its rated volts for good (operative range, IEC 61810-1, \
             5.2, from memory); --volts-max says it better.",
        );
        Ok(true)
    }
}

/// The highest drive that left the contacts still and the lowest that moved them, in volts.
fn bracket(raw: &RawCoil) -> (f64, f64) {
    let moved = raw.moved_at_volts.filter(|v| *v > 0.0).unwrap_or(f64::INFINITY);
    let still = raw.still_at_volts.filter(|v| *v > 0.0 && *v < moved).unwrap_or(0.0);
    (still, moved)
}
