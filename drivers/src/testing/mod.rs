//! What the tests of sessions and ports stand on, compiled for tests only: a SCPI meter that
//! keeps the rules of IEEE 488.2 and complains when the driver does not, a rig that runs a port
//! against it on a clock set by hand, and the far ends of pseudo-terminals. The numbers F01 to
//! F67 in the tests are the rows of the table in `tests/failures.rs`.

mod meter;
mod pty;
mod rig;

pub(crate) use meter::{Fault, Features, MeterSim};
pub(crate) use pty::{FarEnd, Served};
pub(crate) use rig::Rig;
