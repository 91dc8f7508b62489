//! From bytes to readings. This crate knows links, dialects and profiles of bench meters; it
//! knows no relay, no plan, no report and no person, and nothing of the crates above it.
//! A reading flows link -> session -> [`Reading`]; orders flow the other way. Start at
//! [`Port`] to use a meter, at [`Session`] to teach a dialect, at [`link`] for another wire.

pub mod block;
pub mod clock;
pub mod digits;
pub mod error;
#[cfg(test)]
pub(crate) mod fixtures;
pub mod line;
pub mod link;
pub mod meter;
pub mod port;
pub mod ports;
pub mod profile;
pub mod reading;
pub mod scpi;
pub mod session;
pub mod spans;
pub mod stream;
pub mod supply;
#[cfg(test)]
pub(crate) mod testing;
pub mod text;
pub mod trial;
pub mod usbtmc;
pub mod watch;

pub use block::Block;
pub use clock::{Clock, HandClock, Moment, SystemClock};
pub use error::DriverError;
pub use link::{Link, LinkSpec, Opener};
pub use meter::{Identity, MeterEvent, Order};
pub use port::{Crank, Port, PortOptions};
pub use profile::Profile;
pub use reading::{Function, Reading, Unit, Value};
pub use session::{Input, Session};
pub use supply::{Delivered, Supply, SupplyLimits};
pub use text::{WORDS_AT_MOST, read_text};
