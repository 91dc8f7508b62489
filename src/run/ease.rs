//! What eases the work of a person at the bench, made of what was asked for: sounds by the
//! terminal's bell, a speech program, a held dwell. It wraps whichever operator shows; a machine in
//! a person's place gets none of it.

use super::failure::Failure;
use super::speech::Speech;
use crate::operator::{Dwell, Eased, Operator};
use std::io::{self, IsTerminal};
use std::time::Duration;

/// The shortest and the longest dwell.
const DWELL_MIN: Duration = Duration::from_millis(300);
const DWELL_MAX: Duration = Duration::from_secs(30);

/// What is asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ease {
    /// No bell.
    pub silent: bool,
    /// A program, and its words, that is given each ask and result as a line of text.
    pub say: Option<String>,
    /// An open pair that was held for so long is taken.
    pub dwell: Option<Duration>,
}

impl Ease {
    /// Puts it around `operator`.
    pub(super) fn around<O: Operator>(&self, operator: O) -> Result<Eased<O>, Failure> {
        let mut eased = Eased::new(operator);
        if !self.silent && io::stdout().is_terminal() {
            eased = eased.ringing(Box::new(io::stdout()));
        }
        if let Some(hold) = self.dwell {
            if !(DWELL_MIN..=DWELL_MAX).contains(&hold) {
                return Err(Failure::bad_input(
                    format!("--dwell {}s: expected 0.3s to 30s", hold.as_secs_f64()),
                    "1.5s is a good beginning",
                ));
            }
            eased = eased.holding(Dwell::new(hold));
        }
        if let Some(words) = &self.say {
            let mut speech = Speech::begin(words)?;
            eased = eased.saying(Box::new(move |line| speech.say(line)));
        }
        Ok(eased)
    }
}
