//! The words between a meter and whoever uses it: [`Order`]s go in, [`MeterEvent`]s come out.
//! A meter that was told to measure goes on measuring until told otherwise. Every reading
//! carries the `epoch` of the order it belongs to, and was *begun* after that order arrived:
//! a reading already under way when the leads moved is never credited to the new placement.

use crate::block::Block;
use crate::error::DriverError;
use crate::reading::{Function, Reading};
use std::time::Duration;

/// What the meter is told to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Measure in this function, over and over, and tag each reading with this epoch.
    Measure {
        /// The function to measure in.
        function: Function,
        /// The tag of the readings that belong to this order; the caller counts it up.
        epoch: u64,
    },
    /// Stop measuring. A free-running meter keeps sending; its readings are dropped.
    Rest,
}

/// Who answers on the link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// The identification as received (`*IDN?`), escaped; empty for meters that have none.
    pub text: String,
    /// The link, as the operator wrote it.
    pub link: String,
    /// The name of the profile in use.
    pub profile: String,
    /// Whether the program can set the function; if not, the operator turns the dial.
    pub commanded: bool,
}

/// What comes back from a meter.
#[derive(Debug)]
pub enum MeterEvent {
    /// The link is open and the meter has answered; sent again after each reconnect.
    Answered {
        /// Who answered.
        identity: Identity,
        /// How long the link was away; `None` at the first opening.
        gap: Option<Duration>,
    },
    /// One reading of the order with this epoch.
    ReadingTaken {
        /// The epoch of the order.
        epoch: u64,
        /// The reading.
        reading: Reading,
    },
    /// Readings of the order with this epoch that came in one answer.
    BlockTaken {
        /// The epoch of the order.
        epoch: u64,
        /// The readings.
        block: Block,
    },
    /// A free-running meter sent a reading in another function than ordered: the dial is wrong.
    /// It is not a reading of the order; it is here to be shown.
    OtherFunction {
        /// The epoch of the order in force.
        epoch: u64,
        /// What came, in the function that its unit says.
        reading: Reading,
    },
    /// The order with this epoch cannot be carried out (the meter refused the function, or the
    /// profile has none): no reading of it will come. Another order is welcome.
    Declined {
        /// The epoch of the order.
        epoch: u64,
        /// Why.
        error: DriverError,
    },
    /// Something went wrong that the session has dealt with: noise dropped, a late answer
    /// thrown away, an old error found in the meter's queue. No reading was made of it.
    Complained(DriverError),
    /// The link is gone; the port is trying to open it again until its limit.
    WentAway(DriverError),
    /// The end: the port has given up, or has been closed. Nothing follows.
    Ended(Option<DriverError>),
}

impl MeterEvent {
    /// The same, but with each reading of a block by itself.
    pub fn singly(self) -> impl Iterator<Item = Self> {
        let (block, other) = match self {
            Self::BlockTaken { epoch, block } => (Some((epoch, block)), None),
            other => (None, Some(other)),
        };
        let readings = block.into_iter().flat_map(|(epoch, block)| {
            let readings: Vec<Reading> = block.readings().collect();
            readings.into_iter().map(move |reading| Self::ReadingTaken { epoch, reading })
        });
        readings.chain(other)
    }
}
