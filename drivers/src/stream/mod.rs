//! Meters that send readings as lines of text, by themselves or when polled: the grammar of one
//! line, and the session that listens. Which words and patterns a meter uses is its profile's.

mod grammar;
mod session;

pub(crate) use grammar::is_shipped_reading;
pub use grammar::{LineFault, LineReading, parse_line};
pub use session::LineSession;
