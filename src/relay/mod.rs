//! To be filled.

pub mod coil;
pub mod marking;
