//! What a person (or a machine in a person's place) can be asked, and what they can answer.
//! Every ask wants exactly one answer; which answers fit which ask is said here, once. The texts
//! of the cautions are here too: they are shown before the step they belong to, word for word.

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

/// A caution, shown before the step it belongs to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Caution {
    /// The part is out of its circuit, with nothing connected.
    DeadCircuit,
    /// Driving a coil: supply, kick-back, heat, hands.
    CoilDrive,
    /// What this test does not show.
    NotACertificate,
    /// Working at an alarm panel's terminals.
    PanelTerminals,
    /// What a check of a zone does not show.
    NoProofOfSite,
    /// An energizer's fence terminals; only low-voltage outputs are measured.
    EnergizerHighVoltage,
    /// Working on a live low-voltage output.
    LiveOutput,
    /// The board is out of its circuit, with nothing connected.
    DeadBoard,
    /// What a board's test does not show.
    NoInsulationTest,
    /// Working at a site: equipment, panel and cable.
    SiteWork,
    /// What a handed-over record is, and is not.
    HandOver,
}

impl Caution {
    /// The text that is shown, and recorded as shown.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::DeadCircuit => {
                "Only a part that lies on the bench, out of its circuit, with nothing connected. \
                 Ohms on a live circuit read wrong and can destroy the meter. Mains may be inside \
                 the equipment it came from: switch off, isolate and discharge before you take it \
                 out. Local wiring codes, the equipment's own manual and a licensed person come \
                 first."
            }
            Self::CoilDrive => {
                "Now the coil is driven. Use a supply with a current limit, at the voltage asked \
                 and no higher. A coil kicks back when it is switched off: keep fingers off bare \
                 pins, and never leave the meter on ohms across the driven pins. If the part gets \
                 hot or smells, take the drive off."
            }
            Self::NotACertificate => {
                "This shows which pin is what. It does not show that the contacts may switch \
                 mains, and a multimeter cannot prove insulation. Nothing here is a certificate."
            }
            Self::PanelTerminals => {
                "Inside an alarm panel: mains may be under the cover, and the battery can deliver \
                 tens of amperes into a slipped lead. Keep to the zone's two terminals. Volts \
                 only: ohms on a live loop read wrong and can destroy the meter. Put the panel \
                 into test first, so that nobody is called out. The equipment that gives the alarm \
                 may be an energizer: its fence terminals carry kilovolt pulses and are never \
                 touched. Local wiring codes, the manuals and a licensed person come first."
            }
            Self::NoProofOfSite => {
                "This shows how one loop is read at its terminals today. It does not show that the \
                 panel is programmed for it, that the alarm goes out, or that the site is \
                 protected. Walk-test it with the panel itself. Nothing here is a certificate."
            }
            Self::EnergizerHighVoltage => {
                "An electric-fence energizer puts kilovolt pulses on its fence terminals: they kill \
                 a meter and can hurt you. Only a low-voltage output, such as the one for a siren, \
                 is ever measured here, and never a fence or earth terminal. Switch it off, earth \
                 and discharge the fence side before you open anything or connect a lead, and \
                 never defeat a cover interlock."
            }
            Self::LiveOutput => {
                "The output is live in alarm, and mains may be inside the equipment: with the cover \
                 off, keep to the output's two terminals. Measure volts only: ohms, continuity or \
                 current there read wrong and can destroy the meter, and a battery behind it can \
                 deliver tens of amperes into a slipped lead. Local wiring codes, the equipment's \
                 own manual and a licensed person come first. Nothing here is a certificate."
            }
            Self::DeadBoard => {
                "Only a board that lies on the bench, with nothing connected to any terminal. Its \
                 contacts may have switched mains or an alarm loop: take every wire off first. \
                 Use a supply with a current limit, and never leave the meter on ohms across the \
                 driven input. Local wiring codes, the equipment's own manual and a licensed \
                 person come first."
            }
            Self::NoInsulationTest => {
                "Open beyond the meter's range is no insulation test: a meter's few volts do not \
                 show what mains or a surge would. This test shows that the board meets the \
                 limits of its plan on this bench. Nothing here is a certificate."
            }
            Self::SiteWork => {
                "At the site: mains may be inside the equipment and the panel, an energizer's fence \
                 terminals carry kilovolt pulses, and a panel's battery can deliver tens of amperes \
                 into a slipped tool. Switch off, isolate, discharge and earth before you open \
                 anything; never defeat a cover interlock. Put the panel into test, so that nobody \
                 is called out. Local wiring codes, the manuals of the equipment and of the panel, \
                 and a licensed person come first."
            }
            Self::HandOver => {
                "The record shows what was measured here, on these days, with this meter. It does \
                 not show that the panel is programmed for it, that an alarm reaches anybody, or \
                 that the wiring meets the local code. What was skipped or failed stands in it. \
                 Take the panel out of test, and walk-test the zone. Nothing here is a certificate."
            }
        }
    }
}
