//! From bytes to readings. This crate knows links, dialects and profiles of bench meters; it
//! knows no relay, no plan, no report and no person, and nothing of the crates above it.
//! A reading flows link -> session -> [`Reading`]; orders flow the other way.

pub mod clock;
pub mod error;
pub mod meter;
pub mod reading;

pub use clock::{Clock, Moment, SystemClock};
pub use error::DriverError;
pub use meter::{Identity, MeterEvent, Order};
pub use reading::{Function, Reading, Unit, Value};
