//! What a person (or a machine in a person's place) can be asked, and what they can answer.
//! Every ask wants exactly one answer; which answers fit which ask is said here, once. What the
//! cautions say is in `caution.rs`.

use super::caution::Caution;
use super::job::{JobLabel, JobStep};
use super::pin::Pin;
use drivers::Function;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// One request to the operator.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "ask", rename_all = "snake_case")]
pub enum Ask {
    /// Read this caution and acknowledge it.
    Acknowledge {
        /// Which caution.
        caution: Caution,
        /// Its text.
        text: String,
    },
    /// Put the leads on these pins: one touch. The same pins as before: lift, and touch again.
    Place {
        /// The pin for the red lead.
        red: Pin,
        /// The pin for the black lead.
        black: Pin,
        /// The function that the meter will measure in.
        function: Function,
        /// The drive that is applied meanwhile; never `energised` before the matching drive ask.
        drive: AskedDrive,
        /// Why this placement, in a technician's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    },
    /// Apply this to the coil; the leads stay where they are.
    Drive(DriveState),
    /// Clip the programmable supply's leads to these pins; its output is off meanwhile.
    Clip {
        /// The pin for the supply's plus.
        plus: Pin,
        /// The pin for the supply's minus.
        minus: Pin,
    },
    /// Bring the equipment into alarm, or out of it; the leads stay where they are.
    Alarm {
        /// Which.
        state: AlarmState,
    },
    /// Turn the meter's dial.
    Dial {
        /// The function to turn it to.
        function: Function,
    },
    /// Put the next board on the bench and give its serial number; `ready` by itself says that
    /// there is none.
    Serial {
        /// What happened to the last one, in a sentence.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last: Option<String>,
    },
    /// Name something of the job; `ready` by itself leaves it as it is.
    Label {
        /// What.
        label: JobLabel,
        /// The question.
        text: String,
    },
    /// Do this step of the job now, or skip it with a reason.
    Step {
        /// Which.
        step: JobStep,
        /// What is done in it and how it stands, in a sentence.
        text: String,
    },
    /// Look at this point of the wiring: `ready` if it is so, `skip` with a reason if it is not.
    Point {
        /// What should be so.
        text: String,
    },
}

impl Ask {
    /// The ask to read a caution and acknowledge it.
    #[must_use]
    pub fn caution(caution: Caution) -> Self {
        Self::Acknowledge { caution, text: caution.text().into() }
    }

    /// Whether `answer` fits this ask. A misfit gets an error note and the same ask again.
    #[must_use]
    pub fn accepts(&self, answer: Answer) -> bool {
        match answer {
            Answer::Abort => true,
            Answer::Acknowledged => matches!(self, Self::Acknowledge { .. }),
            Answer::Ready => !matches!(self, Self::Acknowledge { .. }),
            Answer::Skip => matches!(
                self,
                Self::Place { .. }
                    | Self::Drive(DriveState::Energised { .. })
                    | Self::Clip { .. }
                    | Self::Alarm { .. }
                    | Self::Step { .. }
                    | Self::Point { .. }
                    | Self::Dial { function: Function::Diode }
            ),
            Answer::Again => !matches!(
                self,
                Self::Acknowledge { .. }
                    | Self::Serial { .. }
                    | Self::Label { .. }
                    | Self::Step { .. }
                    | Self::Point { .. }
            ),
        }
    }

    /// Why `answer` does not fit, in a sentence that says what does.
    #[must_use]
    pub fn misfit(&self, answer: Answer) -> String {
        let wanted = match self {
            Self::Acknowledge { .. } => "a caution wants to be acknowledged",
            Self::Drive(DriveState::Rest) => "the drive has to come off: ready, again or abort",
            Self::Place { .. } | Self::Drive(_) | Self::Clip { .. } | Self::Alarm { .. } => {
                "expected ready, skip, again or abort"
            }
            Self::Dial { .. } => "expected ready or abort",
            Self::Serial { .. } => "expected a serial number, ready where there is none, or abort",
            Self::Label { .. } => "expected a text, ready to leave it as it is, or abort",
            Self::Step { .. } => "expected ready to do it now, skip with a reason, or abort",
            Self::Point { .. } => "expected ready if it is so, skip if it is not, or abort",
        };
        format!("{wanted}; `{}` does not answer it", answer.name())
    }
}

/// Whether the coil is driven during a placement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AskedDrive {
    /// Nothing is applied.
    Rest,
    /// The coil is driven.
    Energised,
}

/// What is applied to the coil.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum DriveState {
    /// Nothing.
    Rest,
    /// A direct voltage between two pins.
    Energised {
        /// The pin on the supply's plus.
        plus: Pin,
        /// The pin on the supply's minus.
        minus: Pin,
        /// The voltage, in volts.
        volts: f64,
    },
}

impl DriveState {
    /// Whether anything is applied, without the detail.
    #[must_use]
    pub const fn asked(&self) -> AskedDrive {
        match self {
            Self::Rest => AskedDrive::Rest,
            Self::Energised { .. } => AskedDrive::Energised,
        }
    }

    /// The voltage that is applied, in volts; 0 at rest.
    #[must_use]
    pub const fn volts(&self) -> f64 {
        match self {
            Self::Rest => 0.0,
            Self::Energised { volts, .. } => *volts,
        }
    }

    /// Whether this drive is applied across exactly these two pins, either way round.
    #[must_use]
    pub fn is_across(&self, a: &Pin, b: &Pin) -> bool {
        match self {
            Self::Rest => false,
            Self::Energised { plus, minus, .. } => {
                (plus, minus) == (a, b) || (plus, minus) == (b, a)
            }
        }
    }
}

impl fmt::Display for DriveState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rest => f.write_str("at rest"),
            Self::Energised { plus, minus, volts } => {
                write!(f, "{volts} V, plus on {plus}, minus on {minus}")
            }
        }
    }
}

/// Whether the equipment is to be in alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// In alarm.
    On,
    /// Not in alarm.
    Off,
}

/// What an operator can answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// Done: the leads, the drive or the dial are as asked.
    Ready,
    /// The caution was read.
    Acknowledged,
    /// This cannot be done on this part: do not ask it again in this run.
    Skip,
    /// Take back the last capture and ask for it anew.
    Again,
    /// Stop here; the record stays, and the run can be resumed.
    Abort,
}

impl Answer {
    /// The word on the wire.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ready => "ready",
            Self::Acknowledged => "acknowledged",
            Self::Skip => "skip",
            Self::Again => "again",
            Self::Abort => "abort",
        }
    }
}
