//! The state machines that decide what to ask next. A guide is fed what arrived and gives facts
//! and orders; it reads no clock and touches no port, so a test can lead it through any evening.

pub mod identify;
pub mod settling;
