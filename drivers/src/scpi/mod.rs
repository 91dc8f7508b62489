//! The client's side of SCPI-99 and IEEE 488.2: numbers and messages as an instrument sends
//! them, its error queue, and the conversation with it as a state machine without I/O. Bytes come
//! in and go out through [`crate::session::Session`]; links are not known here.

mod configuring;
mod error_queue;
mod measuring;
mod message;
mod number;
mod session;
mod syncing;
mod values;
mod wire;

pub use error_queue::{ErrorEntry, standard_text};
pub(crate) use message::may_be_identity;
pub use message::{IdentityFields, short_header};
pub use number::{NumberFault, parse_value};
pub use session::ScpiSession;
