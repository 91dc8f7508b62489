//! The description of a switched output for people: a page with its chart ([`chart`]), and a text
//! of a few lines. Both from the finding and the thinned trace alone; the same ones give the same
//! bytes. A description of readings, never a certificate. At most 100 kB a page at any length of
//! log.

mod chapter;
mod chart;
mod page;
mod words;

pub use chapter::chapter;
pub use page::render as page;
pub use words::summary;
