//! Where the operator sits: what was typed there and how many asks were put. One seat serves every
//! run that a command leads through one after another, so that no line is read by a run that is
//! over, and no ask has a number that another had.

use super::arrivals::Inbox;

/// An operator's seat.
pub struct Seat {
    /// Everything that arrives.
    pub inbox: Inbox,
    /// The number of the newest ask.
    pub asked: u64,
}

impl Seat {
    /// A seat at which nothing was asked yet.
    #[must_use]
    pub fn new() -> Self {
        Self { inbox: Inbox::new(), asked: 0 }
    }
}

impl Default for Seat {
    fn default() -> Self {
        Self::new()
    }
}
