//! Zone loops: from a panel's input ([`Panel`]), a [`ZoneWiring`](crate::event::ZoneWiring) and
//! what is known of contact, cable and resistors ([`Parts`]) to every state's ohms and volts, the
//! margins to the panel's thresholds, what each fault would look like, and which wiring hides
//! least. Preferred values, colour bands and letter codes are here too. Ohms and volts; reads no
//! file and no clock; chance is seeded.

pub mod band;
mod built_in;
pub mod circuit;
pub mod colour;
mod design;
mod explain;
mod fault;
mod measured;
mod number;
mod panel;
mod panel_raw;
mod points;
mod rank;
pub mod rkm;
pub mod series;
mod source;
mod toml_words;
mod wiring;

pub use built_in::BUILT_IN;
pub use design::{Design, Parts, Wanted};
pub use explain::explanations;
pub use measured::{measured, when};
pub use number::{BadSpot, ScheduleLine, Spot, check_schedule};
pub use panel::{BadPanel, Panel, Resistors};
pub use panel_raw::{RawLoop, RawNumbering, RawPanel, RawSupply};
pub use points::points;
pub use series::Series;
pub use source::{Learnt, Measured, Source};
pub(crate) use toml_words::complaint;
pub use wiring::in_words;
