//! What a careless program would have done to a real meter, supply or part. The bench goes on
//! and records it, so that a test can assert that nothing happened. A hazard that a slip of the
//! hands made, not the ask, says so.

use crate::event::Pin;
use drivers::Moment;
use std::fmt;

/// One hazard. A look that lasts is recorded once for each touch and drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Hazard {
    /// What happened.
    pub kind: HazardKind,
    /// When.
    pub at: Moment,
    /// The two pins it concerns: under red and black, or on plus and minus.
    pub pins: Option<[Pin; 2]>,
    /// The size of it: volts, or watts for [`HazardKind::AboveWatts`], amps for
    /// [`HazardKind::CurrentLimit`].
    pub amount: f64,
    /// Whether it took a slip of the hands: the ask itself was harmless.
    pub slipped: bool,
}

impl fmt::Display for Hazard {
    /// `ohms on a live pair: 12.00 V at 3 and 5, 4.2 s after the beginning`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = match self.kind {
            HazardKind::AboveWatts => "W",
            HazardKind::CurrentLimit => "A",
            _ => "V",
        };
        write!(f, "{}: {:.2} {unit}", self.kind, self.amount)?;
        if let Some([a, b]) = &self.pins {
            write!(f, " at {a} and {b}")?;
        }
        write!(f, ", {:.1} s after the beginning", self.at.as_secs_f64())?;
        if self.slipped { f.write_str("; a slip of the hands made it") } else { Ok(()) }
    }
}

/// The kinds of hazard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HazardKind {
    /// Ohms, continuity or diode measured on a live pair.
    OhmsOnLive,
    /// A drive applied while the leads rested on that pair in such a function.
    DriveIntoOhms,
    /// A drive above the voltage limit.
    AboveVolts,
    /// A drive above the power limit.
    AboveWatts,
    /// A drive that the supply had to limit: a short, or a diode the wrong way round.
    CurrentLimit,
    /// A placement that was asked for under another drive than the one applied.
    DriveMismatch,
}

impl fmt::Display for HazardKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OhmsOnLive => "ohms on a live pair",
            Self::DriveIntoOhms => "a drive into the meter's ohms",
            Self::AboveVolts => "a drive above the voltage limit",
            Self::AboveWatts => "a drive above the power limit",
            Self::CurrentLimit => "a drive that the supply had to limit",
            Self::DriveMismatch => "a placement under another drive than the one asked for",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hazard_says_what_where_and_when() {
        let hazard = Hazard {
            kind: HazardKind::OhmsOnLive,
            at: Moment::from_start(std::time::Duration::from_millis(4200)),
            pins: Some(["3", "5"].map(Pin::new)),
            amount: 12.0,
            slipped: true,
        };
        let said = "ohms on a live pair: 12.00 V at 3 and 5, 4.2 s after the beginning; a slip of \
                    the hands made it";
        assert_eq!(hazard.to_string(), said);
    }
}
