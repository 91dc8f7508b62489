//! A session speaks one dialect and does no I/O: bytes, orders and the time go in, bytes to
//! send and events come out, and [`Session::wake_at`] says when it wants to be called again.
//! [`Port`](crate::Port) runs one on a thread; tests run one on a script.

use crate::clock::Moment;
use crate::error::DriverError;
use crate::meter::{MeterEvent, Order};

/// What arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input<'a> {
    /// The link is open, for the first time or again; nothing has been sent on it yet.
    LinkOpened,
    /// The link is gone. The order in force is kept for when it is back.
    LinkLost,
    /// Bytes came.
    BytesReceived(&'a [u8]),
    /// All output was sent: there is time until it is answered.
    OutputSent,
    /// The caller wants something else from the meter.
    OrderGiven(Order),
    /// The moment that was asked for has come.
    DeadlineReached,
    /// The port is being closed: leave the meter as a person would want it.
    Closing,
}

/// The conversation with one meter.
///
/// The caller hands over everything that arrived, then takes all output and all events, and
/// calls again at the latest at [`Session::wake_at`]. Output that was not taken counts as not
/// sent: a line that arrives before it is nobody's answer.
pub trait Session: Send {
    /// Takes what arrived at `now`.
    ///
    /// # Errors
    /// An error ends the use of this link: [`DriverError::OtherMeter`] for good, anything else
    /// until it has been opened again. After [`Input::LinkLost`] the session can go on.
    fn handle(&mut self, input: Input<'_>, now: Moment) -> Result<(), DriverError>;

    /// When to call again with [`Input::DeadlineReached`], if nothing arrives before.
    fn wake_at(&self) -> Option<Moment>;

    /// The next bytes to send, in one write.
    fn next_output(&mut self) -> Option<Vec<u8>>;

    /// The next event for the caller.
    fn next_event(&mut self) -> Option<MeterEvent>;

    /// Whether a query is under way; links of messages are read only then.
    fn answer_due(&self) -> bool;

    /// Whether another meter than the first may answer after a reconnect.
    fn accept_other(&mut self, accept: bool);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Profile;
    use crate::reading::Function;
    use proptest::prelude::*;
    use std::sync::LazyLock;
    use std::time::Duration;

    static PROFILES: LazyLock<Vec<Profile>> = LazyLock::new(|| {
        Profile::shipped().into_iter().map(|name| Profile::load(name).unwrap()).collect()
    });

    /// What may arrive: pieces of answers, noise, orders, losses.
    fn piece() -> impl Strategy<Value = Vec<u8>> {
        prop_oneof![
            Just(b"MAKER,MODEL,0,1.0\n".to_vec()),
            Just(b"0,\"No error\"\n".to_vec()),
            Just(b"0\n".to_vec()),
            Just(b"\"RES\"\n".to_vec()),
            Just(b"+1.0\r\n".to_vec()),
            Just(b"+1.0 OHM\r\n".to_vec()),
            proptest::collection::vec(any::<u8>(), 0..40),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        // Whatever comes, whenever: no panic, and a wake-up that was kept lies in the future.
        #[test]
        fn any_conversation_leaves_every_session_alive(
            steps in proptest::collection::vec((0_u64..3000, 0_u8..12, piece()), 1..60),
        ) {
            for profile in PROFILES.iter() {
                let mut session = profile.session("port");
                let mut ms = 0;
                for (span, kind, bytes) in &steps {
                    ms += span;
                    let now = Moment::from_start(Duration::from_millis(ms));
                    let input = match kind {
                        0 => Input::LinkOpened,
                        1 => Input::LinkLost,
                        2 => Input::OrderGiven(Order::Rest),
                        7 => Input::OutputSent,
                        3 | 4 => Input::OrderGiven(Order::Measure {
                            function: Function::ALL[bytes.len() % 6],
                            epoch: ms,
                        }),
                        5 | 6 => Input::DeadlineReached,
                        _ => Input::BytesReceived(bytes),
                    };
                    let alive = session.handle(input, now).is_ok();
                    while session.next_output().is_some() {}
                    while session.next_event().is_some() {}
                    if alive && let Some(wake) = session.wake_at() {
                        prop_assert!(wake > now, "{}: asleep until the past", profile.name);
                    }
                }
            }
        }
    }
}
