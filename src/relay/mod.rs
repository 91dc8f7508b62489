//! What an unmarked relay is, worked out from touches: exact belief over all partitions of its
//! pins into coils, poles, joints and spares, and the placement that tells most. Pins are
//! positions `0..n`, 2 to 16 of them; nothing here reads a clock, a port or a file.
//!
//! The way through: a [`Touch`] becomes [`Weights`] by [`Channel::weigh`]; a [`Belief`], begun from
//! a [`Prior`], takes them in; its [`Posterior`] says what is believed; [`choose`] says what to
//! ask for next.

mod amount;
mod belief;
mod candidates;
pub mod coil;
mod evidence;
mod family;
mod footprint;
mod isolation;
mod lattice;
mod layers;
mod layouts;
pub mod marking;
mod masks;
mod model;
mod pair;
mod partition;
mod planner;
mod posterior;
mod prior;
mod reserve;
mod ways;
mod why;

pub use belief::Belief;
pub use evidence::{Channel, Level, Look, Seen, Status, Touch, Weights};
pub use family::{Family, Group};
pub use footprint::{Footprint, Place};
pub use isolation::isolation_cover;
pub use pair::{PINS_MAX, Pair};
pub use partition::{Coil, Partition, Pole};
pub use planner::{Proposal, Situation, choose};
pub use posterior::{CANDIDATES, Posterior};
pub use prior::{LAYOUT_SHARE, Prior};
pub use reserve::{Silent, Strain};
pub use why::Why;
