//! What a careless program would have done to a real meter, supply or part. The bench goes on
//! and records it, so that a test can assert that nothing happened. A hazard that a slip of the
//! hands made, not the ask, says so.

use crate::event::Pin;
use drivers::Moment;

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
